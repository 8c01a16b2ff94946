package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/sensors"
	"fumarium/sim/fault"
)

// jumped is what came of a batch in which a chamber probe jumps: channel, controller and
// cabinet as they run.
type jumped struct {
	first   time.Duration // chamber readings that are not good: after the fault began
	odd     int           // and how many
	away    int           // seconds in which the controller was not called
	on      int           // seconds of heat while they were not
	raised  map[trip.Code]time.Duration
	tripped trip.Code
}

const jumpsAt = 2 * time.Hour

func jump(t *testing.T, name string, specs ...string) (j jumped) {
	t.Helper()
	s := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, name), Seed: 1, Longest: jumpsAt + 10*time.Minute, Answer: time.Hour}
	for _, spec := range specs {
		f, err := fault.Parse(spec)
		require.NoError(t, err)
		s.Faults = append(s.Faults, f)
	}
	j.raised = map[trip.Code]time.Duration{}
	_, err := Watch(context.Background(), s, func(m *Moment) {
		if m.Now < jumpsAt {
			return
		}
		if m.Call != fault.Made {
			j.away++
			return
		}
		if m.Inputs.Chamber[0].Status() != sensors.Good {
			if j.odd == 0 {
				j.first = m.Now - jumpsAt
			}
			j.odd++
			if m.After.Out.On.Has(controller.Heater) {
				j.on++
			}
		}
		for _, e := range m.Events {
			if e.Kind == controller.AlarmRaised && e.Alarm != trip.PromptWaiting {
				j.raised[e.Alarm] = m.Now - jumpsAt
			}
		}
		j.tripped = m.After.Tripped
	})
	require.NoError(t, err)
	return j
}

// What jumps is not believed, no heat is given by it, and if it stays there the chamber
// counts as lost before it is believed again.
func TestAJumpingChamberIsNotBelieved(t *testing.T) {
	for _, name := range []string{"plywood-cabinet", "fridge-body", "steel-box"} {
		j := jump(t, name, "chamber-offset@2h=-30K")
		assert.Equal(t, time.Second, j.first, "%s: one sample is the median's", name)
		assert.Equal(t, 32, j.odd, name)
		assert.Zero(t, j.on, name)
		assert.Equal(t, trip.ChamberLost, j.tripped, name)
		assert.Equal(t, time.Second+trip.ChamberLost.Entry().Delay, j.raised[trip.ChamberLost], name)
	}
	// One wild sample is nothing, and a few are forgotten.
	j := jump(t, "plywood-cabinet", "chamber-offset@2h+1s=-30K")
	assert.Equal(t, jumped{raised: map[trip.Code]time.Duration{}}, j)
	j = jump(t, "plywood-cabinet", "chamber-offset@2h+5s=-30K")
	assert.Equal(t, 5, j.odd)
	assert.Zero(t, j.on)
	assert.Empty(t, j.raised)
}

// A fault between two readings does not make a jump believable.
func TestALoosePlugDoesNotHideAJump(t *testing.T) {
	for _, open := range []string{"1s", "20s"} {
		j := jump(t, "plywood-cabinet", "chamber-open@2h+"+open, "chamber-offset@2h=-30K")
		assert.Equal(t, trip.ChamberLost, j.tripped, open)
		assert.Zero(t, j.on, open)
	}
}

// A jump to above the cabinet's limit may be a fire that reached one probe: the alarm
// for it does not wait for the alarm for a lost chamber, also where another probe still
// reads as ever.
func TestAJumpAboveTheLimitTrips(t *testing.T) {
	for _, name := range []string{"plywood-cabinet", "masonry-walk-in"} {
		j := jump(t, name, "chamber1-offset@2h=100K")
		assert.Equal(t, trip.ChamberHigh, j.tripped, name)
		assert.Equal(t, 7*time.Second, j.raised[trip.ChamberHigh], name) // 1 s median, 5 s doubt, 1 s of the alarm
	}
}

// A program that was away, however briefly, has forgotten what it had read.
func TestAProgramThatBeginsAnewReadsAnew(t *testing.T) {
	j := jump(t, "plywood-cabinet", "power-cut@2h+2s")
	assert.Equal(t, 2, j.odd, "the median has to fill")
	assert.Zero(t, j.on)
	assert.Equal(t, trip.None, j.tripped)
	assert.Equal(t, 3, jump(t, "plywood-cabinet", "stall@2h+3s").away)
	assert.Zero(t, jump(t, "plywood-cabinet", "stall@2h+3s").odd, "one that was only slow has not")
}

// The order holds for every cabinet: lost first, then believed.
func TestALostChamberCallsBeforeItIsBelieved(t *testing.T) {
	c := builtCabinet(t, "plywood-cabinet")
	assert.Greater(t, c.Channel(&cabinet.Probe{Role: cabinet.ChamberProbe}).Jump.Stays, trip.ChamberLost.Entry().Delay)
}
