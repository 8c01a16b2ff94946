package cabinet

import (
	"time"

	"fumarium/profile/quantity"
	"fumarium/sensors/channel"
)

// What a probe may say before it is doubted. All are common practice, no source: they are
// meant to catch what no probe in a smokehouse can measure, not to judge a batch, which is
// the controller's business. The median drops one wrong reading in three; more smoothing,
// for a probe that shows noise, is the file's damping, and the control law has a filter of
// its own.
const (
	// lowest and highest take in the ice bath, a winter's night and a chamber far above
	// its limit, which must still read as hot and not as a fault.
	lowest, highest quantity.Celsius = -40, 300
	// hottestEmber is above what smouldering wood has, flames included. A probe in it is
	// pulled out, pushed in and met by a torch, so no change is too steep.
	hottestEmber quantity.Celsius = 1200

	// chamberJump is what no air behind a sheath does in a second.
	chamberJump quantity.Kelvin = 15
	// chamberStays is longer than the alarm for a lost chamber waits, so that a chamber
	// which reads otherwise from one second to the next calls a person before it is
	// believed again.
	chamberStays = 32 * time.Second
	// otherJump is more than a bare thermocouple does in a second that is pushed into
	// cold meat. Such a probe may be moved by hand, and what its jump means the
	// controller judges, so it is only kept from reading for a moment what a loose plug
	// says.
	otherJump  quantity.Kelvin = 20
	otherStays                 = 5 * time.Second
)

// Channel is what becomes of the readings of a probe of this cabinet, real or simulated.
func (c *Cabinet) Channel(p *Probe) channel.Settings {
	s := channel.Settings{
		Calibration: channel.Calibration{Offset: p.Offset, Stretch: p.Stretch},
		Lowest:      lowest, Highest: highest,
		Jump:    channel.Jump{Most: otherJump, Stays: otherStays},
		Damping: p.Damping,
	}
	switch p.Role {
	case EmberProbe:
		s.Highest, s.Jump = hottestEmber, channel.Jump{}
	case ChamberProbe:
		// A chamber that reads above the limit is believed as soon as another probe would
		// be: it may be one of two, and the other keeps the heater on.
		s.Jump = channel.Jump{Most: chamberJump, Stays: chamberStays, Hot: c.Limits.ChamberHigh, HotStays: otherStays}
	}
	return s
}
