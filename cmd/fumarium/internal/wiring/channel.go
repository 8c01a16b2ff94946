package wiring

import (
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/channel"
	"fumarium/sensors/roomair"
)

// A Channel is one probe of the cabinet file on its way from the chip to the
// controller.
type Channel struct {
	Probe cabinet.Probe
	// Raw is the last sample as the driver gave it, Reading what the controller got.
	Raw, Reading sensors.Reading

	settings channel.Settings
	memory   channel.Memory
	driver   sensors.Probe // nil where there is no chip
	broken   error         // why there is no driver
	retry    time.Duration // when to try for one again
	tip      *tip          // of a simulated chip
}

func newChannel(c *cabinet.Cabinet, p cabinet.Probe, driver sensors.Probe, err error) *Channel {
	return &Channel{Probe: p, settings: c.Channel(&p), driver: driver, broken: err}
}

// Read takes one sample.
func (c *Channel) Read(now time.Duration) sensors.Reading {
	if c.driver == nil {
		return c.take(now, sensors.Fault(sensors.BusError))
	}
	return c.take(now, c.driver.Read(now))
}

// take conditions what the driver gave.
func (c *Channel) take(now time.Duration, raw sensors.Reading) sensors.Reading {
	c.Raw = raw
	c.Reading = c.settings.Read(&c.memory, now, raw)
	return c.Reading
}

// Lag is by how much the reading follows a steady ramp late when it is read once a
// second, the chip's own time and the probe's sheath not counted.
func (c *Channel) Lag() time.Duration { return c.settings.Lag(time.Second) }

// Board is how warm the front end is, where its chip tells.
func (c *Channel) Board() sensors.Reading {
	if d, ok := c.driver.(interface{ ColdJunction() sensors.Reading }); ok {
		return d.ColdJunction()
	}
	return sensors.Reading{}
}

// Err says why the last reading is not good; nil for a good one.
func (c *Channel) Err() error {
	if c.Reading.Status() == sensors.Good {
		return nil
	}
	if c.broken != nil {
		return c.broken
	}
	if err := c.settings.Doubt(c.Raw, c.Reading); err != nil {
		return err
	}
	if c.driver != nil && c.driver.Err() != nil {
		return c.driver.Err()
	}
	return sensors.ErrStarting
}

// air puts what the chip knows of the room's air besides its temperature into what a step
// is told.
func (c *Channel) air(in *controller.Inputs) {
	in.AirPascal = max(in.AirPascal, c.pascal())
	if d, ok := c.driver.(*roomair.Dev); ok && d.Air().HasHumidity {
		in.AirHumidity = quantity.Ratio(d.Air().Humidity)
	}
}

// pascal is the pressure of the air, where the chip measures it and reads well; else 0.
func (c *Channel) pascal() float64 {
	if d, ok := c.driver.(*roomair.Dev); ok && d.Air().HasPressure {
		return d.Air().Pressure
	}
	return 0
}

// Pascal is the pressure of the air, if the cabinet has a chip that measures it and it
// answers within five reads a second apart.
func (w *World) Pascal(now func() time.Duration, wait func(time.Duration) error) (float64, bool) {
	for range 5 {
		there := false
		for _, c := range w.channels {
			if _, is := c.driver.(*roomair.Dev); !is {
				continue
			}
			there = true
			if c.Read(now()); c.pascal() > 0 {
				return c.pascal(), true
			}
		}
		if !there || wait(time.Second) != nil {
			break
		}
	}
	return 0, false
}
