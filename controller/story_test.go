package controller_test

import (
	"cmp"
	"crypto/sha256"
	"flag"
	"fmt"
	"hash"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

var (
	update  = flag.Bool("update", false, "rewrite the stories; read the difference before you keep it")
	stepsTo = flag.String("steps", "", "folder to write every step of every story into, to compare two versions of the machine")
)

// The fingerprints hold every bit of every number, and processors differ in the last.
const fingerprinted = "amd64"

// Each file in testdata/stories is one story: directives, a line of dashes, what the
// machine said, and so on. The last line is a fingerprint of everything that it put
// out, said and believed in every step. testdata/stories/README.md has the language.
func TestStories(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and of one goroutine: it runs without -short")
	}
	files, err := filepath.Glob(filepath.Join("testdata", "stories", "*.txt"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 40)
	if *update && runtime.GOARCH != fingerprinted {
		t.Fatalf("the fingerprints are those of %s; update them there", fingerprinted)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			blocks, err := parseStory(file, string(text))
			require.NoError(t, err)
			told, trace := tell(blocks)
			if *stepsTo != "" {
				require.NoError(t, os.WriteFile(filepath.Join(*stepsTo, strings.TrimSuffix(filepath.Base(file), ".txt")+".steps"), trace, 0o644))
			}
			if *update {
				require.NoError(t, os.WriteFile(file, []byte(told), 0o644))
				return
			}
			assert.Equal(t, portable(string(text)), portable(told), "run with -update and read the difference")
		})
	}
}

// portable leaves the fingerprint out where it cannot be the same.
func portable(story string) string {
	if runtime.GOARCH == fingerprinted {
		return story
	}
	before, _, _ := strings.Cut(story, ", fingerprint")
	return before
}

// A line of what was said, and when.
type line struct {
	at   time.Duration
	text string
}

// teller tells one story.
type teller struct {
	m       machine
	w       *world
	v       view
	out     []output
	hash    hash.Hash
	trace   []byte
	buffer  []byte
	steps   int
	full    bool
	summary bool
	lines   []line // of this directive
	turns   map[string][]turn
	began   time.Duration // of this directive
}

// turn is one change of an output.
type turn struct {
	at time.Duration
	to float64
}

// tell carries a story out and returns it with what was said, and every step.
func tell(blocks []block) (story string, trace []byte) {
	t := &teller{w: newWorld(nil), hash: sha256.New()}
	var all strings.Builder
	for i, b := range blocks {
		if i > 0 {
			all.WriteString("\n")
		}
		for _, raw := range b.raw {
			all.WriteString(raw + "\n")
		}
		all.WriteString("----\n")
		t.summary = false
		for _, d := range b.directives {
			t.lines, t.turns, t.began = nil, map[string][]turn{}, t.w.elapsed
			d(t)
			for _, l := range t.finish() {
				all.WriteString(l + "\n")
			}
		}
		if t.summary {
			all.WriteString(t.state() + "\n")
		}
	}
	return all.String(), t.trace
}

func (t *teller) set(all []setting, over time.Duration) {
	for _, s := range all {
		s(t.w, over)
	}
}

func (t *teller) print(format string, args ...any) {
	t.lines = append(t.lines, line{t.w.elapsed, clock(t.w.elapsed) + " " + fmt.Sprintf(format, args...)})
}

// step lets so much time go by and calls the machine.
func (t *teller) step(dt time.Duration, o order) []event {
	t.w.place = t.v.place
	if t.steps > 0 {
		t.w.advance(dt)
	} else {
		t.w.advance(0)
	}
	before := t.v
	out, said, v := t.m.step(t.w.aware, o, t.full)
	if t.w.clock == "stepped" {
		t.w.clock = "set"
	}
	t.steps, t.summary = t.steps+1, true
	t.buffer = canon(t.buffer[:0], t.w.elapsed, out, said, v)
	t.hash.Write(t.buffer)
	if *stepsTo != "" {
		t.trace = append(t.trace, t.buffer...)
	}
	about := map[string]bool{}
	for _, e := range said {
		about[e.alarm] = about[e.alarm] || e.kind == "raised" || e.kind == "over"
		t.print("%s", e.text)
	}
	if !slices.Equal(before.phases, v.phases) {
		t.changes(before, v, about)
	}
	for i, o := range out {
		was := 0.0
		if t.out != nil {
			was = t.out[i].value
		}
		if o.value != was && t.turns != nil {
			t.turns[o.name] = append(t.turns[o.name], turn{t.w.elapsed, o.value})
		}
	}
	t.out, t.v, t.w.on = out, v, out[0].value == 1
	return said
}

// changes prints changes of alarms that no event was about.
func (t *teller) changes(before, after view, about map[string]bool) {
	phaseIn := func(v view, alarm string) string {
		for _, p := range v.phases {
			if p.alarm == alarm {
				return p.phase
			}
		}
		return "normal"
	}
	var names []string
	for _, p := range append(slices.Clone(before.phases), after.phases...) {
		if !slices.Contains(names, p.alarm) {
			names = append(names, p.alarm)
		}
	}
	for _, name := range names {
		if now := phaseIn(after, name); !about[name] && phaseIn(before, name) != now {
			t.print("alarm %s: %s", name, now)
		}
	}
}

// finish lists what was said to one directive, with what the outputs did: each change
// of one that changed a few times, and how long the others were on.
func (t *teller) finish() (all []string) {
	var sums []string
	for i, o := range t.out {
		turns := t.turns[o.name]
		if len(turns) <= 3 || o.name == "damper" {
			for _, turn := range turns {
				t.lines = append(t.lines, line{turn.at, clock(turn.at) + " " + o.name + " " + setTo(o.name, turn.to)})
			}
			continue
		}
		on, from, was := time.Duration(0), t.began, 1-turns[0].to
		for _, turn := range append(slices.Clone(turns), turn{t.w.elapsed, 0}) {
			if was == 1 {
				on += turn.at - from
			}
			from, was = turn.at, turn.to
		}
		sums = append(sums, fmt.Sprintf("%s %s switched %d times, on for %s of %s", strings.Repeat(" ", 8), t.out[i].name, len(turns), clock(on), clock(t.w.elapsed-t.began)))
	}
	slices.SortStableFunc(t.lines, func(a, b line) int { return cmp.Compare(a.at, b.at) })
	for _, l := range t.lines {
		all = append(all, l.text)
	}
	return append(all, sums...)
}

func setTo(name string, value float64) string {
	switch {
	case name == "damper":
		return quantity.Ratio(value).String()
	case value == 1:
		return "on"
	}
	return "off"
}

// state says where the machine stands.
func (t *teller) state() string {
	v := &t.v
	parts := []string{v.batch}
	if v.tripped != "" {
		parts = append(parts, "tripped by "+v.tripped)
	}
	if v.stage != "" {
		parts = append(parts, fmt.Sprintf("%s for %s", v.stage, clock(v.clock)))
	}
	if v.prompt != "" {
		parts = append(parts, "waits for an answer")
	}
	if v.regulates {
		parts = append(parts, fmt.Sprintf("setpoint %.1f, demand %.0f %%", float64(v.setpoint), v.demand*100))
	}
	parts = append(parts, "chamber "+reading(v.chamber))
	cold, hot := reading(v.coldest), reading(v.most)
	if cold != hot {
		cold += " to " + hot
	}
	return "= " + strings.Join(append(parts, "core "+cold), ", ")
}

func reading(r sensors.Reading) string {
	if v, ok := r.Value(); ok {
		return fmt.Sprintf("%.1f", float64(v))
	}
	return "unknown"
}

func (t *teller) proof() {
	v := &t.v
	var parts []string
	if v.log10Known {
		parts = append(parts, fmt.Sprintf("%.2f log10", v.log10))
	}
	if !math.IsNaN(v.cooked) {
		parts = append(parts, fmt.Sprintf("%.0f %% of the criterion", 100*v.cooked))
	}
	come := "come-up " + clock(v.comeUp.took)
	if v.comeUp.done {
		come += " done"
	}
	if v.comeUp.unproven {
		come += ", unproven"
	}
	if v.comeUp.begun {
		parts = append(parts, come)
	}
	for _, l := range v.legs {
		if !l.begun {
			continue
		}
		how := "so far"
		switch {
		case l.ended && l.pass:
			how = "in time"
		case l.ended:
			how = "too late"
		}
		parts = append(parts, fmt.Sprintf("%.1f to %.1f °C in %s of %s, %s", float64(l.from), float64(l.to), clock(l.took), clock(l.within), how))
	}
	if len(parts) == 0 {
		parts = []string{"nothing"}
	}
	t.print("proven: %s", strings.Join(parts, "; "))
}

func (t *teller) alarms() {
	for _, p := range t.v.phases {
		stands := "gone"
		if p.standing {
			stands = "stands"
		}
		t.print("alarm %s is %s, its cause %s", p.alarm, p.phase, stands)
	}
	if len(t.v.phases) == 0 {
		t.print("no alarm")
	}
}

func (t *teller) humidity() {
	if t.v.humidityKnown {
		t.print("humidity %.1f %%", 100*float64(t.v.humidity))
		return
	}
	t.print("humidity unknown")
}

func (t *teller) fuel() {
	if t.v.fuelKnown {
		t.print("%.0f %% of the filling left", 100*float64(t.v.fuel))
		return
	}
	t.print("filling unknown")
}

// clock writes a time as 01:23:45.
func clock(d time.Duration) string {
	sign := ""
	if d < 0 {
		sign, d = "-", -d
	}
	text := fmt.Sprintf("%s%02d:%02d:%02d", sign, int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60)
	if rest := d % time.Second; rest != 0 {
		text += fmt.Sprintf(".%03d", rest.Milliseconds())
	}
	return text
}

// ways lead from a fresh machine into each state of the batch, by a product of which
// the first stage asks first.
var ways = []struct {
	state string
	way   []string
}{
	{"idle", nil},
	{"running, asking", []string{"start"}},
	{"running", []string{"start", "confirm"}},
	{"holding", []string{"start", "confirm", "hold"}},
	{"held", []string{"start", "confirm", "hold", ""}},
	{"restarting", []string{"start", "confirm", "hold", "", "restart"}},
	{"stopping", []string{"start", "confirm", "stop"}},
	{"stopped", []string{"start", "confirm", "stop", ""}},
	{"aborting", []string{"start", "confirm", "abort"}},
	{"aborted", []string{"start", "confirm", "abort", ""}},
	{"complete", []string{"start", "confirm", "wait"}},
}

// readEach gives one command in each state of the batch, to a fresh machine each time,
// and makes one more step after it.
func readEach(w *words) (directive, error) {
	if len(w.plain) == 0 {
		return nil, fmt.Errorf("which command")
	}
	verb := w.plain[0]
	if _, ok := verbs[verb]; !ok {
		return nil, fmt.Errorf("unknown command %q", verb)
	}
	w.plain = w.plain[1:]
	o, err := parseOrder(verb, w)
	return func(t *teller) {
		for _, way := range ways {
			fresh := &teller{m: machine{product: t.m.product, cabinet: t.m.cabinet}, w: t.w.clone(), hash: t.hash, trace: t.trace}
			fresh.step(time.Second, order{})
			for _, verb := range way.way {
				if verb != "wait" {
					fresh.step(time.Second, order{verb: verb})
					continue
				}
				for end := fresh.w.elapsed + 24*time.Hour; fresh.v.batch != "complete" && fresh.w.elapsed < end; {
					fresh.step(time.Second, order{})
				}
			}
			var heard []string
			for _, e := range append(fresh.step(time.Second, o), fresh.step(time.Second, order{})...) {
				heard = append(heard, e.text)
			}
			if len(heard) == 0 {
				heard = []string{"nothing"}
			}
			t.lines = append(t.lines, line{text: fmt.Sprintf("%-15s  %s", way.state, strings.Join(heard, "; "))})
			t.steps, t.trace = t.steps+fresh.steps, fresh.trace
		}
		t.summary = false
	}, err
}

// doubts prints what speaks against the probes, and what has been seen of them.
func (t *teller) doubts() {
	for _, d := range controller.Doubts(t.m.cabinet, &t.m.state) {
		t.print("%s", d.Text(t.m.cabinet))
	}
	t.print("%s", controller.Examined(t.m.cabinet, &t.m.state))
}
