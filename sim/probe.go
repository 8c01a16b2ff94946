package sim

import (
	"math"
	"time"

	"fumarium/controller"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/channel"
	"fumarium/sim/fault"
)

// probe is a sensor in its sheath, a first-order lag, and its front end with an error
// that the cabinet file's calibration undoes, noise and a resolution. Behind it is the
// channel that the cabinet's probe has, too.
type probe struct {
	keep     float64 // share of the old value kept over one Step
	keepLong float64 // and over a Stride
	value    float64
	warm     bool // value holds a temperature
	i2c      bool // its front end hangs there
	settings channel.Settings
	memory   channel.Memory
}

// feels lets probes follow the truth by a Step or a Stride.
func feels(probes []probe, t quantity.Celsius, dt time.Duration) {
	for i := range probes {
		pr := &probes[i]
		if !pr.warm {
			pr.value, pr.warm = float64(t), true
			continue
		}
		keep := pr.keep
		if dt == Stride {
			keep = pr.keepLong
		}
		pr.value = float64(t) + (pr.value-float64(t))*keep
	}
}

// feel is what the front end of a probe reads.
func (w *World) feel(pr *probe) sensors.Reading {
	v := pr.settings.Calibration.Undo(quantity.Celsius(pr.value + w.noise*w.random.NormFloat64()))
	return sensors.At(quantity.Celsius(nearest(float64(v)*w.perKelvin) / w.perKelvin))
}

// nearest is math.Round, which is no instruction of the processor's; Trunc is.
func nearest(x float64) float64 {
	t := math.Trunc(x)
	if math.Abs(x-t) >= 0.5 {
		t += math.Copysign(1, x)
	}
	return t
}

// Apart is what goes wrong now beside probes, relays and people.
func (w *World) Apart() fault.Apart {
	if w.inject == nil {
		return fault.Apart{}
	}
	return w.inject.Apart(w.now)
}

// apart is what of that the controller is told. The display and the buttons are not
// simulated here, so it is told at once, which the daemon is after some seconds.
func (w *World) apart(in *controller.Inputs) {
	a, front := w.inject.Apart(w.now), &w.setup.Cabinet.Panel
	heard := front.Display != "" && !front.OnSPI()
	if heard && (a.Display || a.I2C) {
		in.Panel |= controller.DisplayDead
	}
	if front.HasButtons() && (a.Stuck || a.Chattering) {
		in.Panel |= controller.ButtonBad
	}
	if !a.I2C {
		return
	}
	stuck := func(probes []probe, r []sensors.Reading) {
		for i := range probes {
			if probes[i].i2c {
				r[i] = sensors.Fault(sensors.BusError)
			}
		}
	}
	stuck(w.chamber, in.Chamber[:])
	stuck(w.core, in.Core[:])
	for _, one := range []struct {
		probes  []probe
		reading *sensors.Reading
	}{{w.wet, &in.WetBulb}, {w.ambient, &in.Ambient}, {w.ember, &in.Ember}} {
		for i := range one.probes {
			if one.probes[i].i2c {
				*one.reading = sensors.Fault(sensors.BusError)
			}
		}
	}
}

// at is what a probe in a spot touches: a core probe may not have come to the middle, and a
// chamber probe may hang higher or lower than the product.
func (w *World) at(spot Spot) quantity.Celsius {
	if spot == OnProbe {
		return w.plant.At(spot) + quantity.Celsius(w.setup.Warmer)
	}
	if spot == InCore && w.setup.OffCentre > 0 {
		if ours := w.Built(); ours != nil {
			return ours.Within(w.setup.OffCentre)
		}
	}
	return w.plant.At(spot)
}

// feels lets probes follow what there is in a place, and those that are misplaced another.
func (w *World) feels(probes []probe, misplaced uint8, place, elsewhere Spot, dt time.Duration) {
	if misplaced == 0 {
		feels(probes, w.at(place), dt)
		return
	}
	for i := range probes {
		touches := place
		if misplaced&(1<<i) != 0 {
			touches = elsewhere
		}
		feels(probes[i:i+1], w.at(touches), dt)
	}
}
