package forecast

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

// A Supposition is what would be otherwise: from now on the chamber of the stage under way, as
// somebody may change it; now or later a damper set by hand until the product leaves the
// chamber, and the room.
type Supposition struct {
	HasChamber bool
	Chamber    quantity.Celsius
	Later      sim.Later // its At counts from now
}

// A Doubles makes a library's rehearsals again, from where each of them is like the batch
// now, with something changed.
type Doubles struct {
	Library *Library
	Now     *Track
	Setup   func(run int) sim.Setup // as it was rehearsed, drawn and all, without anyone who turns
	Turns   []sim.Turn              // that it was rehearsed with
	Most    int                     // rehearsals to each question, the likest first
	Rest    func(time.Duration, *controller.State)
}

// An Answer is a forecast beside the present one. Both are of the same weights, so that they
// differ only by what was supposed.
type Answer struct {
	Now, Then Forecast
	Runs      int // rehearsals that were made again
	// Worse is how many of them came to no end, or missed what they are held to and had met
	// it before.
	Worse int
	// Rule is one that was missed so.
	Rule string
}

// A shift is by how much the rest of a stage takes longer, as a logarithm, and by what the
// rehearsals differ in it.
type shift struct{ log, sigma float64 }

// Suppose answers what would be. When the context's end comes, what there is by then must do;
// it is an error when there is nothing.
func (d *Doubles) Suppose(ctx context.Context, what Supposition) (Answer, error) {
	c, weights, f := d.Library.compare(d.Now)
	if f.Missing != "" {
		return Answer{}, errors.New(f.Missing)
	}
	a := Answer{Now: f, Then: f}
	a.Now.Stages = c.say(d.Library.Members, weights, nil)
	stages := len(c.product.Stages) - c.stage.Index
	longer, of := make([][]float64, stages), []float64(nil)
	for _, i := range likest(weights, d.Most) {
		m := &d.Library.Members[i]
		at, _ := c.place(m)
		r, again, err := d.again(ctx, m, max(at, 0), c.stage.Index, what)
		if errors.Is(err, context.DeadlineExceeded) && a.Runs > 0 {
			break
		} else if err != nil {
			return a, err
		}
		a.Runs++
		other, ended := MemberOf(r, again)
		if !ended {
			a.Worse, a.Rule = a.Worse+1, cmp.Or(r.Reason, r.Outcome)
			continue
		}
		if m.Good && !other.Good {
			a.Worse++
			for _, rule := range missed(r) {
				a.Rule = rule
			}
		}
		for k := range stages {
			before, _ := m.Stage(c.stage.Index + k)
			after, _ := other.Stage(c.stage.Index + k)
			from := [2]float64{before.Began, after.Began}
			if k == 0 {
				from = [2]float64{60 * at, 60 * at}
			}
			longer[k] = append(longer[k], math.Log(max(after.Ended-from[1], 60)/max(before.Ended-from[0], 60)))
		}
		of = append(of, weights[i])
	}
	if len(of) == 0 {
		a.Then = Forecast{Missing: "no rehearsal comes to its end then"}
		return a, nil
	}
	shifts := make([]shift, stages)
	for k := range shifts {
		shifts[k] = meanOf(longer[k], of)
	}
	a.Then.Stages = c.say(d.Library.Members, weights, shifts)
	return a, nil
}

// again rehearses a member once more, and lets it be otherwise from a minute on.
func (d *Doubles) again(ctx context.Context, m *Member, minute float64, stage int, what Supposition) (*sim.Result, *sim.Trace, error) {
	setup, at := d.Setup(m.Run), max(time.Duration(minute*float64(time.Minute)).Truncate(time.Second), time.Second)
	turns := slices.Clip(d.Turns)
	if what.HasChamber {
		turns = append(turns, sim.Turn{Stage: stage, Elapsed: at, Order: controller.Command{
			Kind: controller.Adjust, Bend: controller.Bend{Parts: controller.BentChamber, Chamber: what.Chamber},
		}})
	}
	if len(turns) > 0 {
		setup.Operator = sim.NewScript(turns)
	}
	later := what.Later
	later.At += at
	setup.Later = &later
	var trace sim.Trace
	r, err := sim.Rehearse(ctx, setup, &trace, d.Rest)
	return r, &trace, err
}

// likest are the members with the most weight.
func likest(weights []float64, most int) []int {
	order := make([]int, len(weights))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(weights[b], weights[a]) })
	return order[:min(most, len(order))]
}

func meanOf(logs, weights []float64) shift {
	sum, mean, squares := 0.0, 0.0, 0.0
	for i, w := range weights {
		sum += w
		mean += w * logs[i]
	}
	mean /= sum
	for i, w := range weights {
		squares += w / sum * (logs[i] - mean) * (logs[i] - mean)
	}
	return shift{mean, math.Sqrt(squares)}
}

// missed are the rules that a rehearsal did not meet of those that a schedule is for.
func missed(r *sim.Result) (rules []string) {
	for _, rule := range sim.Asked() {
		if !r.Verdict.Holds(rule) {
			rules = append(rules, rule.String())
		}
	}
	return rules
}

// near is how near a time is near enough, and tries how many chambers are tried.
const (
	near  = 120.0 // s
	tries = 4
)

// Reach looks for the coolest chamber of the stage under way, from the present one up to a
// highest, with which nine batches in ten are done by a time, in seconds since the start. A
// chamber with which a rehearsal misses what the food needs is none. Where none does, the one
// that comes nearest is given, and reached is false.
func (d *Doubles) Reach(ctx context.Context, ready float64, now, highest quantity.Celsius) (chamber quantity.Celsius, best Answer, reached bool, err error) {
	f := d.Library.At(d.Now)
	if f.Missing != "" {
		return now, best, false, errors.New(f.Missing)
	}
	best, chamber = Answer{Now: f, Then: f}, now
	late := func() float64 { return best.Then.Finish().Late }
	cool, hot, next := now, highest, highest
	if late() <= ready+near {
		return now, best, true, nil
	}
	for n := 0; n < tries && next > cool && (n == 0 || next < hot); n++ {
		a, err := d.Suppose(ctx, Supposition{HasChamber: true, Chamber: next})
		if errors.Is(err, context.DeadlineExceeded) && n > 0 {
			break
		} else if err != nil {
			return now, best, false, err
		}
		sound := a.Worse == 0 && a.Then.Missing == ""
		early := sound && a.Then.Finish().Late <= ready+near
		if early || sound && a.Then.Finish().Late < late() {
			best, chamber = a, next
		}
		if sound && !early {
			cool = next
		} else {
			hot = next
		}
		next = quantity.Celsius(math.Round(float64(cool+hot)) / 2) // to half a kelvin
	}
	return chamber, best, late() <= ready+near, nil
}
