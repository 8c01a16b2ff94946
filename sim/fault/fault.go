// Package fault makes things go wrong on demand in the simulated cabinet: probes
// that lie, relays that stick, a mains that fails, a door left open, a person who
// does not come. A Fault is plain data; an Injector stands between the simulated
// cabinet and the controller and changes what passes. It decides nothing about
// what the controller should make of it.
package fault

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
)

// A Kind is one way to go wrong.
type Kind uint8

// The kinds. A zero Kind is none.
const (
	ChamberOpen Kind = iota + 1
	ChamberFrozen
	ChamberOffset
	ChamberDrift
	ChamberNoise
	CoreOpen
	CoreFrozen
	CoreOffset
	CoreNoise
	CoreOut
	CoreSwapped
	WickDry
	WetBulbOpen
	AmbientOpen
	EmberOpen
	HeaterWelded
	HeaterDead
	FanDead
	SmokeDead
	GeneratorOut
	GeneratorBurning
	Fire
	PowerCut
	Stall
	DoorOpen
	AmbientStep
	AmbientRamp
	Away
	Careless
	NoIce
	RecordFailing
	DiskLow
	ClockStep
	ChamberOutside
	ChamberWire
	CoreWire
	EmberSlipped
	AmbientStale
	DisplayUnplugged
	ButtonStuck
	ButtonChattering
	BusStuck
	DamperOpen
	DamperShut
	HumidifierEmpty
	CoolerDead
	HumidifierStuck
	CoolerStuck
	kinds
)

// unit of a kind's value.
type unit uint8

const (
	none unit = iota
	kelvin
	kelvinPerHour
	watt
	wire // a thermocouple type, by its letter
)

// A description is a kind as people write and read it.
type description struct {
	name    string
	meaning string
	unit    unit
	least   float64
	most    float64
	probes  int // how many of these probes there can be; 0 where the kind takes no number
}

var catalogue = [kinds]description{
	ChamberOpen:      {name: "chamber-open", probes: cabinet.MaxChamberProbes, meaning: "the chamber probe's wire is open"},
	ChamberFrozen:    {name: "chamber-frozen", probes: cabinet.MaxChamberProbes, meaning: "the chamber probe repeats its last value"},
	ChamberOffset:    {name: "chamber-offset", probes: cabinet.MaxChamberProbes, unit: kelvin, least: -300, most: 300, meaning: "the chamber probe reads so much too high"},
	ChamberDrift:     {name: "chamber-drift", probes: cabinet.MaxChamberProbes, unit: kelvinPerHour, least: -1000, most: 1000, meaning: "the chamber probe wanders off"},
	ChamberNoise:     {name: "chamber-noise", probes: cabinet.MaxChamberProbes, unit: kelvin, least: 0, most: 300, meaning: "noise on the chamber probe, standard deviation"},
	CoreOpen:         {name: "core-open", probes: cabinet.MaxCoreProbes, meaning: "the core probe's wire is open"},
	CoreFrozen:       {name: "core-frozen", probes: cabinet.MaxCoreProbes, meaning: "the core probe repeats its last value"},
	CoreOffset:       {name: "core-offset", probes: cabinet.MaxCoreProbes, unit: kelvin, least: -300, most: 300, meaning: "the core probe reads so much too high"},
	CoreNoise:        {name: "core-noise", probes: cabinet.MaxCoreProbes, unit: kelvin, least: 0, most: 300, meaning: "noise on the core probe, standard deviation"},
	CoreOut:          {name: "core-out", probes: cabinet.MaxCoreProbes, meaning: "the core probe has fallen out of the meat into what surrounds it"},
	CoreSwapped:      {name: "core-swapped", probes: cabinet.MaxCoreProbes, meaning: "the plugs of the core probe and the first chamber probe are swapped"},
	WickDry:          {name: "wick-dry", meaning: "the wick of the wet bulb is dry"},
	WetBulbOpen:      {name: "wet-bulb-open", meaning: "the wet bulb's wire is open"},
	AmbientOpen:      {name: "ambient-open", meaning: "the wire of the probe in the room is open"},
	EmberOpen:        {name: "ember-open", meaning: "the wire of the probe in the smouldering wood is open"},
	HeaterWelded:     {name: "heater-welded", meaning: "the contacts of the heater relay stay closed"},
	HeaterDead:       {name: "heater-dead", meaning: "the element gives no heat"},
	FanDead:          {name: "fan-dead", meaning: "the fan does not turn"},
	SmokeDead:        {name: "smoke-dead", meaning: "the pump of the smoke generator does not run"},
	GeneratorOut:     {name: "generator-out", meaning: "the smoke generator goes out, and cannot be lit again meanwhile"},
	GeneratorBurning: {name: "generator-burning", meaning: "the smoke generator draws air by itself and burns on while its pump is off"},
	Fire:             {name: "fire", unit: watt, least: 1, most: 1e5, meaning: "something burns in the chamber, such as dripped fat"},
	PowerCut:         {name: "power-cut", meaning: "the mains fails: all off, nobody controls; the clock goes on"},
	Stall:            {name: "stall", meaning: "the controller is not called; outputs stay until the watchdog has them off"},
	DoorOpen:         {name: "door-open", meaning: "the door stands open"},
	AmbientStep:      {name: "ambient-step", unit: kelvin, least: -80, most: 80, meaning: "the room is suddenly so much warmer"},
	AmbientRamp:      {name: "ambient-ramp", unit: kelvinPerHour, least: -50, most: 50, meaning: "the room warms so fast, and keeps what it has gained"},
	Away:             {name: "away", meaning: "the person does not come: prompts and alarms wait"},
	Careless:         {name: "careless", meaning: "the person acknowledges, resets and restarts without looking"},
	NoIce:            {name: "no-ice", meaning: "there is no ice water: the product cools in the air of the room"},
	RecordFailing:    {name: "record-failing", meaning: "the record of the batch cannot be written"},
	DiskLow:          {name: "disk-low", meaning: "the disk is nearly full"},
	ClockStep:        {name: "clock-step", meaning: "the time of day jumps, in every second of it"},
	ChamberOutside:   {name: "chamber-outside", probes: cabinet.MaxChamberProbes, meaning: "the chamber probe hangs in the room beside the cabinet"},
	ChamberWire:      {name: "chamber-wire", probes: cabinet.MaxChamberProbes, unit: wire, least: float64(thermocouple.K), most: float64(thermocouple.E), meaning: "the chamber probe is of that thermocouple type on a chip for type K"},
	CoreWire:         {name: "core-wire", probes: cabinet.MaxCoreProbes, unit: wire, least: float64(thermocouple.K), most: float64(thermocouple.E), meaning: "the core probe is of that thermocouple type on a chip for type K"},
	EmberSlipped:     {name: "ember-slipped", meaning: "the ember probe has slipped out of the wood and hangs beside the generator"},
	AmbientStale:     {name: "ambient-stale", meaning: "the chip in the room converts no more and repeats itself"},
	DisplayUnplugged: {name: "display-unplugged", meaning: "the plug of the display at the cabinet is out"},
	ButtonStuck:      {name: "button-stuck", meaning: "a button at the cabinet stays pressed: stop, where there is one"},
	ButtonChattering: {name: "button-chattering", meaning: "that button's contact comes and goes many times a second"},
	BusStuck:         {name: "i2c-stuck", meaning: "a data line is held low: nothing on I2C is read, and the display shows nothing new"},
	DamperOpen:       {name: "damper-open", meaning: "the damper stands open, whatever its drive or a person does"},
	DamperShut:       {name: "damper-shut", meaning: "the damper stands shut, likewise"},
	HumidifierEmpty:  {name: "humidifier-empty", meaning: "the humidifier has no water"},
	CoolerDead:       {name: "cooler-dead", meaning: "the cooler does not run"},
	HumidifierStuck:  {name: "humidifier-stuck", meaning: "the humidifier steams on, asked or not"},
	CoolerStuck:      {name: "cooler-stuck", meaning: "the cooler runs on, likewise"},
}

// All lists every kind.
func All() []Kind {
	all := make([]Kind, 0, kinds-1)
	for k := ChamberOpen; k < kinds; k++ {
		all = append(all, k)
	}
	return all
}

func (k Kind) String() string {
	if k == 0 || k >= kinds {
		return quantity.Unknown
	}
	return catalogue[k].name
}

// Probes is how many probes of the kind's role there can be, 0 for a kind that
// takes no probe number.
func (k Kind) Probes() int {
	if k >= kinds {
		return 0
	}
	return catalogue[k].probes
}

// Range is what a value of the kind may be, in K, K/h or W, or as thermocouple.Type. It is false for a kind
// that takes none.
func (k Kind) Range() (least, most float64, takes bool) {
	if k >= kinds || catalogue[k].unit == none {
		return 0, 0, false
	}
	return catalogue[k].least, catalogue[k].most, true
}

// A Fault is one thing that goes wrong at one time.
type Fault struct {
	Kind  Kind
	Probe int           // from 1; 0 means every probe of the role
	At    time.Duration // since the simulation began
	For   time.Duration // 0 is to the end
	Value float64       // K, K/h, W or a thermocouple.Type, by the kind
}

// Longest is the latest time and the longest duration of a fault.
const Longest = 30 * 24 * time.Hour

const example = "core-open@1h10m+2m or chamber-offset@30m=-8K"

// Parse reads KIND@TIME[+DURATION][=VALUE], such as core-open@1h10m+2m,
// chamber2-offset@30m=-8K or ambient-step@2h=-15K. A number after the name of the
// role picks one probe. Without a duration the fault lasts to the end.
func Parse(spec string) (Fault, error) {
	var f Fault
	fail := func(format string, args ...any) (Fault, error) {
		return Fault{}, fmt.Errorf("fault %q: "+format, append([]any{spec}, args...)...)
	}
	rest, value, hasValue := strings.Cut(spec, "=")
	name, when, ok := strings.Cut(rest, "@")
	if !ok {
		return fail("no @ with a time; write KIND@TIME[+DURATION][=VALUE], as in %s; kinds are %s", example, names())
	}
	name = strings.TrimSpace(name)
	f.Kind, f.Probe, ok = named(name)
	if !ok {
		return fail("%q is no kind of fault; take one of %s, as in %s", name, names(), example)
	}
	d := &catalogue[f.Kind]
	if f.Probe > d.probes {
		return fail("there is no probe %d; the highest is %d", f.Probe, d.probes)
	}
	at, length, hasLength := strings.Cut(when, "+")
	var err error
	if f.At, err = quantity.ParseDuration(at); err != nil {
		return fail("time: %w", err)
	}
	if hasLength {
		if f.For, err = quantity.ParseDuration(length); err != nil {
			return fail("duration: %w", err)
		}
		if f.For == 0 {
			return fail("a duration of 0 s is none; leave it out for a fault that lasts to the end")
		}
	}
	if f.At > Longest || f.For > Longest {
		return fail("it begins or lasts longer than 30 d; write a shorter time")
	}
	switch {
	case hasValue && d.unit == none:
		return fail("%s takes no value; leave out =%s", d.name, value)
	case !hasValue && d.unit != none:
		return fail("%s needs a value, as in %s@30m=%s", d.name, d.name, d.example())
	case hasValue:
		if f.Value, err = d.unit.parse(value); err != nil {
			return fail("value: %w", err)
		}
		if !(f.Value >= d.least && f.Value <= d.most) {
			return fail("value %s is outside %s to %s", d.unit.text(f.Value), d.unit.text(d.least), d.unit.text(d.most))
		}
	}
	return f, nil
}

// named finds the kind of a name, with or without a probe number in it.
func named(name string) (Kind, int, bool) {
	for k := ChamberOpen; k < kinds; k++ {
		if catalogue[k].name == name {
			return k, 0, true
		}
	}
	at := strings.IndexAny(name, "0123456789")
	if at < 0 {
		return 0, 0, false
	}
	end := at
	for end < len(name) && name[end] >= '0' && name[end] <= '9' {
		end++
	}
	probe, err := strconv.Atoi(name[at:end])
	if err != nil || probe < 1 {
		return 0, 0, false
	}
	k, inner, ok := named(name[:at] + name[end:])
	return k, probe, ok && inner == 0 && catalogue[k].probes > 0
}

func names() string {
	list := make([]string, 0, kinds)
	for _, k := range All() {
		list = append(list, k.String())
	}
	return strings.Join(list, ", ")
}

// Kinds explains every kind in one line, in the order of All.
func Kinds() []string {
	var lines []string
	for _, k := range All() {
		d := &catalogue[k]
		name := d.name
		if d.unit != none {
			name += "=" + d.example()
		}
		lines = append(lines, fmt.Sprintf("%-22s %s", name, d.meaning))
	}
	return lines
}

// String writes the fault as Parse reads it.
func (f Fault) String() string {
	if f.Kind == 0 || f.Kind >= kinds {
		return "unknown fault"
	}
	d := &catalogue[f.Kind]
	var b strings.Builder
	if f.Probe > 0 {
		role, what, _ := strings.Cut(d.name, "-")
		fmt.Fprintf(&b, "%s%d-%s", role, f.Probe, what)
	} else {
		b.WriteString(d.name)
	}
	b.WriteString("@" + durationText(f.At))
	if f.For > 0 {
		b.WriteString("+" + durationText(f.For))
	}
	if d.unit != none {
		b.WriteString("=" + d.unit.text(f.Value))
	}
	return b.String()
}

// durationText writes a duration without losing any of it.
func durationText(d time.Duration) string {
	var b strings.Builder
	if h := d / time.Hour; h > 0 {
		fmt.Fprintf(&b, "%dh", h)
	}
	if m := d % time.Hour / time.Minute; m > 0 {
		fmt.Fprintf(&b, "%dm", m)
	}
	if s := d % time.Minute; s > 0 || b.Len() == 0 {
		b.WriteString(strconv.FormatFloat(s.Seconds(), 'f', -1, 64) + "s")
	}
	return b.String()
}

// example is a value that the kind takes.
func (d *description) example() string {
	switch d.unit {
	case kelvin:
		if d.least >= 0 {
			return "2K"
		}
		return "-8K"
	case kelvinPerHour:
		return "-4K/h"
	case watt:
		return "2kW"
	case wire:
		return "N"
	}
	return ""
}

func (u unit) parse(text string) (float64, error) {
	switch u {
	case kelvin:
		v, err := quantity.ParseTemperatureDifference(text)
		return float64(v), err
	case kelvinPerHour:
		v, err := quantity.ParseRate(text)
		return float64(v) * 3600, err
	case wire:
		t, err := thermocouple.ParseType(text)
		return float64(t), err
	}
	v, err := quantity.ParsePower(text)
	return float64(v), err
}

func (u unit) text(v float64) string {
	if u == wire {
		return thermocouple.Type(v).String()
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + [...]string{kelvin: "K", kelvinPerHour: "K/h", watt: "W"}[u]
}

// active reports whether the fault is there at the elapsed time.
func (f *Fault) active(elapsed time.Duration) bool {
	return elapsed >= f.At && (f.For == 0 || elapsed-f.At < f.For)
}

// Any reports whether one of the faults is of one of the kinds.
func Any(faults []Fault, of ...Kind) bool {
	return slices.ContainsFunc(faults, func(f Fault) bool { return slices.Contains(of, f.Kind) })
}
