// Package relay switches the cabinet's outputs over lines of the kernel's GPIO
// character device. It knows nothing of batches or temperatures and decides
// nothing about heat; what it is not sure of it leaves off, and says so.
//
// Lines go through the kernel's version 2 interface rather than a library or the
// processor's registers: there a line has one owner, gets its first value, off, in
// the same call that makes it an output, and can be read back as it is. Interface:
// the kernel's Documentation/userspace-api/gpio and include/uapi/linux/gpio.h.
//
// Edges of inputs are the kernel's, with its debounce and its clock. That is held against
// Debian's kernel on emulated boards: behind the chip PL061 a key that the emulator presses
// for 100 ms comes as two edges 96 ms apart, by ticks of 4 ms; the driver pinctrl-bcm2835
// takes the same request, but its emulated lines have no edges to give, and that kernel
// has neither of the modules that play a chip (gpio-sim, gpio-mockup).
//
// After a process dies the kernel may leave a line as it was; Raspberry Pi's does
// unless dtparam=strict_gpiod is set. No process can switch off what it no longer
// owns: that takes the service's stop helper and a pull-down at the relay.
package relay

import (
	"errors"
	"fmt"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// A Line is one GPIO line. It is not safe for concurrent use.
type Line interface {
	// Set switches an output. An input refuses.
	Set(on bool) error
	// Read gives the level that the line has now and changes nothing.
	Read() (bool, error)
	// Close writes off first, if the line is an output, and lets go of it.
	Close() error
}

// A Host opens lines.
type Host interface {
	// Output opens a line as an output that is off.
	Output(o Opts) (Line, error)
	Input(o Opts) (Line, error)
}

// A Watcher opens inputs whose edges are noted by the kernel, with its own clock, however
// busy the program is.
type Watcher interface {
	Watch(o Opts) (Watched, error)
	// EdgeClock is the clock of those edges, now.
	EdgeClock() time.Duration
}

// Watched is such an input.
type Watched interface {
	// Read gives the level that the line has now.
	Read() (bool, error)
	// Next waits for the next edge. Close ends the wait with an error.
	Next() (Edge, error)
	Close() error
}

// An Edge is an input that became active or no longer is.
type Edge struct {
	On bool
	At time.Duration
}

// Opts are the options of one line.
type Opts struct {
	// Chip is the label of the GPIO chip; empty is the only one whose label begins
	// with pinctrl-. Numbers of chips have changed between kernels.
	Chip string
	// Pin is the line's name, or its offset on the chip. GPIOn is offset n on a
	// Raspberry Pi, whatever its kernel calls the line.
	Pin       string
	ActiveLow bool
	// User is shown to whoever asks who holds the line.
	User string
	// Pull is what an input reads when its wire has come off, where the chip can.
	Pull Pull
	// Debounce, of a watched input, is how long its contacts may bounce: the kernel says
	// only what has stood for so long.
	Debounce time.Duration
	// LowAtReset refuses a pin that is pulled up before a program takes it.
	LowAtReset bool
}

// A Pull is a weak resistor in the chip.
type Pull uint8

// The pulls of an input, towards what is active or away from it. With NoPull its
// resistor stays as it is.
const (
	NoPull Pull = iota
	ToOff
	ToOn
)

// Stagger is how long two contacts of the heater wait for each other, and the
// feedback for both. Relays take some 10 ms and an isolating voltage sensor some
// 50 ms (common practice, no source).
const Stagger = 100 * time.Millisecond

// Why the heater is refused.
var (
	ErrWelded = errors.New("relay: the element had voltage after its relay was switched off: the contact is welded, or the feedback is wired wrongly; cut the mains, have the relay replaced, then start again")
	ErrLive   = errors.New("relay: the element has voltage although every relay of it is off; cut the mains now")
)

// A Level is what is known of a line.
type Level uint8

// The levels. The zero Level is not known.
const (
	Unknown Level = iota
	Off
	On
)

func (l Level) String() string { return [...]string{"unknown", "off", "on"}[min(l, On)] }

// Readback is what the lines really were when they were last looked at.
type Readback struct {
	Heater, Series, Fan, Smoke, Humidifier, Damper, Cooler, Sounder, Light Level
	// Element says whether the heating element has voltage; Unknown without a
	// feedback input.
	Element Level
	// Door is On while the door is shut; Unknown without a switch.
	Door Level
	// Welded latches once the element had voltage that its relay should have cut.
	Welded bool
}

// An output is one relay of the cabinet.
type output struct {
	name string
	line Line // nil when it is not fitted
	on   bool // as last set; after an error also when it only may be
}

// A Bank is every output of one cabinet. It is not safe for concurrent use.
type Bank struct {
	heater, series, fan, smoke, humidifier, damper, cooler, sounder, light output

	feedback Line
	door     Line
	wait     func(time.Duration)
	welded   bool
	closed   bool
}

// Open takes every line of the cabinet, off. On an error it has let go of all
// again, off. wait is time.Sleep, but for tests.
//
// A live element is no error if every line is off, for who holds the lines can still
// sound the sounder and say what to do. The Bank is Welded then and gives no heat.
func Open(c *cabinet.Cabinet, h Host, wait func(time.Duration)) (*Bank, error) {
	for _, w := range []struct {
		what              string
		activeLow, insist bool
	}{{"the heater", c.Heater.ActiveLow, c.Heater.Insist}, {"the heater's series relay", c.Heater.Series.ActiveLow, c.Heater.Series.Insist}} {
		if w.activeLow && !w.insist {
			return nil, fmt.Errorf("relay: %s is active low: it is on whenever its pin is low, even before this program runs; "+
				"use a driver that is on when its pin is high, or write insist: yes beside its polarity", w.what)
		}
	}
	b, err := open(c, h, wait, true)
	if err != nil {
		return nil, errors.Join(err, b.Close())
	}
	if err := b.Drive(controller.Outputs{}); err != nil && err != ErrLive {
		return nil, errors.Join(err, b.Close())
	}
	return b, nil
}

// open takes what it can get. The error joins what it could not.
func open(c *cabinet.Cabinet, h Host, wait func(time.Duration), guarded bool) (*Bank, error) {
	b := &Bank{wait: wait}
	var all error
	heat := &c.Heater
	outputs := map[string]*output{"heater": &b.heater, "heater 2": &b.series, "smoke": &b.smoke, "humidifier": &b.humidifier, "cooler": &b.cooler, "damper": &b.damper, "fan": &b.fan, "sounder": &b.sounder, "light": &b.light}
	for name, o := range outputs {
		o.name = name
	}
	lowAtReset := map[string]bool{"heater": !heat.Insist, "heater 2": !heat.Series.Insist}
	for _, p := range Pins(c) {
		line, err := h.Output(Opts{Chip: p.Chip, Pin: p.Pin, ActiveLow: p.ActiveLow, User: "fumarium " + p.Output, LowAtReset: guarded && lowAtReset[p.Output]})
		if err != nil {
			all = errors.Join(all, fmt.Errorf("relay: %s: %w", p.Output, err))
			continue
		}
		outputs[p.Output].line = line
	}
	if f := heat.Feedback; f.Fitted {
		// A wire that has come off says "voltage", and heat is refused; it must not hide
		// a welded contact.
		line, err := h.Input(Opts{Chip: c.LineChip, Pin: f.Pin, ActiveLow: f.ActiveLow, User: "fumarium feedback", Pull: ToOn})
		if err != nil {
			all = errors.Join(all, fmt.Errorf("relay: feedback: %w", err))
		} else {
			b.feedback = line
		}
	}
	if c.Door.Fitted {
		line, err := h.Input(Opts{Chip: c.LineChip, Pin: c.Door.Pin, ActiveLow: c.Door.ActiveLow, User: "fumarium door", Pull: ToOff})
		if err != nil {
			all = errors.Join(all, fmt.Errorf("relay: door: %w", err))
		} else {
			b.door = line
		}
	}
	return b, all
}

// Cut switches off every output of the cabinet that it can get hold of, whatever
// may be wrong with the others, and verifies it. It is what runs after the daemon
// has ended, in whatever way.
func Cut(c *cabinet.Cabinet, h Host, wait func(time.Duration)) error {
	b, err := open(c, h, wait, false)
	return errors.Join(err, b.Drive(controller.Outputs{}), b.Close())
}

// all is every output, those that matter most first.
func (b *Bank) all() []*output {
	return []*output{&b.heater, &b.series, &b.smoke, &b.humidifier, &b.cooler, &b.damper, &b.fan, &b.sounder, &b.light}
}

// set switches one output and reads it back.
func (o *output) set(on bool) error {
	if o.line == nil {
		return nil // what is not fitted may be wanted: a product names a fan, the cabinet has none
	}
	err := o.line.Set(on)
	if err == nil {
		var is bool
		if is, err = o.line.Read(); err == nil && is != on {
			err = fmt.Errorf("it was switched %v and its pin reads %v; something else drives the pin: check for a short", word(on), word(is))
		}
	}
	if err != nil {
		err = fmt.Errorf("relay: %s: %w", o.name, err)
	}
	o.on = on || err != nil && o.on
	return err
}

func word(on bool) Level {
	if on {
		return On
	}
	return Off
}

// live reports whether the element has voltage, as far as anything can tell.
func (b *Bank) live() (bool, error) {
	if b.feedback == nil {
		return false, nil
	}
	live, err := b.feedback.Read()
	if err != nil {
		return false, fmt.Errorf("relay: feedback: %w", err)
	}
	return live, nil
}

// dead is an error unless the element is without voltage, as it must be now.
func (b *Bank) dead(otherwise error) error {
	live, err := b.live()
	if live {
		b.welded = true
		return otherwise
	}
	return err
}

// Drive sets every output that is fitted: all that go off first, and of those the
// heater first. After any error every output is off, or could not be made so,
// which the error then says. Only the sounder is on after an error, if it was wanted:
// it cannot heat, and someone must come.
//
// The error is ErrLive itself, neither wrapped nor joined, when every line does as
// this says and the element has voltage all the same.
func (b *Bank) Drive(out controller.Outputs) error {
	if b.closed {
		return errors.New("relay: the lines are closed")
	}
	err := b.drive(out)
	least := out.OnlySounder()
	if err != nil && out != least {
		err = also(err, b.drive(least))
	}
	return err
}

// also joins two errors; the same twice stays what it is.
func also(a, b error) error {
	switch {
	case a == nil || a == b:
		return b
	case b == nil:
		return a
	}
	return errors.Join(a, b)
}

func (b *Bank) drive(out controller.Outputs) error {
	want := []struct {
		o  *output
		on bool
	}{
		{&b.smoke, out.On.Has(controller.Smoke)}, {&b.humidifier, out.On.Has(controller.Humidifier)}, {&b.cooler, out.On.Has(controller.Cooler)},
		{&b.damper, out.On.Has(controller.DamperDrive)}, {&b.fan, out.On.Has(controller.Fan)}, {&b.sounder, out.On.Has(controller.Sounder)}, {&b.light, out.On.Has(controller.Light)},
	}
	var err, heat error
	wasOn := b.heater.on
	if !out.On.Has(controller.Heater) {
		heat = b.heater.set(false)
	}
	for _, w := range want {
		if !w.on {
			err = also(err, w.o.set(false))
		}
	}
	if !out.On.Has(controller.Heater) {
		err = also(err, b.heaterOff(wasOn, heat))
	}
	if err != nil {
		if out.On.Has(controller.Sounder) {
			err = also(err, b.sounder.set(true))
		}
		return err
	}
	for _, w := range want {
		if w.on {
			if err := w.o.set(true); err != nil {
				return err
			}
		}
	}
	if out.On.Has(controller.Heater) {
		return b.heaterOn()
	}
	return nil
}

// heaterOff is what follows once the heater's own relay was told to open, with the
// error of that. The series relay opens last, without load, unless the first contact
// is welded; the feedback says.
func (b *Bank) heaterOff(wasOn bool, err error) error {
	told := err == nil
	if wasOn && (b.series.line != nil || b.feedback != nil) {
		b.wait(Stagger)
	}
	// Read before the series relay opens, or it would hide the weld.
	live, readErr := b.live()
	if live && told {
		b.welded = true
	}
	err = also(also(err, readErr), b.series.set(false))
	if !live {
		return err
	}
	if b.series.line != nil && wasOn {
		b.wait(Stagger)
		if live, readErr = b.live(); !live && readErr == nil {
			if told {
				err = also(err, ErrWelded)
			}
			return err
		}
	}
	return also(also(err, readErr), ErrLive)
}

// heaterOn closes the series relay first, so that it never switches the load.
func (b *Bank) heaterOn() error {
	if b.welded {
		return ErrWelded
	}
	if b.heater.on && (b.series.line == nil || b.series.on) {
		return errors.Join(b.series.again(), b.heater.again())
	}
	if err := b.dead(ErrLive); err != nil {
		return err
	}
	if b.series.line != nil {
		if err := b.series.set(true); err != nil {
			return err
		}
		b.wait(Stagger)
		if err := b.dead(ErrWelded); err != nil {
			return err
		}
	}
	return b.heater.set(true)
}

// again writes and verifies what an output is already.
func (o *output) again() error {
	if o.line == nil {
		return nil
	}
	return o.set(true)
}

// Readback looks at every line as it is now. What cannot be read is Unknown.
func (b *Bank) Readback() Readback {
	level := func(l Line) Level {
		if l == nil || b.closed {
			return Unknown
		}
		on, err := l.Read()
		if err != nil {
			return Unknown
		}
		return word(on)
	}
	return Readback{
		Heater: level(b.heater.line), Series: level(b.series.line), Fan: level(b.fan.line), Smoke: level(b.smoke.line),
		Humidifier: level(b.humidifier.line), Damper: level(b.damper.line), Cooler: level(b.cooler.line), Sounder: level(b.sounder.line), Light: level(b.light.line), Element: level(b.feedback), Door: level(b.door), Welded: b.welded,
	}
}

// Close switches everything off and lets go of the lines. The error says what may
// still be on.
func (b *Bank) Close() error {
	if b.closed {
		return nil
	}
	b.closed = true
	var err error
	for _, o := range b.all() {
		if o.line != nil {
			if e := o.line.Close(); e != nil {
				err = errors.Join(err, fmt.Errorf("relay: %s: %w", o.name, e))
			}
			o.on = false
		}
	}
	for _, input := range []Line{b.feedback, b.door} {
		if input != nil {
			err = errors.Join(err, input.Close())
		}
	}
	return err
}
