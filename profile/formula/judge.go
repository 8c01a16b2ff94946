package formula

import (
	"fmt"
	"slices"

	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// A Check is one amount held against its limits.
type Check struct {
	Name         string // "nitrite", "nitrate", "erythorbate", or what else is counted
	When         Moment
	PPM          float64
	Limit, Floor Bound
	Basis        string   // product class, what the parts are counted in, and the source
	Pass         bool     // no limit is broken
	Shown        bool     // that a recipe can show it; false wants an analysis or a better source
	Why          string   // why it is not shown, or on what it hangs; may be empty
	Arithmetic   []string // the sum, step by step
}

// A Share is one percentage with its sum.
type Share struct {
	Name       string
	Ratio      quantity.Ratio
	Arithmetic string
}

// A Verdict is everything reckoned about one formula.
type Verdict struct {
	Class       profile.Class        // what it was judged as
	Where       profile.Jurisdiction // whose rules it was held to
	Basis       Basis                // of Nitrite
	Meat        quantity.Kilograms   // green weight
	Total       quantity.Kilograms   // the raw batch, with what the meat takes up of a pickle
	Cured       bool
	Nitrite     Check   // ingoing; meaningful if Cured
	More        []Check // nitrate, what the finished product may hold, what may be left
	Elsewhere   []Place // what other places would say; if Cured
	Accelerated bool
	Accelerator Check // meaningful if Cured or Accelerated
	Shares      Shares
	Sums        []Share // Shares again, with their arithmetic
	Composition composition.Mix
	Findings    source.Findings // errors first; of no file
}

// Pass reports whether no finding is an error.
func (v Verdict) Pass() bool {
	return !slices.ContainsFunc(v.Findings, func(f source.Finding) bool { return f.Severity == source.Error })
}

// Shown reports whether a recipe can show all that the rules ask of it.
func (v Verdict) Shown() bool {
	return !v.Cured || v.Nitrite.Shown && !slices.ContainsFunc(v.More, func(c Check) bool { return !c.Shown })
}

// A Place is one place with what it would say.
type Place struct {
	Where  profile.Jurisdiction
	Checks []Check
}

// Pass reports whether no limit of the place is broken.
func (p Place) Pass() bool {
	return !slices.ContainsFunc(p.Checks, func(c Check) bool { return !c.Pass })
}

// Judge reckons the formula of a product and holds it against the limits of one place.
func Judge(p *profile.Product, where profile.Jurisdiction) Verdict {
	f := p.Formula
	j := &judging{p: p, f: f}
	j.Where, j.Meat, j.Total = where, f.MeatMass(), f.Mass()
	j.Shares, j.Composition = ShareOf(f), f.Composition()
	j.Cured = f.Curing().Both() > 0
	j.Accelerated = accelerator(f) > 0
	var why string
	var denied bool
	if j.Class, why, denied = classOf(p); denied {
		j.find(source.Warning, "class-denied", fmt.Sprintf("the product is called %s and judged as bacon, because %s; belly of pork cured in the piece is bacon whatever it is called", p.Class, why),
			"write class: bacon, or name the cut for what it is")
	} else if why != "" && j.Class == profile.Bacon {
		j.find(source.Note, "class-guessed", "the product names no class and is judged as bacon, because "+why,
			"write class: bacon, or class: whole muscle if it is none")
	}
	j.subject = subject{p.Species, j.Class, f, heated(p), p.FishKind()}
	if j.Cured {
		j.cure()
		for _, other := range profile.Jurisdictions() {
			if other != where {
				j.Elsewhere = append(j.Elsewhere, Place{other, j.checks(other)})
			}
		}
	}
	if j.Cured || j.Accelerated {
		j.accelerator()
	}
	j.sums()
	j.sausage()
	j.salt()
	slices.SortStableFunc(j.Findings, func(a, b source.Finding) int { return int(a.Severity) - int(b.Severity) })
	return j.Verdict
}

// judging is a verdict on its way.
type judging struct {
	Verdict
	subject
	p *profile.Product
	f profile.Formula
}

func (j *judging) find(s source.Severity, code, message, remedy string) {
	j.Findings = append(j.Findings, source.Finding{Severity: s, Code: code, Message: message, Remedy: remedy})
}

func (j *judging) accelerator() {
	rule := acceleratorRule(j.subject)
	ppm := AcceleratorPPM(j.f)
	slow := 0.
	if chill := j.p.ChillRule(j.Where); chill != nil && j.p.Targets.Chill == profile.ChillCured {
		slow = chill.ErythorbatePPM
	}
	salts, acids := j.f.MassOf(profile.Accelerator), j.f.MassOf(profile.AscorbicAcid)
	var sum []string
	counted := salts
	if acids > 0 {
		counted = accelerator(j.f)
		sum = append(sum, fmt.Sprintf("%s + %s acid × 7/6 = %s", exact(salts), exact(acids), exact(counted)))
	}
	sum = append(sum, fmt.Sprintf("%s / %s = %s ppm", exact(counted), exact(j.Meat), decimals(ppm, 1)))
	j.Accelerator = rule.check(ppm, sum)
	switch {
	case rule.over(ppm):
		j.find(source.Error, "erythorbate-high", fmt.Sprintf("the meat gets %s ppm erythorbate or ascorbate, %s ppm over the limit of %s ppm",
			decimals(ppm, 1), decimals(ppm-rule.limit.PPM, 1), decimals(rule.limit.PPM, 1)), j.weighAccelerator(rule, rule.limit.PPM))
	case rule.under(ppm):
		j.find(source.Error, "erythorbate-low", fmt.Sprintf("the meat gets %s ppm erythorbate or ascorbate; pumped bacon must have %s ppm",
			decimals(ppm, 1), decimals(rule.floor.PPM, 1)), j.weighAccelerator(rule, rule.floor.PPM))
	case ppm < slow-SlackPPM:
		wanted := rule
		wanted.floor = at(slow)
		j.find(source.Warning, "erythorbate-chill", fmt.Sprintf("chill: cured allows slow cooling, which wants %g ppm erythorbate or ascorbate besides nitrite; there are %s ppm (FSIS Appendix B 2021, %s)",
			slow, decimals(ppm, 1), memory), j.weighAccelerator(wanted, slow)+", or take chill: uncured")
	}
}

// weighAccelerator says how much accelerator makes the target.
func (j *judging) weighAccelerator(rule ppmRule, target float64) string {
	var found []*profile.Ingredient
	f := j.f
	f.Other, f.Pickle.Items = slices.Clone(f.Other), slices.Clone(f.Pickle.Items)
	for _, items := range [][]profile.Ingredient{f.Other, f.Pickle.Items} {
		for i := range items {
			if items[i].As == profile.Accelerator || items[i].As == profile.AscorbicAcid {
				found = append(found, &items[i])
			}
		}
	}
	if len(found) > 1 {
		return fmt.Sprintf("bring all of them to %s %% of what they are", decimals(100*target/AcceleratorPPM(j.f), 1))
	}
	if len(found) == 0 {
		added := profile.Ingredient{Name: "sodium erythorbate", As: profile.Accelerator}
		where := ""
		if f.PickleMass() > 0 {
			where = " to the pickle"
			f.Pickle.Items = append(f.Pickle.Items, added)
			found = append(found, &f.Pickle.Items[len(f.Pickle.Items)-1])
		} else {
			f.Other = append(f.Other, added)
			found = append(found, &f.Other[len(f.Other)-1])
		}
		if m, ok := weigh(func(m quantity.Kilograms) float64 { found[0].Mass = m; return AcceleratorPPM(f) }, 0, rule.within, target); ok {
			return fmt.Sprintf("add %s of sodium erythorbate%s", exact(m), where)
		}
		return "add sodium erythorbate"
	}
	name, now := found[0].Name, found[0].Mass
	if m, ok := weigh(func(m quantity.Kilograms) float64 { found[0].Mass = m; return AcceleratorPPM(f) }, now, rule.within, target); ok {
		return fmt.Sprintf("weigh %s of %s instead of %s", exact(m), name, exact(now))
	}
	return "correct the amount of " + name
}

// weigh finds the mass that gives the target, in as few digits as stay within the
// rule and one part in a hundred of the target. ppm must not fall with the mass.
func weigh(ppm func(quantity.Kilograms) float64, now quantity.Kilograms, within func(ppm float64) bool, target float64) (quantity.Kilograms, bool) {
	const most = 1000 // kg; past anything that is made
	low, high := quantity.Kilograms(0), max(now, 1e-6)
	for ppm(high) < target {
		if high *= 2; high > most {
			return 0, false
		}
	}
	for range 200 {
		middle := (low + high) / 2
		if ppm(middle) < target {
			low = middle
		} else {
			high = middle
		}
	}
	for _, step := range []quantity.Kilograms{1e-3, 1e-4, 1e-5, 1e-6, 1e-7} {
		down := quantity.Kilograms(floor(float64(high/step))) * step
		for _, m := range []quantity.Kilograms{down, down + step} {
			if got := ppm(m); m > 0 && within(got) && got > target*0.99 && got < target*1.01 {
				return m, true
			}
		}
	}
	return 0, false
}

func (j *judging) sums() {
	f, s := j.f, j.Shares
	total := exact(j.Total)
	salt := ""
	if j.Cured {
		salt = exact(f.MassOf(profile.Salt)) + " of salt"
		for _, c := range f.TakenUp().AllCures() {
			salt += fmt.Sprintf(" + %s of cure × %s", exact(c.Mass), percentExact(c.Salt()))
		}
		salt += " = " + exact(f.SaltMass()) + "; "
	}
	water, protein := j.Total*quantity.Kilograms(j.Composition.Water), j.Total*quantity.Kilograms(j.Composition.Protein)
	binder := exact(f.MassOf(profile.Binder))
	if soy := f.MassOf(profile.SoyIsolate); soy > 0 {
		binder = fmt.Sprintf("(%s + %s of isolated soy protein × 1.75)", binder, exact(soy))
	}
	share := func(r quantity.Ratio) string { return decimals(float64(r)*100, 2) + " %" }
	if j.p.Species == profile.Dairy {
		return
	}
	j.Sums = []Share{
		{"salt of the meat", s.Salt, fmt.Sprintf("%s%s / %s = %s", salt, exact(f.SaltMass()), exact(j.Meat), share(s.Salt))},
		{"fat", s.Fat, fmt.Sprintf("%s of fat / %s = %s", exact(j.Total*quantity.Kilograms(s.Fat)), total, share(s.Fat))},
		{"water put in", s.PutWater, fmt.Sprintf("%s / %s = %s", exact(f.MassOf(profile.Water)), total, share(s.PutWater))},
		{"binder", s.Binder, fmt.Sprintf("%s / %s = %s", binder, total, share(s.Binder))},
	}
	if j.p.Species == profile.Fish {
		j.Sums = append(j.Sums, Share{"salt in its water", s.WaterSalt,
			fmt.Sprintf("%s / (%s + %s of water) = %s", exact(f.SaltMass()), exact(f.SaltMass()), exact(water), share(s.WaterSalt))})
	}
	if _, sausage := sausageRules[j.Class]; sausage && j.defined() {
		sum := fmt.Sprintf("%s of water - 4 × %s of protein leaves none", exact(water), exact(protein))
		if s.AddedWater > 0 {
			sum = fmt.Sprintf("(%s of water - 4 × %s of protein) / %s = %s", exact(water), exact(protein), total, share(s.AddedWater))
		}
		j.Sums = append(j.Sums, Share{"added water as defined", s.AddedWater, sum})
	}
}

// sausage holds the shares against the rules for the kind of sausage. Rules are for
// the finished product; drying takes water off and leaves more of the rest.
func (j *judging) sausage() {
	rule, ok := sausageRules[j.Class]
	if !ok {
		return
	}
	s := j.Shares
	fat, binder := float64(s.Fat)*100, float64(s.Binder)*100
	if rule.fat > 0 {
		j.grows("fat", "fat", fat, rule.fat, rule.source, j.leaner(rule.fat/100), j.leaner(rule.fat/100*(1-usualLoss)))
	}
	j.grows("binder", "binder", binder, binderPercent, binderSource, j.lessBinder(binderPercent/100), j.lessBinder(binderPercent/100*(1-usualLoss)))

	added, how := s.AddedWater, "all water less four times the protein"
	if !j.defined() {
		added, how = s.PutWater, "the water put in"
	}
	water := float64(added) * 100
	if rule.addedWater > 0 && water > rule.addedWater+percentSlack {
		less := (float64(added) - rule.addedWater/100) / (1 - rule.addedWater/100) * float64(j.Total)
		j.find(source.Warning, "added-water", fmt.Sprintf("added water, %s, is %s %% of the raw batch; the finished product may hold %s %% (%s)",
			how, decimals(water, 2), decimals(rule.addedWater, 1), rule.source),
			fmt.Sprintf("put in %s less water, or see that at least so much dries off", tenths(quantity.Kilograms(less))))
	}
	if rule.fatAndWater > 0 && fat+water > rule.fatAndWater+percentSlack {
		less := (fat + water - rule.fatAndWater) / (100 - rule.fatAndWater) * float64(j.Total)
		j.find(source.Warning, "fat-and-water", fmt.Sprintf("fat and added water together are %s %% of the raw batch; the finished product may hold %s %% (%s)",
			decimals(fat+water, 2), decimals(rule.fatAndWater, 1), rule.source),
			fmt.Sprintf("put in %s less water, or see that at least so much dries off, or take leaner meat", tenths(quantity.Kilograms(less))))
	}
	if put := float64(s.PutWater) * 100; rule.putWater > 0 && put > rule.putWater+percentSlack {
		dry := j.Total - j.f.MassOf(profile.Water)
		most := dry * quantity.Kilograms(rule.putWater/(100-rule.putWater))
		j.find(source.Error, "put-water", fmt.Sprintf("%s %% of the ingredients are water; sausage that is not cooked may have %s %% (%s)",
			decimals(put, 2), decimals(rule.putWater, 1), rule.source),
			fmt.Sprintf("put in at most %s of water", tenths(downTo(most))))
	}
	if meat := float64(s.Meat) * 100; rule.meat > 0 && meat < rule.meat-percentSlack {
		rest := j.Meat * quantity.Kilograms((100-rule.meat)/rule.meat)
		j.find(source.Error, "meat-share", fmt.Sprintf("%s %% of the ingredients are meat; %v wants at least %s %% (%s)", decimals(meat, 2), j.Class, decimals(rule.meat, 1), rule.source),
			fmt.Sprintf("keep everything else together to at most %s", tenths(downTo(rest))))
	}
}

// defined reports whether added water is defined by the protein: for meat, but not
// for poultry (and, on the safe side, not for fish).
func (j *judging) defined() bool {
	return j.p.Species == profile.RedMeat || j.p.Species == profile.Game
}

// percentSlack lets a share that is meant to meet its limit meet it.
const percentSlack = 0.005

// grows judges a share that drying makes larger.
func (j *judging) grows(code, what string, percent, limit float64, basis, remedy, remedyDry string) {
	switch {
	case percent > limit+percentSlack:
		j.find(source.Error, code, fmt.Sprintf("%s is %s %% of the raw batch, and more when it has dried; the limit is %s %% of the finished product (%s)",
			what, decimals(percent, 2), decimals(limit, 1), basis), remedy)
	case percent > limit*(1-usualLoss):
		j.find(source.Warning, code, fmt.Sprintf("%s is %s %% of the raw batch; it passes the limit of %s %% of the finished product (%s) when more than %s %% of the batch dries off, and %s %% is usual",
			what, decimals(percent, 2), decimals(limit, 1), basis, decimals((1-percent/limit)*100, 1), decimals(usualLoss*100, 0)), remedyDry)
	}
}

// leaner says how much of the fattest cut to change for the leanest.
func (j *judging) leaner(limit float64) string {
	fattest, leanest := j.f.Cut[0], j.f.Cut[0]
	for _, m := range j.f.Cut {
		if m.Fat > fattest.Fat {
			fattest = m
		}
		if m.Fat < leanest.Fat {
			leanest = m
		}
	}
	excess := (float64(j.Shares.Fat) - limit) * float64(j.Total)
	if by := float64(fattest.Fat - leanest.Fat); by > 0 && excess/by < float64(fattest.Mass) {
		return fmt.Sprintf("take %s of %s in place of as much %s", tenths(quantity.Kilograms(excess/by)), leanest.Name, fattest.Name)
	}
	return "take leaner meat"
}

// lessBinder says what all binder together may weigh.
func (j *judging) lessBinder(limit float64) string {
	soy := float64(j.f.MassOf(profile.SoyIsolate))
	mass := float64(j.f.MassOf(profile.Binder)) + soy
	counted := mass + soy*(soyCounts-1)
	if mass <= 0 || counted <= limit*mass {
		return "use less binder"
	}
	// k of every binder is kept: k·counted = limit·(total - (1-k)·mass).
	k := limit * (float64(j.Total) - mass) / (counted - limit*mass)
	return fmt.Sprintf("weigh at most %s of binder in all instead of %s", tenths(downTo(quantity.Kilograms(k*mass))), tenths(quantity.Kilograms(mass)))
}

func (j *judging) salt() {
	s := j.Shares
	if j.p.Process == profile.FermentedAndDried {
		j.fermentedSalt()
	} else if _, sausage := sausageRules[j.Class]; sausage {
		percent := float64(s.Salt) * 100
		if percent < leastSaltPercent-percentSlack || percent > mostSaltPercent+percentSlack {
			j.find(source.Note, "salt", fmt.Sprintf("salt is %s %% of the meat; sausage usually has %s to %s %% (%s)", decimals(percent, 2),
				decimals(leastSaltPercent, 1), decimals(mostSaltPercent, 1), trade), "check the salt, that of the cure included")
		}
	}
	if j.p.Species == profile.Fish {
		j.fishSalt()
	}
}
