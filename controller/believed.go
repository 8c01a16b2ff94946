package controller

import (
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
)

// Disbelieved is the alarm for which the probe of that slot does not count now, though it
// may give readings; None for one that is believed or that is not judged. See Slot.
func (s *State) Disbelieved(slot int) trip.Code {
	i := slot - cabinet.MaxChamberProbes
	if i < 0 || i >= cabinet.MaxCoreProbes || !s.Batch.Active() {
		return trip.None
	}
	switch p := &s.Core.probes[i]; {
	case p.tooHot:
		return trip.CoreTooHot
	case p.out && (p.inUse || p.silent == 0): // one that was left out is not asked after
		return trip.CoreOut
	case p.frozen:
		return trip.CoreFrozen
	}
	return trip.None
}

// Blocks are the trips whose cause stands, so that a reset would be refused now.
func (s *State) Blocks() (blocking trip.Set) {
	for c := range trips.Each {
		stands := s.Alarms[c].Standing
		if c == trip.NoHeat && s.Tripped == c { // the next full heat shows whether it is mended
			stands = false
		}
		blocking |= c.If(stands)
	}
	return blocking
}
