package controller_test

import (
	"math"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// world is what the stories put around the machine: a chamber that answers to the
// heater as the cabinet's response says, one piece of meat, and probes that may be
// anywhere. It is no model of a cabinet, only plain enough to follow by hand.
type world struct {
	aware
	response cabinet.Response
	ticks    int

	air          float64 // °C, what the chamber really has
	path         path    // of the air, when a story sets it
	first        float64 // K above the room: behind the first lag
	second       float64 // and behind the second
	element      []float64
	power        float64 // share of the heater's power that comes
	welded       bool    // it comes whatever the relay does
	fire         float64 // K that something else would add in the end
	room         float64
	meat, middle float64 // °C, of its outer half and its middle
	meatLag      time.Duration
	noise        float64
	clock        string

	chambers [cabinet.MaxChamberProbes]probe
	cores    [cabinet.MaxCoreProbes]probe
	wet      probe
	outside  probe
	embers   probe
	fronts   probe // their boards
	on       bool  // the heater's relay
	place    string
	wired    string // what the feedback does: none, off, on, or follows
}

// path is a temperature that a story sets.
type path struct {
	set      bool
	from, to float64
	over     time.Duration
	gone     time.Duration
}

func (p *path) step(dt time.Duration) float64 {
	p.gone = min(p.gone+dt, p.over)
	if p.over == 0 {
		return p.to
	}
	return p.from + float64((p.to-p.from)*float64(p.gone)/float64(p.over))
}

// probe is one probe and where it is.
type probe struct {
	mode   string // path, air, meat, water, frozen, or one of statuses
	path   path
	offset float64
	value  float64 // behind its sheath
	has    bool
	last   sensors.Reading
}

// sheath is the time constant of every probe that is somewhere.
const sheath = 8.0

func newWorld(c *cabinet.Cabinet) *world {
	w := &world{air: 15, room: 15, meat: 8, middle: 8, meatLag: 24 * time.Minute, power: 1, noise: 1.0 / 128, place: "chamber", wired: "none", clock: "set", aware: aware{balance: "off"}}
	w.door = "none"
	w.chambers[0].mode, w.cores[0].mode = "air", "meat"
	w.fit(c)
	return w
}

// fit puts the world into a cabinet.
func (w *world) fit(c *cabinet.Cabinet) {
	if c == nil {
		return
	}
	w.response = c.Response
	w.room = float64(c.Ambient)
	w.air = w.room
	w.element = make([]float64, max(1, int(c.Response.DeadTime/time.Second)))
}

func (w *world) clone() *world {
	c := *w
	c.element = append([]float64(nil), w.element...)
	return &c
}

func toward(v *float64, goal float64, dt time.Duration, lag float64) {
	*v += float64((goal - *v) * (1 - math.Exp(-dt.Seconds()/max(lag, 1e-9))))
}

// advance lets the time go by in which the outputs were as the last step said.
func (w *world) advance(dt time.Duration) {
	w.elapsed += dt
	w.ticks++
	dt = max(dt, 0) // a clock may go back, the world does not
	for left := dt; left > 0; left -= time.Second {
		w.move(min(left, time.Second))
	}
	for i := range w.chambers {
		w.chamber[i] = w.read(&w.chambers[i], i, dt)
	}
	for i := range w.cores {
		w.core[i] = w.read(&w.cores[i], i+2, dt)
	}
	w.wetBulb, w.ambient, w.ember = w.read(&w.wet, 6, dt), w.read(&w.outside, 7, dt), w.read(&w.embers, 8, dt)
	w.board = w.read(&w.fronts, 9, dt)
	w.feedback = w.wired
	if w.wired == "follows" {
		w.feedback = "off"
		if w.on || w.welded {
			w.feedback = "on"
		}
	}
	w.clockUnset, w.stepped = w.clock == "unset", w.clock == "stepped"
}

// move lets at most a second go by in chamber and meat.
func (w *world) move(dt time.Duration) {
	heat := 0.0
	if w.on || w.welded {
		heat = w.power
	}
	w.element = append(w.element[1:], heat)
	toward(&w.first, float64(w.response.Gain)*w.element[0]+w.fire, dt, w.response.Lag.Seconds())
	toward(&w.second, w.first, dt, w.response.SecondLag.Seconds())
	if w.door == "open" {
		toward(&w.first, 0, dt, 900)
		toward(&w.second, 0, dt, 90)
	}
	w.air = w.room + w.second
	if w.path.set {
		w.air = w.path.step(dt)
		w.first, w.second = w.air-w.room, w.air-w.room
	}
	toward(&w.meat, w.around(), dt, w.meatLag.Seconds()/2)
	toward(&w.middle, w.meat, dt, w.meatLag.Seconds()/2)
}

// around is what the meat lies in.
func (w *world) around() float64 {
	switch w.place {
	case "ice water":
		return 0.5
	case "room":
		return w.room
	case "cold room":
		return 4
	}
	return w.air
}

// flicker is the noise of a sample, of a mean square of about a half: as good as
// random to a filter, and the same in every run.
var flicker = [...]float64{0, 1, -0.5, 0.75, -1, 0.25, -0.75, 0.5, -0.25, 1, -1}

func (w *world) read(p *probe, nth int, dt time.Duration) sensors.Reading {
	var goal float64
	switch p.mode {
	case "":
		return sensors.Reading{}
	case "frozen":
		return p.last
	case "path":
		p.value, p.has = p.path.step(dt), true
	case "air", "meat", "water":
		switch p.mode {
		case "air":
			goal = w.air
		case "meat":
			goal = w.middle
		case "water":
			goal = w.around()
		}
		goal += p.offset
		if !p.has {
			p.value, p.has = goal, true
		}
		toward(&p.value, goal, dt, sheath)
	default:
		p.last, p.has = sensors.Fault(statuses[p.mode]), false
		return p.last
	}
	p.last = sensors.At(quantity.Celsius(p.value + float64(w.noise*flicker[(w.ticks+3*nth)%len(flicker)])))
	return p.last
}
