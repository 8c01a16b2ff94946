package campaign

import (
	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// chamber holds the true chamber against its limit. Above it, a lag of the probe is
// let pass; then a copy of the plant is left alone with the heater off, and the real
// one must stay below what the copy came to.
//
// Against a welded contact and a fire the controller can do no more than to be off,
// which HeaterOffOnTrip holds; the bound is not for them.
//
// Where a chamber probe is wrong nothing holds the limit but what the heat and the cores
// say: see wrongOver.
func (j *judge) chamber(m *sim.Moment) {
	if fault.Any(j.setup.Faults, fault.HeaterWelded, fault.Fire) {
		return
	}
	limit := j.setup.Cabinet.Limits.ChamberHigh
	p := m.World.Built()
	t := p.Chamber()
	if over, wrong := wrongOver(&j.setup); wrong {
		for _, e := range m.Events {
			j.said = j.said || e.Kind == controller.AlarmRaised && e.Alarm.Entry().Priority == trip.Now
		}
		if t > limit+quantity.Celsius(over) {
			j.breaks(WrongBounded, m.Now, "%s, limit %s", t, limit)
		}
		if over == wrongMost && t > limit+quantity.Celsius(unsaidMost) && !j.said {
			j.breaks(WrongIsSaid, m.Now, "%s, limit %s", t, limit)
		}
		return
	}
	if t < limit {
		j.over = j.over && t > limit-3
		return
	}
	if !j.over {
		j.over, j.overSince, j.overPeak, j.bounded = true, m.Now, t, false
	}
	j.overPeak = max(j.overPeak, t)
	drive := m.World.Driven()
	drive.Heater = false
	switch {
	case m.Now-j.overSince < j.lag+3*sim.Step:
		return
	case !j.bounded || drive != j.boundDrive:
		if !j.bounded {
			j.bound = j.overPeak
		}
		j.bounded, j.boundDrive = true, drive
		coasting := *p
		for range 1800 {
			coasting.Advance(sim.Step, drive)
			j.bound = max(j.bound, coasting.Chamber())
		}
	}
	if t > j.bound+1 {
		j.breaks(ChamberBounded, m.Now, "%s, coasting would end at %s, limit %s", t, j.bound, limit)
	}
}

// How far over the cabinet's limit the true air may get where a chamber probe is wrong, as
// hazards.md states it. One that slowly falls, or is of another type of wire, is good for
// longer than one that stands still, hangs outside or is off by some amount: without a
// second one nothing contradicts it soon.
const (
	wrongMost      quantity.Kelvin = 20
	wrongMostAlone quantity.Kelvin = 75
	unsaidMost     quantity.Kelvin = 17
)

// wrongOver reports whether a chamber probe lies low in this batch, and how far over the
// limit that may bring the air.
func wrongOver(s *sim.Setup) (quantity.Kelvin, bool) {
	over, wrong := wrongMost, false
	for i := range s.Faults {
		switch f := &s.Faults[i]; f.Kind {
		case fault.ChamberOffset, fault.ChamberFrozen, fault.ChamberOutside, fault.CoreSwapped:
			wrong = true
		case fault.ChamberDrift, fault.ChamberWire:
			wrong, over = true, wrongMostAlone
		}
	}
	return over, wrong
}
