package loop

import (
	"context"
	"fmt"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
)

type request struct {
	snapshot.Request
	reply   chan taken
	against []string // what speaks against a start that a reason was given for
}

// taken is what became of a request in its step, and what to wait with for the disk.
type taken struct {
	snapshot.Reply
	record.Receipt
}

// keptWithin is how long an answer waits for the disk; common practice, no source.
const keptWithin = 5 * time.Second

// Do hands a command to the next free step and waits for what became of it, and until
// it is on disk or cannot be. The step waits for neither.
func (l *Loop) Do(ctx context.Context, r snapshot.Request) (snapshot.Reply, error) {
	if err := r.Complete(); err != nil {
		return snapshot.Reply{}, err
	}
	if r.Command.Kind == controller.Tune {
		if why := l.experiment(&r); why != "" {
			return l.barred(why, nil), nil
		}
	}
	q := request{Request: r, reply: make(chan taken, 1)}
	if r.Command.Kind == controller.Start {
		why, found := l.gate(&r)
		if why != "" {
			return l.barred(why, found), nil
		}
		q.against = found
	}
	select {
	case l.requests <- q:
	default:
		return snapshot.Reply{}, fmt.Errorf("%d commands are waiting already; try again", queueLength)
	}
	select {
	case got := <-q.reply:
		if got.Accepted {
			kept, cancel := context.WithTimeout(ctx, keptWithin)
			defer cancel()
			err := got.Wait(kept)
			if got.Recorded = err == nil; err != nil {
				got.Unrecorded = err.Error()
			}
		}
		return got.Reply, nil
	case <-ctx.Done():
		return snapshot.Reply{}, ctx.Err()
	}
}

// next is the request to take in this step, or nil. One that comes while the batch passes from
// one state to another, such as a restart in the second of its hold, waits for the step in
// which that is over, and one behind it that is possible now, such as a stop, goes first. A
// second that has to wait takes the place of the first, which is refused: the last word counts.
func (l *Loop) next() *request {
	if q := l.early; q != nil && !l.tooEarly(q) {
		l.early = nil
		return q
	}
	select {
	case q := <-l.requests:
		if !l.tooEarly(&q) {
			return &q
		}
		first := l.early
		if l.early = &q; first != nil {
			return first
		}
		return l.next()
	default:
		return nil
	}
}

func (l *Loop) tooEarly(q *request) bool {
	return l.state.Batch.Passing() && q.Command.Kind.Refused(&l.state) == controller.NotInThisState
}

// command returns what the operator, or else the simulated person, wants now.
func (l *Loop) command(elapsed time.Duration) (controller.Command, *request) {
	if q := l.next(); q != nil {
		return q.Command, q
	}
	if l.cfg.Person == nil {
		return controller.Command{}, nil
	}
	c := l.cfg.Person.Answer(&l.state)
	if c.Kind != controller.NoCommand {
		l.say(elapsed, "the simulated person answers: "+c.Kind.String(), 0)
	}
	return c, nil
}

// bends reports a command that changes the stage under way, for which a reason is given.
func bends(c controller.Command) bool { return c.Kind.Needs()&controller.WithStage != 0 }

func refused(events []controller.Event) bool {
	return slices.ContainsFunc(events, func(e controller.Event) bool { return e.Kind == controller.Refused })
}

func answer(events []controller.Event, state controller.State, findings []string) snapshot.Reply {
	for _, e := range events {
		if e.Kind == controller.Refused {
			excusable := e.Why == controller.ProbesDoubted || e.Why == controller.RestNotOver
			return snapshot.Reply{Why: e.Why.String(), State: state.Batch, Findings: findings, Excusable: excusable}
		}
	}
	return snapshot.Reply{Accepted: true, State: state.Batch, Findings: findings}
}

func who(asked *request, c controller.Command) record.By {
	switch {
	case asked != nil:
		return record.By{Who: asked.Who, Reason: asked.Reason}
	case c.Kind != controller.NoCommand:
		return record.By{Who: "simulated person"}
	}
	return record.By{}
}
