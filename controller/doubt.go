package controller

import (
	"fmt"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
)

// DoubtKind is what speaks against a probe.
type DoubtKind uint8

// The doubts.
const (
	OffInIce DoubtKind = iota + 1
	ColderThanRoom
	ColderThanCore
	ColderThanMeat
	WarmerThanRoom
	ProbesApart
)

// A Doubt is one thing that speaks against a probe before a batch. A person who gives a
// reason may start nevertheless.
type Doubt struct {
	Kind    DoubtKind
	Probe   int // see Slot
	Other   int // the probe that it is held against, for ColderThanCore and ProbesApart
	Reads   quantity.Celsius
	Against quantity.Celsius
	By      roomBy // how the room is known, where it is held against that
}

// roomBy is how the temperature of the room is known.
type roomBy uint8

const (
	byFile roomBy = iota
	byBoard
	byProbe
)

// room is between what the air around the cabinet is, by the best that shows it.
func (e *evidence) roomIs(c *cabinet.Cabinet) (low, high quantity.Celsius, by roomBy) {
	if fitted := c.ProbeOf(cabinet.AmbientProbe, 0); fitted != nil && e.room.known && e.room.still >= stoodShort {
		tolerance := quantity.Celsius(fitted.Tolerance())
		return e.room.smooth - tolerance, e.room.smooth + tolerance, byProbe
	}
	low, high = c.Ambient-quantity.Celsius(seasons), c.Ambient+quantity.Celsius(seasons)
	if !e.board.known {
		return low, high, byFile
	}
	coldest, warmest := e.board.smooth-quantity.Celsius(boardWarms), e.board.smooth+quantity.Celsius(boardCools)
	if coldest > high || warmest < low { // the file does not know of this day
		return coldest, warmest, byBoard
	}
	if coldest > low {
		low, by = coldest, byBoard
	}
	return low, min(high, warmest), by
}

// Doubts gives what speaks against the probes of a cabinet as they have stood until now.
// It says nothing of what has not stood still for long enough, nor of a cabinet that is
// still warm: see Examined.
func Doubts(c *cabinet.Cabinet, s *State) []Doubt {
	e := &s.Evidence
	var found []Doubt
	low, high, by := e.roomIs(c)
	chamber, chamberKnown := quantity.Celsius(0), false // the warmest
	for i := range Slots {
		fitted := Slot(c, i)
		if fitted == nil {
			continue
		}
		p := &e.probes[i]
		if p.ice == shownOff {
			found = append(found, Doubt{Kind: OffInIce, Probe: i, Reads: p.inIce})
		}
		if !p.known || p.still < stoodShort {
			continue
		}
		band := quantity.Celsius(fitted.Tolerance() + restBand)
		cooled := e.unheated >= stoodLong && p.still >= stoodLong
		if i < cabinet.MaxChamberProbes {
			if !chamberKnown || p.smooth > chamber {
				chamber, chamberKnown = p.smooth, true
			}
			switch {
			case p.smooth < low-band:
				found = append(found, Doubt{Kind: ColderThanRoom, Probe: i, Reads: p.smooth, Against: low, By: by})
			case cooled && p.smooth > high+band:
				found = append(found, Doubt{Kind: WarmerThanRoom, Probe: i, Reads: p.smooth, Against: high, By: by})
			}
			found = append(found, e.against(c, i, band)...)
			continue
		}
		warmest := high
		if chamberKnown {
			warmest = max(warmest, chamber)
		}
		switch {
		case p.smooth < coldestWet && low > 0:
			found = append(found, Doubt{Kind: ColderThanMeat, Probe: i, Reads: p.smooth, Against: low, By: by})
		case cooled && p.smooth > warmest+band:
			found = append(found, Doubt{Kind: WarmerThanRoom, Probe: i, Reads: p.smooth, Against: warmest, By: by})
		}
	}
	return found
}

// against holds a chamber probe against the other one, and against the warmest core: meat
// that has lain in the cold is colder than the chamber, never warmer.
func (e *evidence) against(c *cabinet.Cabinet, i int, band quantity.Celsius) (found []Doubt) {
	p := &e.probes[i]
	if e.unheated < stoodLong || p.still < stoodLong {
		return nil
	}
	warmest, warm := 0, false
	for j := i + 1; j < Slots; j++ {
		fitted, other := Slot(c, j), &e.probes[j]
		if fitted == nil || !other.known || other.still < stoodLong {
			continue
		}
		limit := band + quantity.Celsius(fitted.Tolerance())
		switch {
		case j >= cabinet.MaxChamberProbes:
			if p.smooth < other.smooth-limit && (!warm || other.smooth > e.probes[warmest].smooth) {
				warmest, warm = j, true
			}
		case p.smooth < other.smooth-limit || p.smooth > other.smooth+limit:
			found = append(found, Doubt{Kind: ProbesApart, Probe: i, Other: j, Reads: p.smooth, Against: other.smooth})
		}
	}
	if warm {
		found = append(found, Doubt{Kind: ColderThanCore, Probe: i, Other: warmest, Reads: p.smooth, Against: e.probes[warmest].smooth})
	}
	return found
}

// Text says the doubt in words, with what to do.
func (d Doubt) Text(c *cabinet.Cabinet) string {
	name := func(i int) string {
		if p := Slot(c, i); p != nil {
			return p.Name
		}
		return quantity.Unknown
	}
	tolerance := quantity.Kelvin(0)
	if p := Slot(c, d.Probe); p != nil {
		tolerance = p.Tolerance()
	}
	how := [...]string{byFile: "what the cabinet file expects of the room", byBoard: "what the board of its front end says of the room", byProbe: "what the probe in the room says"}[d.By]
	switch d.Kind {
	case OffInIce:
		return fmt.Sprintf("probe %q came to %v in ice water and may be %v off: check its type and its wires, calibrate it, and show it in ice again", name(d.Probe), d.Reads, tolerance)
	case ColderThanRoom:
		return fmt.Sprintf("probe %q reads %v, and no chamber cools below %v (%s): it reads too low, and would let the chamber get too hot", name(d.Probe), d.Reads, d.Against, how)
	case ColderThanCore:
		return fmt.Sprintf("probe %q reads %v in a chamber at rest, and core probe %q %v: either it reads too low, or that one too high, or the meat is warmer than the chamber", name(d.Probe), d.Reads, name(d.Other), d.Against)
	case ColderThanMeat:
		return fmt.Sprintf("core probe %q reads %v: meat that is not frozen is not colder than %v in a room of %v or more", name(d.Probe), d.Reads, coldestWet, d.Against)
	case WarmerThanRoom:
		return fmt.Sprintf("probe %q reads %v after a rest of hours, and nothing there should be warmer than %v (%s): it reads too high, or something heats", name(d.Probe), d.Reads, d.Against, how)
	case ProbesApart:
		return fmt.Sprintf("probe %q reads %v and %q %v in a chamber at rest: one of them is wrong; hang them side by side", name(d.Probe), d.Reads, name(d.Other), d.Against)
	}
	return quantity.Unknown
}

// Examined says in words what has been seen of the probes of a cabinet, doubts apart: a
// start goes on the record with it.
func Examined(c *cabinet.Cabinet, s *State) string {
	e := &s.Evidence
	text := "the probes were not compared: the cabinet has not stood still without heat for an hour"
	still := time.Duration(1<<63 - 1)
	var iced, uniced int
	for i := range Slots {
		if Slot(c, i) == nil {
			continue
		}
		if p := &e.probes[i]; p.known {
			still = min(still, p.still)
		}
		if e.probes[i].ice == shownRight {
			iced++
		} else {
			uniced++
		}
	}
	if e.unheated >= stoodLong && still >= stoodLong {
		text = "the probes were compared after a rest of " + quantity.FormatDuration(e.unheated.Truncate(time.Minute))
	}
	switch {
	case uniced == 0:
		return text + ", and each was right in ice water"
	case iced == 0:
		return text + ", and none was shown in ice water, where a wrong wire would show"
	}
	return fmt.Sprintf("%s, and %d of %d were right in ice water", text, iced, iced+uniced)
}
