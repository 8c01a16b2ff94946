// Package proof is what is claimed for a batch and what can be said of it in the end. A
// Claim is what the core has gone through; Claiming follows the probes some seconds late,
// so that what a probe reads while it slips out of the meat is never claimed. A Verdict
// holds a claim against the rules of its product. There is one of each, for the daemon,
// the record, the rehearsal and the assessment of a log alike.
//
// Met is said only of what was shown. It prints nothing and takes no decision; for food
// for others a process authority and the local inspector decide.
package proof

import (
	"time"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/ferment"
	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// An Edition says which rules of this program a batch is held to: those of when it began,
// to its end and in every replay. New ones are added at the end.
type Edition uint8

// The editions.
const (
	// First had one way of chilling for all places, which it followed from the last heated
	// stage on.
	First Edition = iota
	// ByPlace chills by the rules of the place, and follows that from the moment at which the
	// core was cooked. It knows food that is served hot, counts what is uncured in the warm,
	// and limits the come-up of all that a heated stage brings to a core.
	ByPlace
	// OneProbe believes no core probe that was out of sight and may be another since.
	OneProbe
	// MaybeCooked follows the way of chilling from the moment at which the hottest core may
	// have been cooked, where the probe reads too low. Until the coldest surely was, the
	// come-up goes on beside it.
	MaybeCooked
	// Editions is their number.
	Editions
)

// Current is the edition that a batch begins with.
const Current = Editions - 1

// Rules are what a product is held to.
type Rules struct {
	Product   *profile.Product
	Where     profile.Jurisdiction // whose rules on the formula, on fermenting and on chilling
	Edition   Edition
	Criterion *lethality.Criterion // nil where nothing is cooked
	ComesUp   bool                 // its come-up time is limited
	Chill     *chilling.Rule       // nil where no way of chilling is named
	ServedHot bool                 // it is eaten before it is cold
	Uncured   bool                 // raw, nothing protects it in the warm
	// Other is the criterion of what was made, where that is not the one that was counted by.
	Other *lethality.Criterion
	// CoreError is how far a core probe may be wrong. It is added to every limit: the core
	// counts as so much colder while it heats and so much hotter while it cools (FSIS
	// Cooking Guideline 2021, p. 20: 165 °F with ±1 °F is a critical limit of 166 °F).
	CoreError quantity.Kelvin
}

// RulesOf are those of a product today, in the place that is set where it names none; of nil
// there are none.
func RulesOf(p *profile.Product, set profile.Jurisdiction, coreError quantity.Kelvin) Rules {
	return Current.RulesOf(p, set, coreError)
}

// RulesOf are those of a product in one edition. An edition of a later program is taken for
// this one's last.
func (e Edition) RulesOf(p *profile.Product, set profile.Jurisdiction, coreError quantity.Kelvin) Rules {
	if p == nil {
		return Rules{CoreError: coreError}
	}
	r := Rules{Product: p, Where: p.Where(set), Edition: min(e, Current), Criterion: p.Criterion(), CoreError: coreError}
	if e == First {
		r.ComesUp, r.Chill = p.AimsAtCore(), p.ChillRule(profile.UnitedStates)
		return r
	}
	r.ComesUp, r.Chill = p.ComeUpApplies(), p.ChillRule(r.Where)
	r.ServedHot, r.Uncured = p.Targets.Chill == profile.ServedHot, p.Uncured()
	return r
}

// MadeAs are the rules for what was made, with the formula as it was weighed, in place of what
// was planned. What was counted was counted by the plan.
func (r Rules) MadeAs(made *profile.Product) Rules {
	if made == nil || r.Product == nil || made == r.Product {
		return r
	}
	if other := made.Criterion(); other != r.Criterion {
		r.Other = other
	}
	r.Product, r.Uncured = made, r.Edition >= ByPlace && made.Uncured()
	return r
}

// A Book has the rules of one product for every edition and place, worked out once.
type Book struct {
	today Rules
	aims  bool             // at a core: what the first edition went by
	chill []*chilling.Rule // by place, none first
}

// BookOf works them out.
func BookOf(p *profile.Product) *Book {
	b := &Book{today: RulesOf(p, profile.NoJurisdiction, 0), aims: p.AimsAtCore()}
	for place := range len(profile.Jurisdictions()) + 1 {
		b.chill = append(b.chill, p.ChillRule(profile.Jurisdiction(place)))
	}
	return b
}

// Rules are those of a batch: in its edition, by what was set when it began, which may be a
// place that is not known here.
func (b *Book) Rules(e Edition, set profile.Jurisdiction, coreError quantity.Kelvin) Rules {
	r := b.today
	r.Where, r.Edition, r.CoreError = r.Product.Where(set), min(e, Current), coreError
	place := r.Where
	if e == First {
		place, r.ComesUp, r.ServedHot, r.Uncured = profile.UnitedStates, b.aims, false, false
	}
	if int(place) >= len(b.chill) {
		place = profile.NoJurisdiction
	}
	r.Chill = b.chill[place]
	return r
}

// Criterion is the one of the product, or nil.
func (b *Book) Criterion() *lethality.Criterion { return b.today.Criterion }

// comeUp is the published rule as the probe must show it.
func (r *Rules) comeUp() lethality.ComeUpRule { return lethality.ComeUpWithin(r.CoreError) }

// heat counts a line of the coldest core.
func (r *Rules) heat(s lethality.Count, from, to quantity.Celsius, dt time.Duration) lethality.Count {
	e := quantity.Celsius(r.CoreError)
	return r.Criterion.Add(s, from-e, to-e, dt)
}

// Chilling is the way to chill as the probe must show it. Ask only where there is one.
func (r *Rules) Chilling() chilling.Rule {
	rule := *r.Chill
	rule.ProbeError += r.CoreError
	return rule
}

// ComeUp is the published rule for a probe without error: its limit of time is the same
// for every probe.
var ComeUp = lethality.ComeUpWithin(0)

// A Claim is what the core has gone through so far. Zero has seen nothing.
type Claim struct {
	ComeUp lethality.ComeUp `record:"come_up"`    // of the coldest core
	Heat   lethality.Count  `record:"heat"`       // of the coldest core, by the product's criterion
	Chill  chilling.State   `record:"chill"`      // of the hottest core, by the product's rule
	Most   float64          `record:"most_ratio"` // of the lethality, that the hottest core may have had; 1 is all

	Surface Moisture       `record:"surface"`
	Smoking fish.Course    `record:"smoking"`      // of fish that is smoked cold
	Ferment ferment.Course `record:"ferment"`      // of sausage, until its pH was measured
	Passed  int            `record:"passed"`       // stages of it that are over, with all that they wait for
	Skipped uint32         `record:"skipped_mask"` // those that a person ended: what they waited for was not shown

	Cooled time.Duration `record:"cooled"` // of what is served hot: colder than it may be, since it was cooked
	Eaten  bool          `record:"eaten"`  // a person said so
	Warm   time.Duration `record:"warm"`   // of what is uncured: raw in the band of lethality.RawUncured, and not being cooked
}

// cooked reports whether the core has had the lethality of its species. The come-up ends
// there: until then, what falls into the band again counts as well.
func (c *Claim) cooked(r *Rules) bool {
	if r.Criterion == nil {
		return c.ComeUp.Done
	}
	return c.ComeUp.Done && r.Criterion.Met(c.Heat)
}

// heats counts what a line of the hottest core may have had of its lethality: the sum of what
// each step had by itself is at least what they had together.
func (c *Claim) heats(r *Rules, from, to quantity.Celsius, dt time.Duration) {
	if r.Criterion == nil || r.Edition < MaybeCooked || c.Most >= 1 {
		return
	}
	e := quantity.Celsius(r.CoreError)
	c.Most = min(1, c.Most+r.Criterion.Fraction(r.Criterion.Add(lethality.Count{}, from+e, to+e, dt)))
}

// comingUp reports whether the come-up time runs: until the product is cooked, and for one
// that was up at all no longer than it is heated.
func (c *Claim) comingUp(r *Rules, chilling bool) bool {
	return r.ComesUp && !(c.ComeUp.Done && chilling) && !c.cooked(r)
}

// unseen counts time in which the core was not seen.
func (c *Claim) unseen(r *Rules, dt time.Duration, chilling bool, air Air) {
	c.moisten(r, air, dt)
	if r.Criterion != nil {
		c.Heat = r.Criterion.Gap(c.Heat)
	}
	switch {
	case !c.comingUp(r, chilling):
	case c.ComeUp.Begun:
		c.ComeUp = ComeUp.Gap(c.ComeUp, dt)
	case r.Edition >= ByPlace && air.Loaded: // what nobody has seen yet may be warm
		c.ComeUp.Time += dt
	}
	if rule, ok := c.cools(r, chilling); ok {
		c.Chill = rule.Gap(c.Chill, dt)
	}
	c.warms(r, nil, dt, air)
}

// cools reports whether the way of chilling is to be followed, and gives it as the probe must
// show it. From the core on that is cooked, or may be, all cooling counts, also that of a stage
// that heats less: spores live through the cook. Batches of the first edition count it from
// the last heated stage on.
func (c *Claim) cools(r *Rules, chilling bool) (rule chilling.Rule, ok bool) {
	if r.Chill == nil || !chilling && !(r.Edition >= ByPlace && (c.cooked(r) || c.Most >= 1)) {
		return rule, false
	}
	rule = r.Chilling()
	if chilling {
		c.Chill = rule.Begin(c.Chill)
	}
	return rule, true
}

// warms counts a step for what is served hot, which must not get cold, and the raw time in the
// warm, which what is uncured must not have; whether it is the scale may say later. A line
// that was not seen counts.
func (c *Claim) warms(r *Rules, l *Line, dt time.Duration, a Air) {
	e := quantity.Celsius(r.CoreError)
	switch {
	case r.Edition < ByPlace || r.Product == nil || !r.Product.SmokedHot():
	case c.cooked(r):
		if cold := l == nil || min(l.ColdFrom, l.ColdTo)-e < chilling.Hot.From; r.ServedHot && cold {
			c.Cooled += dt
		}
	case !a.Loaded, a.Seen && a.Chamber >= lethality.RawUncured.To: // it is being cooked
	case l == nil || max(l.HotFrom, l.HotTo)+e > lethality.RawUncured.From && min(l.ColdFrom, l.ColdTo)-e < lethality.RawUncured.To:
		c.Warm += dt
	}
}

// Lag is how long the claim waits behind the probes. A probe that leaves the meat is
// found out within that time. Common practice, no source; the rehearsals with faults
// show that it is enough.
const Lag = 10 * time.Second

// ReseatedFor is how long a person's word that a probe is back in the meat is held against
// the probe; common practice, no source.
const ReseatedFor = 15 * time.Minute

// Claiming is the count that the claim follows. The claim is between one and two lags
// old.
type Claiming struct {
	Claim  `record:"."`
	ahead  Claim         `record:"ahead"`    // up to now
	behind Claim         `record:"behind"`   // as it was when this lag began
	since  time.Duration `record:"since"`    // since then
	age    time.Duration `record:"age"`      // of the claim
	met    bool          `record:"core_met"` // the core was seen in the meat

	// What was claimed when a person last said that a probe is back in the meat. If it
	// then leaves it again soon, it never was.
	reseated   Claim         `record:"sworn"`
	reseatedAt time.Duration `record:"sworn_at"`
}

// A Line is the course of the cores over one step, from the last one to this.
type Line struct {
	Now, Step        time.Duration
	ColdFrom, ColdTo quantity.Celsius // of the coldest core
	HotFrom, HotTo   quantity.Celsius // of the hottest
	ColdSeen         bool             // the coldest was seen at both ends
	HotSeen          bool
	Unbroken         bool // in time, and by the same probes
	Learnt           bool // so that a probe that leaves the meat would be seen
	Doubted          bool // one that was believed is not believed any more
	Settling         bool // the probe may still be on its way into the meat
	Chilling         bool // nothing heats from here on
	Over             bool // this step ended the batch
	Complete         bool // with all that its last stage waited for
	Air              Air
}

// Follow takes a step in. Heat counts only between two readings of the same probes of
// which both were seen in time; time that could have harmed counts whether it was seen
// or not.
func (c *Claiming) Follow(r *Rules, l *Line) {
	if l.Over { // nothing was doubted until the end
		if !l.Doubted {
			c.Claim = c.ahead
		}
		c.Eaten = l.Complete && r.ServedHot
		return
	}
	c.age += l.Step
	if l.Doubted {
		if c.reseatedAt > 0 && l.Now-c.reseatedAt < ReseatedFor {
			c.Claim, c.age, c.reseatedAt = c.reseated, l.Now-c.reseatedAt, 0
		}
		c.Claim.unseen(r, c.age, l.Chilling, Air{Loaded: l.Air.Loaded}) // nobody knows which of its readings were of meat
		c.ahead, c.behind, c.since, c.age = c.Claim, c.Claim, 0, 0
		return
	}
	if l.Settling {
		c.prepare(r, l)
		return
	}
	c.meet(r, l)
	if !l.ColdSeen || !l.HotSeen || !l.Unbroken {
		c.Claim.unseen(r, l.Step, l.Chilling, l.Air)
		c.behind.unseen(r, l.Step, l.Chilling, l.Air)
		c.ahead.unseen(r, l.Step, l.Chilling, l.Air)
		return
	}
	c.ahead.moisten(r, l.Air, l.Step)
	if k := r.Criterion; k != nil && l.Learnt {
		c.ahead.Heat = r.heat(c.ahead.Heat, l.ColdFrom, l.ColdTo, l.Step)
	} else if k != nil {
		c.ahead.Heat = k.Gap(c.ahead.Heat)
	}
	c.ahead.heats(r, l.HotFrom, l.HotTo, l.Step)
	if c.ahead.comingUp(r, l.Chilling) {
		next := r.comeUp().Add(c.ahead.ComeUp, l.ColdFrom, l.ColdTo, l.Step)
		if next.Done && !l.Learnt {
			next = ComeUp.Gap(c.ahead.ComeUp, l.Step)
		}
		c.ahead.ComeUp = next
	}
	c.ahead.warms(r, l, l.Step, l.Air)
	if rule, ok := c.ahead.cools(r, l.Chilling); ok {
		if l.Learnt {
			c.ahead.Chill = rule.Add(c.ahead.Chill, l.HotFrom, l.HotTo, l.Step)
		} else {
			c.ahead.Chill = rule.Gap(c.ahead.Chill, l.Step)
		}
	}
	if c.since += l.Step; c.since >= Lag {
		c.Claim, c.age = c.behind, c.since
		c.behind, c.since = c.ahead, 0
	}
}

// warmedMeanwhile is what a thin core may warm by while its probe settles; common practice,
// no source.
const warmedMeanwhile quantity.Kelvin = 5

// meet looks at the core when it is first seen in the meat. How one came to be warm that is
// warm already, nobody has seen, nor for how long it was.
func (c *Claiming) meet(r *Rules, l *Line) {
	if c.met || r.Edition < ByPlace || !l.ColdSeen {
		return
	}
	c.met = true
	if l.ColdTo-quantity.Celsius(warmedMeanwhile) > lethality.ComeUpStart {
		for _, u := range []*lethality.ComeUp{&c.Claim.ComeUp, &c.ahead.ComeUp, &c.behind.ComeUp} {
			u.Begun, u.Unproven = true, true
		}
	}
}

// prepare counts the come-up of product that hangs before the first hand step is
// confirmed. That it came up, or got any heat, is not believed of a probe that may not
// be in it yet.
func (c *Claiming) prepare(r *Rules, l *Line) {
	if rule := r.comeUp(); l.ColdSeen && r.ComesUp && l.ColdFrom < rule.To && l.ColdTo < rule.To {
		c.ahead.ComeUp = rule.Add(c.ahead.ComeUp, l.ColdFrom, l.ColdTo, l.Step)
		c.behind.ComeUp, c.Claim.ComeUp = c.ahead.ComeUp, c.ahead.ComeUp
	}
	c.ahead.moisten(r, l.Air, l.Step)
	c.behind.Surface, c.Claim.Surface = c.ahead.Surface, c.ahead.Surface
	c.ahead.warms(r, nil, l.Step, l.Air)
	c.behind.Warm, c.Claim.Warm = c.ahead.Warm, c.ahead.Warm
}

// Reseat keeps the claim as it is at the word of a person that a probe is back in the
// meat.
func (c *Claiming) Reseat(now time.Duration) { c.reseated, c.reseatedAt = c.Claim, now }
