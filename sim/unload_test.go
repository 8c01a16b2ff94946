package sim

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/fault"
)

// A scene is a batch at some moment, from which it can go on in more than one way.
type scene struct {
	m       *controller.Machine
	w       *World
	s       controller.State
	elapsed time.Duration // of the next step
}

// branch is another scene in the same state, with someone who watches. Faults begin and
// end by the clock of the batch.
func (s *scene) branch(faults ...fault.Fault) *scene {
	b := *s
	b.w = s.w.Copy()
	b.w.random, b.w.inject, b.w.person.watches = rand.New(rand.NewPCG(5, 5)), fault.New(faults, 7), true
	return &b
}

// run goes on until see returns false.
func (s *scene) run(t *testing.T, see func(*Moment) bool) {
	require.NoError(t, Run(t.Context(), s.m, &s.s, s.w, func(m *Moment) bool {
		s.elapsed = m.Now + m.Lasts
		return see(m)
	}))
}

// trips is what has tripped in a step, if anything.
func trips(m *Moment) trip.Code {
	for i := range m.Events {
		if m.Events[i].Kind == controller.Tripped {
			return m.Events[i].Alarm
		}
	}
	return trip.None
}

// until goes on until something trips, or for so long, and returns the hottest that
// the chamber truly was.
func (s *scene) until(t *testing.T, d time.Duration) (tripped trip.Code, took time.Duration, hottest float64) {
	from := s.elapsed
	if d > 0 {
		s.run(t, func(m *Moment) bool {
			hottest = max(hottest, float64(s.w.Built().Chamber()))
			tripped, took = trips(m), s.elapsed-from
			return tripped == trip.None && took < d
		})
	}
	return tripped, took, hottest
}

var fourCabinets = []string{"fridge-body", "masonry-walk-in", "plywood-cabinet", "steel-box"}

// scenes are the moments 10 min into smoke, 30 min into cook, and as the product is
// carried out.
func scenes(t *testing.T, name string, door bool) (smoke, cook, end *scene) {
	c := *builtCabinet(t, name)
	if door {
		c.Door.Fitted, c.Door.Pin = true, cabinet.Simulated
	}
	p := product(t, "marjoram-ring")
	w, err := NewWorld(Setup{Product: p, Cabinet: &c, Seed: 7, Answer: Brisk})
	require.NoError(t, err)
	rest, _ := p.Rest()
	m, err := controller.New(p, &c)
	require.NoError(t, err)
	w.Order(controller.Command{Kind: controller.Start, Rested: rest})
	s := (&scene{m: m, w: w}).branch()
	at := map[int]time.Duration{}
	s.run(t, func(m *Moment) bool {
		require.Equal(t, trip.None, trips(m))
		require.Less(t, s.elapsed, 20*time.Hour)
		if _, seen := at[s.s.Stage]; !seen && !s.s.Asking {
			at[s.s.Stage] = s.elapsed
		}
		in := s.elapsed - at[s.s.Stage]
		switch {
		case s.s.Stage == 1 && smoke == nil && !s.s.Asking && in >= 10*time.Minute:
			smoke = s.branch()
		case s.s.Stage == 2 && cook == nil && !s.s.Asking && in >= 30*time.Minute:
			cook = s.branch()
		case s.s.CurrentStage(p).Place != profile.Chamber:
			end = s.branch()
		}
		return end == nil
	})
	return smoke, cook, end
}

func opened(at, length time.Duration) fault.Fault {
	return fault.Fault{Kind: fault.DoorOpen, At: at, For: length}
}

// Whoever carries the product out with the door open is called by nothing.
func TestUnloadingTripsNothing(t *testing.T) {
	long(t)
	for _, name := range fourCabinets {
		for _, door := range []bool{false, true} {
			_, _, end := scenes(t, name, door)
			for _, begin := range []time.Duration{0, 5, 20} {
				for _, length := range []time.Duration{5, 15, 30, 60} {
					t.Run(fmt.Sprintf("%s/switch %v/%d min after for %d min", name, door, begin, length), func(t *testing.T) {
						s := end.branch(opened(end.elapsed+begin*time.Minute, length*time.Minute))
						tripped, took, _ := s.until(t, (begin+length)*time.Minute+90*time.Minute)
						assert.Equal(t, trip.None, tripped, "after %v", took)
					})
				}
			}
		}
	}
}

// Through a stage an open door that is known trips nothing however long it is open,
// and one that is not known nothing within five minutes; after more than that at full
// heat nobody can tell it from a dead element.
func TestADoorOpenedDuringAStage(t *testing.T) {
	long(t)
	for _, name := range fourCabinets {
		for _, door := range []bool{false, true} {
			smoke, cook, _ := scenes(t, name, door)
			for stage, from := range map[string]*scene{"smoke": smoke, "cook": cook} {
				for _, length := range []time.Duration{5, 15, 30, 60} {
					t.Run(fmt.Sprintf("%s/switch %v/%s for %d min", name, door, stage, length), func(t *testing.T) {
						s := from.branch(opened(from.elapsed+time.Minute, length*time.Minute))
						tripped, took, _ := s.until(t, length*time.Minute+90*time.Minute)
						if door || length <= 5 {
							assert.Equal(t, trip.None, tripped, "after %v", took)
							return
						}
						if tripped != trip.None {
							assert.Contains(t, []trip.Code{trip.NoHeat, trip.HeatUnanswered}, tripped)
							assert.LessOrEqual(t, took, length*time.Minute+time.Minute, "not once it is shut")
						}
						t.Logf("%v after %v", tripped, took)
					})
				}
			}
		}
	}
}

// A relay that welds and a fire are seen whenever they come, also soon after the door
// stood open.
func TestHeatBesideTheController(t *testing.T) {
	long(t)
	for _, name := range fourCabinets {
		_, cook, end := scenes(t, name, false)
		for _, row := range []struct {
			what   string
			from   *scene
			after  time.Duration // the heat begins
			opened time.Duration // for so long from the start on
			limit  time.Duration
		}{
			{"in the cook", cook, time.Minute, 0, 90 * time.Minute},
			{"as the cook ends", end, 0, 0, 40 * time.Minute},
			{"an hour after", end, time.Hour, 0, 40 * time.Minute},
			{"at rest, 8 hours after", end, 8 * time.Hour, 0, 30 * time.Minute},
			{"an hour after, 15 min of door", end, time.Hour, 15 * time.Minute, 90 * time.Minute},
			{"8 hours after, an hour of door", end, 8 * time.Hour, time.Hour, 60 * time.Minute},
		} {
			power := float64(end.w.setup.Cabinet.Heater.Power)
			for _, f := range []fault.Fault{{Kind: fault.HeaterWelded}, {Kind: fault.Fire, Value: power}} {
				t.Run(name+"/"+f.Kind.String()+" "+row.what, func(t *testing.T) {
					f.At = row.from.elapsed + row.after
					faults := []fault.Fault{f}
					if row.opened > 0 {
						faults = append(faults, opened(row.from.elapsed, row.opened))
					}
					s := row.from.branch(faults...)
					early, _, _ := s.until(t, f.At-s.elapsed)
					require.Equal(t, trip.None, early)
					before := float64(s.w.Built().Chamber())
					tripped, took, hottest := s.until(t, 4*time.Hour)
					t.Logf("%v after %s, chamber from %.0f to %.0f °C", tripped, took.Round(time.Second), before, hottest)
					// As the heater has just been on, its relay that welds looks like what the
					// element still gives off. What never gets over the limit may pass for that.
					if tripped == trip.None && row.from == end && row.after == 0 && f.Kind == fault.HeaterWelded {
						assert.Less(t, hottest, float64(end.w.setup.Cabinet.Limits.ChamberHigh))
						return
					}
					assert.NotEqual(t, trip.None, tripped)
					assert.Less(t, took, row.limit)
				})
			}
		}
	}
}

// Who opens the damper of an emptied chamber, and shuts it long after, lets the air up to
// its walls again. That is no weld.
func TestADamperShutLateIsNoWeld(t *testing.T) {
	long(t)
	for _, name := range fourCabinets {
		_, _, end := scenes(t, name, false)
		for i := range 4 * 7 {
			open, after := []quantity.Ratio{0.02, 0.05, 0.2, 1}[i%4], []time.Duration{10, 16, 25, 29, 31, 43, 45}[i/4]
			s := end.branch()
			from, shut, least, regains := s.elapsed, false, 1000.0, 0.0
			s.run(t, func(m *Moment) bool {
				require.Equal(t, trip.None, trips(m), "%s, open by %v, shut after %d min, %v", name, open, after, m.Now-from)
				v := float64(s.w.Built().Chamber())
				if shut = m.Now >= from+after*time.Minute; shut {
					regains = max(regains, v-least)
					s.w.out.Damper = 0
				} else {
					least = min(least, v)
					s.w.out.Damper = open
				}
				return m.Now < from+2*time.Hour
			})
			t.Logf("%s, open by %v, shut after %d min: from %.1f °C it regains %.1f K", name, open, after, least, regains)
		}
	}
}
