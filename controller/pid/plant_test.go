package pid

import (
	"math"
	"time"

	"fumarium/controller/duty"
	"fumarium/profile/quantity"
)

// plant is Model sampled exactly: two first-order lags in a row and a pure delay,
// with the input held over each step (zero-order hold), so that the step size
// adds no error of its own. Temperatures are rises above ambient.
type plant struct {
	gain, a1, a2, c float64
	x1, x2          float64
	delay           []float64 // duties on their way
	at              int
}

func newPlant(m Model, step time.Duration) *plant {
	h, t1, t2 := step.Seconds(), m.Lag.Seconds(), m.SecondLag.Seconds()
	p := &plant{gain: m.GainKelvin, a1: math.Exp(-h / t1), delay: make([]float64, m.DeadTime/step)}
	switch {
	case t2 == 0:
		p.c = p.a1
	case t1 == t2:
		p.a2 = p.a1
		p.c = h / t1 * p.a1
	default:
		p.a2 = math.Exp(-h / t2)
		p.c = t1 / (t1 - t2) * (p.a1 - p.a2)
	}
	return p
}

// step drives the plant for one step and returns the rise at its end.
func (p *plant) step(u float64) float64 {
	if len(p.delay) > 0 {
		u, p.delay[p.at] = p.delay[p.at], u
		p.at = (p.at + 1) % len(p.delay)
	}
	drive := float64(p.gain * u)
	x2 := float64(p.a2*p.x2) + float64(p.c*p.x1) + float64((1-p.a2-p.c)*drive)
	p.x1 = float64(p.a1*p.x1) + float64((1-p.a1)*drive)
	if p.a2 == 0 && p.c == p.a1 { // one lag
		x2 = p.x1
	}
	p.x2 = x2
	return p.x2
}

// settle rests the plant at a rise and returns the duty that holds it.
func (p *plant) settle(rise float64) float64 {
	u := rise / p.gain
	p.x1, p.x2 = rise, rise
	for i := range p.delay {
		p.delay[i] = u
	}
	return u
}

// score is what a run is judged by.
type score struct {
	overshoot, entered, final float64 // K, s after which within ±1 K for good, K
	integralOfError           float64 // K·s
	operations                uint64
}

// loop is a chamber under this controller: plant steps of a second, samples every
// sample seconds, an output that follows at once or through a relay.
type loop struct {
	model   Model
	tuning  Tuning
	feed    *Model // feed-forward of the ramp's rate on this model; nil is none
	hold    bool   // feed-forward of the holding duty too
	sample  int
	relay   *duty.Limits
	ambient quantity.Celsius
	load    float64 // duty that someone adds at the plant's input
	// withhold says whether the output is kept off in this second.
	withhold func(second int) bool
	// setpoint overrides the fixed one: a rise and its rate.
	setpoint func(second int) (float64, float64)
	watch    func(second int, s State, duty, rise float64)
}

func (l loop) run(rise float64, seconds int, p *plant, s State) score {
	if p == nil {
		p = newPlant(l.model, time.Second)
	}
	var relay duty.State
	var got score
	demand, delivered, held := s.Duty, s.Duty, 0.0
	y := p.x2
	for second := range seconds {
		target, rate := rise, 0.0
		if l.setpoint != nil {
			target, rate = l.setpoint(second)
		}
		if second%l.sample == 0 {
			in := Input{
				Setpoint: l.ambient + quantity.Celsius(target), Measured: l.ambient + quantity.Celsius(y),
				SetpointRate: quantity.KelvinPerSecond(rate), Step: time.Duration(l.sample) * time.Second, Delivered: delivered, Window: time.Duration(l.sample) * time.Second,
			}
			if l.relay != nil {
				in.Delivered, in.Window = relay.Delivered(), l.relay.Window
			}
			if l.feed != nil {
				above := quantity.Kelvin(0)
				if l.hold {
					above = quantity.Kelvin(target)
				}
				in.FeedForward = FeedForward(*l.feed, above, quantity.KelvinPerSecond(rate))
			}
			next, u, ok := Step(l.tuning, s, in)
			if !ok {
				panic("refused")
			}
			s, demand = next, u
		}
		held = demand
		off := l.withhold != nil && l.withhold(second)
		if off {
			held = 0
		}
		delivered = held
		if l.relay != nil {
			var on bool
			relay, on = duty.Step(*l.relay, relay, held, time.Second)
			if off {
				relay, on = duty.Trip(relay), false
			}
			held = 0
			if on {
				held = 1
			}
		}
		y = p.step(held + l.load)
		if l.watch != nil {
			l.watch(second, s, held, y)
		}
		got.overshoot = max(got.overshoot, y-target)
		got.integralOfError += target - y
		if math.Abs(y-target) > 1 {
			got.entered = float64(second + 1)
		}
	}
	got.final = y
	got.operations = relay.Operations()
	return got
}
