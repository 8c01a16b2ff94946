// Package cabinet reads the cabinet file: which probes and relays there are,
// what the cabinet may never do, how its chamber answers to heat, and, for
// rehearsal, what it is built of. It opens no bus and drives no relay.
package cabinet

import (
	"time"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
	"fumarium/sensors/thermistor"
)

// Limits on how many probes of a role a cabinet may have. Fixed, so that the
// controller's state has a fixed size.
const (
	MaxChamberProbes = 2
	MaxCoreProbes    = 4
)

// A Cabinet is the checked content of a cabinet file.
type Cabinet struct {
	Name       string
	Probes     []Probe
	Heater     Relay
	Fan        Relay
	Smoke      Relay // the smoke generator's pump
	Humidifier Relay
	// Damper is the drive of one that a spring opens: on drives it shut, and without power it
	// is open. Cooler is a compressor or a fan over something cold.
	Damper, Cooler Relay
	Sounder        Relay
	Light          Relay // that calls by sight
	// SounderRhythm lets the sounder pause for what is less urgent: not for a relay that
	// wears or clacks.
	SounderRhythm bool
	// Door is an input that is active while the door is shut, so that a wire that
	// has come off counts as an open door.
	Door      Wire
	Panel     Panel
	Limits    Limits
	Rules     Rules
	Generator Generator
	Ambient   quantity.Celsius // what to expect of the room
	// Load is the most food that it is meant for; zero is not stated.
	Load quantity.Kilograms
	// Altitude above the sea sets the pressure of the air and where water boils.
	// HasAltitude tells sea level from a file that does not say.
	Altitude    quantity.Meters
	HasAltitude bool
	Wick        WickAir // of the wet bulb, if there is one
	// LineChip is the label of the GPIO chip that the relays' pins belong to; empty
	// is the only one whose label begins with pinctrl-, as on a Raspberry Pi.
	LineChip string
	// MainsHertz is what thermocouple chips filter out: 50 or 60.
	MainsHertz int
	Response   Response
	Learned    Learned
	Rehearsal  Rehearsal
}

// ProbeOf is the n-th probe of a role, counted from zero, or nil.
func (c *Cabinet) ProbeOf(r Role, n int) *Probe {
	for i := range c.Probes {
		if c.Probes[i].Role != r {
			continue
		}
		if n == 0 {
			return &c.Probes[i]
		}
		n--
	}
	return nil
}

// Has reports whether the file names a probe of the role.
func (c *Cabinet) Has(r Role) bool {
	for i := range c.Probes {
		if c.Probes[i].Role == r {
			return true
		}
	}
	return false
}

// Altitudes that a cabinet may have.
const (
	LowestAltitude  quantity.Meters = -400
	HighestAltitude quantity.Meters = 5000
)

// Pressure of the air in Pa: the standard atmosphere's at the cabinet's altitude, at
// sea level when the file gives none. The weather is left out: it moves the pressure
// by 3 % and humidity by less than 0.3 %RH.
func (c *Cabinet) Pressure() float64 {
	if c.Altitude == 0 {
		return psychrometer.StandardPressure
	}
	return psychrometer.PressureAt(c.Altitude)
}

// A WickAir is what moves the air past the wick of a wet bulb.
type WickAir uint8

// The ways to hang a wick. The zero WickAir is what a file means that says nothing.
const (
	// WickOpen hangs among the product: some 1 m/s while the fan runs, else still air.
	WickOpen WickAir = iota
	// WickFanStream hangs right before the fan: above 2.2 m/s while it runs.
	WickFanStream
	// WickOwnBlower has a blower of its own that always runs: above 2.2 m/s.
	WickOwnBlower
)

// Role is what a probe measures.
type Role uint8

// The probe roles.
const (
	ChamberProbe Role = iota + 1
	CoreProbe
	WetBulbProbe
	AmbientProbe
	EmberProbe // in the smouldering wood of the smoke generator
)

// String is the role's word in the cabinet file.
func (r Role) String() string {
	for _, w := range roles {
		if w.Meaning == r {
			return w.Text
		}
	}
	return quantity.Unknown
}

// A Probe is one sensor and the front end it hangs on.
type Probe struct {
	Name string
	Role Role
	Chip string // front end; "simulated" in a cabinet that exists only in rehearsal
	Bus  string // as "SPI0.0", "I2C1" or "w1_bus_master1"; "simulated" puts a simulated chip behind the real driver
	Type string // thermocouple letter; may be empty for other chips
	// Address is that of the chip on its bus, for chips that have one.
	Address uint64
	// Offset is added to what the probe shows at 0 °C, and Stretch for each kelvin
	// above that.
	Offset  quantity.Kelvin
	Stretch quantity.Ratio
	// Error is how far the probe may still be wrong after that, and Calibrated the day on
	// which it was found out. HasError tells zero from a file that does not say.
	Error      quantity.Kelvin
	HasError   bool
	Calibrated time.Time
	Damping    time.Duration    // time constant of the low-pass after the chip
	Board      quantity.Celsius // how warm a MAX6675's board is
	Thermistor Thermistor       // of an ADS1115
	Line       int              // of the file, for messages
	// Sheath is the probe's time constant in still air, for the simulator.
	Sheath time.Duration
}

// A Thermistor is an NTC resistor in a divider on one input of a converter.
type Thermistor struct {
	Input   int // of the chip
	Curve   thermistor.Curve
	Divider thermistor.Divider
	Supply  Supply
}

// A Supply feeds the dividers of a converter; all of its probes share it.
type Supply struct {
	Input int     // of the chip, that measures it; Unmeasured is none
	Volts float64 // what it should be, or is taken to be
}

// Unmeasured is the Input of a Supply that nothing measures.
const Unmeasured = -1

// DefaultSupply is what a file means that says nothing.
var DefaultSupply = Supply{Input: 3, Volts: 3.3}

// A Wire is one line of the GPIO chip. The zero Wire is not fitted.
type Wire struct {
	Fitted    bool
	Pin       string // line name or offset; "simulated" in a cabinet that exists only in rehearsal
	ActiveLow bool
	// Insist takes a heater on a pin that is high, or a driver that is on, before
	// any program has run. Without it such a heater is refused.
	Insist bool
	Line   int // of the file, for messages
}

// A Relay is one switched output. The zero Relay is not fitted.
type Relay struct {
	Fitted    bool
	Pin       string // line name or offset; "simulated" in a cabinet that exists only in rehearsal
	ActiveLow bool
	Insist    bool // as of a Wire
	// Series, heater only, is a second relay in the same circuit. It closes before
	// the first and opens after it, so it never switches a load and does not weld;
	// when the first welds, it still cuts the heat.
	Series Wire
	// Feedback, heater only, is an input that is active while the element has
	// voltage, wherever that comes from.
	Feedback Wire
	Line     int            // of the file, for messages
	Power    quantity.Watts // heater only
	// Kind and RatedCycles are the heater's: what closes its circuit, and how often it may;
	// zero is not said.
	Kind        RelayKind
	RatedCycles int
	windowSaid  bool          // while it is read
	Window      time.Duration // time-proportioning window
	MinOn       time.Duration
	MinOff      time.Duration
}

// Limits are what the cabinet may never do, whatever the product asks for.
type Limits struct {
	ChamberHigh quantity.Celsius         // absolute: trips the heater
	Ramp        quantity.KelvinPerSecond // steepest setpoint rise; zero is no limit
}

// Rules are interlocks between parts.
type Rules struct {
	// FanWithSmoke allows the chamber fan to run while the smoke generator does.
	// Where the fan's pressure at the generator's outlet overcomes a small pump's, its
	// air goes the other way, so the file has to say that the pump's is the greater.
	FanWithSmoke bool
}

// Response is the chamber's answer to heater duty as a rise above ambient of a
// second-order lag with dead time: Gain·e^(-DeadTime·s)/((Lag·s+1)(SecondLag·s+1)). It is
// that of a cabinet at work, loaded and somewhat open: empty and shut one rises further, by
// up to 2.5 times in the shipped ones, and wide open by less. How fast it rises at first,
// Gain over Lag, hardly depends on that. Who steers and who watches go by the same figures,
// so a gain of the empty cabinet would have the watch expect too much of a full one.
type Response struct {
	Gain      quantity.Kelvin // rise at full duty, in the end
	Lag       time.Duration
	SecondLag time.Duration
	DeadTime  time.Duration
	// Least and Most are what share of that rise the chamber may follow in truth: loaded
	// with wet product, in any weather, with what the response is wrong by.
	Least, Most quantity.Ratio
}

// Learned is how the chamber was found to answer in an experiment, with the fan off and
// with it on; a Gain of zero is not known. The control law goes by it. What watches goes by
// the Response, so that no trip becomes looser by what was learned. Least and Most are not
// part of it.
type Learned struct{ FanOff, FanOn Response }

// Law is the response by which the control law goes while the fan is off, or on: what was
// learned in that state, or else in the other, or else what the file has for both.
func (c *Cabinet) Law(fan bool) Response {
	one, other := c.Learned.FanOff, c.Learned.FanOn
	if fan {
		one, other = other, one
	}
	for _, r := range []Response{one, other} {
		if r.Gain > 0 {
			return r
		}
	}
	return c.Response
}

// DefaultLeast and DefaultMost are what a file means that says nothing: own magnitudes, no
// source. In the simulated cabinets batches without a fault lie between 0.2 and 2.
const DefaultLeast, DefaultMost quantity.Ratio = 0.2, 2

// Rehearsal is what the simulated cabinet is built of.
type Rehearsal struct {
	Width, Depth, Height quantity.Meters // inside
	Wall                 []Layer         // from the inside out
	Racks                quantity.Kilograms
	Element              quantity.Kilograms // mass of the heating element, as steel
	// PastTray is the share of the element's radiation that misses the drip tray or
	// deflector above it: half of a rod's goes down to the floor, and more than half meets
	// product. The tray warms by the rest. Parse fills in DefaultPastTray.
	PastTray    quantity.Ratio
	Leak        quantity.SquareMeters         // of all cracks, half of them low and half high
	Vent        quantity.SquareMeters         // of each of two openings, low and high, with the damper open
	FanFlow     quantity.CubicMetersPerSecond // moved inside the chamber at full fan
	FanExchange quantity.CubicMetersPerSecond // fresh air the full fan draws through the open damper where no warmth helps; the stack adds to its pressure, not to its flow
	Humidifier  quantity.Kilograms            // water vapour per hour when on
	Cooler      quantity.Watts                // that it takes out of air of 20 °C when on
}

// DefaultPastTray is that of a drip tray that catches all that a rod radiates upwards; own
// magnitude, no source. Under a tray it matters little: bare chicken in the shipped plywood
// cabinet takes 1 % less with none past it than with two fifths.
const DefaultPastTray quantity.Ratio = 0.5

// Discharge is what passes a sharp-edged hole, over what its area says: some 0.6 (a
// handbook magnitude, from memory). A crack finer than some 2 mm and as deep as a wall
// passes less than that of its area.
const Discharge = 0.6

// StackSpeed is that of the air in each of two equal holes, one 1 m above the other, of
// a chamber that is 1 K warmer than the room: Discharge·√(g·H·ΔT/T) at 310 K.
const StackSpeed = Discharge * 0.17785769

// A Layer is one layer of the chamber wall.
type Layer struct {
	Material  string
	Thickness quantity.Meters
}

// A Material is what walls are made of. Figures are handbook magnitudes,
// common practice, no source; they serve the rehearsal, not a design of walls.
type Material struct {
	Conductivity float64 // W/(m·K)
	Density      float64 // kg/m³
	SpecificHeat float64 // J/(kg·K)
}

// Materials lists what a Layer may name.
var Materials = map[string]Material{
	"sheet steel":   {Conductivity: 50, Density: 7850, SpecificHeat: 470},
	"stainless":     {Conductivity: 16, Density: 7900, SpecificHeat: 500},
	"plywood":       {Conductivity: 0.13, Density: 600, SpecificHeat: 1600},
	"pine":          {Conductivity: 0.15, Density: 500, SpecificHeat: 1600},
	"mineral wool":  {Conductivity: 0.04, Density: 60, SpecificHeat: 840},
	"cork":          {Conductivity: 0.045, Density: 120, SpecificHeat: 1800},
	"rigid foam":    {Conductivity: 0.03, Density: 35, SpecificHeat: 1400},
	"brick":         {Conductivity: 0.7, Density: 1700, SpecificHeat: 840},
	"lime plaster":  {Conductivity: 0.7, Density: 1600, SpecificHeat: 1000},
	"cement screed": {Conductivity: 1.2, Density: 2000, SpecificHeat: 900},
}
