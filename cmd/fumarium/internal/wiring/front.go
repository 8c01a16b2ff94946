package wiring

import (
	"errors"
	"fmt"
	"io"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/devices/v3/ssd1306"

	"fumarium/cmd/fumarium/internal/front"
	"fumarium/controller/cabinet"
	"fumarium/controller/panel"
	"fumarium/controller/relay"
	"fumarium/sim/chips"
)

// displayAddress is the usual one of an SSD1306, and the only one that the driver knows.
const displayAddress = 0x3C

// bounce is how long the contacts of a push button may bounce; common practice, no source.
const bounce = 20 * time.Millisecond

var errNoEdges = errors.New("these lines tell no edges")

// Front opens what hangs at the front of the cabinet: its buttons now, its display when
// it is first needed and again after each failure. What cannot be opened is missing, and
// the cabinet runs without. In a simulated cabinet a display is a simulated chip behind
// the real driver, and there is nobody to press a button.
func (w *World) Front(lines relay.Host) front.Config {
	p := &w.cabinet.Panel
	c := front.Config{Buttons: map[panel.Button]relay.Watched{}, Missing: map[panel.Button]error{}}
	c.Edges = func() time.Duration { return 0 }
	if p.Display == cabinet.Simulated {
		w.display = chips.NewSSD1306()
		c.Display = func() (front.Display, error) { return openDisplay(chips.I2C{w.display}) }
	} else if p.Display != "" {
		c.Display = func() (front.Display, error) {
			_, bus, _, _ := cabinet.ParseBus(p.Display)
			b, err := w.buses.I2C(bus) // a handle of its own: the kernel takes turns
			if err != nil {
				return nil, err
			}
			return openDisplay(b)
		}
	}
	watcher, watches := lines.(relay.Watcher)
	if watches {
		c.Edges = watcher.EdgeClock
	}
	for i, b := range p.Buttons() {
		if !b.Wire.Fitted || b.Wire.Pin == cabinet.Simulated {
			continue
		}
		which := panel.Confirm + panel.Button(i)
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

// display is the driver with the bus that it was opened on.
type display struct {
	*ssd1306.Dev
	bus i2c.Bus
}

func openDisplay(b i2c.Bus) (front.Display, error) {
	d := display{bus: b}
	var err error
	if d.Dev, err = ssd1306.NewI2C(b, &ssd1306.DefaultOpts); err != nil {
		return nil, errors.Join(fmt.Errorf("wiring: no display at address 0x3C: %w", err), d.Close())
	}
	return d, nil
}

// Close lets go of the bus and leaves the display as it is.
func (d display) Close() error {
	if c, ok := d.bus.(io.Closer); ok {
		return c.Close()
	}
	return nil
}
