// Package bench measures the control law against what its plant allows, and against a
// thermostat: how long a step of the setpoint takes, by how much it is passed, and what
// error a whole batch has.
//
// The bound is found on the plant itself, whatever that is made of: full power, then none,
// so late that the air just does not pass its goal (with bounded heat the fastest way takes
// only extreme values: Liberzon, Calculus of Variations and Optimal Control, section 4.4.2),
// then the duty that holds it. No control law gets there sooner.
package bench

import (
	"math"
	"time"

	"fumarium/sim"
	"fumarium/sim/plant"
)

const (
	second = time.Second
	// Longest is how long a step is watched, and how long full power may take.
	Longest     = 3 * time.Hour
	keeps       = 30 // seconds between the plants that the bisection starts from
	holdSeconds = 600
	pulse       = 10 // seconds of a window of the duty that holds
)

// A Goal is where the air shall be: within Band of At, as its mean over so many seconds.
type Goal struct {
	At, Band float64 // °C, K
	Mean     int
}

// A Bound is the fastest way to a goal.
type Bound struct {
	Seconds float64 // to the first second within the band; NaN where full power does not get there
	Full    float64 // seconds of full power, and
	Off     float64 // of none, to the peak
	Hold    float64 // duty that then keeps it for ten minutes
	Strays  float64 // K, how far it is from the goal meanwhile, at most
}

// follower is a plant with the running mean of its air.
type follower struct {
	plant sim.Plant
	last  []float64 // ring
	n     int
	sum   float64
}

func follow(p sim.Plant, mean int) follower {
	return follower{plant: p.Copy(), last: make([]float64, mean)}
}

func (f *follower) copy() follower {
	c := *f
	c.plant, c.last = f.plant.Copy(), append([]float64(nil), f.last...)
	return c
}

// advance lets a second pass and gives the mean.
func (f *follower) advance(d plant.Drive, on bool) float64 {
	d.Heater = on
	f.plant.Advance(second, d)
	v := float64(f.plant.At(sim.OnProbe))
	f.sum += v - f.last[f.n%len(f.last)]
	f.last[f.n%len(f.last)] = v
	f.n++
	return f.sum / float64(min(f.n, len(f.last)))
}

// Fastest finds the bound of a plant under a drive that but for the heater stays.
func Fastest(p sim.Plant, d plant.Drive, g Goal) Bound {
	never := Bound{Seconds: math.NaN()}
	f := follow(p, g.Mean)
	way := []follower{f.copy()} // every so many seconds of full power
	reached := math.MaxInt      // the second in which full power does
	for v := math.Inf(-1); v <= g.At+g.Band; {
		if f.n >= int(Longest/second) {
			if v < g.At-g.Band {
				return never
			}
			break
		}
		if v = f.advance(d, true); v >= g.At-g.Band {
			reached = min(reached, f.n)
		}
		if f.n%keeps == 0 {
			way = append(way, f.copy())
		}
	}
	// The peak that so many seconds of full power lead to.
	peak := func(full int) (highest float64, entered, at int) {
		f := way[min(full/keeps, len(way)-1)].copy()
		highest, entered = math.Inf(-1), -1
		if reached <= full {
			entered = reached
		}
		for {
			v := f.advance(d, f.n < full)
			if v >= g.At-g.Band && entered < 0 {
				entered = f.n
			}
			switch {
			case v > highest:
				highest, at = v, f.n
			case f.n > full+g.Mean+120: // past what may still be under way
				return highest, entered, at
			}
		}
	}
	low, high := 0, f.n // high may be too long
	for high-low > 1 {
		middle := (low + high) / 2
		if v, _, _ := peak(middle); v > g.At+g.Band {
			high = middle
		} else {
			low = middle
		}
	}
	_, entered, at := peak(low)
	if g.Band == 0 { // it is there at the peak
		entered = at
	}
	if entered < 0 { // a whole second of power leads past the band
		entered = at
	}
	// What comes next has to begin before the peak: by what the plant and the mean delay.
	ends := max(low, at-deadTime(p, d)-g.Mean/2)
	b := Bound{Seconds: float64(entered), Full: float64(low), Off: float64(ends - low)}
	f = way[min(low/keeps, len(way)-1)].copy()
	for f.n < ends {
		f.advance(d, f.n < low)
	}
	b.hold(&f, d, g, at)
	return b
}

// deadTime is after how many seconds heat makes any difference.
func deadTime(p sim.Plant, d plant.Drive) int {
	with, without := follow(p, 1), follow(p, 1)
	for with.n < holdSeconds && with.advance(d, true) <= without.advance(d, false)+1e-9 {
	}
	return with.n - 1
}

// hold finds the duty that ends on the goal.
func (b *Bound) hold(from *follower, d plant.Drive, g Goal, peak int) {
	low, high := 0.0, 1.0
	for range 10 {
		duty := (low + high) / 2
		f := from.copy()
		v, strays, debt := 0.0, 0.0, 0.0
		for i := range holdSeconds {
			if i%pulse == 0 {
				debt += duty * pulse
			}
			on := debt >= 0.5
			if on {
				debt--
			}
			if v = f.advance(d, on); f.n >= peak {
				strays = max(strays, math.Abs(v-g.At))
			}
		}
		if b.Hold, b.Strays = duty, strays; v > g.At {
			high = duty
		} else {
			low = duty
		}
	}
}
