package forecast

import (
	"context"
	"time"

	"fumarium/controller"
	"fumarium/sim"
)

// Draw rehearses members first to first+runs-1 of the library of a setup, one after the
// other. rest, which may be nil, is called every virtual minute and may sleep.
func Draw(ctx context.Context, setup sim.Setup, first, runs int, rest func(time.Duration, *controller.State)) ([]Member, error) {
	var members []Member
	for i := first; i < first+runs; i++ {
		var trace sim.Trace
		r, err := sim.Rehearse(ctx, sim.Vary(setup, i), &trace, rest)
		if err != nil {
			return nil, err
		}
		if m, ok := MemberOf(r, &trace); ok {
			m.Run = i
			members = append(members, m)
		}
	}
	return members, nil
}

// MemberOf makes a member of a rehearsal; false where that did not come to its end.
func MemberOf(r *sim.Result, trace *sim.Trace) (Member, bool) {
	if r.Outcome != controller.Complete.String() {
		return Member{}, false
	}
	return Member{Track: TrackOf(&trace.History, trace.History.Elapsed()), Good: r.AsPlanned()}, true
}
