package campaign

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// Operated is a bit of a seed. With it, the batch of the seed without it is run again
// with people at the cabinet: orders at random times, sensible or not, and a door that
// is opened, with a switch on it or without.
const Operated uint64 = 1 << 40

// DoorRests is a rule for cabinets with a switch on the door.
const DoorRests Rule = "heater, fan, smoke, humidifier and cooler off in the step that knows the door open"

func (j *judge) door(m *sim.Moment) {
	if d := m.Inputs.Door; d != controller.DoorOpen && d != controller.DoorUnread {
		return
	}
	if out := m.After.Out; out.On&^controller.SetOf(controller.Sounder, controller.Light, controller.DamperDrive) != 0 {
		j.breaks(DoorRests, m.Now, "door open with %+v", out)
	}
}

// How busy the people are; common practice, no source. Orders come far more often and
// far less wisely than at a real cabinet.
const (
	orderEvery  = 40 * time.Minute // on average
	mostDoors   = 5
	latestDoor  = 12 * time.Hour
	longestDoor = 15 * time.Minute
)

// operate adds the people of a seed to a setup.
func operate(setup *sim.Setup, seed uint64) {
	r := draws{rand.New(rand.NewPCG(seed, 0x6f70657261746f72))}
	if r.IntN(2) == 0 {
		box := *setup.Cabinet
		box.Door = cabinet.Wire{Fitted: true, Pin: cabinet.Simulated}
		setup.Cabinet = &box
	}
	setup.Faults = slices.Clip(setup.Faults)
	for range r.IntN(mostDoors) {
		setup.Faults = append(setup.Faults, fault.Fault{
			Kind: fault.DoorOpen, At: time.Duration(r.between(0, latestDoor.Seconds())) * time.Second,
			For: time.Duration(r.log(2, longestDoor.Seconds())) * time.Second,
		})
	}
	o := &operator{draws: r, switched: setup.Cabinet.Door.Fitted}
	o.wait(0)
	setup.Operator = o
}

// An operator gives the orders of one batch. It remembers what it ordered.
type operator struct {
	draws
	switched bool
	next     time.Duration
	queue    []order
	silent   time.Duration // the person answers nothing until then
	tripped  trip.Code     // what it has seen
	asked    bool
	said     []order
}

type order struct {
	at      time.Duration
	command controller.Command
}

func (o order) String() string {
	text := fmt.Sprintf("%s@%.0fs", o.command.Kind, o.at.Seconds())
	if c := o.command.Alarm; c != trip.None {
		text += " " + c.String()
	}
	return text
}

// String says all orders given so far, and whether the door has a switch.
func (o *operator) String() string {
	words := []string{"door without a switch"}
	if o.switched {
		words[0] = "door with a switch"
	}
	for _, said := range o.said {
		words = append(words, said.String())
	}
	return strings.Join(words, ", ")
}

func (o *operator) wait(now time.Duration) {
	o.next = now + time.Duration(o.ExpFloat64()*float64(orderEvery))
}

// later queues a command for some seconds from now.
func (o *operator) later(at time.Duration, c controller.Command) {
	o.queue = append(o.queue, order{at, c})
}

// Order implements sim.Operator.
func (o *operator) Order(now time.Duration, s *controller.State) (controller.Command, bool) {
	if s.Tripped != o.tripped {
		if o.tripped = s.Tripped; s.Tripped != trip.None && o.IntN(2) == 0 { // cause gone or not
			for at := now; o.IntN(4) > 0; {
				at += o.seconds(1, 600)
				o.later(at, controller.Command{Kind: controller.Reset})
			}
		}
	}
	if s.Asking != o.asked {
		if o.asked = s.Asking; s.Asking && o.IntN(4) == 0 { // before anyone can have done it
			o.later(now, confirm(s))
		}
	}
	if now >= o.next {
		o.wait(now)
		o.deed(now, s)
	}
	for i, due := range o.queue {
		if due.at <= now {
			o.queue = slices.Delete(o.queue, i, i+1)
			o.said = append(o.said, order{now, due.command})
			return due.command, true
		}
	}
	return controller.Command{}, now < o.silent
}

func (o *operator) seconds(low, high float64) time.Duration {
	return time.Duration(o.log(low, high)) * time.Second
}

// code is any alarm, now and then one that there is not.
func (o *operator) code() trip.Code { return trip.Code(o.IntN(int(trip.Count) + 2)) }

// confirm answers the question that waits when the person reads it, by the time the
// answer comes perhaps another; or one that nobody has asked.
func confirm(s *controller.State) controller.Command {
	q, ok := s.Question()
	if !ok {
		q = controller.Question{Stage: s.Stage, Part: controller.HandStep}
	}
	return controller.Command{Kind: controller.Confirm, Question: q}
}

// deed draws what someone does, whatever the state is.
func (o *operator) deed(now time.Duration, s *controller.State) {
	c := controller.Command{}
	switch o.IntN(16) {
	case 0, 1: // hold, and restart after seconds or hours, or leave that to the person
		c.Kind = controller.Hold
		if o.IntN(3) > 0 {
			o.later(now+o.seconds(1, 7200), controller.Command{Kind: controller.Restart})
		}
	case 2:
		c.Kind = controller.Restart
	case 3, 4:
		c.Kind = controller.Acknowledge
	case 5:
		c.Kind, c.Alarm = controller.Acknowledge, o.code()
	case 6:
		c.Kind, c.Alarm = controller.Mended, o.code()
	case 7, 8:
		c.Kind, c.Alarm = controller.Shelve, o.code()
		c.For = [...]time.Duration{o.seconds(1, 1e5), o.seconds(1, 1e5), 0, -time.Hour, 1 << 62}[o.IntN(5)]
	case 9, 10:
		c.Kind = controller.Reset
	case 11, 12:
		c = confirm(s)
	case 13: // nobody answers for a while
		o.silent = now + o.seconds(60, 3*3600)
		return
	case 14:
		c.Kind, c.Rested, c.Excused = controller.Start, time.Duration(o.Int64N(1<<50))-1<<49, o.IntN(2) == 0
	case 15:
		switch o.IntN(12) {
		case 0:
			c.Kind = controller.Stop
		case 1:
			c.Kind = controller.Abort
		default:
			if c.Kind = controller.CommandKinds + controller.CommandKind(o.IntN(3)); c.Kind == controller.CommandKinds+2 {
				c = controller.Command{Kind: controller.Absence, Question: controller.Question{Absence: 1, Batch: s.Started.Truncate(time.Millisecond)}, For: time.Hour} // asked or not
			}
		}
	}
	for range []int{1, 1, 1, 2, 3}[o.IntN(5)] { // pressed once, or again and again
		o.later(now, c)
	}
}
