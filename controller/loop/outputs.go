package loop

import (
	"errors"
	"fmt"

	"fumarium/controller"
)

// cut applies every off; what is on now and shall stay on stays on.
func (l *Loop) cut(out controller.Outputs) error {
	return l.set(controller.Outputs{On: out.On & l.applied.On, Damper: out.Damper})
}

// drive applies every on, after what must be written first.
func (l *Loop) drive(out controller.Outputs) error {
	if out == l.applied {
		return nil
	}
	return l.set(out)
}

// set drives the outputs and keeps what is known of them.
func (l *Loop) set(out controller.Outputs) error {
	err := l.cfg.World.Drive(out)
	l.live = errors.Is(err, ErrLive)
	switch {
	case err == nil:
		l.applied = out
	case l.live:
		l.applied = out.OnlySounder()
	}
	return err
}

// giveUp switches everything off because an output could not be set, sounds the
// sounder if it is wanted, and says so after that. It reports whether it is known what
// is on now.
func (l *Loop) giveUp(err error, sounder, wasLive bool) (known bool) {
	off := err
	if !l.live { // else all is off that can be, and the sounder need not stop for a moment
		off = l.off()
	}
	known = off == nil || l.live
	if sounder && (!l.live || !l.applied.On.Has(controller.Sounder)) { // an off that failed may have silenced it
		// Also when nothing is known: someone must come.
		loud := l.set(controller.Outputs{On: controller.SetOf(controller.Sounder), Damper: l.applied.Damper})
		if loud != nil && !l.live && known { // it is the sounder that cannot be set
			off = l.off()
			known = off == nil || l.live
		}
	}
	switch {
	case l.live && wasLive: // said when it began, and the alarm stands
	case l.live:
		l.sayLive()
	default:
		l.cfg.Log.Error("outputs", "err", err, "do", "everything was told off; check the relay's wiring")
		if off != nil {
			l.cfg.Log.Error("switching off failed", "err", off, "do", "cut the mains")
		}
	}
	return known
}

func (l *Loop) sayLive() {
	l.cfg.Log.Error("heater", "err", ErrLive, "do", "cut the mains by hand now; no program can open a welded contact")
}

func (l *Loop) off() error {
	none := controller.Outputs{Damper: l.applied.Damper} // a fire wants no more air than it has
	if l.cfg.Cabinet.Damper.Fitted {
		none.Damper = 1 // its spring opens it
	}
	var err error
	for range 3 { // a bus may drop one write
		if err = l.set(none); err == nil {
			if s := l.current.Load(); s != nil {
				last := *s
				last.Stopping = true
				last.State.Out = none
				l.current.Store(&last)
			}
			return nil
		}
		if l.live {
			break // every line is off
		}
	}
	return fmt.Errorf("loop: the outputs could not be switched off; cut the mains: %w", err)
}
