package campaign

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"fumarium/sim"
	"fumarium/sim/fault"
)

// Paired is a bit of a seed. With it, the batch of the seed without it has two faults that
// begin together, and where a batch is least at rest: the seed is the number of a cell of
// the matrix of every two kinds and every occasion.
const Paired uint64 = 1 << 41

// An occasion is where in a batch two faults begin.
type occasion int

const (
	atABorder     occasion = iota // within seconds of the end of a stage
	atAHandStep                   // while a person is asked
	whileItIsAway                 // while the controller is, or as it comes back
	occasions
)

func (o occasion) String() string {
	return [...]string{"at a stage border", "at a hand step", "around an absence"}[o]
}

// How near to each other: common practice, no source.
const (
	borderWithin = 5 * time.Second
	comesBack    = 10 * time.Second
	longestAway  = 10 * time.Minute
)

// cells is how many there are.
func cells() int { n := len(paired()); return int(occasions) * n * (n - 1) / 2 }

// cell says what the seed's cell is. Neighbours have nothing in common.
func cell(seed uint64) (one, other fault.Kind, on occasion) {
	kinds := paired()
	shuffled := rand.New(rand.NewPCG(0x6d6174726978, 1)).Perm(cells())
	at := shuffled[(seed&^Paired)%uint64(cells())]
	at, on = at/int(occasions), occasion(at%int(occasions))
	for i := 1; ; i++ {
		if at < i {
			return kinds[at], kinds[i], on
		}
		at -= i
	}
}

// pair gives a setup the two faults of its seed. Where its stages and hand steps are shows
// the same batch without a fault: up to the first fault both are one.
func pair(ctx context.Context, setup *sim.Setup, seed uint64) error {
	r := draws{rand.New(rand.NewPCG(seed, 0x6d6174726978))}
	setup.Faults = nil
	plain, err := sim.Rehearse(ctx, *setup, nil, nil)
	if err != nil {
		return fmt.Errorf("campaign: seed %d: %w", seed, err)
	}
	one, other, on := cell(seed)
	begins := r.moments(plain, on)
	if on == whileItIsAway {
		away := fault.Fault{Kind: []fault.Kind{fault.PowerCut, fault.Stall}[r.IntN(2)], At: begins()}
		away.For = time.Duration(r.log(2, longestAway.Seconds())) * time.Second
		setup.Faults = append(setup.Faults, away)
		begins = func() time.Duration { return away.At + r.within(0, away.For+comesBack) }
	}
	for _, k := range []fault.Kind{one, other} {
		f := r.fault(k, setup.Cabinet)
		f.At = begins()
		setup.Faults = append(setup.Faults, f)
	}
	return nil
}

// moments gives when two faults begin: each call another instant of one occasion.
func (r draws) moments(plain *sim.Result, on occasion) func() time.Duration {
	seconds := func(s float64) time.Duration { return time.Duration(s) * time.Second }
	if on != atABorder && len(plain.Prompts) > 0 && (on == atAHandStep || r.IntN(2) == 0) {
		p := plain.Prompts[r.IntN(len(plain.Prompts))]
		return func() time.Duration { return seconds(p.AtSeconds) + r.within(0, seconds(p.AfterSeconds)) }
	}
	border := seconds(plain.Stages[r.IntN(len(plain.Stages))].EndSeconds)
	return func() time.Duration { return max(0, border+r.within(-borderWithin, borderWithin)) }
}

func (r draws) within(low, high time.Duration) time.Duration {
	return (low + time.Duration(r.Int64N(int64(high-low)+1))).Truncate(time.Second)
}
