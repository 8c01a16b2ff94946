package cabinet

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Simulated is the chip of a probe, and the pin of a relay, that exist only in
// rehearsal.
const Simulated = "simulated"

// Limits on what a cabinet file may say. All are common practice, no source: they
// are far outside what is built, and catch a slip of the pen.
const (
	maxProbes = 16
	maxLayers = 10
)

var (
	altitudeRange  = source.Range[quantity.Meters]{Low: LowestAltitude, High: HighestAltitude, Text: inMeters, Why: "nobody smokes food beyond that"}
	ambientRange   = source.Range[quantity.Celsius]{Low: -30, High: 50, Text: quantity.Celsius.String}
	loadRange      = source.Range[quantity.Kilograms]{Low: 0, High: 5000, Above: true, Text: quantity.Kilograms.String}
	offsetRange    = source.Range[quantity.Kelvin]{Low: -5, High: 5, Text: quantity.Kelvin.String, Why: "a probe that is further out wants replacing"}
	errorRange     = source.Range[quantity.Kelvin]{Low: 0, High: 10, Text: quantity.Kelvin.String, Why: "a probe that may be further out proves nothing"}
	sheathRange    = source.Range[time.Duration]{Low: 0, High: 30 * time.Minute, Text: quantity.FormatDuration}
	powerRange     = source.Range[quantity.Watts]{Low: 20, High: 20_000, Text: quantity.Watts.String}
	windowRange    = source.Range[time.Duration]{Low: time.Second, High: 10 * time.Minute, Text: quantity.FormatDuration}
	leastRange     = source.Range[time.Duration]{Low: 0, High: 5 * time.Minute, Text: quantity.FormatDuration}
	highRange      = source.Range[quantity.Celsius]{Low: 20, High: 150, Text: quantity.Celsius.String, Why: "no smokehouse works above that"}
	rampRange      = source.Range[quantity.KelvinPerSecond]{Low: 0, High: 600. / 3600, Above: true, Text: quantity.KelvinPerSecond.String}
	gainRange      = source.Range[quantity.Kelvin]{Low: 1, High: 1000, Text: quantity.Kelvin.String}
	lagRange       = source.Range[time.Duration]{Low: time.Second, High: 24 * time.Hour, Text: quantity.FormatDuration}
	secondRange    = source.Range[time.Duration]{Low: 0, High: 24 * time.Hour, Text: quantity.FormatDuration}
	deadRange      = source.Range[time.Duration]{Low: 0, High: time.Hour, Text: quantity.FormatDuration}
	insideRange    = source.Range[quantity.Meters]{Low: 0.1, High: 10, Text: quantity.Meters.String}
	layerRange     = source.Range[quantity.Meters]{Low: 0.0001, High: 1, Text: quantity.Meters.String}
	racksRange     = source.Range[quantity.Kilograms]{Low: 0, High: 500, Text: quantity.Kilograms.String}
	elementRange   = source.Range[quantity.Kilograms]{Low: 0.05, High: 50, Text: quantity.Kilograms.String}
	openingRange   = source.Range[quantity.SquareMeters]{Low: 0, High: 1.5, Text: quantity.SquareMeters.String}
	fanRange       = source.Range[quantity.CubicMetersPerSecond]{Low: 0, High: 20_000. / 3600, Text: quantity.CubicMetersPerSecond.String}
	leastShare     = source.Range[quantity.Ratio]{Low: 0.05, High: 1, Text: quantity.Ratio.String}
	mostShare      = source.Range[quantity.Ratio]{Low: 1, High: 5, Text: quantity.Ratio.String}
	trayRange      = source.Range[quantity.Ratio]{Low: 0, High: 1, Text: quantity.Ratio.String}
	humidifierRate = source.Range[quantity.Kilograms]{Low: 0, High: 50, Text: quantity.Kilograms.String}
	coolerRange    = source.Range[quantity.Watts]{Low: 0, High: 20_000, Text: quantity.Watts.String}
)

var (
	roles = []source.Word[Role]{
		{Text: "chamber", Meaning: ChamberProbe}, {Text: "core", Meaning: CoreProbe},
		{Text: "wet bulb", Meaning: WetBulbProbe}, {Text: "ambient", Meaning: AmbientProbe},
		{Text: "ember", Meaning: EmberProbe},
	}
	// most is how many probes of a role the controller's state has room for.
	most       = map[Role]int{ChamberProbe: MaxChamberProbes, CoreProbe: MaxCoreProbes, WetBulbProbe: 1, AmbientProbe: 1, EmberProbe: 1}
	wicks      = []source.Word[WickAir]{{Text: "open", Meaning: WickOpen}, {Text: "fan stream", Meaning: WickFanStream}, {Text: "own blower", Meaning: WickOwnBlower}}
	polarities = []source.Word[bool]{{Text: "active high", Meaning: false}, {Text: "active low", Meaning: true}}
	yesNo      = []source.Word[bool]{{Text: "yes", Meaning: true}, {Text: "no", Meaning: false}}
)

// inMeters writes an altitude, which no one gives in millimeters.
func inMeters(h quantity.Meters) string { return strconv.FormatFloat(float64(h), 'f', -1, 64) + " m" }

// steps bring a cabinet file from each format to the next, from 1 on. What changes what an
// older file means, or what it calls something, is a step; a key more is none.
var steps []source.Step

// Parse reads a cabinet file and checks all of it. The error is a source.Findings
// with everything wrong with the file, in the order of the file. file is only for
// messages.
func Parse(file string, data []byte) (*Cabinet, error) {
	doc, err := source.Open(file, data)
	if err != nil {
		return nil, err
	}
	return parse(doc, false)
}

// ParseRecorded reads a cabinet file that was taken with a batch. What a file may no longer
// say, because it was said better since, is still read there as it was meant.
func ParseRecorded(file string, data []byte) (*Cabinet, error) {
	doc, err := source.Open(file, data)
	if err != nil {
		return nil, err
	}
	return parse(doc, true)
}

// Ask reads a cabinet file like Parse and notes what is asked of it.
func Ask(file string, data []byte, notes *source.Asked) error {
	doc, err := source.Open(file, data)
	if err != nil {
		return err
	}
	doc.Ask(notes)
	_, err = parse(doc, false)
	return err
}

func parse(doc *source.Document, recorded bool) (*Cabinet, error) {
	root := doc.Root().Named("a cabinet")
	if !root.Format(steps...) {
		return nil, doc.Err()
	}
	c := &Cabinet{Name: root.Need("cabinet").Text()}
	c.Ambient, _ = source.ReadIn(root.Need("ambient"), quantity.ParseTemperature, ambientRange)
	if v := root.Take("load"); v.Present() {
		c.Load, _ = source.ReadIn(v, quantity.ParseMass, loadRange)
	}
	if v := root.Take("altitude"); v.Present() {
		c.Altitude, c.HasAltitude = source.ReadIn(v, quantity.ParseAltitude, altitudeRange)
	}
	c.LineChip = root.Take("line chip").Text()
	c.MainsHertz = 50
	if v := root.Take("mains"); v.Present() {
		c.MainsHertz, _ = source.Choice(v, mains)
	}
	r := reader{pins: map[string]bool{}, places: map[string]Probe{}}
	probes := root.Need("probes")
	c.Probes = r.probes(probes)
	heater := root.Need("heater").Map()
	c.Heater = r.heater(heater)
	c.Fan = r.relay(root.Take("fan").Map(), Relay{Window: 2 * time.Minute, MinOn: 20 * time.Second, MinOff: 20 * time.Second})
	c.Smoke = r.relay(root.Take("smoke").Map(), pump)
	c.Wick = r.wick
	if r.wick == WickFanStream && !c.Fan.Fitted {
		r.wickAt.Fault("there is no fan, so nothing blows on the wick", "add the fan, or write wick: open or wick: own blower")
	}
	c.Humidifier = r.relay(root.Take("humidifier").Map(), switched)
	c.Damper = r.relay(root.Take("damper").Map(), blade)
	c.Cooler = r.relay(root.Take("cooler").Map(), compressor)
	sounder := root.Take("sounder").Map()
	if sounder != nil {
		c.SounderRhythm, _ = source.Choice(sounder.Take("rhythm"), yesNo)
	}
	c.Sounder = r.relay(sounder, switched)
	c.Light = r.relay(root.Take("light").Map(), switched)
	c.Door = r.wire(root.Take("door").Map(), false)
	c.Panel = r.panel(root.Take("panel").Map())
	r.oneWorld()

	limits := root.Need("limits").Map()
	c.Limits.ChamberHigh, _ = source.ReadIn(limits.Need("chamber"), quantity.ParseTemperature, highRange)
	c.Limits.Ramp, _ = source.ReadIn(limits.Take("ramp"), quantity.ParseRate, rampRange)
	limits.Done()

	rules := root.Take("rules").Map()
	c.Rules.FanWithSmoke, _ = source.Choice(rules.Take("fan with smoke"), yesNo)
	rules.Done()

	probed := c.Has(EmberProbe)
	generator := root.Take("generator")
	c.Generator = parseGenerator(generator.Map(), c.Smoke, probed)
	if probed && !generator.Present() {
		probes.Fault("there is an ember probe, but no generator", "add generator: "+generatorKeys+", or remove the probe")
	}

	c.Response = parseResponse(root.Need("response").Map())
	c.Learned = parseLearned(root.Take("learned").Map())
	c.Heater.choose(heater, c.Law(false))
	c.Rehearsal = parseRehearsal(root.Take("rehearsal").Map(), recorded)
	root.Done()
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return c, nil
}

// switched are the timings of a relay whose file names none.
var switched = Relay{Window: 20 * time.Second, MinOn: 2 * time.Second, MinOff: 2 * time.Second}

// blade is likewise for the damper's drive. Open it takes the heat of the air within half a
// minute, before any element can answer: a longer window swings the chamber by more (rehearsed
// in the masonry walk-in, rms: 3 K at 3 min, 1.2 K at 30 s, 1 K at 20 s, 0.9 K without a
// drive), a shorter one wears the drive. And compressor for a cooler's, which does not start
// against its own pressure: common practice, no source.
var (
	blade      = Relay{Window: 30 * time.Second, MinOn: 5 * time.Second, MinOff: 5 * time.Second}
	compressor = Relay{Window: 10 * time.Minute, MinOn: 3 * time.Minute, MinOff: 5 * time.Minute}
)

// reader carries what parts of the file are held against each other.
type reader struct {
	pins            map[string]bool
	places          map[string]Probe // on the buses, and who is there
	simulated, real []source.Value
	wick            WickAir
	wickAt          source.Value
}

// world notes whether a probe or relay exists only in rehearsal.
func (r *reader) world(v source.Value, name string) {
	switch name {
	case "":
	case Simulated:
		r.simulated = append(r.simulated, v)
	default:
		r.real = append(r.real, v)
	}
}

// oneWorld refuses a cabinet that is half real: a real heater must never follow a
// probe that only exists in rehearsal.
func (r *reader) oneWorld() {
	if len(r.real) == 0 {
		return
	}
	for _, v := range r.simulated {
		v.Fault("simulated, although the cabinet has real probes or relays", "name the real one here, or make every pin, and every chip or its bus, simulated")
	}
}

func (r *reader) probes(v source.Value) []Probe {
	var probes []Probe
	names, count := map[string]bool{}, map[Role]int{}
	whole := true
	for _, item := range v.List(maxProbes) {
		m := item.Map()
		var p Probe
		name := m.Need("name")
		if p.Name = name.Text(); p.Name != "" && names[p.Name] {
			name.Fault(fmt.Sprintf("there is a probe %q already", p.Name), "give every probe a name of its own")
		}
		names[p.Name] = true
		role := m.Need("role")
		var known bool
		if p.Role, known = source.Choice(role, roles); known {
			if count[p.Role]++; count[p.Role] > most[p.Role] {
				role.Fault(fmt.Sprintf("more than %d probes of this role", most[p.Role]), "remove one")
			}
		}
		whole = whole && known
		if v := m.Take("wick"); v.Present() {
			if wick, _ := source.Choice(v, wicks); p.Role == WetBulbProbe {
				r.wick, r.wickAt = wick, v
			} else if known {
				v.Fault("only a wet bulb has a wick", "remove the key, or write role: wet bulb")
			}
		}
		p.Line = m.Line()
		r.frontEnd(m, &p)
		p.Sheath, _ = source.ReadIn(m.Take("sheath"), quantity.ParseDuration, sheathRange)
		p.Offset, _ = source.ReadIn(m.Take("offset"), quantity.ParseTemperatureDifference, offsetRange)
		p.Stretch, _ = source.ReadIn(m.Take("stretch"), parseStretch, stretchRange)
		p.Error, p.HasError = source.ReadIn(m.Take("error"), quantity.ParseTemperatureDifference, errorRange)
		if day := m.Take("calibrated"); day.Present() {
			p.Calibrated, _ = source.Read(day, parseDate)
			if !m.Has("error") {
				day.Fault("a day of calibration without the error that was found", "add the key error, such as error: 0.4 K")
			}
		}
		if damping := m.Take("damping"); damping.Present() {
			if p.Chip == Simulated {
				damping.Fault("a probe without a chip has no damping", "remove the key, or name a chip")
			}
			p.Damping, _ = source.ReadIn(damping, quantity.ParseDuration, dampingRange)
		}
		m.Done()
		probes = append(probes, p)
	}
	if len(probes) > 0 && whole && count[ChamberProbe] == 0 {
		v.Fault("no probe measures the chamber", "give a probe role: chamber; nothing may heat without one")
	}
	return probes
}

func (r *reader) heater(m *source.Map) Relay {
	power, _ := source.ReadIn(m.Need("power"), quantity.ParsePower, powerRange)
	var series, feedback Wire
	if m != nil {
		series = r.wire(m.Take("series").Map(), true)
		feedback = r.wire(m.Take("feedback").Map(), false)
	}
	var said Relay
	relay := r.relay(m, said.kind(m))
	relay.Power, relay.Series, relay.Feedback = power, series, feedback
	relay.Kind, relay.RatedCycles, relay.windowSaid = said.Kind, said.RatedCycles, said.windowSaid
	return relay
}

// relay reads a switched output. What the file leaves out comes from unsaid.
func (r *reader) relay(m *source.Map, unsaid Relay) Relay {
	if m == nil {
		return Relay{}
	}
	relay := unsaid
	relay.Fitted = true
	w := r.line(m, true)
	relay.Pin, relay.ActiveLow, relay.Insist, relay.Line = w.Pin, w.ActiveLow, w.Insist, w.Line
	read := func(key string, to *time.Duration, limits source.Range[time.Duration]) bool {
		v := m.Take(key)
		d, ok := source.ReadIn(v, quantity.ParseDuration, limits)
		if ok {
			*to = d
		}
		return ok || !v.Present()
	}
	whole := read("window", &relay.Window, windowRange)
	whole = read("least on", &relay.MinOn, leastRange) && whole
	whole = read("least off", &relay.MinOff, leastRange) && whole
	if whole && relay.Window < relay.MinOn+relay.MinOff {
		m.Fault(fmt.Sprintf("a window of %s has no room for %s on and %s off", quantity.FormatDuration(relay.Window),
			quantity.FormatDuration(relay.MinOn), quantity.FormatDuration(relay.MinOff)), "write a longer window, or shorter least on and least off times")
	}
	m.Done()
	return relay
}

func parseResponse(m *source.Map) Response {
	r := parseAnswer(m)
	r.Least, r.Most = DefaultLeast, DefaultMost
	if v := m.Take("least"); v.Present() {
		r.Least, _ = source.ReadIn(v, quantity.ParseRatio, leastShare)
	}
	if v := m.Take("most"); v.Present() {
		r.Most, _ = source.ReadIn(v, quantity.ParseRatio, mostShare)
	}
	m.Done()
	return r
}

// parseAnswer reads gain, lags and dead time.
func parseAnswer(m *source.Map) (r Response) {
	r.Gain, _ = source.ReadIn(m.Need("gain"), quantity.ParseTemperatureDifference, gainRange)
	r.Lag, _ = source.ReadIn(m.Need("lag"), quantity.ParseDuration, lagRange)
	r.SecondLag, _ = source.ReadIn(m.Need("second lag"), quantity.ParseDuration, secondRange)
	r.DeadTime, _ = source.ReadIn(m.Need("dead time"), quantity.ParseDuration, deadRange)
	if r.Lag > 0 && r.SecondLag > r.Lag {
		m.FaultAt("second lag", fmt.Sprintf("%s is longer than the lag, %s", quantity.FormatDuration(r.SecondLag), quantity.FormatDuration(r.Lag)), "the second lag is the shorter of the two; swap them")
	}
	return r
}

func parseLearned(m *source.Map) (l Learned) {
	one := func(v source.Value) (r Response) {
		if answer := v.Map(); answer != nil {
			r = parseAnswer(answer)
			answer.Done()
		}
		return r
	}
	l.FanOff, l.FanOn = one(m.Take("fan off")), one(m.Take("fan on"))
	m.Done()
	return l
}

func parseRehearsal(m *source.Map, recorded bool) Rehearsal {
	var r Rehearsal
	inside := m.Need("inside").Map()
	r.Width, _ = source.ReadIn(inside.Need("width"), quantity.ParseLength, insideRange)
	r.Depth, _ = source.ReadIn(inside.Need("depth"), quantity.ParseLength, insideRange)
	r.Height, _ = source.ReadIn(inside.Need("height"), quantity.ParseLength, insideRange)
	inside.Done()
	var materials []source.Word[string]
	for _, name := range slices.Sorted(maps.Keys(Materials)) {
		materials = append(materials, source.Word[string]{Text: name, Meaning: name})
	}
	for _, item := range m.Need("wall").List(maxLayers) {
		layer := item.Map()
		var l Layer
		l.Material, _ = source.Choice(layer.Need("material"), materials)
		l.Thickness, _ = source.ReadIn(layer.Need("thickness"), quantity.ParseLength, layerRange)
		layer.Done()
		r.Wall = append(r.Wall, l)
	}
	r.Racks, _ = source.ReadIn(m.Need("racks"), quantity.ParseMass, racksRange)
	r.Element, _ = source.ReadIn(m.Need("element"), quantity.ParseMass, elementRange)
	r.Leak, _ = source.ReadIn(m.Need("leak"), opening(2, recorded), openingRange)
	r.Vent, _ = source.ReadIn(m.Need("vent"), opening(1, recorded), openingRange)
	var flowRead bool
	r.FanFlow, flowRead = source.ReadIn(m.Need("fan flow"), quantity.ParseFlow, fanRange)
	r.FanExchange, _ = source.ReadIn(m.Need("fan exchange"), quantity.ParseFlow, fanRange)
	if flowRead && r.FanExchange > r.FanFlow {
		m.FaultAt("fan exchange", fmt.Sprintf("%v is more than the fan moves in all, %v", r.FanExchange, r.FanFlow), "lower it, or raise fan flow")
	}
	r.Humidifier, _ = source.ReadIn(m.Take("humidifier"), quantity.ParseMass, humidifierRate)
	r.Cooler, _ = source.ReadIn(m.Take("cooler"), quantity.ParsePower, coolerRange)
	r.PastTray = DefaultPastTray
	if v := m.Take("past tray"); v.Present() {
		r.PastTray, _ = source.ReadIn(v, quantity.ParseRatio, trayRange)
	}
	m.Done()
	return r
}

// opening reads the area of what air passes through by its own buoyancy, counted so many
// times what is at the bottom. Files used to give the flow at a stack of 1 K times 1 m,
// which nobody can measure, and which was taken for the flow: records keep such files.
func opening(times quantity.SquareMeters, recorded bool) func(string) (quantity.SquareMeters, error) {
	return func(text string) (quantity.SquareMeters, error) {
		flow, err := quantity.ParseFlow(text)
		if err != nil {
			return quantity.ParseArea(text)
		}
		area := times * quantity.SquareMeters(flow/StackSpeed)
		if recorded {
			return area, nil
		}
		return 0, &quantity.ParseError{Message: fmt.Sprintf("%q is a flow, and how much flows changes with the heat", text),
			Remedy: fmt.Sprintf("write the area that the air passes: by what this meant, %v", area)}
	}
}

// CanRehearse reports whether the file says what the cabinet is built of.
func (c *Cabinet) CanRehearse() bool { return len(c.Rehearsal.Wall) > 0 }
