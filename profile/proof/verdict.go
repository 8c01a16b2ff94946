package proof

import (
	"fmt"
	"slices"
	"time"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// An Answer is what a verdict can say of a rule.
type Answer uint8

// The answers. The zero value is the cautious one.
const (
	NotShown Answer = iota
	Met
	NotMet
	DoesNotApply
)

func (a Answer) String() string {
	switch a {
	case Met:
		return "met"
	case NotMet:
		return "not met"
	case DoesNotApply:
		return "does not apply"
	}
	return "not shown"
}

// A Rule is one that a batch is held to.
type Rule uint8

// The rules.
const (
	Cooked   Rule = iota // the lethality of its species
	CameUp               // not too long in the warm on the way up
	Surface              // moist enough for the heat to count there, too
	Chilled              // fast enough, by the rule that the product names
	Formula              // nitrite and what else is limited
	Process              // what another process than cooking asks of the chamber
	Killed               // what another process than cooking kills
	RawFish              // parasites and histamine
	Keeping              // what keeps it good once it is made
	Recorded             // the record is whole
	RuleCount
)

var ruleText = [RuleCount]string{"cooked", "come-up", "surface", "chilled", "formula", "process", "kill", "raw fish", "keeping", "record"}

func (r Rule) String() string {
	if r < RuleCount {
		return ruleText[r]
	}
	return quantity.Unknown
}

// A Judgement is what is said of one rule, and what showed it or what is missing.
type Judgement struct {
	Answer Answer
	Why    string
}

// A Verdict is what can be said of a batch. The zero value has nothing shown.
type Verdict [RuleCount]Judgement

// Holds reports whether each of the rules is met or does not apply.
func (v *Verdict) Holds(rules ...Rule) bool {
	for _, r := range rules {
		if a := v[r].Answer; a != Met && a != DoesNotApply {
			return false
		}
	}
	return true
}

// Answering gives the names of the rules with one answer.
func (v *Verdict) Answering(a Answer) (names []string) {
	for r := range v {
		if v[r].Answer == a {
			names = append(names, Rule(r).String())
		}
	}
	return names
}

// Good reports whether a batch that is complete ended as a maker wants it: what applies of
// cooked, come-up, surface, chilled and process was shown, and nothing is not met.
func (v *Verdict) Good() bool { return len(v.Lacks()) == 0 }

// shows are the rules that a good batch has to show. What a recipe cannot show of its
// formula, or of a raw fish, an analysis can, and the record is for who has read it.
var shows = []Rule{Cooked, CameUp, Surface, Chilled, Process}

// Lacks says which rules keep a verdict from being good, and why.
func (v *Verdict) Lacks() (texts []string) {
	for r, j := range v {
		if rule := Rule(r); rule != Recorded && (j.Answer == NotMet || j.Answer == NotShown && slices.Contains(shows, rule)) {
			texts = append(texts, fmt.Sprintf("%s %s: %s", rule, j.Answer, j.Why))
		}
	}
	return texts
}

// Judge holds a claim against the rules of its product. While the batch is not over, what
// is still to come is not shown. Whether the record is whole is for who has read it: see the
// caller's own words in its place.
func Judge(r *Rules, c *Claim, over bool) (v Verdict) {
	v[Cooked] = cooked(r, c, over)
	v[CameUp] = cameUp(r, c)
	v[Surface] = surface(r, c)
	v[Chilled] = chilled(r, c, over)
	v[Formula] = Judgement{DoesNotApply, "there is no product"}
	if r.Product != nil {
		switch f := formula.Judge(r.Product, r.Where); {
		case !f.Pass():
			v[Formula] = Judgement{NotMet, "the make sheet by the rules of " + r.Where.String() + " says which limit is not kept"}
		case !f.Shown():
			v[Formula] = Judgement{NotShown, "the make sheet by the rules of " + r.Where.String() + " says what only an analysis or a better source can show"}
		case f.Cured || f.Accelerated:
			v[Formula] = Judgement{Met, "within the limits of the make sheet by the rules of " + r.Where.String()}
		default:
			v[Formula] = Judgement{DoesNotApply, "it has no cure"}
		}
	}
	v[Process] = process(r, c, over)
	v[Killed] = killed(r.Product)
	v[RawFish] = rawFish(r, c)
	v[Keeping] = keeping(r.Product, c)
	v[Recorded] = Judgement{NotShown, "nobody has checked the record"}
	r.tellError(&v)
	return v
}

// tellError says in which answers the probes' error counts.
func (r *Rules) tellError(v *Verdict) {
	if !(r.CoreError > 0) {
		return
	}
	for rule, way := range map[Rule]string{Cooked: "the core counts %v colder than it reads", CameUp: "with %v for the probe at both ends", Chilled: "with %v for the probe at both ends"} {
		if j := &v[rule]; j.Answer != DoesNotApply {
			j.Why += "; " + fmt.Sprintf(way, r.CoreError)
		}
	}
}

// Counts gives the log reduction that a claim is worth and what is required, and false
// where the criterion is no log reduction. A product may ask for more than its species
// requires, never for less.
func Counts(r *Rules, c *Claim) (log10, required float64, ok bool) {
	if r.Criterion == nil || r.Criterion.Required == 0 {
		return 0, 0, false
	}
	required = r.Criterion.Required
	if t := r.Product.Targets; t.HasLethality {
		required = max(required, t.Lethality)
	}
	return r.Criterion.Log10(c.Heat), required, true
}

func cooked(r *Rules, c *Claim, over bool) Judgement {
	k := r.Criterion
	if k == nil {
		return uncooked(r.Product)
	}
	if r.Other != nil {
		return Judgement{NotShown, fmt.Sprintf("as it was weighed it is held to another table (%s) than it was counted by (%s)", r.Other.Name, k.Name)}
	}
	met := k.Met(c.Heat)
	why := nearest(k, c.Heat)
	if log10, required, ok := Counts(r, c); ok {
		met = met && log10 >= required-1e-9
		shown, capped := lethality.Shown(log10)
		why = fmt.Sprintf("%s log10 counted, %g required: %s", lethality.Text(shown, capped, 1), required, why)
		if integral := k.Integral(c.Heat); !met && integral >= required {
			shown, capped := lethality.Shown(integral)
			why += fmt.Sprintf("; by the integral %s log10, which only a process authority may go by", lethality.Text(shown, capped, 1))
		}
	}
	return Judgement{answer(met, over), why}
}

// uncooked says of a product that has no criterion why.
func uncooked(p *profile.Product) Judgement {
	switch {
	case p == nil || p.Species == profile.Dairy:
		return Judgement{DoesNotApply, "nothing is cooked"}
	case p.Process == profile.NotReadyToEat:
		return Judgement{DoesNotApply, "not ready to eat: whoever eats it must cook it, and its label must say so"}
	case p.Process == profile.FermentedAndDried:
		return Judgement{DoesNotApply, "fermented and dried instead of cooked"}
	case p.Process == profile.ColdSmoked:
		return Judgement{DoesNotApply, "smoked cold: it stays raw"}
	}
	return Judgement{NotShown, "the file names neither a core nor a lethality to reach; name one, or process: not ready to eat"}
}

// nearest says which row is nearest to being met, or by how much it was.
func nearest(k *lethality.Criterion, s lethality.Count) string {
	row, held, ok := k.Best(s)
	switch {
	case !ok:
		return "by the integral"
	case held == 0:
		return "no listed row was met, and none was reached"
	}
	of := ""
	if row.Of != "" {
		of = " (" + row.Of + ")"
	}
	at := fmt.Sprintf("%v (%s °F) for %s of %s%s", row.At, quantity.Fixed(row.At.Fahrenheit(), 0), quantity.FormatDuration(held.Round(time.Second)), quantity.FormatDuration(row.Hold), of)
	if held < row.Hold {
		return "no listed row was met, the nearest is " + at
	}
	return at
}

func cameUp(r *Rules, c *Claim) Judgement {
	took := fmt.Sprintf("%s of %s", quantity.FormatDuration(c.ComeUp.Time), quantity.FormatDuration(ComeUp.Limit))
	switch {
	case !r.ComesUp:
		return Judgement{DoesNotApply, "nothing is heated towards a core"}
	case ComeUp.Pass(c.ComeUp):
		return Judgement{Met, took}
	case ComeUp.Failed(c.ComeUp):
		return Judgement{NotMet, took}
	case !c.ComeUp.Begun:
		return Judgement{NotShown, "no core was seen"}
	case c.ComeUp.Unproven:
		return Judgement{NotShown, took + ", and the core was warm when it was first seen: how it came up, and how long that took, nobody saw"}
	}
	return Judgement{NotShown, took + " so far"}
}

// answer is not met only once nothing can change it any more.
func answer(met, over bool) Answer {
	switch {
	case met:
		return Met
	case over:
		return NotMet
	}
	return NotShown
}
