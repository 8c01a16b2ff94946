package controller

import (
	"fumarium/controller/duty"
	"fumarium/controller/trip"
	"fumarium/profile"
)

// fanMemory is what the step remembers of the fan.
type fanMemory struct {
	Relay  duty.State `record:"relay"`
	wanted bool       `record:"wanted"`
	coasts bool       `record:"coasts"` // it outlasts the heater
}

// drive turns the state into outputs. Everything is off unless a batch runs and
// nothing forbids it.
func (t *step) drive() {
	s := t.s
	damper := t.damper()
	stage := t.stage()
	if s.Batch != Running || stage == nil || s.Tripped != trip.None {
		s.Heater.off(t)
		s.Fan.Relay.Cut(&t.m.fan, t.dt)
		s.Fan = fanMemory{Relay: s.Fan.Relay}
		s.humidifierOn = false
		s.Smoke.blow(t, false)
		s.Out = Outputs{Damper: s.Air.rest(t, damper)}
		t.call(&s.Out)
		return
	}
	coast := false
	if stage.HasDamper && !s.Asking { // the person sets it in the hand step
		coast = stage.Damper < damper
		damper = stage.Damper
	}
	out := Outputs{Damper: damper}
	t.call(&out)
	shut := !t.doorOpen()
	c := t.m.cabinet
	smoke := stage.Smoke && !s.Asking && c.Smoke.Fitted && shut
	fan := shut && t.m.fanIn(stage)
	if s.Fan.wanted && !fan && shut {
		coast, s.Fan.coasts = true, true
	}
	if fan && !s.Fan.wanted && !t.m.fixedCoast { // what is aimed at counts on its film at once
		s.Fan.Relay.Anew()
	}
	s.Fan.wanted = fan
	s.Heater.aim(t, damper, fan)
	if coast {
		s.Heater.rests = t.m.coasts
	}
	if s.Heater.coast(t, stage, damper, fan); s.Heater.rests == 0 {
		s.Fan.coasts = false
	}
	switch {
	case s.Fan.coasts:
		out.On.Set(Fan, shut)
	case fan:
		relay, on := duty.Step(t.m.fan, s.Fan.Relay, float64(stage.Fan), t.dt)
		s.Fan.Relay = relay
		out.On.Set(Fan, on)
	default:
		s.Fan.Relay.Cut(&t.m.fan, t.dt)
	}
	out.On.Set(Smoke, s.Smoke.blow(t, smoke && (!out.On.Has(Fan) || c.Rules.FanWithSmoke)))
	if s.Heater.rests > 0 || s.Chamber.asks() {
		s.Heater.rest(t, stage)
	} else {
		out.On.Set(Heater, s.Heater.heat(t, stage))
	}
	out.On.Set(Humidifier, t.humidify(stage))
	s.Air.drive(t, stage, &out)
	s.Out = out
}

// fanIn reports whether the fan runs in a stage. In one with smoke it is off already while
// the person lights the generator, so that its pump need not wait for the fan to coast.
func (m *Machine) fanIn(stage *profile.Stage) bool {
	c := m.cabinet
	return c.Fan.Fitted && stage.Fan > 0 && (c.Rules.FanWithSmoke || !stage.Smoke || !c.Smoke.Fitted)
}
