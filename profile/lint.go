package profile

import (
	"fmt"
	"slices"
	"time"

	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// A LintContext is what a cabinet adds to the judgement of a product. What is
// not known is left zero.
type LintContext struct {
	Filling     time.Duration    // how long one of the smoke generator lasts; 0: 3 h assumed
	HasAmbient  bool             // false: 15 °C assumed
	Ambient     quantity.Celsius // the room around the cabinet
	ChamberHigh quantity.Celsius // the cabinet's limit; 0: not judged
}

// What is assumed while the cabinet says nothing, and how cold the places are
// taken to be; own magnitudes, no source.
const (
	assumedFilling                   = 3 * time.Hour
	assumedAmbient  quantity.Celsius = 15
	iceWaterCelsius quantity.Celsius = 0
	coldRoomCelsius quantity.Celsius = 2
)

// Limits of the trade: common practice, no source.
const (
	chamberMargin     quantity.Celsius = 5 // the controller refuses a batch closer to the cabinet's limit
	fatRunsOut        quantity.Celsius = 85
	cheeseSweats      quantity.Celsius = 30
	fatty             quantity.Ratio   = 0.10
	coldCore          quantity.Celsius = 50
	largestJump       quantity.Celsius = 20
	gentleRampPerHour                  = 60.0
	shortestDrying                     = 15 * time.Minute
	unheatedSlower                     = 4 // a surface dries so many times as slowly outside the chamber
	hotSmoke          quantity.Celsius = 95
	coreBelowChamber  quantity.Celsius = 2
)

// Published limits.
const (
	meatInstant    quantity.Celsius = 70 // 158 °F needs no dwell: FSIS Appendix A (1999), Cooking Guideline (2021)
	meatLog10                       = 6.5
	poultryCured   quantity.Celsius = 640.0 / 9 // 160 °F; with a dwell of 13.7 to 26.9 s, FSIS Cooking Guideline (2021)
	poultryDwell                    = 30 * time.Second
	poultryUncured quantity.Celsius = 665.0 / 9 // 165 °F, Food Code 3-401.11
	gameCore       quantity.Celsius = 665.0 / 9 // 165 °F, Food Code 3-401.11
	fishCore       quantity.Celsius = 565.0 / 9 // 145 °F for 30 min, Maine ch. 359 and AFDO (1991)
	fishHold                        = 30 * time.Minute
	fishWaterSalt  quantity.Ratio   = 0.025 // least salt in the water of smoked fish packed in air, Maine ch. 359
	warmFrom       quantity.Celsius = 4     // 40 to 140 °F and two hours: FSIS, "Danger Zone" (title from memory)
	warmTo         quantity.Celsius = 60
	longestWarm                     = 2 * time.Hour
	sealedHumidity quantity.Ratio   = 0.90 // humidity options 2 and 3 of the FSIS Cooking Guideline (2021)
	sealedAtLeast                   = time.Hour
	curedFloorPPM                   = 100.0 // FSIS Appendix B (1999), option 3

	endOfCuredChill  quantity.Celsius = 65.0 / 9 // 45 °F, FSIS Appendix B (1999), option 3
	endOfChill       quantity.Celsius = 40.0 / 9 // 40 °F, option 1
	endOfRetailChill quantity.Celsius = 5        // 41 °F, Food Code 3-501.14
)

// A lintRule is one thing that experience or a published limit says is wrong
// with a schedule although the file can be used.
type lintRule struct {
	code  string
	basis string // where the limit comes from
	check func(*linting) []finding
}

// A finding is one breach of a rule; stage is -1 for the product as a whole.
type finding struct {
	stage   int
	message string
	remedy  string
}

const (
	trade     = "common practice, no source"
	guide2021 = "FSIS Cooking Guideline 2021"
)

// lintRules is every rule, in the order of a batch.
var lintRules = []lintRule{
	{"cure-rest", "", cureRest},
	{"dry-first", trade, dryFirst},
	{"plastic-smoke", trade, plasticSmoke},
	{"filling", "one filling of the smoke generator", filling},
	{"hot-smoke", trade, smokeTooHot},
	{"fat-out", trade, fatOut},
	{"jump", trade, jump},
	{"chamber-limit", "the cabinet's limit", chamberLimit},
	{"below-ambient", "a cabinet cannot cool", belowAmbient},
	{"uncured-warm", "FSIS, Danger Zone, two hours in 4-60 °C", uncuredWarm},
	{"come-up", guide2021, comeUp},
	{"never-ends", "heat flows one way", neverEnds},
	{"no-within", trade, noWithin},
	{"within-short", "conduction alone", withinShort},
	{"core-low", "", coreLow},
	{"target-open", "what no stage waits for is left to luck", targetOpen},
	{"dry-cook", guide2021 + ", humidity options 2 and 3", dryCook},
	{"no-chill", "FSIS Appendix B 1999", noChill},
	{"chill-end", "FSIS Appendix B 1999, Food Code 3-501.14", chillEnd},
	{"chill-cure", "FSIS Appendix B 1999, option 3", chillCure},
	{"heat-after-chill", trade, heatAfterChill},
}

// A linting is one product under judgement.
type linting struct {
	*Product
	filling     time.Duration
	ambient     quantity.Celsius
	chamberHigh quantity.Celsius
	estimate    estimate
}

// Lint says what looks wrong with a product that can be used all the same. It
// returns warnings only, in the order of the file. Times that a rule needs are
// estimated by conduction alone, which is shorter than any real batch.
func Lint(p *Product, file string, c LintContext) []source.Fault {
	l := &linting{Product: p, filling: c.Filling, ambient: c.Ambient, chamberHigh: c.ChamberHigh}
	if l.filling <= 0 {
		l.filling = assumedFilling
	}
	if !c.HasAmbient {
		l.ambient = assumedAmbient
	}
	l.estimate = estimateBatch(p, l.ambient)
	var faults []source.Fault
	for _, rule := range lintRules {
		for _, f := range rule.check(l) {
			fault := source.Fault{
				File: file, Line: 1, Column: 1, Warning: true,
				Message: rule.code + ": " + f.message, Remedy: f.remedy,
			}
			if rule.basis != "" {
				fault.Message += " (" + rule.basis + ")"
			}
			if f.stage >= 0 {
				fault.Line = max(1, p.Stages[f.stage].Line)
			}
			faults = append(faults, fault)
		}
	}
	slices.SortStableFunc(faults, func(a, b source.Fault) int { return a.Line - b.Line })
	return faults
}

// smokes reports whether any stage smokes, and the first that does.
func (l *linting) smokes() (int, bool) {
	i := slices.IndexFunc(l.Stages, func(s Stage) bool { return s.Smoke })
	return i, i >= 0
}

func (l *linting) cured() bool { return l.Formula.cured() }

// cooked reports whether the product is meant to be heated through.
func (l *linting) cooked() bool {
	if l.Species == Dairy {
		return false
	}
	return l.Targets.HasCore || l.Targets.HasLethality || l.lastProof() >= 0
}

// lastProof is the last heated stage that waits for core or lethality, or -1.
func (l *linting) lastProof() int {
	last := -1
	for i, s := range l.Stages {
		if s.Heat && (s.Until.has(CoreAtLeast) || s.Until.has(LethalityAtLeast)) {
			last = i
		}
	}
	return last
}

func (u Until) has(kind ConditionKind) bool {
	return slices.ContainsFunc(u.Conditions, func(c Condition) bool { return c.Kind == kind })
}

// proves reports whether every condition has to hold before the stage ends.
func (u Until) proves() bool { return !u.Any || len(u.Conditions) == 1 }

// provenCore is the highest core temperature that a heated stage must reach, and
// that stage.
func (l *linting) provenCore() (quantity.Celsius, int) {
	highest, at := quantity.AbsoluteZero, -1
	for i, s := range l.Stages {
		if !s.Heat || !s.Until.proves() {
			continue
		}
		for _, c := range s.Until.Conditions {
			if c.Kind == CoreAtLeast && c.Core > highest {
				highest, at = c.Core, i
			}
		}
	}
	return highest, at
}

// provenLog10 is the highest lethality that a heated stage must reach.
func (l *linting) provenLog10() float64 {
	highest := 0.0
	for _, s := range l.Stages {
		if !s.Heat || !s.Until.proves() {
			continue
		}
		for _, c := range s.Until.Conditions {
			if c.Kind == LethalityAtLeast {
				highest = max(highest, c.Lethality)
			}
		}
	}
	return highest
}

// heldFor is how long the heated stages that follow directly on stage i keep the
// chamber above core after it was reached.
func (l *linting) heldFor(i int, core quantity.Celsius) time.Duration {
	var held time.Duration
	for _, s := range l.Stages[i+1:] {
		if !s.Heat || s.ChamberSetpoint <= core || !s.Until.proves() {
			break
		}
		held += s.Until.longest()
	}
	return held
}

// longest is the longest "after" among the conditions.
func (u Until) longest() time.Duration {
	var d time.Duration
	for _, c := range u.Conditions {
		if c.Kind == After {
			d = max(d, c.After)
		}
	}
	return d
}

func (l *linting) stageName(i int) string { return fmt.Sprintf("stage %q", l.Stages[i].Name) }

func cureRest(l *linting) []finding {
	named := l.Formula.Cure.Rest
	least, why := l.Formula.leastRest()
	if named >= least {
		return nil
	}
	had := "has no rest"
	if named > 0 {
		had = "rests " + quantity.FormatDuration(named)
	}
	return []finding{{-1,
		fmt.Sprintf("the cured product %s before it is heated; it wants at least %s: %s", had, quantity.FormatDuration(least), why),
		"give the cure a longer rest in the cold"}}
}

func dryFirst(l *linting) []finding {
	first, ok := l.smokes()
	if !ok || l.Shape.Casing == PlasticCasing {
		return nil
	}
	var dried time.Duration
	for i, s := range l.Stages[:first] {
		took := l.estimate.stages[i].took
		switch {
		case s.Place == ColdRoom || s.Place == Room:
			dried += took / unheatedSlower
		case s.Place == Chamber && (s.Heat || s.Fan > 0):
			dried += took
		}
	}
	if dried >= shortestDrying {
		return nil
	}
	return []finding{{first,
		fmt.Sprintf("%s starts smoke on a surface that no stage before it has dried for at least %s; wet surfaces smoke sour and streaky",
			l.stageName(first), quantity.FormatDuration(shortestDrying)),
		"put a stage with heat or fan and without smoke before it"}}
}

func plasticSmoke(l *linting) []finding {
	first, ok := l.smokes()
	if !ok || l.Shape.Casing != PlasticCasing {
		return nil
	}
	return []finding{{first,
		fmt.Sprintf("%s smokes a product in a plastic casing, which lets no smoke through", l.stageName(first)),
		"take a permeable casing, or leave the smoke out"}}
}

func filling(l *linting) []finding {
	var total time.Duration
	for i, s := range l.Stages {
		if !s.Smoke {
			continue
		}
		if s.Ask != "" {
			total = 0 // the person stands at the generator and can fill it
		}
		before := total
		total += l.estimate.stages[i].took
		if total > l.filling && before <= l.filling {
			return []finding{{i,
				fmt.Sprintf("by the end of %s the generator has to smoke for %s in one go, but a filling lasts %s",
					l.stageName(i), quantity.FormatDuration(total), quantity.FormatDuration(l.filling)),
				"shorten the smoke, or split it and ask for a new filling with ask"}}
		}
	}
	return nil
}

func smokeTooHot(l *linting) []finding {
	var found []finding
	for i, s := range l.Stages {
		if s.Smoke && s.Heat && s.ChamberSetpoint > hotSmoke {
			found = append(found, finding{i,
				fmt.Sprintf("%s smokes at %v; above %v the surface bakes shut and takes no more smoke", l.stageName(i), s.ChamberSetpoint, hotSmoke),
				"smoke cooler, before the cooking stage"})
		}
	}
	return found
}

// sausage reports whether the product is mince in a casing with enough fat to
// lose.
func (l *linting) sausage() bool {
	switch l.Shape.Casing {
	case NoCasing, NetCasing:
		return false
	}
	return l.Formula.Composition().Fat >= fatty
}

func fatOut(l *linting) []finding {
	limit, what := fatRunsOut, "fat runs out of a sausage"
	switch {
	case l.Species == Dairy:
		limit, what = cheeseSweats, "cheese sweats fat and sags"
	case !l.sausage():
		return nil
	}
	var found []finding
	for i, s := range l.Stages {
		if s.Heat && s.ChamberSetpoint > limit {
			found = append(found, finding{i,
				fmt.Sprintf("%s heats the chamber to %v; above about %v %s", l.stageName(i), s.ChamberSetpoint, limit, what),
				"lower the chamber and give the stage more time"})
		}
	}
	return found
}

func jump(l *linting) []finding {
	if !l.sausage() {
		return nil
	}
	var found []finding
	before := -1
	for i, s := range l.Stages {
		if !s.Heat {
			before = -1
			continue
		}
		ramped := s.Ramp > 0 && float64(s.Ramp)*3600 <= gentleRampPerHour
		if before >= 0 && !ramped && l.estimate.stages[i].startCore < coldCore {
			rise := s.ChamberSetpoint - l.Stages[before].ChamberSetpoint
			if rise > largestJump {
				found = append(found, finding{i,
					fmt.Sprintf("%s raises the chamber by %v while the core is estimated at %v; more than %v at once melts fat before the meat has set",
						l.stageName(i), quantity.Kelvin(rise), l.estimate.stages[i].startCore, quantity.Kelvin(largestJump)),
					fmt.Sprintf("add a ramp of at most %g °C/h or a stage in between", gentleRampPerHour)})
			}
		}
		before = i
	}
	return found
}

func chamberLimit(l *linting) []finding {
	if l.chamberHigh <= 0 {
		return nil
	}
	var found []finding
	for i, s := range l.Stages {
		if s.Heat && s.ChamberSetpoint > l.chamberHigh-chamberMargin {
			found = append(found, finding{i,
				fmt.Sprintf("%s asks for %v; this cabinet's limit is %v and the batch is refused closer to it than %v",
					l.stageName(i), s.ChamberSetpoint, l.chamberHigh, quantity.Kelvin(chamberMargin)),
				"lower the chamber, or take another cabinet"})
		}
	}
	return found
}

func belowAmbient(l *linting) []finding {
	var found []finding
	for i, s := range l.Stages {
		if s.Heat && s.ChamberSetpoint <= l.ambient {
			found = append(found, finding{i,
				fmt.Sprintf("%s asks for a chamber of %v in a room of %v", l.stageName(i), s.ChamberSetpoint, l.ambient),
				"wait for a colder day, or write heater: off"})
		}
	}
	return found
}

// saltInWater is salt as a fraction of salt and water together.
func (l *linting) saltInWater() quantity.Ratio {
	salt := float64(l.Formula.SaltMass())
	water := float64(l.Formula.MassOf(Water))
	for _, m := range l.Formula.Cut {
		water += float64(m.Mass) * float64(m.Water)
	}
	if salt+water <= 0 {
		return 0
	}
	return quantity.Ratio(salt / (salt + water))
}

func uncuredWarm(l *linting) []finding {
	switch {
	case l.cured(), l.Species == Dairy:
		return nil
	case l.Species == Fish && l.saltInWater() >= fishWaterSalt:
		return nil // brined fish is protected by its salt
	}
	var warm time.Duration
	for i, s := range l.Stages {
		if s.Place != Chamber {
			continue
		}
		chamber := l.ambient
		if s.Heat {
			chamber = s.ChamberSetpoint
		}
		if chamber <= warmFrom || chamber >= warmTo {
			continue
		}
		if warm += l.estimate.stages[i].took; warm > longestWarm {
			remedy := "cure it, or keep the chamber at 60 °C or above from the start"
			if l.Species == Fish {
				remedy = fmt.Sprintf("brine it to at least %v salt in its water, cure it, or keep the chamber at 60 °C or above", fishWaterSalt)
			}
			return []finding{{i,
				fmt.Sprintf("by the end of %s the uncured product has spent %s in a chamber between %v and %v; without nitrite Clostridium botulinum can grow in smoke",
					l.stageName(i), quantity.FormatDuration(warm), warmFrom, warmTo), remedy}}
		}
	}
	return nil
}

func comeUp(l *linting) []finding {
	if l.Species == Dairy || l.estimate.comeUp <= comeUpWarn {
		return nil
	}
	return []finding{{-1,
		fmt.Sprintf("the core is estimated to take at least %s from %v to %v by conduction alone; drying adds to that, and the limit is %s",
			quantity.FormatDuration(l.estimate.comeUp), comeUpRule.From, comeUpRule.To, quantity.FormatDuration(comeUpRule.Limit)),
		"warm the chamber sooner, run the fan, or make thinner pieces"}}
}

func neverEnds(l *linting) []finding {
	var found []finding
	for i := range l.Stages {
		s := &l.Stages[i]
		var why, remedy string
		possible := 0
		for _, c := range s.Until.Conditions {
			w, r := l.impossible(s, c)
			if w == "" {
				possible++
			} else if why == "" {
				why, remedy = w, r
			}
		}
		if why == "" || s.Until.Any && possible > 0 {
			continue
		}
		found = append(found, finding{i, l.stageName(i) + " cannot end: " + why, remedy})
	}
	return found
}

// impossible says why a condition cannot come true in a stage, and what to do;
// both are empty when it can.
func (l *linting) impossible(s *Stage, c Condition) (why, remedy string) {
	switch c.Kind {
	case CoreAtLeast:
		if !s.Heat {
			return fmt.Sprintf("it waits for a core of %v without heat", c.Core), "give the stage a chamber temperature"
		}
		if c.Core+coreBelowChamber > s.ChamberSetpoint {
			return fmt.Sprintf("it waits for a core of %v in a chamber of %v; the core levels off below the chamber", c.Core, s.ChamberSetpoint),
				fmt.Sprintf("set the chamber at least %v above the core, better 5 to 10 K", quantity.Kelvin(coreBelowChamber))
		}
	case CoreAtMost:
		medium, where := l.ambient, "the room"
		switch s.Place {
		case IceWater:
			medium, where = iceWaterCelsius, "ice water"
		case ColdRoom:
			medium, where = coldRoomCelsius, "a cold room"
		}
		if c.Core <= medium {
			return fmt.Sprintf("it waits for a core of %v, and %s is taken to be at %v", c.Core, where, medium),
				"wait for a warmer core, or name a colder place"
		}
	case LethalityAtLeast:
		if c := l.Species.Criterion(); c == nil || c.Required == 0 {
			return "it waits for lethality, which is not counted for this species", "wait for a core temperature and a hold instead"
		}
		if !s.Heat || s.ChamberSetpoint <= comeUpRule.To {
			return fmt.Sprintf("it waits for lethality, which is not gathered in a chamber of %v or less", comeUpRule.To),
				"give the stage a hotter chamber"
		}
	}
	return "", ""
}

func noWithin(l *linting) []finding {
	var found []finding
	for i, s := range l.Stages {
		onProduct := s.Until.has(CoreAtLeast) || s.Until.has(CoreAtMost) || s.Until.has(LethalityAtLeast)
		if onProduct && s.Within <= 0 {
			found = append(found, finding{i,
				l.stageName(i) + " waits for the product and has no within, so nobody is called when it takes too long",
				"add within: with the longest time that would still be normal"})
		}
	}
	return found
}

func withinShort(l *linting) []finding {
	var found []finding
	for i, s := range l.Stages {
		e := l.estimate.stages[i]
		// In still air evaporation cools faster than the estimate knows.
		certain := s.Heat || s.Place == IceWater
		if s.Within <= 0 || e.cut || !certain || e.took <= s.Within {
			continue
		}
		found = append(found, finding{i,
			fmt.Sprintf("%s is estimated to take at least %s, more than its within of %s", l.stageName(i),
				quantity.FormatDuration(e.took), quantity.FormatDuration(s.Within)),
			"allow more time, or the alarm is certain"})
	}
	return found
}

func coreLow(l *linting) []finding {
	if l.Species == Dairy {
		return nil
	}
	core, at := l.provenCore()
	log10 := l.provenLog10()
	if at < 0 && log10 == 0 {
		return []finding{{-1,
			"no stage has to reach a core temperature or a lethality before it ends, so nothing proves the product cooked",
			"wait for one in the cooking stage, or sell and serve it as raw, to be cooked"}}
	}
	held := time.Duration(0)
	if at >= 0 {
		held = l.heldFor(at, core)
	}
	low := func(limit, basis, remedy string) []finding {
		reached := fmt.Sprintf("a core of %v held for %s", core, quantity.FormatDuration(held))
		if at < 0 {
			reached = fmt.Sprintf("a lethality of %g log10", log10)
		}
		return []finding{{at, fmt.Sprintf("the stages prove only %s; %s (%s)", reached, limit, basis), remedy}}
	}
	switch l.Species {
	case Poultry:
		limit := poultryUncured
		if l.cured() {
			limit = poultryCured
		}
		if core >= limit || core >= poultryCured && held >= poultryDwell {
			return nil
		}
		return low(fmt.Sprintf("poultry wants %v, cured and smoked poultry %v", poultryUncured, poultryCured),
			"Food Code 3-401.11; "+guide2021, "raise the core")
	case Fish:
		if core >= fishCore && held >= fishHold {
			return nil
		}
		return low(fmt.Sprintf("hot-smoked fish wants %v held for %s", fishCore, quantity.FormatDuration(fishHold)),
			"Maine ch. 359; AFDO 1991", "raise the core, and follow with a hold of the same core and after: 30 min")
	case Game:
		if core >= gameCore || log10 >= meatLog10 {
			return nil
		}
		return low(fmt.Sprintf("wild game wants %v or a lethality of %g", gameCore, meatLog10), "Food Code 3-401.11", "raise the core")
	}
	if log10 >= meatLog10 || core >= meatInstant || held >= redMeatHold(core) {
		return nil
	}
	return low(fmt.Sprintf("red meat wants %v, or %g log10 of lethality", meatInstant, meatLog10), "FSIS Appendix A 1999",
		fmt.Sprintf("add lethality: %g to the cooking stage, or raise the core", meatLog10))
}

// redMeatHold is how long red meat must stay at a core temperature for 6.5
// log10; below the table's first row, 130 °F, no time counts.
func redMeatHold(core quantity.Celsius) time.Duration {
	if core < comeUpRule.To {
		return 1<<63 - 1
	}
	rate := lethality.RedMeat.Segment(core, core, time.Second)
	return time.Duration(meatLog10 * lethality.RedMeat.D.Seconds() / rate * float64(time.Second))
}

func targetOpen(l *linting) []finding {
	var found []finding
	core, _ := l.provenCore()
	if l.Targets.HasCore && core < l.Targets.Core {
		found = append(found, finding{-1,
			fmt.Sprintf("the target core is %v, but no stage has to reach it before it ends", l.Targets.Core),
			"wait for it in the cooking stage"})
	}
	if l.Targets.HasLethality && l.provenLog10() < l.Targets.Lethality && core < meatInstant {
		found = append(found, finding{-1,
			fmt.Sprintf("the target lethality is %g log10, but no stage has to reach it before it ends", l.Targets.Lethality),
			"wait for it in the cooking stage"})
	}
	return found
}

func dryCook(l *linting) []finding {
	bare := l.Shape.Casing == NoCasing || l.Shape.Casing == NetCasing
	meat := l.Species == RedMeat || l.Species == Poultry || l.Species == Game
	if !bare || !meat || !l.cooked() {
		return nil
	}
	var cook, sealed time.Duration
	shut := false
	for i, s := range l.Stages {
		if s.HasDamper {
			shut = s.Damper <= 0
		}
		took := l.estimate.stages[i].took
		if s.Heat && (s.Until.has(CoreAtLeast) || s.Until.has(LethalityAtLeast)) {
			cook += took
		}
		if s.Heat && (shut || s.HasHumidity && s.Humidity >= sealedHumidity) {
			sealed += took
		}
	}
	needed := max(sealedAtLeast, cook/2)
	if sealed >= needed {
		return nil
	}
	return []finding{{l.lastProof(),
		fmt.Sprintf("bare meat cooks with the damper shut or at %v humidity for an estimated %s; it wants half of the cooking time and at least %s, because bacteria survive on a dry surface",
			sealedHumidity, quantity.FormatDuration(sealed), quantity.FormatDuration(needed)),
		"shut the damper for the cooking stage with damper: shut"}}
}

// chills reports the stages after the last heated one that wait for the core to
// fall.
func (l *linting) chills() []int {
	var found []int
	for i, s := range l.Stages {
		if s.Heat {
			found = found[:0]
		} else if s.Until.has(CoreAtMost) {
			found = append(found, i)
		}
	}
	return found
}

func noChill(l *linting) []finding {
	if !l.cooked() {
		return nil
	}
	if len(l.chills()) == 0 {
		return []finding{{len(l.Stages) - 1,
			"the cooked product is left to cool with no stage that waits for the core to fall",
			"end with a stage in ice water or a cold room, heater: off, until the core is cold"}}
	}
	if l.Targets.Chill == NoChillRule {
		return []finding{{-1, "no cooling limits are set for a cooked product", "add chill: cured, uncured or retail to targets"}}
	}
	return nil
}

func chillEnd(l *linting) []finding {
	chills := l.chills()
	if !l.cooked() || len(chills) == 0 {
		return nil
	}
	limit := endOfChill
	switch l.Targets.Chill {
	case ChillCured:
		limit = endOfCuredChill
	case ChillRetail:
		limit = endOfRetailChill
	}
	coldest := quantity.Celsius(1e3)
	for _, i := range chills {
		for _, c := range l.Stages[i].Until.Conditions {
			if c.Kind == CoreAtMost {
				coldest = min(coldest, c.Core)
			}
		}
	}
	if coldest <= limit {
		return nil
	}
	return []finding{{chills[len(chills)-1],
		fmt.Sprintf("cooling ends at a core of %v; the limits end at %v", coldest, limit),
		"wait for a colder core"}}
}

func chillCure(l *linting) []finding {
	if l.Targets.Chill != ChillCured {
		return nil
	}
	ppm := 0.0
	if meat := l.Formula.MeatMass(); meat > 0 && l.cured() {
		ppm = float64(l.Formula.NitriteMass()/meat) * 1e6
	}
	if ppm >= curedFloorPPM {
		return nil
	}
	return []finding{{-1,
		fmt.Sprintf("chill: cured allows slow cooling, but the meat gets %.0f ppm nitrite; it wants at least %.0f ppm", ppm, curedFloorPPM),
		"take chill: uncured, or check the cure"}}
}

func heatAfterChill(l *linting) []finding {
	hot, cold := false, -1
	for i, s := range l.Stages {
		switch {
		case s.Heat && cold >= 0:
			return []finding{{i,
				fmt.Sprintf("%s heats a product that %s has chilled", l.stageName(i), l.stageName(cold)),
				"put the heated stages before the chill"}}
		case s.Heat:
			hot = true
		case hot && s.Until.has(CoreAtMost):
			cold = i
		}
	}
	return nil
}
