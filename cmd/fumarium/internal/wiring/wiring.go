// Package wiring turns a cabinet file into what the live loop reads and drives:
// buses, drivers, calibration and relays of a real cabinet, or the simulated one,
// with real drivers on simulated chips where the file asks for them. It decides
// nothing about heat. A front end that is missing is a fault in its reading's
// place; a relay that is missing is an error, for then nothing is known to be off.
package wiring

import (
	"errors"
	"fmt"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/loop"
	"fumarium/controller/relay"
	"fumarium/profile"
	"fumarium/profile/source"
	"fumarium/sensors"
	"fumarium/sim/chips"
	"fumarium/sim/fault"
)

// Options are the options of Open. The zero Options are for a real cabinet on this
// machine.
type Options struct {
	// Product is what hangs in a simulated cabinet until a batch is started.
	Product *profile.Product
	// Seed starts the noise of a simulated cabinet; every batch takes the next.
	Seed uint64
	// ByHand leaves the answers to a person at the page; Faults are what goes wrong in each
	// batch of a simulated cabinet, from its start on.
	ByHand bool
	Faults []fault.Fault
	// Lines, Buses and Wait stand in for the machine in tests.
	Lines relay.Host
	Buses Buses
	Wait  func(time.Duration)
}

// A World is an open cabinet. It is not safe for concurrent use.
type World struct {
	cabinet  *cabinet.Cabinet
	channels []*Channel
	bank     *relay.Bank    // nil in a simulated cabinet
	room     *rehearsed     // nil in a real one
	buses    *shared        // nil in a simulated one
	display  *chips.SSD1306 // of a simulated one that has any
	thumb    *thumb         // likewise, on the button that sticks
	apart    fault.Apart    // what is wrong with both
}

var _ loop.World = (*World)(nil)

// Open opens everything the file names, unless Lint finds an error in it. On an
// error nothing is left open or on. An element that is live although all is off is no
// error: Drive and the feedback say it, and no batch can be started.
func Open(c *cabinet.Cabinet, o Options) (*World, error) {
	if c.Simulated() {
		return openSimulated(c, o)
	}
	if err := Refused(c); err != nil {
		return nil, err
	}
	if o.Lines == nil {
		o.Lines = relay.NewKernel()
	}
	if o.Wait == nil {
		o.Wait = time.Sleep
	}
	bank, err := relay.Open(c, o.Lines, o.Wait)
	if err != nil {
		return nil, fmt.Errorf("wiring: cabinet %q: %w", c.Name, err)
	}
	w := OpenProbes(c, o.Buses)
	w.bank = bank
	return w, nil
}

// Refused is why Open will not touch a line of a real cabinet; nil if it will.
func Refused(c *cabinet.Cabinet) error {
	if c.Simulated() {
		return nil
	}
	for _, f := range cabinet.Lint(c, "") {
		if f.Severity == source.Error {
			return fmt.Errorf("wiring: cabinet %q: %w", c.Name, f)
		}
	}
	return nil
}

// OpenProbes opens the probes of a real cabinet and no relay: its world only
// reads. A nil b is this machine's buses.
func OpenProbes(c *cabinet.Cabinet, b Buses) *World {
	if b == nil {
		b = Machine()
	}
	w := &World{cabinet: c, buses: newShared(b)}
	for _, p := range c.Probes {
		driver, err := w.buses.open(c, p)
		w.channels = append(w.channels, newChannel(c, p, driver, err))
	}
	return w
}

// Channels are the probes in the order of the file.
func (w *World) Channels() []*Channel { return w.channels }

// Sample implements loop.World.
func (w *World) Sample(elapsed time.Duration) controller.Inputs {
	in := controller.Inputs{Elapsed: elapsed}
	if w.room != nil {
		in = w.room.sample(elapsed)
		w.goWrong(w.room.world.Apart())
	}
	next := map[cabinet.Role]int{}
	for _, c := range w.channels {
		w.again(c, elapsed)
		n := next[c.Probe.Role]
		next[c.Probe.Role]++
		place := placeOf(&in, c.Probe.Role, n)
		if place == nil {
			continue
		}
		if w.room == nil {
			*place = c.Read(elapsed)
			in.Board = colder(in.Board, c.Board())
			c.air(&in)
			continue
		}
		felt := *place
		if w.room.hung { // it has stood there for long
			c.memory = c.settings.Settled(elapsed, felt)
		}
		if c.tip == nil { // simulated without a chip
			*place = c.take(elapsed, felt)
			continue
		}
		c.tip.feel(felt)
		*place = c.Read(elapsed)
		c.air(&in)
	}
	if w.room != nil {
		w.room.hung = false
	}
	if w.bank == nil {
		return in
	}
	is := w.bank.Readback()
	if w.cabinet.Heater.Feedback.Fitted {
		in.Heater = feedback(is.Element)
	}
	if w.cabinet.Door.Fitted {
		in.Door = map[relay.Level]controller.DoorStatus{relay.Unknown: controller.DoorUnread, relay.Off: controller.DoorOpen, relay.On: controller.DoorShut}[is.Door]
	}
	return in
}

// colder is the colder one of two boards: the one that its box warms less.
func colder(a, b sensors.Reading) sensors.Reading {
	was, known := a.Value()
	if v, ok := b.Value(); ok && (!known || v < was) {
		return b
	}
	return a
}

// again opens the bus of a channel that has none, every now and then: it may have
// been enabled, freed or plugged in since.
func (w *World) again(c *Channel, now time.Duration) {
	switch {
	case c.broken == nil || w.buses == nil:
		return
	case c.retry == 0:
		c.retry = now + reopenEvery
	case now >= c.retry:
		c.retry = now + reopenEvery
		c.driver, c.broken = w.buses.open(w.cabinet, c.Probe)
	}
}

// reopenEvery is the pace at which a missing bus is tried. Common practice, no source.
const reopenEvery = 10 * time.Second

// feedback that cannot be read counts as voltage: what is not known to be off is on.
func feedback(element relay.Level) controller.Feedback {
	if element == relay.Off {
		return controller.FeedbackOff
	}
	return controller.FeedbackOn
}

// placeOf is where the n-th probe of a role goes.
func placeOf(in *controller.Inputs, role cabinet.Role, n int) *sensors.Reading {
	switch {
	case role == cabinet.ChamberProbe && n < len(in.Chamber):
		return &in.Chamber[n]
	case role == cabinet.CoreProbe && n < len(in.Core):
		return &in.Core[n]
	case role == cabinet.WetBulbProbe && n == 0:
		return &in.WetBulb
	case role == cabinet.AmbientProbe && n == 0:
		return &in.Ambient
	case role == cabinet.EmberProbe && n == 0:
		return &in.Ember
	}
	return nil
}

// Drive implements loop.World.
func (w *World) Drive(out controller.Outputs) error {
	switch {
	case w.room != nil:
		w.room.world.Drive(out)
		return nil
	case w.bank != nil:
		err := w.bank.Drive(out)
		if err == relay.ErrLive { // and nothing else is wrong
			err = fmt.Errorf("%w: %w", loop.ErrLive, err)
		}
		return err
	}
	return errors.New("wiring: no relays are open")
}

// Hang implements loop.World. In a real cabinet the person hangs the product.
func (w *World) Hang(p *profile.Product) error {
	if w.room != nil {
		return w.room.hang(p)
	}
	return nil
}

// Person is the simulated person; nil in a real cabinet.
func (w *World) Person() loop.Person {
	if w.room != nil {
		return w.room
	}
	return nil
}

// Readback is what the relays' lines really are; all unknown without any.
func (w *World) Readback() relay.Readback {
	if w.bank == nil {
		return relay.Readback{}
	}
	return w.bank.Readback()
}

// Close switches everything off and closes all. The error says what may be on.
func (w *World) Close() error {
	var err error
	if w.bank != nil {
		err = w.bank.Close()
	}
	if w.buses != nil {
		err = errors.Join(err, w.buses.close())
	}
	return err
}
