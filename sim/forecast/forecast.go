// Package forecast says when a batch that is under way will be done, with a spread. It
// compares the batch so far with a library of rehearsals in which all that nobody has
// measured was drawn, gives each the more weight the better it explains core, chamber and
// heat, and reads from them how long it takes from here. It knows no clock and decides
// nothing: no step asks it.
//
// A batch is never quite like any rehearsal, for the simulated cabinet is built otherwise
// than the real one. So a rehearsal need not fit, only more or less well; what is left of
// it is counted from where its core is as warm as the real one is now, and the spread is
// widened by what the structure may be wrong by. If none but a few come near, nothing is
// said.
package forecast

import (
	"cmp"
	"math"
	"slices"

	"fumarium/profile"
)

// A Library is rehearsals of one product in one cabinet.
type Library struct {
	Product *profile.Product
	Members []Member
}

// A Member is one rehearsal that came to its end.
type Member struct {
	Track
	Run  int  // which one it was
	Good bool // it met what it is held to
}

// A Span3 is a time with its spread, in seconds since the start: one in ten is sooner, one
// in ten later.
type Span3 struct{ Early, Middle, Late float64 }

// A Forecast is what is said at one moment.
type Forecast struct {
	Stages  []Span3 // the ends of the stage under way and all after it
	Missing string  // why nothing is said
	Alike   float64 // rehearsals that explain the record, as many equal ones
}

// Finish is the end of the last stage.
func (f *Forecast) Finish() Span3 { return f.Stages[len(f.Stages)-1] }

// What a batch is compared by.
const (
	lateTrait    = iota // the logarithm of how much longer the core took for the last five kelvins
	longTrait           // likewise for as many as there are, up to forty
	levelTrait          // K, the core at the same time of the stage
	chamberTrait        // K, likewise
	dutyTrait           // the heater's share, likewise
)

// sigmas are how far a rehearsal may be from the batch before it counts less: standard
// deviations of the real cabinet around the simulated ones. Fitted on drawn batches that
// the table in SCORE.md does not hold; no source.
var sigmas = [...]float64{lateTrait: 0.20, longTrait: 0.20, levelTrait: 3, chamberTrait: 3, dutyTrait: 0.2}

const (
	climbSigma = 0.20 // of the logarithm of how long stages that are over took
	// halfStrange is the misfit of the best member at which a batch is half as strange as one
	// that no rehearsal is like; below it strangeness falls by the square.
	halfStrange = 0.35
	// unseen is by what share less does it while the core has not yet risen in the stage under
	// way: then there is little that could tell how strange a batch is.
	unseen = 0.5
	// stretched is how much more for a batch that is strange to all, as a share of what a
	// rehearsal was put right by.
	stretched = 0.4
	// Fewest rehearsals make a library, and alike is how many of them at least shall
	// count: the error is taken for as much larger as that needs, up to loosest.
	Fewest, alike = 24, 12.0
	loosest       = 0.05
)

// By what the rest of the stage may be wrong: standard deviations of its logarithm, for a batch
// that some rehearsal explains, and more for one that is strange to all, the more kelvins to
// the target are to come. At the end it is never surer than some minutes.
const (
	structure, strangeStructure, strangeAhead = 0.02, 0.3, 1.2
	surest                                    = 1.5 // min
)

// climbs are the kelvins below the core of now from which the time is taken.
var climbs = []float64{2, 5, 10, 20, 40}

// At compares the library with a batch.
func (l *Library) At(now *Track) Forecast {
	c, weights, f := l.compare(now)
	if f.Missing == "" {
		f.Stages = c.say(l.Members, weights, nil)
	}
	return f
}

// say lays out when each stage ends.
func (c *comparison) say(members []Member, weights []float64, shifts []shift) (spans []Span3) {
	for _, e := range c.lay(members, weights, shifts) {
		spans = append(spans, quantiles(e))
	}
	return spans
}

// compare weights the members by how well they explain the batch; a forecast without stages
// says why it cannot, or how many count.
func (l *Library) compare(now *Track) (*comparison, []float64, Forecast) {
	if len(l.Members) < Fewest {
		return nil, nil, Forecast{Missing: "too few rehearsals came to their end"}
	}
	if len(now.Stages) == 0 {
		return nil, nil, Forecast{Missing: "no stage has begun"}
	}
	stage := now.Stages[len(now.Stages)-1]
	c := &comparison{now: now, stage: stage, minute: now.Elapsed / 60, into: (now.Elapsed - stage.Began) / 60, product: l.Product}
	c.core = mean(now.Core, c.minute, 3)
	if math.IsNaN(c.core) && l.asksCore(stage.Index) {
		return nil, nil, Forecast{Missing: "no core is read"}
	}
	fit := make([]float64, len(l.Members))
	best := math.Inf(1)
	for i := range l.Members {
		fit[i] = c.misfit(&l.Members[i])
		best = min(best, fit[i])
	}
	c.best = best
	weights, count, told := weigh(fit, best)
	if !told {
		return nil, nil, Forecast{Missing: "no rehearsal is like it", Alike: count}
	}
	return c, weights, Forecast{Alike: count}
}

// asksCore reports whether this stage or one after it waits for a core.
func (l *Library) asksCore(from int) bool {
	for i := from; i < len(l.Product.Stages); i++ {
		if u := l.Product.Stages[i].Until; u.Has(profile.CoreAtLeast) || u.Has(profile.CoreAtMost) || u.Has(profile.LethalityAtLeast) {
			return true
		}
	}
	return false
}

// weigh turns misfits into weights, with an error as large as it takes for enough members
// to count; false where that would be too large to mean anything.
func weigh(fit []float64, best float64) (weights []float64, count float64, told bool) {
	weights = make([]float64, len(fit))
	for loose := 1.0; loose >= loosest; loose *= 0.85 {
		sum, squares := 0.0, 0.0
		for i, f := range fit {
			w := math.Exp(-0.5 * loose * (f - best))
			weights[i], sum, squares = w, sum+w, squares+w*w
		}
		count = sum * sum / squares
		if count >= alike {
			for i := range weights {
				weights[i] /= sum
			}
			return weights, count, best*loose < farthest
		}
	}
	return weights, count, false
}

// farthest is the misfit of the best member beyond which none explains anything.
const farthest = 12.0

// A comparison is of one batch at one moment.
type comparison struct {
	product      *profile.Product
	now          *Track
	stage        Span
	minute, into float64 // since the start, and since the stage began
	core         float64 // now; NaN where none is read
	best         float64 // the misfit of the best member
}

// heats reports whether the stage under way warms the product in the chamber.
func (c *comparison) heats() bool {
	s := &c.product.Stages[c.stage.Index]
	return s.Place == profile.Chamber && s.Heat
}

// place is the minute at which a member is where the batch is now: in the same stage, as
// far as it is in it, or where its core is as warm as the batch's.
func (c *comparison) place(m *Member) (minute float64, span Span) {
	span, _ = m.Stage(c.stage.Index)
	began, ended := span.Began/60, span.Ended/60
	s := &c.product.Stages[c.stage.Index]
	switch {
	case math.IsNaN(c.core):
	case s.Until.Has(profile.CoreAtLeast) || s.Until.Has(profile.LethalityAtLeast):
		return m.when(c.core, began, ended), span
	case s.Until.Has(profile.CoreAtMost):
		for i := int(began); i < len(m.Core) && float64(i) < ended; i++ {
			if float64(m.Core[i]) <= c.core {
				return max(began, float64(i)), span
			}
		}
		return ended, span
	}
	return min(began+c.into, ended), span
}

// when is the minute of a stage at which the core comes to a temperature. Below the first
// one of the stage it is before its beginning, by how fast it rises there.
func (m *Member) when(core, began, ended float64) float64 {
	const first, least, most = 15.0, 0.02, 60.0 // min, K/min, min
	if at := Value(m.Climb, began); core < at {
		rise := max((Value(m.Climb, began+first)-at)/first, least)
		return began - min((at-core)/rise, most)
	}
	if at, ok := m.passed(core, began); ok && at < ended {
		return at
	}
	return ended
}

// misfit is how badly a member explains the batch, as a sum of squares.
func (c *comparison) misfit(m *Member) float64 {
	if !c.heats() {
		return c.past(m)
	}
	sum := 0.0
	for i, v := range c.traits(m) {
		sum += v / sigmas[i] * v / sigmas[i]
	}
	return sum
}

// traits are by what the batch differs from a member, in the order of sigmas; zero where
// it is not known.
func (c *comparison) traits(m *Member) []float64 {
	span, _ := m.Stage(c.stage.Index)
	same := min(span.Began/60+c.into, span.Ended/60)
	v := make([]float64, len(sigmas))
	v[chamberTrait] = mean(c.now.Chamber, c.minute, 20) - mean(m.Chamber, same, 20)
	if c.into >= 20 {
		over := min(c.into, 60)
		now := (Value(c.now.On, c.minute) - Value(c.now.On, c.minute-over)) / over
		v[dutyTrait] = now - (Value(m.On, same)-Value(m.On, same-over))/over
	}
	if !math.IsNaN(c.core) {
		v[levelTrait] = c.core - mean(m.Core, same, 3)
		rates := c.rates(m)
		if n := len(rates); n > 0 {
			v[lateTrait], v[longTrait] = rates[min(1, n-1)], rates[n-1]
		}
	}
	for i := range v {
		if math.IsNaN(v[i]) {
			v[i] = 0
		}
	}
	return v
}

// past is the misfit of what is over when the product is no longer heated: how long the
// heat took.
func (c *comparison) past(m *Member) float64 {
	sum := 0.0
	for _, s := range c.now.Stages {
		if !s.Over || !c.product.Stages[s.Index].Heat {
			continue
		}
		if theirs, ok := m.Stage(s.Index); ok {
			d := math.Log(max(s.Ended-s.Began, 60)/max(theirs.Ended-theirs.Began, 60)) / climbSigma
			sum += d * d
		}
	}
	return sum
}

// rates are logarithms of how much longer the batch took than a member for the last
// kelvins, the fewest first.
func (c *comparison) rates(m *Member) []float64 {
	var all []float64
	at, _ := c.place(m)
	if reached, ok := m.passed(c.core, 0); ok && !c.product.Stages[c.stage.Index].Until.Has(profile.CoreAtLeast) {
		at = reached
	}
	now, ok := c.now.passed(c.core, 0)
	if !ok {
		now = c.minute
	}
	for _, k := range climbs {
		below := c.core - k
		if !(below > c.now.coldest()) || !(below > m.coldest()) {
			break
		}
		ours, ok1 := c.now.passed(below, 0)
		theirs, ok2 := m.passed(below, 0)
		if ok1 && ok2 {
			all = append(all, math.Log(max(now-ours, 1)/max(at-theirs, 1)))
		}
	}
	return all
}

type weighted struct{ at, weight float64 }

// nodes stand for a normal distribution in five equal parts: the means of its fifths.
var nodes = [...]float64{-1.400, -0.532, 0, 0.532, 1.400}

// lay works out when each stage ends if the batch goes on as the members did. What hangs on
// the core is put right by how members that differ from the batch differ from each other.
func (c *comparison) lay(members []Member, weights []float64, shifts []shift) [][]weighted {
	n := len(c.product.Stages) - c.stage.Index
	took := make([][]float64, n) // min, by stage and member
	traits := make([][]float64, len(members))
	for i := range members {
		traits[i] = c.traits(&members[i])
	}
	right, doubt := make([][]float64, n), make([]float64, n)
	for k := range took {
		took[k] = make([]float64, len(members))
		for i := range members {
			took[k][i] = c.took(&members[i], k)
		}
		doubt[k] = c.doubt(k)
		if c.hangsOnCore(k) && c.heats() {
			right[k] = adjust(took[k], traits, weights)
		}
	}
	ends := make([][]weighted, n)
	for i := range members {
		for _, z := range nodes {
			minute := c.minute
			for k := range n {
				took := took[k][i]
				var by shift
				if shifts != nil {
					by = shifts[k]
					took *= math.Exp(by.log)
				}
				if c.hangsOnCore(k) {
					sigma := math.Hypot(math.Hypot(doubt[k], by.sigma), surest/max(took, surest))
					if right[k] != nil {
						sigma = math.Hypot(sigma, stretched*c.strange(0)*right[k][i])
					}
					minute += c.least(k, took*math.Exp(z*sigma))
				} else {
					minute += took
				}
				ends[k] = append(ends[k], weighted{minute * 60, weights[i] / float64(len(nodes))})
			}
		}
	}
	return ends
}

// hangsOnCore reports whether the stage that comes after so many waits for a hot core.
func (c *comparison) hangsOnCore(after int) bool {
	u := c.product.Stages[c.stage.Index+after].Until
	return u.Has(profile.CoreAtLeast) || u.Has(profile.LethalityAtLeast)
}

// doubt is by what the structure may be wrong for the stage that comes after so many: the
// more, the more kelvins are to come, for the record says little of them.
func (c *comparison) doubt(after int) float64 {
	u, first := c.product.Stages[c.stage.Index+after].Until, c.now.coldest()
	for _, cond := range u.Conditions {
		if target := float64(cond.Core); cond.Kind == profile.CoreAtLeast && target > first && !math.IsNaN(c.core) {
			left := min(max((target-c.core)/(target-first), 0), 1)
			ahead := 0.0 // likewise, of the stage under way
			if began := Value(c.now.Climb, c.stage.Began/60); after == 0 && target > began {
				ahead = min(max((target-c.core)/(target-began), 0), 1)
			}
			return structure + (strangeStructure+strangeAhead*left)*c.strange(ahead)
		}
	}
	return structure + strangeStructure*c.strange(0)
}

// strange is 0 where some rehearsal explains the batch, and towards 1 where none does; ahead,
// from 0 to 1, is how much of the stage under way is to come.
func (c *comparison) strange(ahead float64) float64 {
	half := halfStrange * (1 - unseen*ahead)
	return c.best * c.best / (c.best*c.best + half*half)
}

// least is how long a stage lasts that may have a time to keep, too.
func (c *comparison) least(after int, took float64) float64 {
	u := c.product.Stages[c.stage.Index+after].Until
	for _, cond := range u.Conditions {
		if cond.Kind == profile.After && !u.Any {
			left := cond.After.Minutes()
			if after == 0 {
				left -= c.into
			}
			took = max(took, left)
		}
	}
	return took
}

// took is how long the stage that comes after so many takes as that member has it, and the
// one under way from here on.
func (c *comparison) took(m *Member, after int) float64 {
	if after == 0 {
		at, span := c.place(m)
		return max(span.Ended/60-at, 0)
	}
	theirs, _ := m.Stage(c.stage.Index + after)
	if c.hangsOnCore(after) {
		return c.later(m, theirs)
	}
	return (theirs.Ended - theirs.Began) / 60
}

// later is how long a stage to come takes that waits for a core, if the batch keeps what
// it is colder or warmer than the member now.
func (c *comparison) later(m *Member, theirs Span) float64 {
	began, ended := theirs.Began/60, theirs.Ended/60
	if math.IsNaN(c.core) || !c.heats() {
		return ended - began
	}
	span, _ := m.Stage(c.stage.Index)
	off := c.core - mean(m.Core, min(span.Began/60+c.into, span.Ended/60), 3)
	return max(ended-m.when(Value(m.Climb, began)+off, began, ended), 1)
}

// quantiles are the tenth, the half and nine tenths of weighted times.
func quantiles(all []weighted) Span3 {
	slices.SortFunc(all, func(a, b weighted) int { return cmp.Compare(a.at, b.at) })
	at := func(q float64) float64 {
		sum := 0.0
		for i, w := range all {
			if sum+w.weight >= q {
				if i == 0 || w.weight <= 0 {
					return w.at
				}
				return all[i-1].at + (w.at-all[i-1].at)*(q-sum)/w.weight
			}
			sum += w.weight
		}
		return all[len(all)-1].at
	}
	return Span3{at(0.1), at(0.5), at(0.9)}
}
