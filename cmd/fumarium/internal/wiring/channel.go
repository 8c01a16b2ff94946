package wiring

import (
	"fmt"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors"
	"fumarium/sensors/plausible"
)

// What a probe may say before it is doubted. All are common practice, no source:
// they are meant to catch what no probe in a smokehouse can measure, not to judge a
// batch, which is the controller's business.
const (
	// steepest is how fast a bare thermocouple may follow when the door opens or it
	// is pushed into cold meat.
	steepest quantity.KelvinPerSecond = 15
	slack    quantity.Kelvin          = 5
	// lowest and highest take in the ice bath, a winter's night and a chamber far
	// above its limit, which must still read as hot and not as a fault.
	lowest, highest quantity.Celsius = -40, 300
	// hottestEmber is above what smouldering wood has, flames included. A probe in it
	// is pulled out, pushed in and met by a torch, so no change is too steep.
	hottestEmber quantity.Celsius = 1200
	// median drops one wrong sample in three and costs one second of delay. More
	// smoothing, for a probe that shows noise, is the file's damping; the control law
	// has a filter of its own.
	median = 3
	// bridged is the longest pause in good samples that starts no new window.
	bridged = 5 * time.Second
)

// A Channel is one probe of the cabinet file on its way from the chip to the
// controller: driver, limits, calibration, filter.
type Channel struct {
	Probe cabinet.Probe
	// Raw is the last sample as the driver gave it, Reading what the controller got.
	Raw, Reading sensors.Reading

	driver sensors.Probe
	broken error         // why there is no driver
	retry  time.Duration // when to try for one again
	judged error         // why the last sample was doubted
	tip    *tip          // of a simulated chip
	track  plausible.Track
	window plausible.Window
}

func newChannel(p cabinet.Probe, driver sensors.Probe, err error) *Channel {
	return &Channel{Probe: p, driver: driver, broken: err}
}

// Read takes one sample.
func (c *Channel) Read(now time.Duration) sensors.Reading {
	c.judged = nil
	if c.driver == nil {
		c.Raw = sensors.Fault(sensors.BusError)
		c.Reading = c.Raw
		return c.Reading
	}
	c.Raw = c.driver.Read(now)
	limits := plausible.Limits{Lowest: lowest, Highest: highest, Rate: steepest, Slack: slack}
	if c.Probe.Role == cabinet.EmberProbe {
		limits.Highest, limits.Rate = hottestEmber, 0
	}
	r := c.Raw
	c.track, r = limits.Check(c.track, now, r)
	if c.Raw.Status() == sensors.Good && r.Status() != sensors.Good {
		c.judged = fmt.Errorf("%s: outside %v to %v, or a jump of more than %v and %v K/s; check for a loose contact", r.Status(), limits.Lowest, limits.Highest, slack, float64(steepest))
	}
	r = plausible.Calibration{Offset: c.Probe.Offset, Stretch: c.Probe.Stretch}.Apply(r)
	c.window, c.Reading = c.filter().Step(c.window, now, r)
	return c.Reading
}

func (c *Channel) filter() plausible.Filter {
	return plausible.Filter{Median: median, LowPass: c.Probe.Damping, Gap: bridged}
}

// Lag is by how much the reading follows a steady ramp late when it is read once a
// second, the chip's own time and the probe's sheath not counted.
func (c *Channel) Lag() time.Duration { return c.filter().Lag(time.Second) }

// Board is how warm the front end is, where its chip tells.
func (c *Channel) Board() sensors.Reading {
	if d, ok := c.driver.(interface{ ColdJunction() sensors.Reading }); ok {
		return d.ColdJunction()
	}
	return sensors.Reading{}
}

// Err says why the last reading is not good; nil for a good one.
func (c *Channel) Err() error {
	switch {
	case c.Reading.Status() == sensors.Good:
		return nil
	case c.broken != nil:
		return c.broken
	case c.judged != nil:
		return c.judged
	case c.driver != nil && c.driver.Err() != nil:
		return c.driver.Err()
	}
	return sensors.ErrStarting
}
