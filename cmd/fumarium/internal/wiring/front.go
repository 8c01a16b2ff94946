package wiring

import (
	"errors"
	"fmt"
	"io"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/devices/v3/ssd1306"

	"fumarium/cmd/fumarium/internal/front"
	"fumarium/controller/cabinet"
	"fumarium/controller/panel"
	"fumarium/controller/relay"
	"fumarium/sim/chips"
)

// displayAddress, on I2C, is the usual one of an SSD1306, and the only one that the driver knows.
const displayAddress = 0x3C

// bounce is how long the contacts of a push button may bounce; common practice, no source.
const bounce = 20 * time.Millisecond

var errNoEdges = errors.New("these lines tell no edges")

// Front opens what hangs at the front of the cabinet: its buttons now, its display when
// it is first needed and again after each failure. What cannot be opened is missing, and
// the cabinet runs without. In a simulated cabinet a display is a simulated chip behind
// the real driver, and nobody presses a button, but it may stick.
func (w *World) Front(lines relay.Host) front.Config {
	p := &w.cabinet.Panel
	c := front.Config{Buttons: map[panel.Button]relay.Watched{}, Missing: map[panel.Button]error{}}
	c.Edges = func() time.Duration { return 0 }
	if p.Display == cabinet.Simulated {
		w.display = chips.NewSSD1306()
		c.Display = func() (front.Display, error) {
			if p.OnSPI() {
				return onDisplaySPI(w.display.Port(), w.display.DataLine())
			}
			return onDisplayI2C(chips.I2C{w.display})
		}
	} else if p.Display != "" {
		c.Display = func() (front.Display, error) { return w.openDisplay(lines) }
	}
	watcher, watches := lines.(relay.Watcher)
	if watches {
		c.Edges = watcher.EdgeClock
	}
	for i, b := range p.Buttons() {
		which := panel.Confirm + panel.Button(i)
		if !b.Wire.Fitted {
			continue
		}
		if b.Wire.Pin == cabinet.Simulated { // the last of them is the one that goes wrong
			w.thumb = newThumb()
			c.Edges, c.Buttons[which] = w.thumb.now, w.thumb
			continue
		}
		if !watches {
			c.Missing[which] = errNoEdges
			continue
		}
		in, err := watcher.Watch(relay.Opts{
			Chip: w.cabinet.LineChip, Pin: b.Wire.Pin, ActiveLow: b.Wire.ActiveLow, User: "fumarium " + b.Name,
			Pull: relay.ToOff, Debounce: bounce,
		})
		if err != nil {
			c.Missing[which] = fmt.Errorf("wiring: button %s: %w", b.Name, err)
			continue
		}
		c.Buttons[which] = in
	}
	return c
}

// openDisplay opens a real one on a handle of its own: the kernel takes turns.
func (w *World) openDisplay(lines relay.Host) (front.Display, error) {
	p := &w.cabinet.Panel
	kind, bus, chipSelect, _ := cabinet.ParseBus(p.Display)
	if kind == cabinet.I2C {
		b, err := w.buses.I2C(bus)
		if err != nil {
			return nil, err
		}
		return onDisplayI2C(b)
	}
	port, err := w.buses.SPI(bus, chipSelect)
	if err != nil {
		return nil, err
	}
	o := relay.Opts{Chip: w.cabinet.LineChip, Pin: p.DataLine.Pin, ActiveLow: p.DataLine.ActiveLow, User: "fumarium display"}
	line, err := lines.Output(o)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("wiring: the display's data line: %w", err), display{over: port}.Close())
	}
	return onDisplaySPI(port, line)
}

// display is the driver with what it was opened on.
type display struct {
	*ssd1306.Dev
	over any
	line relay.Line // on SPI
}

func onDisplayI2C(b i2c.Bus) (front.Display, error) {
	d := display{over: b}
	var err error
	if d.Dev, err = ssd1306.NewI2C(b, &ssd1306.DefaultOpts); err != nil {
		return nil, errors.Join(fmt.Errorf("wiring: no display at address 0x3C: %w", err), d.Close())
	}
	return d, nil
}

// displaySpeed is slow for the chip, which takes 10 MHz by its datasheet (from memory): a
// whole picture is over in 8 ms, and a lead of half a metre bears it. Own magnitude.
const displaySpeed = physic.MegaHertz

func onDisplaySPI(port spi.Port, line relay.Line) (front.Display, error) {
	d := display{over: port, line: line}
	var err error
	if slow, can := port.(interface {
		LimitSpeed(physic.Frequency) error
	}); can {
		err = slow.LimitSpeed(displaySpeed)
	}
	if err == nil {
		d.Dev, err = ssd1306.NewSPI(port, dataLine{line}, &ssd1306.DefaultOpts)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("wiring: the display on SPI: %w", err), d.Close())
	}
	return d, nil
}

// Close lets go of bus and line and leaves the display as it is.
func (d display) Close() error {
	var err error
	if d.line != nil {
		err = d.line.Close()
	}
	if c, ok := d.over.(io.Closer); ok {
		err = errors.Join(err, c.Close())
	}
	return err
}

// A dataLine is a line of ours as the display's driver wants it.
type dataLine struct{ relay.Line }

var _ gpio.PinOut = dataLine{}

// Out implements gpio.PinOut.
func (l dataLine) Out(level gpio.Level) error { return l.Set(bool(level)) }

// String, Name, Number and Function are what a registry would ask for.
func (dataLine) String() string   { return "data line" }
func (dataLine) Name() string     { return "data line" }
func (dataLine) Number() int      { return -1 }
func (dataLine) Function() string { return "D/C" }

// Halt and PWM are not for this line.
func (dataLine) Halt() error                           { return nil }
func (dataLine) PWM(gpio.Duty, physic.Frequency) error { return errors.ErrUnsupported }
