package assess

import (
	"fmt"
	"slices"
	"time"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/deviation"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// judged is a criterion at work.
type judged struct {
	criterion lethality.Criterion
	role      role
	count     lethality.Count
	grown     float64 // log10, to be killed besides
}

// met reports whether the criterion is met, and what has grown before is killed as well.
func (j *judged) met() bool {
	return j.criterion.Met(j.count) && (j.grown == 0 || j.criterion.Log10(j.count) >= j.criterion.Required+j.grown-1e-9)
}

// criteria are what the species has to meet.
func (o Options) criteria() []*judged {
	var list []*judged
	add := func(c *lethality.Criterion, r role) {
		j := &judged{criterion: c.Allowing(o.ProbeError), role: r}
		if c.Required > 0 {
			j.grown = o.GrownLog10
		}
		list = append(list, j)
	}
	switch o.Species {
	case profile.RedMeat, profile.Game:
		if o.PoultryInIt { // then its standard counts, and no other
			add(lethality.PoultryCriterion(lethality.AnyBird, o.Lean), needed)
			break
		}
		add(lethality.RedMeatCriterion(), needed)
		if o.Species == profile.Game {
			add(lethality.TrichinaeCriterion(), needed)
		}
		add(lethality.RedMeatIntegral(), comparison)
		add(lethality.StricterCriterion(), comparison)
	case profile.Poultry:
		add(lethality.PoultryCriterion(o.Bird, o.Lean), needed)
	case profile.Fish:
		add(lethality.FishCriterion(), needed)
	}
	return list
}

// ownRequired is the log10 that own kinetics have to meet.
func (o Options) ownRequired() float64 {
	if o.Species == profile.Poultry || o.PoultryInIt {
		return lethality.PoultryLog10
	}
	return lethality.MeatLog10
}

// heat counts lethality and come-up of the coldest core.
func (v *Verdict) heat(samples []sample) {
	list := v.options.criteria()
	if v.options.HasOwn {
		own, err := lethality.NewCriterion("own kinetics", v.options.Own, v.options.ownRequired())
		if err == nil { // check has refused the rest
			list = append(list, &judged{criterion: own.Allowing(v.options.ProbeError), role: needed, grown: v.options.GrownLog10})
		}
	}
	rule := lethality.ComeUpWithin(v.options.ProbeError)
	var u lethality.ComeUp
	last := lastRise(samples)
	for i := 1; i < len(samples); i++ {
		a, b := samples[i-1], samples[i]
		if i == 1 && a.known {
			u = rule.Add(u, a.coldest, a.coldest, 0)
		}
		dt := b.at - a.at
		switch coming := !v.facts.cooked && (i <= last || !u.Done); {
		case !coming:
		case v.watched(samples, i):
			u = rule.Add(u, a.coldest, b.coldest, dt)
		default:
			u = rule.Gap(u, dt)
			if b.known {
				u = rule.Add(u, b.coldest, b.coldest, 0)
			}
		}
		for _, j := range list {
			if v.watched(samples, i) {
				j.count = j.criterion.Add(j.count, a.coldest, b.coldest, dt)
			} else {
				j.count = j.criterion.Gap(j.count)
			}
		}
		if !v.facts.cooked && v.decided(list) {
			v.facts.cooked, v.facts.cookedAt = true, b.at
		}
	}
	for _, j := range list {
		v.Lethality = append(v.Lethality, j.verdict())
		v.facts.sealedRow = v.facts.sealedRow || j.role == needed && j.criterion.MetAt(j.count, lethality.Sealed.Core)
	}
	v.facts.comeUp = u
	for _, s := range samples {
		if s.known {
			v.facts.cameInWarm = s.coldest > lethality.ComeUpStart
			break
		}
	}
	v.facts.cameUpLate = rule.Failed(u)
	v.ComeUp = ComeUp{Seconds: u.Time.Seconds(), LimitSeconds: rule.Limit.Seconds(), Pass: rule.Pass(u) && !v.facts.cameInWarm}
	v.heatWarnings(list, samples)
	v.interrupted(samples)
}

// lastRise is the last of the rows at which the coldest core was hottest.
func lastRise(samples []sample) int {
	last := -1
	for i, s := range samples {
		if s.known && (last < 0 || s.coldest >= samples[last].coldest) {
			last = i
		}
	}
	return last
}

// interrupted looks for a cook that cooled down before it was finished: the kill so
// far stands, and the time in the band meanwhile counts as come-up.
func (v *Verdict) interrupted(samples []sample) {
	top := lethality.ComeUpBand.To
	warm, down := false, 0
	for _, s := range samples {
		switch {
		case !s.known || v.facts.cooked && s.at > v.facts.cookedAt:
		case s.coldest >= top:
			if down > 0 {
				v.warn("line %d: the core fell below %v again before the cook was finished; the time until it is counts as come-up", down, top)
				return
			}
			warm = true
		case warm && down == 0 && s.coldest < top-1:
			down = s.line
		}
	}
}

// decided reports whether the criteria that decide are met.
func (v *Verdict) decided(list []*judged) bool {
	for _, j := range list {
		if j.role == needed && !j.met() {
			return false
		}
	}
	return true
}

func (j *judged) verdict() Lethality {
	c := &j.criterion
	l := Lethality{Name: c.Name, Pass: j.met(), source: c.Source, role: j.role}
	number := func(f float64) *float64 { return &f }
	if row, counted, ok := c.Best(j.count); ok {
		l.FMinutes = number(counted.Minutes())
		l.ReferenceCelsius = number(float64(row.At))
		l.needed, l.of = row.Hold.Minutes(), row.Of
	} else if c.Integrates {
		l.FMinutes = number(c.Equivalent(j.count).Minutes())
		l.ReferenceCelsius = number(float64(c.Kinetics.Reference))
		l.ZKelvin = number(float64(c.Kinetics.Z))
		l.DMinutes = number(c.Kinetics.D.Minutes())
	}
	if c.Required > 0 {
		l.log10 = c.Log10(j.count)
		shown, capped := lethality.Shown(l.log10)
		l.Log10Reduction, l.Log10Capped = number(shown), capped
		l.RequiredLog10, l.scale = number(c.Required+j.grown), c.Required
	}
	return l
}

func (v *Verdict) heatWarnings(list []*judged, samples []sample) {
	o := v.options
	for _, j := range list {
		c := &j.criterion
		if j.role != comparison {
			continue
		}
		if c.Kinetics == lethality.RedMeat {
			share := c.LowShare(j.count)
			switch {
			case v.facts.cooked && share > 0.5:
				v.warn("%.0f %% of the kill that the integral tells was gathered below %v, where the published kill was not always observed (McMinn et al.): hold the core hotter",
					100*share, lethality.LowHeat)
			case !v.facts.cooked && c.Met(j.count):
				v.warn("no listed row was met, but the integral is worth %.1f of %.1f log10: only a process authority may go by it", c.Log10(j.count), c.Required)
			}
			continue
		}
		if !c.Met(j.count) && v.facts.cooked {
			v.warn("by a stricter published set (%s) the same log is worth only %.1f of %.1f log10: more heat would be safer", c.Source, c.Log10(j.count), c.Required)
		}
	}
	if (o.Species == profile.Poultry || o.PoultryInIt) && !v.facts.cooked && v.facts.peak >= lethality.PoultryCured.At+quantity.Celsius(o.ProbeError) {
		v.warn("the core reached %s, which an older flat rule accepts for cooked poultry; the table's time, which is preferred, was not shown", deviation.Both(lethality.PoultryCured.At))
	}
	u := v.facts.comeUp
	switch {
	case !u.Begun:
		v.warn("no row has a reading of every core, so nothing can be counted")
	case u.Unproven:
		v.warn("the log begins with the core above %v already: how it came up was not seen", lethality.ComeUpBand.To)
	case !u.Done:
		v.warn("the coldest core never reached %s, where the come-up ends", deviation.Both(lethality.ComeUpBand.To))
	}
	for _, s := range samples {
		if s.known {
			if !u.Unproven && s.coldest > lethality.ComeUpBand.From {
				shows := ""
				if v.facts.cameInWarm {
					shows = fmt.Sprintf("; above %v that leaves it unknown, and the come-up is not shown", lethality.ComeUpStart)
				}
				v.warn("the log begins with the core at %v: the come-up before it, from %v on, is not counted%s", s.coldest, lethality.ComeUpBand.From, shows)
			}
			break
		}
	}
	if o.Species == profile.Fish {
		v.warn("the come-up limit is that for meat and poultry; the fish rules that were used name none")
	}
	if o.HasOwn {
		v.warn("own kinetics are counted beside the published rule and both must be met; their source is for the maker to show")
	}
}

// cooked reports whether the lethality that decides was reached.
func (v *Verdict) cooked() bool { return v.facts.cooked }

// surface says whether the humidity that was stated is enough for this cook.
func (v *Verdict) surface() proof.Judgement {
	o := v.options
	say := func(a proof.Answer, format string, args ...any) proof.Judgement {
		return proof.Judgement{Answer: a, Why: fmt.Sprintf(format, args...)}
	}
	options := fmt.Sprintf("steam or shut dampers for %s, or %v humidity for %s, whichever is longer", lethality.Sealed.Span("the cook"), lethality.Humid.Humidity, lethality.Humid.Span("it"))
	cook := v.facts.cookedAt
	switch {
	case o.Species == profile.Fish:
		return say(proof.DoesNotApply, "the rule for fish names no humidity")
	case o.Cased:
		return say(proof.DoesNotApply, "a casing keeps the surface moist")
	case o.Humidity == Immersed:
		return say(proof.DoesNotApply, "%s", humidityText[Immersed].meaning)
	case o.Humidity == HumidityUnstated:
		return say(proof.NotShown, "the humidity is not stated, and the piece has no casing: lethality counts only while the surface stays moist (%s); a wet bulb, a casing or immersion would show it", options)
	case o.Humidity == Dry:
		return say(proof.NotMet, "the surface was left dry: heat kills less there, and the core's lethality proves nothing for it")
	case !v.facts.cooked:
		return say(proof.NotShown, "the lethality was not reached, so no cook can be reckoned")
	case o.Humidity == HumidThroughout:
	case cook < lethality.ShortCook:
		return say(proof.NotMet, "the cook took %s from loading to lethality; below %s only %s counts", span(cook), span(lethality.ShortCook), humidityText[HumidThroughout].meaning)
	case (o.Humidity == Steam || o.Humidity == Sealed) && !v.facts.sealedRow:
		return say(proof.NotMet, "with steam or shut dampers a row of %s or more must be met; below that only %v humidity will do", deviation.Both(lethality.Sealed.Core), lethality.Humid.Humidity)
	}
	return say(proof.Met, "as stated, not measured: %s (%s from loading to lethality)", humidityText[o.Humidity].meaning, span(cook))
}

// chill follows the hottest core from the end of the cook: from the row at which
// the product counted as cooked, or from its hottest, whichever came first.
func (v *Verdict) chill(samples []sample) {
	o := v.options
	if o.ServedHot {
		return
	}
	begin := v.chillBegins(samples)
	if begin < 0 {
		return
	}
	course := v.course(samples)
	curedWould := ""
	v.facts.chillFailed = true
	for _, published := range o.ways() {
		rule := published.Allowing(o.ProbeError)
		s := course.Chilled(rule, begin)
		if reason, ok := rule.AllowsNitrite(o.NitritePPM, o.HasNitrite); !ok {
			if rule.Pass(s) {
				curedWould = reason
			}
			continue
		}
		v.facts.chillFailed = v.facts.chillFailed && rule.Failed(s)
		c := Cooling{Option: rule.Name, Legs: []Leg{}, Conditions: v.conditions(rule, samples), Pass: rule.Pass(s), source: rule.Source, remarks: rule.Remarks}
		for _, l := range rule.Legs(s) {
			leg := Leg{FromCelsius: quantity.OrNull(l.From, !l.FromEnd), ToCelsius: float64(l.To), LimitSeconds: l.Within.Seconds(), Pass: l.Pass, ended: l.Ended}
			if l.Begun {
				seconds := l.Took.Seconds()
				leg.Seconds = &seconds
			}
			c.Legs = append(c.Legs, leg)
		}
		for _, asked := range c.Conditions {
			c.Pass = c.Pass && asked.Pass
		}
		v.Cooling = append(v.Cooling, c)
		if few := rule.ErythorbatePPM; c.Pass && few > 0 && o.ErythorbatePPM < few {
			v.warn("%s passes with %g ppm of erythorbate or ascorbate; its 2021 revision asks for at least %g ppm (recalled from memory): check", rule.Name, o.ErythorbatePPM, few)
		}
	}
	if !v.chilled() {
		switch {
		case v.facts.final > chilling.Uncured().Limits[0].To:
			v.warn("the log ends with the hottest core at %v: it does not show the product chilled", v.facts.final)
		case curedWould != "":
			v.warn("the times would pass for a cured product, but %s", curedWould)
		}
	}
}

// conditions are what a rule asks for beside its legs.
func (v *Verdict) conditions(rule *chilling.Rule, samples []sample) []Condition {
	list := []Condition{}
	add := func(pass bool, text, why string) { list = append(list, Condition{text, why, pass}) }
	if least := rule.NitritePPM; least > 0 {
		add(true, fmt.Sprintf("at least %g ppm of ingoing sodium nitrite", least), fmt.Sprintf("%g ppm as stated", v.options.NitritePPM))
	}
	if rule.Intact {
		why := "not stated"
		if v.options.Intact {
			why = "as stated"
		}
		add(v.options.Intact, "muscle in one piece, not pumped and not tenderized", why)
	}
	if least := rule.SaltPercent; least > 0 {
		why := "not stated"
		if v.options.SaltPercent > 0 {
			why = fmt.Sprintf("%g %% as stated", v.options.SaltPercent)
		}
		add(rule.AllowsSalt(v.options.SaltPercent), fmt.Sprintf("at least %g %% salt in the water of the product", least), why)
	}
	if rule.ErythorbatePPM > 0 {
		const text = "made with sodium erythorbate or ascorbate"
		switch {
		case !v.options.HasErythorbate:
			add(false, text, "not stated")
		case v.options.ErythorbatePPM > 0:
			add(true, text, fmt.Sprintf("%g ppm as stated", v.options.ErythorbatePPM))
		default:
			add(false, text, "made without, as stated")
		}
	}
	error := quantity.Celsius(v.options.ProbeError)
	if within := rule.StartWithin; within > 0 {
		top := rule.Limits[0].From
		text := fmt.Sprintf("chilling under way, the core down to %s, within %s of the end of the cook", deviation.Both(top), span(within))
		took, ok := v.sinceHottest(samples, top-error)
		switch {
		case !ok:
			add(false, text, "not seen")
		default:
			add(took <= within, text, span(took)+" from the hottest row")
		}
	}
	if on := rule.OnTo; on > 0 {
		add(v.seenBelow(samples, on-error), fmt.Sprintf("chilled on to %s", deviation.Both(on)), fmt.Sprintf("the log ends with the hottest core at %v", v.facts.final))
	}
	return list
}

// hottestRow is the last of the hottest rows, or -1.
func hottestRow(samples []sample) int {
	peak := -1
	for i, s := range samples {
		if s.known && (peak < 0 || s.hottest >= samples[peak].hottest) {
			peak = i
		}
	}
	return peak
}

// sinceHottest is the time from the last of the hottest rows until the hottest core was
// down to a temperature.
func (v *Verdict) sinceHottest(samples []sample, to quantity.Celsius) (time.Duration, bool) {
	peak := hottestRow(samples)
	for i := max(peak, 0); i < len(samples); i++ {
		b := samples[i]
		if !b.known || b.hottest > to {
			continue
		}
		at := b.at
		if i > peak && v.watched(samples, i) {
			a := samples[i-1]
			part := float64(a.hottest-to) / float64(a.hottest-b.hottest)
			at = a.at + time.Duration(part*float64(b.at-a.at)).Round(time.Microsecond)
		}
		return at - samples[peak].at, true
	}
	return 0, false
}

// seenBelow reports whether the hottest core was down to a temperature after the cook.
func (v *Verdict) seenBelow(samples []sample, to quantity.Celsius) bool {
	_, ok := v.sinceHottest(samples, to)
	return ok
}

// chillBegins is the row at which the product counted as cooked, or its hottest, or -1.
func (v *Verdict) chillBegins(samples []sample) int {
	begin, peak := -1, quantity.Celsius(0)
	for i, s := range samples {
		if s.known && (begin < 0 || s.hottest > peak) {
			begin, peak = i, s.hottest
		}
	}
	for i, s := range samples[:max(begin, 0)] {
		if s.known && v.facts.cooked && s.at >= v.facts.cookedAt {
			return i
		}
	}
	return begin
}

// ways are the ways to chill of the place. Where Canada has its own for muscle in one piece,
// that of the United States is none.
func (o Options) ways() []*chilling.Rule {
	where := (*profile.Product)(nil).Where(o.Where)
	return slices.DeleteFunc(where.Ways(o.Species), func(r *chilling.Rule) bool { return where == profile.Canada && o.Intact && r == chilling.Uncured() })
}

// course is the log as the worksheet takes it.
func (v *Verdict) course(samples []sample) (c deviation.Course) {
	for i, s := range samples {
		c = append(c, deviation.Sample{At: s.at, Coldest: s.coldest, Hottest: s.hottest, Known: s.known, Watched: i > 0 && v.watched(samples, i)})
	}
	return c
}

// chilled reports whether any way to chill that may be used was kept.
func (v *Verdict) chilled() bool {
	for _, c := range v.Cooling {
		if c.Pass {
			return true
		}
	}
	return false
}

// worksheet is what the guidance allows for this log. What a log cannot have, a formula and
// a chain, is not missing from it.
func (v *Verdict) worksheet(samples []sample) deviation.Sheet {
	o := v.options
	b := deviation.Batch{
		Verdict: v.Rules, CoreError: o.ProbeError, Fish: o.Species == profile.Fish, Poultry: o.Species == profile.Poultry || o.PoultryInIt,
		HasCure: o.HasNitrite, NitritePPM: o.NitritePPM, ErythorbatePPM: o.ErythorbatePPM, Chills: o.ways(),
		ServedHot: o.ServedHot, Intact: o.Intact, SaltPercent: o.SaltPercent, HasGrown: o.GrownLog10 > 0, Grown: o.GrownLog10, Course: v.course(samples),
	}
	for _, r := range []proof.Rule{proof.Formula, proof.RawFish, proof.Keeping, proof.Recorded} { // no business of a log
		b.Verdict[r].Answer = proof.DoesNotApply
	}
	for _, j := range o.criteria() {
		if j.role == needed && b.Criterion == nil {
			j.criterion.ProbeError = 0 // the sheet takes it off itself
			b.Criterion = &j.criterion
		}
	}
	return deviation.Work(b)
}

func span(d time.Duration) string { return quantity.FormatDuration(d) }
