package controller_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
)

// A block is some directives and what was said to them.
type block struct {
	raw        []string // the directives as they stand in the file
	directives []directive
}

// A directive is one line, ready to be carried out.
type directive func(*teller)

// parseStory reads a story and leaves out what was said.
func parseStory(file, text string) (blocks []block, err error) {
	var b block
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	ended := 0
	for i := 0; i < len(lines); i++ {
		line := lines[i]
		fault := func(err error) error { return fmt.Errorf("%s:%d: %w", file, i+1, err) }
		switch code, _, _ := strings.Cut(line, "#"); {
		case line == "----":
			if len(b.raw) == 0 {
				return nil, fault(fmt.Errorf("dashes without a directive above them"))
			}
			for i++; i < len(lines) && lines[i] != ""; i++ {
			}
			blocks, b = append(blocks, b), block{}
		case strings.TrimSpace(line) == "":
			if len(b.raw) > 0 {
				return nil, fault(fmt.Errorf("an empty line before the dashes; write ---- below the directives"))
			}
		default:
			b.raw = append(b.raw, line)
			fields := strings.Fields(code)
			if len(fields) == 0 {
				continue // a remark
			}
			if ended > 0 {
				return nil, fault(fmt.Errorf("%q stands after the end, in line %d", fields[0], ended))
			}
			d, err := parseDirective(fields)
			if err != nil {
				return nil, fault(err)
			}
			if fields[0] == "end" {
				ended = i + 1
			}
			b.directives = append(b.directives, d)
		}
	}
	switch {
	case len(b.raw) > 0:
		return nil, fmt.Errorf("%s: the last directives have no dashes below them", file)
	case ended == 0:
		return nil, fmt.Errorf("%s: the story has no end; write it as its last directive", file)
	}
	return blocks, nil
}

// words are the parts of a directive.
type words struct {
	plain []string
	keys  []string // in order
	value map[string]string
}

// take removes a key and returns its value.
func (w *words) take(key string) (string, bool) {
	v, ok := w.value[key]
	if ok {
		delete(w.value, key)
		w.keys = slices.DeleteFunc(w.keys, func(k string) bool { return k == key })
	}
	return v, ok
}

func (w *words) duration(key string, unsaid time.Duration) (time.Duration, error) {
	text, ok := w.take(key)
	if !ok {
		return unsaid, nil
	}
	return quantity.ParseDuration(text)
}

// count refuses more or fewer plain words.
func (w *words) count(least, most int) error {
	if n := len(w.plain); n < least || n > most {
		return fmt.Errorf("%d words where %d to %d belong", n, least, most)
	}
	return nil
}

// done refuses keys that nobody has taken.
func (w *words) done() error {
	if len(w.keys) > 0 {
		return fmt.Errorf("unknown key %q", w.keys[0])
	}
	return nil
}

func parseDirective(fields []string) (directive, error) {
	verb := fields[0]
	w := words{value: map[string]string{}}
	for _, f := range fields[1:] {
		key, value, ok := strings.Cut(f, "=")
		if !ok {
			w.plain = append(w.plain, f)
			continue
		}
		if _, twice := w.value[key]; twice {
			return nil, fmt.Errorf("key %q stands twice", key)
		}
		w.keys, w.value[key] = append(w.keys, key), value
	}
	read := readers[verb]
	if _, ok := verbs[verb]; ok {
		read = func(w *words) (directive, error) {
			o, err := parseOrder(verb, w)
			return func(t *teller) { t.step(time.Second, o) }, err
		}
	}
	if read == nil {
		return nil, fmt.Errorf("unknown directive %q", verb)
	}
	d, err := read(&w)
	if err == nil {
		err = w.done()
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", verb, err)
	}
	return d, nil
}

// readers read the directives that are no commands. It is filled in later, for each
// of them may tell others.
var readers map[string]func(*words) (directive, error)

func init() {
	readers = map[string]func(*words) (directive, error){
		"product": readProduct, "cabinet": readCabinet, "set": readSet, "run": readRun, "until": readUntil,
		"stall": gap(func(t *teller, d time.Duration) { t.step(d, order{}) }),
		"back":  gap(func(t *teller, d time.Duration) { t.step(-d, order{}) }),
		"away": gap(func(t *teller, d time.Duration) {
			t.w.on, t.w.powerLost = false, true
			t.step(d, order{})
			t.w.powerLost = false
		}),
		"lost": gap(func(t *teller, d time.Duration) {
			t.w.on, t.w.powerLost, t.w.awayUnknown = false, true, true
			t.step(d, order{})
			t.w.powerLost, t.w.awayUnknown = false, false
		}),
		"known": gap(func(t *teller, d time.Duration) {
			t.w.awayFor = d
			t.step(time.Second, order{})
			t.w.awayFor = 0
		}),
		"show": readShow, "each": readEach,
		"end": func(w *words) (directive, error) {
			return func(t *teller) { t.summary = false; t.print("%d steps, fingerprint %x", t.steps, t.hash.Sum(nil)[:6]) }, w.count(0, 0)
		},
	}
}

func parseOrder(verb string, w *words) (o order, err error) {
	o.verb = verb
	switch verb {
	case "start":
		if o.rested, err = w.duration("rested", 0); err != nil {
			return o, err
		}
		if err := w.count(0, 1); err != nil {
			return o, err
		}
		if o.excused = len(w.plain) == 1; o.excused && w.plain[0] != "excused" {
			return o, fmt.Errorf("unknown word %q", w.plain[0])
		}
		return o, nil
	case "confirm", "absence":
		if o.shelve, err = w.duration("for", 0); err != nil {
			return o, err
		}
		if err := w.count(0, 1); err != nil || len(w.plain) == 0 {
			return o, err
		}
		if o.question = w.plain[0]; !knownQuestion(o.question) {
			return o, fmt.Errorf("unknown question %q", o.question)
		}
		return o, nil
	case "ice":
		if err := w.count(1, 1); err != nil {
			return o, err
		}
		o.probe = w.plain[0]
		return o, nil
	case "acknowledge", "mended", "shelve":
		least := 0
		if verb != "acknowledge" {
			least = 1
		}
		if verb == "shelve" {
			if o.shelve, err = w.duration("for", 0); err != nil {
				return o, err
			}
		}
		if err := w.count(least, 1); err != nil {
			return o, err
		}
		if len(w.plain) == 1 {
			o.alarm = w.plain[0]
			return o, knownAlarm(o.alarm)
		}
		return o, nil
	}
	return o, w.count(0, 0)
}

func knownAlarm(name string) error {
	if !slices.Contains(alarms(), name) && name != "unknown" && name != "none" {
		return fmt.Errorf("unknown alarm %q", name)
	}
	return nil
}

func readProduct(w *words) (directive, error) {
	if err := w.count(1, 1); err != nil {
		return nil, err
	}
	if w.plain[0] == "none" {
		return func(t *teller) { t.m.product = nil }, nil
	}
	var p *profile.Product
	if entry, err := catalog.Find(w.plain[0]); err == nil {
		p = entry.Value
	} else {
		file := filepath.Join("testdata", "products", w.plain[0]+".yaml")
		data, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		if p, err = profile.Parse(file, data); err != nil {
			return nil, err
		}
	}
	return func(t *teller) { t.m.product = p }, nil
}

func readCabinet(w *words) (directive, error) {
	if err := w.count(1, 1); err != nil {
		return nil, err
	}
	var c *cabinet.Cabinet
	if entry, err := shipped.Find(w.plain[0]); err == nil {
		c = entry.Value
	} else {
		file := filepath.Join("testdata", "cabinets", w.plain[0]+".yaml")
		data, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		if c, err = cabinet.Parse(file, data); err != nil {
			return nil, err
		}
	}
	return func(t *teller) { t.m.cabinet = c; t.w.fit(c) }, nil
}

// A setting changes the world, over some time if it is a path.
type setting func(w *world, over time.Duration)

// readSettings takes all keys that are left.
func readSettings(w *words, over bool) (all []setting, err error) {
	for _, key := range slices.Clone(w.keys) {
		text, _ := w.take(key)
		s, err := parseSetting(key, text, over)
		if err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
}

func parseSetting(key, text string, over bool) (setting, error) {
	oneOf := func(may ...string) error {
		if !slices.Contains(may, text) {
			return fmt.Errorf("%s=%s is none of %s", key, text, strings.Join(may, ", "))
		}
		return nil
	}
	number := func(set func(w *world, v float64)) (setting, error) {
		v, err := parseNumber(text)
		return func(w *world, _ time.Duration) { set(w, v) }, err
	}
	choice := func(to func(*world) *string, may ...string) (setting, error) {
		return func(w *world, _ time.Duration) { *to(w) = text }, oneOf(may...)
	}
	flag := func(to func(*world) *bool, yes, no string) (setting, error) {
		return func(w *world, _ time.Duration) { *to(w) = text == yes }, oneOf(yes, no)
	}
	switch key {
	case "air":
		if text == "heats" {
			return func(w *world, _ time.Duration) { w.path = path{} }, nil
		}
		from, to, given, err := parsePath(text, over)
		return func(w *world, d time.Duration) {
			if !given {
				from = w.air
			}
			w.path = path{set: true, from: from, to: to, over: d}
		}, err
	case "chamber1":
		return parseProbe(text, over, func(w *world) *probe { return &w.chambers[0] })
	case "chamber2":
		return parseProbe(text, over, func(w *world) *probe { return &w.chambers[1] })
	case "core1", "core2", "core3", "core4":
		return parseProbe(text, over, func(w *world) *probe { return &w.cores[key[4]-'1'] })
	case "wetbulb":
		return parseProbe(text, over, func(w *world) *probe { return &w.wet })
	case "ambient":
		return parseProbe(text, over, func(w *world) *probe { return &w.outside })
	case "board":
		return parseProbe(text, over, func(w *world) *probe { return &w.fronts })
	case "ember":
		return parseProbe(text, over, func(w *world) *probe { return &w.embers })
	case "meat":
		return number(func(w *world, v float64) { w.meat, w.middle = v, v })
	case "room":
		return number(func(w *world, v float64) { w.room = v })
	case "power":
		return number(func(w *world, v float64) { w.power = v })
	case "fire":
		return number(func(w *world, v float64) { w.fire = v })
	case "noise":
		return number(func(w *world, v float64) { w.noise = v })
	case "lag":
		d, err := quantity.ParseDuration(text)
		return func(w *world, _ time.Duration) { w.meatLag = d }, err
	case "relay":
		return flag(func(w *world) *bool { return &w.welded }, "welded", "sound")
	case "balance":
		return choice(func(w *world) *string { return &w.balance }, "off", "on")
	case "door":
		return choice(func(w *world) *string { return &w.door }, "none", "shut", "open", "unread")
	case "feedback":
		return choice(func(w *world) *string { return &w.wired }, "none", "off", "on", "follows")
	case "clock":
		return choice(func(w *world) *string { return &w.clock }, "set", "unset", "stepped")
	case "drive":
		return flag(func(w *world) *bool { return &w.driveFailed }, "failed", "ok")
	case "record":
		return flag(func(w *world) *bool { return &w.recordFailing }, "failing", "ok")
	case "contact":
		return flag(func(w *world) *bool { return &w.worn }, "worn", "sound")
	case "heat":
		return flag(func(w *world) *bool { return &w.drifted }, "drifted", "same")
	case "copies":
		return flag(func(w *world) *bool { return &w.copiesFail }, "failing", "ok")
	case "disk":
		return flag(func(w *world) *bool { return &w.diskLow }, "low", "ok")
	case "display":
		return flag(func(w *world) *bool { return &w.displayDead }, "dead", "ok")
	case "button":
		return flag(func(w *world) *bool { return &w.buttonStuck }, "stuck", "ok")
	}
	return nil, fmt.Errorf("unknown key %q", key)
}

func parseNumber(text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number", text)
	}
	return v, nil
}

// parsePath reads 20, 20..60 and ..60, which begins where things are.
func parsePath(text string, over bool) (from, to float64, given bool, err error) {
	first, last, ramp := strings.Cut(text, "..")
	if !ramp {
		v, err := parseNumber(text)
		return v, v, true, err
	}
	if !over {
		return 0, 0, false, fmt.Errorf("%s takes time; write it into run or until", text)
	}
	if to, err = parseNumber(last); err != nil || first == "" {
		return 0, to, false, err
	}
	from, err = parseNumber(first)
	return from, to, true, err
}

// parseProbe reads where a probe is: a path, a fault, frozen, absent, or air, meat and
// water with or without an offset.
func parseProbe(text string, over bool, of func(*world) *probe) (setting, error) {
	if _, fault := statuses[text]; fault || text == "frozen" || text == "absent" {
		return func(w *world, _ time.Duration) {
			p := of(w)
			if p.mode = text; text == "absent" {
				*p = probe{}
			}
		}, nil
	}
	for _, place := range []string{"air", "meat", "water"} {
		rest, ok := strings.CutPrefix(text, place)
		if !ok {
			continue
		}
		offset := 0.0
		if rest != "" {
			var err error
			if offset, err = parseNumber(rest); err != nil {
				return nil, err
			}
		}
		return func(w *world, _ time.Duration) { p := of(w); p.mode, p.offset = place, offset }, nil
	}
	from, to, given, err := parsePath(text, over)
	return func(w *world, d time.Duration) {
		p := of(w)
		if !given {
			from = p.value
		}
		p.mode, p.path = "path", path{from: from, to: to, over: d}
	}, err
}

func readSet(w *words) (directive, error) {
	if err := w.count(0, 0); err != nil {
		return nil, err
	}
	all, err := readSettings(w, false)
	return func(t *teller) { t.set(all, 0) }, err
}

// pace takes the length of a step.
func pace(w *words) (time.Duration, error) {
	every, err := w.duration("every", time.Second)
	if err == nil && every <= 0 {
		err = fmt.Errorf("steps of %v never get anywhere", every)
	}
	return every, err
}

func readRun(w *words) (directive, error) {
	if err := w.count(1, 1); err != nil {
		return nil, err
	}
	length, err := quantity.ParseDuration(w.plain[0])
	if err != nil {
		return nil, err
	}
	every, err := pace(w)
	if err != nil {
		return nil, err
	}
	all, err := readSettings(w, true)
	return func(t *teller) {
		t.set(all, length)
		for end := t.w.elapsed + length; t.w.elapsed < end; {
			t.step(every, order{})
		}
	}, err
}

// readUntil runs until something is said, at the most for a while.
func readUntil(w *words) (directive, error) {
	if err := w.count(1, 2); err != nil {
		return nil, err
	}
	what, name := w.plain[0], strings.Join(w.plain[1:], "")
	kinds := map[string]string{"alarm": "raised", "over": "over", "trip": "trip", "stage": "begins", "batch": "batch", "asked": "asks"}
	kind, ok := kinds[what]
	if !ok {
		return nil, fmt.Errorf("unknown event %q", what)
	}
	if what == "alarm" || what == "over" || what == "trip" {
		if err := knownAlarm(name); err != nil {
			return nil, err
		}
	}
	if (name == "") != (what == "asked") {
		return nil, fmt.Errorf("what follows %s: a name, or nothing after asked", what)
	}
	within, err := w.duration("within", time.Hour)
	if err != nil {
		return nil, err
	}
	every, err := pace(w)
	if err != nil {
		return nil, err
	}
	all, err := readSettings(w, true)
	return func(t *teller) {
		t.set(all, within)
		for end := t.w.elapsed + within; t.w.elapsed < end; {
			for _, e := range t.step(every, order{}) {
				if e.kind == kind && (what == "asked" || name == e.alarm && kind != "begins" && kind != "batch" ||
					kind == "begins" && name == e.stage || kind == "batch" && name == e.batch) {
					return
				}
			}
		}
		t.print("no %s within %s", strings.Join(w.plain, " "), clock(within))
	}, err
}

func gap(do func(*teller, time.Duration)) func(*words) (directive, error) {
	return func(w *words) (directive, error) {
		if err := w.count(1, 1); err != nil {
			return nil, err
		}
		d, err := quantity.ParseDuration(w.plain[0])
		return func(t *teller) { do(t, d) }, err
	}
}

func readShow(w *words) (directive, error) {
	shows := map[string]func(*teller){"proof": (*teller).proof, "alarms": (*teller).alarms, "humidity": (*teller).humidity, "fuel": (*teller).fuel, "doubts": (*teller).doubts, "texts": func(t *teller) { t.full = true }}
	var all []func(*teller)
	for _, what := range w.plain {
		f, ok := shows[what]
		if !ok {
			return nil, fmt.Errorf("unknown view %q", what)
		}
		all = append(all, f)
	}
	return func(t *teller) {
		for _, f := range all {
			f(t)
		}
	}, w.count(1, len(shows))
}
