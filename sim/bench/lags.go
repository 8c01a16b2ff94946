package bench

import (
	"math"
	"time"

	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/plant"
)

// Lags is a plant of which closed forms are known: a rise above the room of
// Gain·e^(-Dead·s)/((Lag·s+1)(Second·s+1)) with nothing in it. Second may be zero.
type Lags struct {
	Gain        float64 // K at full power
	Lag, Second float64 // s
	Dead        int     // s
	Room        float64 // °C

	element, air float64
	pipe         []bool // what is under way, oldest first
}

// Advance passes whole seconds, exactly.
func (l *Lags) Advance(dt time.Duration, d plant.Drive) {
	slow := math.Exp(-1 / l.Lag)
	for range int(dt / time.Second) {
		on := d.Heater
		if l.Dead > 0 {
			l.pipe = append(l.pipe, d.Heater)
			if on = false; len(l.pipe) > l.Dead {
				on, l.pipe = l.pipe[0], l.pipe[1:]
			}
		}
		u := 0.0
		if on {
			u = l.Gain
		}
		if l.Second == 0 {
			l.air = u + (l.air-u)*slow
			continue
		}
		fast := math.Exp(-1 / l.Second)
		towards := (l.element - u) * l.Second / (l.Second - l.Lag) // the part of air that goes by the fast lag
		l.air = u + towards*fast + (l.air-u-towards)*slow
		l.element = u + (l.element-u)*fast
	}
}

// SetAmbient changes the room.
func (l *Lags) SetAmbient(t quantity.Celsius) { l.Room = float64(t) }

// At is the room's temperature there, and the air's everywhere else.
func (l *Lags) At(s sim.Spot) quantity.Celsius {
	if s == sim.InRoom {
		return quantity.Celsius(l.Room)
	}
	return quantity.Celsius(l.Room + l.air)
}

// Copy is another in the same state.
func (l *Lags) Copy() sim.Plant {
	c := *l
	c.pipe = append([]bool(nil), l.pipe...)
	return &c
}
