package plant

import (
	"math"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
	"fumarium/sim/plant/film"
)

// The wick of the wet bulb; common practice, no source.
const (
	wickDiameter = 6e-3 // m, sock and probe
	wickBlown    = 4.0  // m/s before a fan or a blower
)

// A wick is a wet cylinder across the air, small against the chamber.
type wick struct {
	air      cabinet.WickAir
	film     float64 // W/(m²·K); zero until it is asked for
	transfer float64 // m/s
	radiant  float64 // W/(m²·K), with the lining
	wet      float64 // °C, when it was last asked for
	asked    bool
}

// refresh works out the coefficients of the wick anew.
func (k *wick) refresh(p *Plant) {
	speed := p.blows()
	if k.air == cabinet.WickOwnBlower || k.air == cabinet.WickFanStream && p.drive.Fan {
		speed = wickBlown
	}
	wet := p.Chamber()
	if k.film > 0 {
		wet = p.Wick()
	}
	between := film.Between(wet, p.Chamber(), p.pressure)
	k.film = between.FreeCylinder(quantity.Kelvin(p.air.t-float64(wet)), wickDiameter)
	if speed > 0 {
		k.film = film.Mixed(k.film, between.CrossCylinder(speed, wickDiameter))
	}
	k.transfer = between.VapourTransfer(k.film)
	k.radiant = radiation(float64(wet), p.wall.lining)
}

// Wick is the temperature of a wet wick where the cabinet file says that it hangs:
// what convection from the air and radiation from the lining bring is what
// evaporation takes. No psychrometer coefficient enters: it comes out. Vapour leaves
// through a film that it thins (Stefan's flow, with Ackermann's correction of the
// heat that meets it; textbook forms, from memory). The wick has no heat of its own:
// the lag is the probe's. The glow of element and tray on it is left out.
func (p *Plant) Wick() quantity.Celsius {
	k := &p.wick
	if k.film == 0 {
		k.refresh(p)
	}
	air, lining := p.air.t, p.wall.lining
	vapour := p.air.vapour / p.volume * psychrometer.VapourGasConstant * (air + kelvin)
	// The gap falls with the wet temperature, ever steeper, so Newton's rule comes
	// down to the root from above; from a little below it first steps over it.
	wet := min(max(air, lining), 99)
	if k.asked {
		wet = k.wet
	}
	for range 40 {
		density, slope := saturation(wet)
		absolute := wet + kelvin
		e := density * psychrometer.VapourGasConstant * absolute
		rise := psychrometer.VapourGasConstant * (density + absolute*slope)
		room := p.pressure - e
		if room <= 0 {
			wet -= 2
			continue
		}
		perLog := k.transfer * p.pressure / (psychrometer.VapourGasConstant * ((wet+air)/2 + kelvin))
		flux := perLog * math.Log((p.pressure-vapour)/room) // kg/(m²·s)
		met := k.film
		if blow := flux * vapourHeat / k.film; math.Abs(blow) > 1e-9 {
			met *= blow / math.Expm1(blow)
		}
		latent := float64(psychrometer.LatentHeat(quantity.Celsius(wet)))
		gap := met*(air-wet) + k.radiant*(lining-wet) - flux*latent
		step := gap / (met + k.radiant + latent*perLog*rise/room)
		wet += step
		if math.Abs(step) < 1e-5 {
			break
		}
	}
	k.wet, k.asked = wet, true
	return quantity.Celsius(wet)
}
