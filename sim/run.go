package sim

import (
	"context"
	"time"

	"fumarium/controller"
	"fumarium/sim/fault"
)

// A Moment is one step of a batch as someone sees it who knows the truth, after the person
// has seen it too and before its outputs reach the plant. It is good until the call that
// got it returns, and to be read only.
type Moment struct {
	Now    time.Duration // as the controller counts it
	World  *World
	Call   fault.Call // when the controller was not called, the state is as it was
	Inputs controller.Inputs
	Before *controller.State // the step, for those whom Watch shows it; else nil
	After  *controller.State // it
	Out    controller.Outputs
	Events []controller.Event
	Lasts  time.Duration // until the next step
}

// Run steps a machine on virtual time in a world, from any state of both, and shows each
// step to see, until the batch is over, see returns false, or the context is cancelled,
// which is its only error. State and world are changed in place; what World.Order said
// goes into the first step. Run again and it goes on with the next step.
func Run(ctx context.Context, m *controller.Machine, s *controller.State, w *World, see func(*Moment) (goOn bool)) error {
	if w.lasts == 0 && s.Begun { // a world that the state has not met
		w.clock = s.Elapsed + Step
	}
	t := Moment{World: w, After: s}
	for {
		if w.lasts > 0 {
			w.Drive(w.out)
			w.advance(w.lasts)
			w.clock += w.lasts
		}
		t.Now, t.Call, t.Events = w.clock, w.Call(), nil
		switch t.Call {
		case fault.Made:
			t.Inputs = controller.Inputs{}
			w.read(&t.Inputs, t.Now)
			t.Inputs.Command = w.order
			w.out, t.Events = m.Advance(s, &t.Inputs)
			w.order = w.Answer(s)
		case fault.Cut:
			w.out = controller.Outputs{Damper: w.out.Damper}
		}
		w.lasts = w.stride(s, t.Now)
		t.Out, t.Lasts = w.out, w.lasts
		if goOn := see(&t); !goOn || s.Begun && !s.Batch.Active() {
			return nil
		}
		if t.Now%time.Minute == 0 {
			if err := ctx.Err(); err != nil {
				return err
			}
		}
	}
}
