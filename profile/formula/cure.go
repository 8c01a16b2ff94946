package formula

import (
	"fmt"
	"strings"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// What a batch may lose in weight at most, so that a limit on the finished product can be
// held against a recipe: nitrite gets less and never more, but what is left stands in
// less weight. Own choice, about twice what is usual; what is dried instead of cooked
// loses more.
const (
	mostLossCooked = 0.25
	mostLossDried  = 0.45
	weighedLate    = 0.05 // more than the file dries it to, for who weighs it a day late
)

// checks holds the formula against each rule of a place that covers it. The first is on
// the nitrite that goes in.
func (j *judging) checks(where profile.Jurisdiction) []Check {
	var all []Check
	nitrite, nitrate := false, false
	for _, r := range rulesFor(j.subject, where) {
		ppm := r.ppm(j.f)
		if ppm == 0 && (r.Of.isNitrate() || r.When != Ingoing) {
			continue
		}
		nitrite, nitrate = nitrite || !r.Of.isNitrate(), nitrate || r.Of.isNitrate()
		all = append(all, j.check(r, ppm))
	}
	unknown := func(name string, of Measure) Check {
		r := Rule{Of: of}
		return Check{Name: name, PPM: r.ppm(j.f), Pass: true, Basis: "no rule", Arithmetic: j.arithmetic(r),
			Why: "no rule of " + where.String() + " is known here for such a product"}
	}
	if !nitrite {
		all = append([]Check{unknown("nitrite", NitriteAsSodium)}, all...)
	}
	if !nitrate && j.f.Curing().NitrateSalts() > 0 && where != ca {
		all = append(all, unknown("nitrate", NitrateAsSodium))
	}
	return all
}

// check is one rule held against the formula.
func (j *judging) check(r Rule, ppm float64) Check {
	basis := r.Basis.String()
	if r.Basis == TotalFormulation {
		basis = "total raw batch"
	}
	c := Check{Name: measures[r.Of].name, When: r.When, PPM: ppm, Limit: r.Most, Floor: r.Least, Shown: true, Pass: r.within(ppm), Arithmetic: j.arithmetic(r),
		Basis: fmt.Sprintf("%s, on the %s (%s)", r.Product, basis, r.source())}
	if counted := r.Of.String(); r.Of != NitriteSalts && r.Of != NitriteAsSodium {
		c.Basis = fmt.Sprintf("%s, %s, on the %s (%s)", counted, r.Product, basis, r.source())
	}
	switch {
	case r.When == Residual:
		c.Pass, c.Shown, c.Why = true, false, "what is left while it is sold shows in an analysis only"
	case r.When == Finished:
		most := mostLossCooked
		if !j.heated {
			most = mostLossDried
		}
		if _, left, ok := j.p.MeasuredBy(profile.DriedTo); ok {
			most = max(mostLossCooked, 1-left+weighedLate)
		}
		c.Pass = true
		if loss := 1 - ppm/r.Most.PPM; loss >= most && !r.Least.Set {
			c.Why = fmt.Sprintf("even with all of it left, as long as the batch loses less than %s %% of its weight", decimals(100*loss, 0))
		} else {
			c.Shown, c.Why = false, "what is left in the finished product shows in an analysis only"
		}
	case r.Mark == FromMemory:
		c.Pass, c.Shown, c.Why = true, false, "a limit "+memory+" does not decide"
		if r.over(ppm) {
			c.Why = "it is over a limit " + memory + ", which warns and does not decide"
		}
	}
	return c
}

// cure holds the formula against the place that rules, and says what is wrong.
func (j *judging) cure() {
	all := j.checks(j.Where)
	j.Nitrite, j.More = all[0], all[1:]
	for _, r := range rulesFor(j.subject, j.Where) {
		ppm := r.ppm(j.f)
		if r.When == Ingoing && !r.Of.isNitrate() {
			j.Basis = r.Basis // what parts per million are said to be of
		}
		switch {
		case r.Of.isNitrate() && ppm == 0, r.When == Residual:
		case r.When == Finished:
			j.finished(r, ppm)
		default:
			j.amount(r, ppm)
		}
	}
	method := j.f.Cure.Method
	switch {
	case j.f.Pickle.LongCure:
		j.find(source.Note, "long-cure", "the gain in weight of a long cure is not known before it; the sums leave the meat its green weight", "")
	case (method == profile.Pumped || method == profile.Immersed) && j.f.PickleMass() == 0:
		j.find(source.Note, "all-taken-up", "the file describes no pickle, so all of the cure is counted as taken up by the meat; what drips out lowers the nitrite",
			"describe the pickle with pickle: and how much of it the meat takes up")
	}
}

// finished says of a limit on the finished product that a recipe does not show it.
func (j *judging) finished(r Rule, ppm float64) {
	c := j.check(r, ppm)
	if c.Shown {
		return
	}
	j.find(source.Warning, "finished-"+c.Name, fmt.Sprintf("the raw batch holds %s ppm %s, and the finished product may hold %s ppm (%s); %s",
		decimals(ppm, 1), c.Name, decimals(r.Most.PPM, 1), r.source(), c.Why), "use less cure, or have the finished product analysed")
}

// amount finds what goes in over or under its limit.
func (j *judging) amount(r Rule, ppm float64) {
	severity := source.Error
	if r.Mark == FromMemory {
		severity = source.Warning
	}
	name := measures[r.Of].name
	code := "nitrite"
	if r.Of.isNitrate() {
		code = "nitrate"
	}
	switch {
	case r.over(ppm) && r.Most.PPM == 0:
		j.find(severity, code+"-high", fmt.Sprintf("the meat gets %s ppm %s; %s may have none (%s)", decimals(ppm, 1), name, r.Product, r.source()),
			j.without(name))
	case r.over(ppm):
		j.find(severity, code+"-high", fmt.Sprintf("the meat gets %s ppm %s, %s ppm over the limit of %s ppm; %s is poison in quantity",
			decimals(ppm, 1), name, decimals(ppm-r.Most.PPM, 1), decimals(r.Most.PPM, 1), name), j.weighCure(r, r.Most.PPM, true))
	case r.under(ppm):
		j.find(severity, code+"-low", fmt.Sprintf("the meat gets %s ppm %s, %s ppm less than the %s ppm that a cured product kept cold wants",
			decimals(ppm, 1), name, decimals(r.Least.PPM-ppm, 1), decimals(r.Least.PPM, 1)), j.weighCure(r, r.Least.PPM, false))
	}
}

// without says what to do about a salt of which there may be none.
func (j *judging) without(name string) string {
	switch {
	case j.species == profile.Fish && j.fish == fish.Unnamed:
		return "leave it out, or name the fish: fish: {kind: salmon} or what it is"
	case j.species == profile.Fish:
		return "leave the " + name + " out and brine the fish with salt alone"
	}
	return "take a cure without " + name
}

// weighCure says how much cure makes the target.
func (j *judging) weighCure(r Rule, target float64, less bool) string {
	remedy := "take a stronger cure"
	if less {
		remedy = "use less cure"
	}
	if len(j.f.Cures) > 0 {
		if now := r.ppm(j.f); now > 0 && j.f.PickleMass() == 0 && r.Basis == GreenWeight {
			return fmt.Sprintf("bring all cures together to %s %% of what they are, or leave one of them out", decimals(floor(1000*target/now)/10, 1))
		}
		return remedy
	}
	with := func(m quantity.Kilograms) float64 {
		f := j.f
		f.Cure.Mass = m
		return r.ppm(f)
	}
	name, now, where := j.f.Cure.Name, j.f.Cure.Mass, ""
	if j.f.PickleMass() > 0 {
		where = " in the same pickle"
	}
	m, ok := weigh(with, now, r.within, target)
	switch {
	case !ok:
		return remedy
	case less, r.Most == r.Least:
		return fmt.Sprintf("weigh %s of %s instead of %s%s", exact(m), name, exact(now), where)
	}
	return fmt.Sprintf("weigh at least %s of %s instead of %s%s", exact(m), name, exact(now), where)
}

// arithmetic writes the sum of a rule the way the handbook does: for one cure, and for
// several what each brings.
func (j *judging) arithmetic(r Rule) []string {
	f := j.f
	cures := f.AllCures()
	plain := r.Of == NitriteSalts || r.Of == NitriteAsSodium || r.Of == BothAsSodiumNitrite && f.Curing().NitrateSalts() == 0
	if c := cures[0]; len(cures) == 1 && plain && c.PotassiumNitrite == 0 && c.Nitrite > 0 {
		return j.handbook(r)
	}
	ppm := r.ppm(f)
	of := measures[r.Of].of
	share := f.PickleShare()
	var lines []string
	var parts []string
	total := f.TakenUp().AllCures()
	for i, c := range cures {
		one := profile.Formula{Cut: f.Cut, Cure: c}
		n := of(one.Curing())
		if n <= 0 {
			continue
		}
		lines = append(lines, fmt.Sprintf("%s of %s × %s = %s", exact(c.Mass), c.Name, percentExact(quantity.Ratio(n/c.Mass)), exact(n)))
		taken := profile.Formula{Cut: f.Cut, Cure: total[i]}
		m := of(taken.Curing())
		if c.Wet() && share > 0 {
			lines = append(lines, fmt.Sprintf("%s × %s taken up = %s", exact(n), percentExact(share), exact(m)))
		}
		parts = append(parts, exact(m))
	}
	if len(parts) == 0 {
		return []string{"there is none in the cure"}
	}
	sum := parts[0]
	if len(parts) > 1 {
		sum = "(" + strings.Join(parts, " + ") + ")"
	}
	counted := ""
	if r.Of != NitriteSalts && r.Of != NitriteAsSodium {
		counted = " of " + r.Of.String()
	}
	return append(lines, fmt.Sprintf("%s / %s = %s ppm%s", sum, exact(base(f, r.Basis)), decimals(ppm, 1), counted))
}

// handbook writes the sum for one cure with sodium nitrite.
func (j *judging) handbook(r Rule) []string {
	f := j.f
	c, pickle := f.Cure, f.PickleMass()
	n := c.Mass * quantity.Kilograms(c.Nitrite)
	ppm := decimals(r.ppm(f), 1) + " ppm"
	first := fmt.Sprintf("%s × %s = %s nitrite", exact(c.Mass), percentExact(c.Nitrite), exact(n))
	under := exact(base(f, r.Basis))
	if pickle <= 0 || !c.Wet() {
		return []string{first, fmt.Sprintf("%s / %s = %s", exact(n), under, ppm)}
	}
	first += " in " + exact(pickle) + " of pickle"
	if f.Pickle.LongCure && r.Basis == GreenWeight {
		return []string{first, fmt.Sprintf("%s / (%s of meat + %s of pickle) = %s", exact(n), exact(f.MeatMass()), exact(pickle), ppm)}
	}
	if r.Basis == GreenWeight {
		return []string{first, fmt.Sprintf("%s × %s taken up / %s = %s", exact(n), percentExact(f.Pickle.Uptake), exact(pickle), ppm)}
	}
	taken := fmt.Sprintf("%s of meat × %s", exact(f.MeatMass()), percentExact(f.Pickle.Uptake))
	if f.Pickle.LongCure {
		taken = fmt.Sprintf("%s of meat / (%s + %s) of all of it", exact(f.MeatMass()), exact(f.MeatMass()), exact(pickle))
		return []string{first, fmt.Sprintf("%s × %s = %s in the meat", exact(n), taken, exact(f.NitriteMass())),
			fmt.Sprintf("%s / %s = %s", exact(f.NitriteMass()), under, ppm)}
	}
	return []string{first, fmt.Sprintf("%s = %s taken up; %s × that / %s = %s in the meat", taken, exact(f.MeatMass()*quantity.Kilograms(f.Pickle.Uptake)),
		exact(n), exact(pickle), exact(f.NitriteMass())), fmt.Sprintf("%s / %s = %s", exact(f.NitriteMass()), under, ppm)}
}
