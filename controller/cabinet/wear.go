package cabinet

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// A RelayKind is what closes the heater's circuit. What a file does not say is nothing.
type RelayKind uint8

// The kinds.
const (
	RelayUnsaid RelayKind = iota
	Mechanical            // it wears: each closing is counted by its maker
	SolidState            // it does not
)

// What the kinds ask of the window. A pulse in each is one operation, so that the shortest
// lets a mechanical relay close 150 times in an hour of heating at most: a usual one, rated
// for 100,000 operations with its load (an own magnitude, no source: see its data sheet),
// lasts for 670 such hours then. Own magnitudes, no source.
const (
	leastWindow  = 24 * time.Second
	mostWindow   = time.Minute
	windowOfLags = 0.4 // of what the chamber takes to answer: with more the air follows each pulse
)

func whole(n float64) string { return strconv.FormatFloat(n, 'f', -1, 64) }

// solid are the timings of a solid-state relay whose file names none: a whole number of
// half waves of the mains, and no contact to spare.
var solid = Relay{Window: 2 * time.Second, MinOn: 100 * time.Millisecond, MinOff: 100 * time.Millisecond}

var (
	relayKinds  = []source.Word[RelayKind]{{Text: "mechanical", Meaning: Mechanical}, {Text: "solid state", Meaning: SolidState}}
	cyclesRange = source.Range[float64]{Low: 1000, High: 100_000_000, Text: whole, Why: "the data sheet has it, at the element's current"}
)

// kind reads what the heater's relay is, and gives the timings that it has unless its file
// says others.
func (r *Relay) kind(m *source.Map) (unsaid Relay) {
	if m == nil {
		return switched
	}
	kind := m.Take("relay")
	r.Kind, _ = source.Choice(kind, relayKinds)
	cycles := m.Take("rated cycles")
	n, _ := source.ReadIn(cycles, quantity.ParseNumber, cyclesRange)
	r.RatedCycles = int(n)
	if cycles.Present() && r.Kind == SolidState {
		cycles.Fault("a solid-state relay has no contact that wears", "remove the key, or write relay: mechanical")
	}
	if r.Kind == SolidState {
		return solid
	}
	r.windowSaid = m.Has("window")
	return switched
}

// choose gives a mechanical relay the window by what the chamber takes to answer, where the
// file says none, and refuses one that wears it.
func (r *Relay) choose(m *source.Map, answers Response) {
	switch {
	case r.Kind != Mechanical:
	case !r.windowSaid:
		lags := windowOfLags * (answers.SecondLag + answers.DeadTime).Seconds()
		r.Window = min(mostWindow, max(leastWindow, time.Duration(math.Ceil(lags))*time.Second))
	case r.Window < leastWindow:
		m.FaultAt("window", fmt.Sprintf("a mechanical relay would close up to %.0f times in an hour of heating", float64(time.Hour)/float64(r.Window)),
			fmt.Sprintf("write %s or more, which is %.0f, or leave it out; a solid-state relay takes less", quantity.FormatDuration(leastWindow), float64(time.Hour)/float64(leastWindow)))
	}
	r.windowSaid = false
}
