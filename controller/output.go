package controller

import (
	"strings"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
)

// An Output is one thing that the machine switches on and off.
type Output uint8

// The outputs, in the order they are shown. A new one goes to the end, gets its name
// below and its relay in Fitted, and is then recorded, shown and measured as the others.
const (
	Heater Output = iota
	Fan
	Smoke
	Humidifier
	Sounder
	Light
	DamperDrive // on is shut: see cabinet.Cabinet.Damper
	Cooler
	OutputCount // for loops
)

var outputText = [OutputCount]string{"heater", "fan", "smoke", "humidifier", "sounder", "light", "damper", "cooler"}

func (o Output) String() string {
	if o < OutputCount {
		return outputText[o]
	}
	return quantity.Unknown
}

// Fitted reports whether the cabinet has output o.
func (o Output) Fitted(c *cabinet.Cabinet) bool {
	switch o {
	case Heater:
		return c.Heater.Fitted
	case Fan:
		return c.Fan.Fitted
	case Smoke:
		return c.Smoke.Fitted
	case Humidifier:
		return c.Humidifier.Fitted
	case Sounder:
		return c.Sounder.Fitted
	case Light:
		return c.Light.Fitted
	case DamperDrive:
		return c.Damper.Fitted
	case Cooler:
		return c.Cooler.Fitted
	}
	return false
}

// An OutputSet is any number of outputs. Zero is none.
type OutputSet uint8

// SetOf is the set of the outputs given.
func SetOf(outputs ...Output) (s OutputSet) {
	for _, o := range outputs {
		s |= 1 << o
	}
	return s
}

// Has reports whether o is in the set.
func (s OutputSet) Has(o Output) bool { return s>>o&1 != 0 }

// Set puts o into the set, or takes it out.
func (s *OutputSet) Set(o Output, on bool) {
	if *s &^= 1 << o; on {
		*s |= 1 << o
	}
}

// BitNames gives the names under which records keep the outputs, lowest bit first.
func (OutputSet) BitNames() []string { return outputText[:] }

func (s OutputSet) String() string {
	var on []string
	for o := range OutputCount {
		if s.Has(o) {
			on = append(on, o.String())
		}
	}
	if len(on) == 0 {
		return "nothing"
	}
	return strings.Join(on, ", ")
}

// Outputs is what the caller must do now. Zero is the safe state: all off. The
// caller applies every off at once and every on only afterwards.
type Outputs struct {
	On OutputSet `record:"."`
	// Damper is how far the damper should be open. Without a drive it is what the
	// person was asked to set; with one it is what the drive makes of it on average.
	Damper quantity.Ratio `record:"damper_ratio"`
}

// OnlySounder is what may stay on when an output failed: it cannot heat, and someone
// must come.
func (o Outputs) OnlySounder() Outputs {
	o.On &= SetOf(Sounder)
	return o
}

func (o Outputs) String() string { return o.On.String() + " on, damper " + o.Damper.String() }

// PartsOf is what a cabinet has that alarms may speak of. Nil is the simplest.
func PartsOf(c *cabinet.Cabinet) (here trip.Parts) {
	if c == nil {
		return 0
	}
	for part, has := range map[trip.Parts]bool{
		trip.ChamberPair: c.ProbeOf(cabinet.ChamberProbe, 1) != nil, trip.CoreProbe: c.Has(cabinet.CoreProbe), trip.MoreCores: c.ProbeOf(cabinet.CoreProbe, 1) != nil,
		trip.WetBulb: c.Has(cabinet.WetBulbProbe), trip.RoomProbe: c.Has(cabinet.AmbientProbe), trip.EmberProbe: c.Has(cabinet.EmberProbe),
		trip.SmokePump: c.Smoke.Fitted, trip.DoorSwitch: c.Door.Fitted, trip.HeatFeedback: c.Heater.Feedback.Fitted,
		trip.Moistens: c.Humidifier.Fitted, trip.DrivenDamper: c.Damper.Fitted, trip.Cooled: c.Cooler.Fitted,
		trip.Display: c.Panel.Display != "", trip.Buttons: c.Panel.HasButtons(),
	} {
		if has {
			here |= part
		}
	}
	return here
}
