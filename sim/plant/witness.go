package plant

import (
	"math"
	"time"

	"fumarium/profile"
)

// A Witness is one more piece that hangs where the product is. It feels the air,
// the walls and the element, and they do not feel it: it weighs nothing. It says
// what happens to a piece that is thicker, or hangs in stiller air, than the one
// with the probe in it. Like a Plant it contains no pointers.
//
// It is solved by itself, implicitly at its surface, against what the plant has
// come to at the end of the step.
type Witness struct {
	load    load
	heat    float64 // W/K
	film    float64 // m³/s from its water film
	cell    float64 // m³/s through its casing
	drive   Drive   // when the films were last worked out
	settled float64
	turns   int
	begun   bool
}

// NewWitness makes a witness. Its mass does not matter, so long as there is one.
func NewWitness(c Load) (Witness, error) {
	l, err := newLoad(c)
	return Witness{load: l}, err
}

// Core is the temperature in the middle of the witness.
func (w *Witness) Core() float64 { return w.load.chain.Temperature(0) }

// Surface is the temperature of its surface.
func (w *Witness) Surface() float64 { return w.load.surface }

// Follow lets the witness pass the dt, at most a second, that the plant has just
// passed. A dt that is not above zero does nothing.
func (w *Witness) Follow(p *Plant, dt time.Duration) {
	seconds := min(dt.Seconds(), longestStep)
	if !(seconds > 0) {
		return
	}
	if !w.begun || p.drive.Place != w.drive.Place || p.drive.Fan != w.drive.Fan {
		w.refresh(p, seconds)
	}
	w.step(p, seconds)
	if w.settled += seconds; w.settled < settleSeconds-1e-6 {
		return
	}
	w.load.settle(w.settled) // what drips off belongs to nobody's books
	w.settled = 0
	w.turns++
	if w.turns%propertyTurns == 0 {
		w.load.refreshProperties()
	}
	if w.turns%filmTurns == 0 {
		w.refresh(p, seconds)
	}
	w.load.chain.Factor(seconds, 0)
}

func (w *Witness) refresh(p *Plant, seconds float64) {
	w.heat, w.film, w.cell = p.productFilm(&w.load)
	w.drive, w.begun = p.drive, true
	w.load.chain.Factor(seconds, 0)
}

// step is the surface equation of Plant.step, with everything around it known.
func (w *Witness) step(p *Plant, dt float64) {
	l := &w.load
	ts := l.surface
	medium, vapour := p.air.t, p.air.vapour/p.volume
	gain, warm := w.heat, w.heat*medium // Σ g and Σ g·T
	if p.drive.Place == profile.Chamber {
		// Each square metre sees as much of the walls and of the element as one of
		// the product's does.
		seen := l.area / p.around
		wall := radiation(ts, p.wall.lining) * seen * p.wall.area
		floor := radiation(ts, p.floor.lining) * seen * p.gap
		tray := radiation(ts, p.tray.t) * seen * p.tray.area
		element := radiation(p.element.t, ts) * p.shines() * seen
		gain += wall + floor + tray + element
		warm += wall*p.wall.lining + floor*p.floor.lining + tray*p.tray.t + element*p.element.t
	} else {
		medium, vapour = p.medium.t, p.medium.vapour
		gain, warm = w.heat, w.heat*medium
		if p.drive.Place != profile.IceWater {
			far := radiation(ts, medium) * l.area
			gain, warm = gain+far, warm+far*medium
		}
	}
	density, slope := saturation(ts)
	wetted, bare := w.film, 0.0
	activity := 1.0
	if drive := density - vapour; drive > 0 {
		cover := min(1, l.film/(coveringFilm*l.area))
		wetted = thin(wetted*cover, drive, l.film, dt)
		var rise float64
		activity, rise = l.activity()
		bare = w.cell * (1 - cover)
		bare /= 1 + bare*density*rise*dt/l.solids[nodes-1]
		if drive = activity*density - vapour; drive > 0 {
			bare = thin(bare, drive, max(l.water[nodes-1], 0), dt)
		}
	}
	latent := vapourEnthalpy(medium) - l.liquid
	rate := wetted + activity*bare
	pull, source := l.chain.Forward(0)
	store := l.end / dt
	t := (store*ts + source + warm - latent*(rate*(density-slope*ts)-(wetted+bare)*vapour)) /
		(store + pull + gain + latent*rate*slope)
	l.chain.Back(t)
	density += slope * (t - ts)
	off, through := dt*wetted*(density-vapour), dt*bare*(activity*density-vapour)
	off = math.Min(off, l.film) // the rest, a few milligrams, never left
	l.film -= off
	l.water[nodes-1] -= through
	l.gone += off + through
	l.surface = t
}
