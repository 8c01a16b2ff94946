package sim

import (
	"context"
	"errors"
	"time"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim/plant"
)

// A Make is one batch of a Row.
type Make struct {
	Product *profile.Product
	Spread  *SpreadResult
	Cools   time.Duration // how long the cabinet takes until it can be cleaned
}

// A Row is batches that hang in one cabinet one after the other.
type Row struct {
	Now         time.Time
	Ready, Hang time.Time // when the last is ready, or when the first hangs; the other is zero
	Made        time.Duration
	Clean       time.Duration // cleaning the cabinet and loading it again
	// Night is from when to when nobody wants to get up, by the clock; equal is none.
	NightFrom, NightTo time.Duration
}

// MostSooner is by how much a batch is hung sooner for the sake of the night: what waits in
// the cold for longer is no longer fresh. Common practice, no source.
const MostSooner = 12 * time.Hour

// Plans lays out the batches. What must be ready by a time is hung as late as can be with the
// fewest hand steps in the night; what hangs at a time hangs then.
func (r *Row) Plans(makes []Make) ([]*Plan, error) {
	if len(makes) == 0 {
		return nil, errors.New("sim: nothing to plan")
	}
	for i := range makes {
		if err := promises(makes[i].Product, makes[i].Spread); err != nil {
			return nil, err
		}
	}
	first := r.Hang
	if first.IsZero() {
		first = r.Ready.Add(-whole(makes[len(makes)-1].Spread))
		for i := range makes[:len(makes)-1] {
			first = first.Add(-r.takes(&makes[i]))
		}
		first = first.Truncate(time.Minute)
	}
	var best []*Plan
	for sooner := time.Duration(0); sooner <= MostSooner; sooner += 15 * time.Minute {
		plans, err := r.from(makes, first.Add(-sooner))
		if err != nil {
			return nil, err
		}
		if sooner > 0 && !possible(plans) {
			break
		}
		if best == nil || nights(plans) < nights(best) {
			best = plans
			best[0].SoonerSeconds = sooner.Seconds()
		}
		if !r.Hang.IsZero() || nights(best) == 0 {
			break
		}
	}
	if r.Hang.IsZero() {
		best[len(best)-1].Ready = r.Ready
	}
	return best, nil
}

// takes is for how long a batch has the cabinet, in whole minutes.
func (r *Row) takes(m *Make) time.Duration {
	return (r.hot(m) + m.Cools + r.Clean).Truncate(time.Minute) + time.Minute
}

// hot is when nine rehearsals of ten have taken the product out of the chamber.
func (r *Row) hot(m *Make) time.Duration {
	last := lastInChamber(m.Product)
	if last < 0 {
		return 0
	}
	return durationOf(m.Spread.Stages[last].EndP90Seconds)
}

func lastInChamber(p *profile.Product) int {
	last := -1
	for i := range p.Stages {
		if p.Stages[i].Place == profile.Chamber {
			last = i
		}
	}
	return last
}

func (r *Row) from(makes []Make, hang time.Time) (plans []*Plan, err error) {
	for i := range makes {
		m := &makes[i]
		p, err := PlanFrom(m.Product, m.Spread, r.Now, hang, r.Made)
		if err != nil {
			return nil, err
		}
		r.mark(p)
		if i+1 < len(makes) {
			cool, free := hang.Add(r.hot(m)+m.Cools).Truncate(time.Minute), hang.Add(r.takes(m))
			p.Cool, p.Free = &cool, &free
			hang = free
			if r.inNight(cool, free) { // somebody cleans it
				p.Nights++
			}
		}
		plans = append(plans, p)
	}
	return plans, nil
}

// mark says which hand steps may fall into the night. What rests is made sooner instead, and
// rests for longer.
func (r *Row) mark(p *Plan) {
	if made := &p.Steps[0]; made.Until.After(made.Begin) && r.inNight(made.Begin, made.Until) {
		p.Nights++
		for sooner := 15 * time.Minute; p.Steps[1].Name == resting && sooner <= MostSooner; sooner += 15 * time.Minute {
			begin, until := made.Begin.Add(-sooner), made.Until.Add(-sooner)
			if begin.Before(r.Now) {
				break
			}
			if !r.inNight(begin, until) {
				made.Begin, made.Until, made.Late, p.Steps[1].Begin = begin, until, until, until
				p.Steps[1].Note += "; for longer, so that nobody makes it in the night"
				p.Nights--
				break
			}
		}
	}
	for i := range p.Hands {
		if h := &p.Hands[i]; r.inNight(h.Early, h.Late) {
			h.Night = true
			p.Nights++
		}
	}
}

// inNight reports whether any of a time is in a night.
func (r *Row) inNight(from, to time.Time) bool {
	if r.NightFrom == r.NightTo {
		return false
	}
	y, m, d := from.Date()
	for day := d - 1; ; day++ {
		clock := func(t time.Duration) time.Time { // as clocks show it, also where they change
			return time.Date(y, m, day, int(t/time.Hour), int(t%time.Hour/time.Minute), 0, 0, from.Location())
		}
		begins, ends := clock(r.NightFrom), clock(r.NightTo)
		if r.NightTo < r.NightFrom {
			ends = clock(r.NightTo + 24*time.Hour)
		}
		switch {
		case begins.After(to):
			return false
		case from.Before(ends) && (to.After(begins) || from.Equal(begins)):
			return true
		}
	}
}

func nights(plans []*Plan) (n int) {
	for _, p := range plans {
		n += p.Nights
	}
	return n
}

func possible(plans []*Plan) bool {
	for _, p := range plans {
		if !p.Possible {
			return false
		}
	}
	return true
}

// Cleanable is how warm a cabinet may be that somebody cleans with bare hands; common
// practice, no source.
const Cleanable quantity.Celsius = 40

// Cools rehearses a batch until the product leaves the chamber, and says how long the cabinet
// takes from there until it is Cleanable, with all off, the door shut and the damper open:
// its air is then as warm as its walls.
func Cools(ctx context.Context, setup Setup) (time.Duration, error) {
	w, m, err := prepare(setup)
	if err != nil {
		return 0, err
	}
	last := lastInChamber(setup.Product)
	var s controller.State
	if setup.Examine {
		s = Examine(m, w)
	}
	err = Run(ctx, m, &s, w, func(t *Moment) bool { return s.Stage <= last && t.Now < Longest && !w.Hopeless(&s) })
	if err != nil {
		return 0, err
	}
	drive := plant.Drive{Place: profile.ColdRoom, Damper: 1}
	for t := time.Duration(0); t < Longest; t += Stride {
		if w.plant.At(InChamber) <= Cleanable {
			return t.Truncate(time.Minute) + time.Minute, nil
		}
		w.plant.Advance(Stride, drive)
	}
	return 0, errors.New("sim: the cabinet never cools down to " + Cleanable.String() + "; the room is too warm")
}
