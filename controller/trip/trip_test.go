package trip

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestCatalogueIsWhole(t *testing.T) {
	seen := map[string]bool{}
	for c := None + 1; c < Count; c++ {
		e := c.Entry()
		assert.NotEmpty(t, e.Name)
		assert.False(t, seen[e.Name], "%s stands twice", e.Name)
		seen[e.Name] = true
		assert.Equal(t, strings.ToLower(e.Name), e.Name)
		assert.NotEqual(t, "none", e.Priority.String(), e.Name)
		assert.NotEmpty(t, e.Meaning, e.Name)
		assert.NotEmpty(t, e.Action, "%s must say what to do", e.Name)
		if e.Trips {
			assert.Equal(t, Now, e.Priority, "%s trips and must be answered now", e.Name)
		}
		found, ok := Parse(e.Name)
		assert.True(t, ok)
		assert.Equal(t, c, found)
	}
	_, ok := Parse("no such alarm")
	assert.False(t, ok)
	assert.Equal(t, Entry{}, Count.Entry())
}

// Priorities are our own: the numbers are what the page and the manual show, so that
// the first is the most pressing, and zero, which is no alarm, never sounds.
func TestPriorities(t *testing.T) {
	for want, p := range map[string]Priority{"now": Now, "soon": Soon, "later": Later, "none": 0} {
		assert.Equal(t, want, p.String())
		assert.Equal(t, p == Now || p == Soon, p.Loud(), want)
	}
	assert.Equal(t, [3]Priority{1, 2, 3}, [3]Priority{Now, Soon, Later})
	assert.Equal(t, "none", Priorities.String())
}

// The life of an alarm in ISA-18.2: normal, unacknowledged, acknowledged or
// returned unacknowledged, normal again. (States and transitions from memory of
// ANSI/ISA-18.2-2016, figure 2.)
func TestAlarmLife(t *testing.T) {
	const c = ChamberLost // delayed by half a minute
	at := func(seconds int) time.Duration { return time.Duration(seconds) * time.Second }
	s, change := State{}.Next(c, at(0), true, false)
	assert.Equal(t, Unchanged, change)
	s, change = s.Next(c, at(29), true, false)
	assert.Equal(t, Unchanged, change)
	assert.Equal(t, Normal, s.Phase)
	s, change = s.Next(c, at(30), true, false)
	assert.Equal(t, Raised, change)
	assert.Equal(t, Unacknowledged, s.Phase)

	acknowledged := s.Acknowledge()
	assert.Equal(t, Acknowledged, acknowledged.Phase)
	acknowledged, change = acknowledged.Next(c, at(40), false, false)
	assert.Equal(t, Returned, change)
	assert.Equal(t, Normal, acknowledged.Phase)

	s, change = s.Next(c, at(40), false, false)
	assert.Equal(t, Returned, change)
	assert.Equal(t, ReturnedUnacknowledged, s.Phase)
	again, _ := s.Next(c, at(50), true, false)
	again, change = again.Next(c, at(80), true, false)
	assert.Equal(t, Raised, change, "it comes back, and says so")
	assert.Equal(t, Unacknowledged, again.Phase)
	assert.Equal(t, Normal, s.Acknowledge().Phase)
}

func TestSuppressionAndShelving(t *testing.T) {
	for c := None + 1; c < Count; c++ {
		for _, other := range c.Entry().Suppresses {
			assert.False(t, other.Entry().Trips, "%s must not silence the trip %s", c, other)
			assert.NotEqual(t, c, other)
		}
	}
	s, change := State{}.Next(StageOvertime, 0, true, true)
	assert.Equal(t, SuppressedByDesign, s.Phase)
	assert.Equal(t, Unchanged, change)
	s, change = s.Next(StageOvertime, time.Second, true, false)
	assert.Equal(t, Raised, change, "it speaks up once nothing suppresses it")
	assert.Equal(t, Unacknowledged, s.Phase)
	s, change = State{}.Next(OutputFailed, 0, true, true)
	assert.Equal(t, Raised, change, "a trip is never suppressed")

	_, ok := s.Shelve(ChamberHigh, 0, time.Hour)
	assert.False(t, ok, "a trip is never shelved")
	s, _ = State{}.Next(StageOvertime, 0, true, false)
	_, ok = s.Shelve(StageOvertime, 0, LongestShelf+1)
	assert.False(t, ok)
	s, ok = s.Shelve(StageOvertime, 0, time.Hour)
	assert.True(t, ok)
	s, change = s.Next(StageOvertime, time.Hour-1, true, false)
	assert.Equal(t, Shelved, s.Phase)
	assert.Equal(t, Unchanged, change)
	s, change = s.Next(StageOvertime, time.Hour, true, false)
	assert.Equal(t, Raised, change, "it comes back by itself")
	assert.Equal(t, Unacknowledged, s.Phase)
}

func TestABriefConditionRaisesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s State
		now := time.Duration(0)
		for range rapid.IntRange(1, 50).Draw(t, "times") {
			for range rapid.IntRange(1, 29).Draw(t, "standing") {
				next, change := s.Next(ChamberLost, now, true, false)
				s = next
				if change == Raised {
					t.Fatal("raised before its delay")
				}
				now += time.Second
			}
			s, _ = s.Next(ChamberLost, now, false, false)
			now += time.Second
		}
	})
}

func ExampleState_Next() {
	s, change := State{}.Next(OutputFailed, 0, true, false)
	fmt.Println(s.Phase, change == Raised)
	s = s.Acknowledge()
	s, _ = s.Next(OutputFailed, time.Minute, false, false)
	fmt.Println(s.Phase)
	// Output:
	// unacknowledged true
	// normal
}
