package cabinet

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
	"fumarium/sensors/thermistor"
	"fumarium/sensors/thermocouple"
)

// A BusKind is how a chip talks.
type BusKind uint8

// The kinds of bus.
const (
	NoBus BusKind = iota
	SPI
	I2C
	OneWire
)

// A front is what the file may say of a chip.
type front struct {
	bus       BusKind
	couple    bool   // it reads a thermocouple
	room      bool   // it measures the air where it hangs, and stands no heat
	low, high uint64 // addresses; zero is none
	usual     uint64 // address
}

// The chips that have a driver, with the addresses of their datasheets.
var fronts = map[string]front{
	"MAX31855": {bus: SPI, couple: true},
	"MAX31856": {bus: SPI, couple: true},
	"MAX6675":  {bus: SPI, couple: true},
	"MCP9600":  {bus: I2C, couple: true, low: 0x60, high: 0x67, usual: 0x67},
	"MCP9601":  {bus: I2C, couple: true, low: 0x60, high: 0x67, usual: 0x67},
	"ADS1115":  {bus: I2C, low: 0x48, high: 0x4B, usual: 0x48},
	"DS18B20":  {bus: OneWire},
	"BME280":   {bus: I2C, room: true, low: 0x76, high: 0x77, usual: 0x76},
	"BMP280":   {bus: I2C, room: true, low: 0x76, high: 0x77, usual: 0x76},
	"MCP9808":  {bus: I2C, room: true, low: 0x18, high: 0x1F, usual: 0x18},
}

var (
	mains = []source.Word[int]{{Text: "50 Hz", Meaning: 50}, {Text: "60 Hz", Meaning: 60}}
	sides = []source.Word[bool]{{Text: "ground", Meaning: false}, {Text: "supply", Meaning: true}}

	supplyInputs = []source.Word[int]{{Text: "0", Meaning: 0}, {Text: "1", Meaning: 1}, {Text: "2", Meaning: 2}, {Text: "3", Meaning: 3}, {Text: "none", Meaning: Unmeasured}}

	stretchRange  = source.Range[quantity.Ratio]{Low: -0.1, High: 0.1, Text: quantity.Ratio.String, Why: "a probe that is further out wants replacing"}
	dampingRange  = source.Range[time.Duration]{Low: 0, High: 30 * time.Second, Text: quantity.FormatDuration, Why: "a slower reading would hide an overheating chamber"}
	boardRange    = source.Range[quantity.Celsius]{Low: -20, High: 85, Text: quantity.Celsius.String}
	inputRange    = source.Range[float64]{Low: 0, High: 3, Why: "the chip has four"}
	voltRange     = source.Range[volts]{Low: 1, High: 5.5, Text: volts.String, Why: "the chip takes no more"}
	resistorRange = source.Range[ohms]{Low: 10, High: 10e6, Text: ohms.String}
	betaRange     = source.Range[quantity.Kelvin]{Low: 1000, High: 10_000, Text: quantity.Kelvin.String}
	pointRange    = source.Range[quantity.Celsius]{Low: -80, High: 300, Text: quantity.Celsius.String}
)

// busForms are how the file may name a bus: as the programs' libraries do, or the
// kernel's device node.
var busForms = []struct {
	kind    BusKind
	form    *regexp.Regexp
	written string // with the numbers of the form
	example string
}{
	{SPI, regexp.MustCompile(`^(?:SPI|/dev/spidev)([0-9]{1,2})\.([0-9]{1,2})$`), "SPI%d.%d", "SPI0.0"},
	{I2C, regexp.MustCompile(`^(?:I2C|/dev/i2c-)([0-9]{1,2})$`), "I2C%d", "I2C1"},
	{OneWire, regexp.MustCompile(`^w1_bus_master([0-9]{1,2})$`), "w1_bus_master%d", "w1_bus_master1"},
}

// ParseBus reads how a bus is named. The numbers are the bus and, for SPI, the
// chip select.
func ParseBus(name string) (kind BusKind, bus, chipSelect int, ok bool) {
	for _, f := range busForms {
		if m := f.form.FindStringSubmatch(name); m != nil {
			bus, _ = strconv.Atoi(m[1])
			if len(m) > 2 {
				chipSelect, _ = strconv.Atoi(m[2])
			}
			return f.kind, bus, chipSelect, true
		}
	}
	return NoBus, 0, 0, false
}

// Simulated reports whether the probe exists only in rehearsal, be it with a real
// driver.
func (p *Probe) Simulated() bool { return p.Chip == Simulated || p.Bus == Simulated }

// OnI2C reports whether the probe's chip talks over I2C, be it a simulated one.
func (p *Probe) OnI2C() bool { return fronts[p.Chip].bus == I2C }

// Simulated reports whether the cabinet exists only in rehearsal. Parse refuses
// one that is half real.
func (c *Cabinet) Simulated() bool { return c.Heater.Pin == Simulated }

// frontEnd reads what a probe hangs on.
func (r *reader) frontEnd(m *source.Map, p *Probe) {
	chip := m.Need("chip")
	p.Chip = chip.Text()
	chip.Takes(append(slices.Sorted(maps.Keys(fronts)), Simulated)...)
	bus := m.Take("bus")
	letter := m.Take("type")
	p.Bus, p.Type = bus.Text(), letter.Text()
	letter.Takes(thermocouple.Letters()...)
	if p.Chip == Simulated || p.Chip == "" {
		r.world(chip, p.Chip)
		return
	}
	p.Chip = strings.ToUpper(p.Chip)
	f, known := fronts[p.Chip]
	if !known {
		chip.Fault(fmt.Sprintf("there is no driver for %q", p.Chip), "use "+strings.Join(slices.Sorted(maps.Keys(fronts)), ", ")+" or simulated")
		r.world(chip, p.Chip)
		return
	}
	if f.room && p.Role != AmbientProbe && p.Role != 0 {
		chip.Fault(fmt.Sprintf("the %s measures the air on its own board, which stands no chamber", p.Chip), "give it role: ambient and hang it in the room, or use another chip")
	}
	if p.Bus == Simulated {
		r.world(bus, Simulated)
	} else {
		r.world(chip, p.Chip)
		r.bus(m, bus, p, f.bus)
	}
	switch {
	case f.couple && p.Type == "":
		p.Type = "K"
	case f.couple:
		if t, err := thermocouple.ParseType(p.Type); err != nil {
			letter.Fault(fmt.Sprintf("thermocouple type %q is not known", p.Type), "use K, J, T, N or E")
		} else if p.Type = t.String(); p.Chip == "MAX6675" && t != thermocouple.K {
			letter.Fault("the MAX6675 reads type K only, not "+p.Type, "write type: K, or use another chip")
		}
	case letter.Present():
		letter.Fault("the "+p.Chip+" has no thermocouple", "remove the key")
	}
	if p.Chip == "MAX6675" {
		p.Board = 25
		if v := m.Take("board"); v.Present() {
			p.Board, _ = source.ReadIn(v, quantity.ParseTemperature, boardRange)
		}
	}
	r.address(m, p, f)
	if p.Chip == "ADS1115" {
		p.Thermistor = parseThermistor(m)
	}
	r.place(m, p, f.bus)
}

// bus reads a real bus and gives it one name, so that two probes can be held
// against each other.
func (r *reader) bus(m *source.Map, v source.Value, p *Probe, kind BusKind) {
	for _, f := range busForms {
		if f.kind != kind {
			continue
		}
		if !v.Present() {
			m.Fault(fmt.Sprintf("the %s needs the key bus", p.Chip), "name the bus it hangs on, such as bus: "+f.example)
			return
		}
		got, bus, chipSelect, ok := ParseBus(p.Bus)
		if !ok || got != kind {
			if p.Bus != "" {
				v.Fault(fmt.Sprintf("%q is no bus for a %s", p.Bus, p.Chip), "name it like "+f.example+", or write simulated")
			}
			return
		}
		p.Bus = busName(kind, bus, chipSelect)
	}
}

// busName is the one name of a bus, however a file writes it.
func busName(kind BusKind, bus, chipSelect int) string {
	for _, f := range busForms {
		switch {
		case f.kind == kind && kind == SPI:
			return fmt.Sprintf(f.written, bus, chipSelect)
		case f.kind == kind:
			return fmt.Sprintf(f.written, bus)
		}
	}
	return ""
}

func (r *reader) address(m *source.Map, p *Probe, f front) {
	if f.bus == SPI {
		return
	}
	v := m.Take("address")
	p.Address = f.usual
	if !v.Present() {
		if f.bus == OneWire && p.Bus != Simulated {
			m.Fault("the DS18B20 needs the key address", "write the 16 digits that `fumarium wiring find` shows for it")
		}
		return
	}
	got, ok := source.Read(v, parseHex)
	if !ok {
		return
	}
	if f.high > 0 && (got < f.low || got > f.high) {
		v.Fault(fmt.Sprintf("%#x is outside %#x to %#x", got, f.low, f.high), "look at what the chip's address pin is tied to")
	}
	p.Address = got
}

// place finds two probes at the same place of a bus.
func (r *reader) place(m *source.Map, p *Probe, kind BusKind) {
	if p.Bus == "" || kind == SPI && p.Bus == Simulated || kind == OneWire && p.Address == 0 {
		return
	}
	place := p.Bus
	if kind != SPI {
		place = fmt.Sprintf("%s at %#x", p.Bus, p.Address)
	}
	at := place
	if p.Chip == "ADS1115" { // its inputs may be shared out
		at = fmt.Sprintf("%s, input %d", place, p.Thermistor.Input)
	}
	other, taken := r.places[at]
	if !taken {
		if other, taken = r.places[place]; taken && other.Chip == p.Chip {
			taken = p.Chip != "ADS1115"
			if !taken && other.Thermistor.Supply != p.Thermistor.Supply {
				key := "input"
				if m.Has("supply") {
					key = "supply"
				}
				m.FaultAt(key, fmt.Sprintf("%q and %q share a converter, but their supplies differ", other.Name, p.Name), "give both the same key supply")
			}
		}
	}
	if taken {
		key := "bus"
		if kind != SPI && m.Has("address") {
			key = "address"
		}
		m.FaultAt(key, fmt.Sprintf("%q and %q are both on %s", other.Name, p.Name, at), "give each a chip select, an address or an input of its own")
		return
	}
	r.places[at], r.places[place] = *p, *p
}

func parseThermistor(m *source.Map) Thermistor {
	var t Thermistor
	input, _ := source.ReadIn(m.Take("input"), quantity.ParseNumber, inputRange)
	if t.Input = int(input); float64(t.Input) != input {
		m.FaultAt("input", fmt.Sprintf("%v is no whole number", input), "write 0, 1, 2 or 3")
	}
	t.Supply = DefaultSupply
	if supply := m.Take("supply").Map(); supply != nil {
		t.Supply.Input, _ = source.Choice(supply.Need("input"), supplyInputs)
		v, _ := source.ReadIn(supply.Need("voltage"), parseVolts, voltRange)
		t.Supply.Volts = float64(v)
		supply.Done()
	}
	if t.Input == t.Supply.Input {
		key := "supply"
		if m.Has("input") {
			key = "input"
		}
		m.FaultAt(key, fmt.Sprintf("%d measures the dividers' supply and has the thermistor", t.Input), "put the thermistor on another input, or say with the key supply what feeds it")
	}
	part := m.Need("thermistor").Map()
	if part == nil {
		return t
	}
	fixed, _ := source.ReadIn(part.Need("resistor"), parseOhms, resistorRange)
	t.Divider.Ohms = float64(fixed)
	t.Divider.OnTop, _ = source.Choice(part.Take("to"), sides)
	if part.Has("beta") || part.Has("at 25") {
		beta, okBeta := source.ReadIn(part.Need("beta"), quantity.ParseTemperatureDifference, betaRange)
		nominal, okNominal := source.ReadIn(part.Need("at 25"), parseOhms, resistorRange)
		if okBeta && okNominal {
			t.Curve, _ = thermistor.FromBeta(thermistor.Point{Temperature: 25, Ohms: float64(nominal)}, float64(beta))
		}
		part.Done()
		return t
	}
	list := part.Need("points")
	var points []thermistor.Point
	for _, item := range list.List(3) {
		pair := item.Map()
		at, okAt := source.ReadIn(pair.Need("at"), quantity.ParseTemperature, pointRange)
		value, okValue := source.ReadIn(pair.Need("is"), parseOhms, source.Range[ohms]{Low: 1, High: 100e6, Text: ohms.String})
		pair.Done()
		if okAt && okValue {
			points = append(points, thermistor.Point{Temperature: at, Ohms: float64(value)})
		}
	}
	if list.Present() && len(points) == 3 {
		var err error
		if t.Curve, err = thermistor.Fit(points[0], points[1], points[2]); err != nil {
			list.Fault(strings.TrimPrefix(err.Error(), "thermistor: "), "copy three points from the part's data sheet")
		}
	} else if list.Present() {
		list.Fault("a curve takes three points", "copy the resistance at three temperatures from the part's data sheet")
	}
	part.Done()
	return t
}

// line reads the keys that every GPIO line has. An output drives a relay.
func (r *reader) line(m *source.Map, output bool) Wire {
	if m == nil {
		return Wire{}
	}
	w := Wire{Fitted: true, Line: m.Line()}
	pin := m.Need("pin")
	w.Pin = pin.Text()
	r.world(pin, w.Pin)
	if w.Pin != "" && w.Pin != Simulated {
		if r.pins[w.Pin] {
			pin.Fault(fmt.Sprintf("%q is taken already", w.Pin), "give every wire a pin of its own")
		}
		r.pins[w.Pin] = true
	}
	w.ActiveLow, _ = source.Choice(m.Take("polarity"), polarities)
	if output {
		w.Insist, _ = source.Choice(m.Take("insist"), yesNo)
	}
	return w
}

func (r *reader) wire(m *source.Map, output bool) Wire {
	w := r.line(m, output)
	m.Done()
	return w
}

// ohms is a resistance.
type ohms float64

func (o ohms) String() string { return strconv.FormatFloat(float64(o), 'f', -1, 64) + " Ω" }

var resistance = regexp.MustCompile(`^(.*?)\s*(kΩ|MΩ|Ω|kohm|Mohm|ohm)$`)

// parseOhms reads "10 kΩ" or "10 kohm".
func parseOhms(text string) (ohms, error) {
	// The ohm sign and the capital omega look alike.
	m := resistance.FindStringSubmatch(strings.ReplaceAll(strings.TrimSpace(text), "\u2126", "Ω"))
	if m == nil {
		return 0, &quantity.ParseError{Message: fmt.Sprintf("missing unit in %q", text), Remedy: "write a resistance as 10 kΩ or 10 kohm"}
	}
	v, err := quantity.ParseNumber(m[1])
	switch m[2][0] {
	case 'k':
		v *= 1e3
	case 'M':
		v *= 1e6
	}
	return ohms(v), err
}

// volts is a voltage.
type volts float64

func (v volts) String() string { return strconv.FormatFloat(float64(v), 'f', -1, 64) + " V" }

// parseVolts reads "3.3 V".
func parseVolts(text string) (volts, error) {
	number, found := strings.CutSuffix(strings.TrimSpace(text), "V")
	if !found {
		return 0, &quantity.ParseError{Message: fmt.Sprintf("missing unit in %q", text), Remedy: "write a voltage as 3.3 V"}
	}
	v, err := quantity.ParseNumber(strings.TrimSpace(number))
	return volts(v), err
}

// parseStretch reads "-0.35 %".
func parseStretch(text string) (quantity.Ratio, error) {
	number, found := strings.CutSuffix(strings.TrimSpace(text), "%")
	if !found {
		return 0, &quantity.ParseError{Message: fmt.Sprintf("missing unit in %q", text), Remedy: "write it as `fumarium wiring calibrate` prints it, such as -0.35 %"}
	}
	v, err := quantity.ParseNumber(strings.TrimSpace(number))
	return quantity.Ratio(v / 100), err
}

// parseHex reads the address of a chip.
func parseHex(text string) (uint64, error) {
	digits, found := strings.CutPrefix(strings.ToLower(strings.TrimSpace(text)), "0x")
	v, err := strconv.ParseUint(digits, 16, 64)
	if !found || err != nil {
		return 0, &quantity.ParseError{Message: fmt.Sprintf("%q is no address", text), Remedy: "write it in hexadecimal, such as 0x48"}
	}
	return v, nil
}
