package lint

import (
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// cooked reports whether the product is meant to be heated through.
func (l *linting) cooked() bool {
	if l.Species == profile.Dairy || l.Process != profile.FullyCooked {
		return false
	}
	return l.Targets.HasCore || l.Targets.HasLethality || l.lastProof() >= 0
}

// lastProof is the last heated stage that waits for core or lethality, or -1.
func (l *linting) lastProof() int {
	last := -1
	for i, s := range l.Stages {
		if s.Heat && (s.Until.Has(profile.CoreAtLeast) || s.Until.Has(profile.LethalityAtLeast)) {
			last = i
		}
	}
	return last
}

// proves reports whether every condition has to hold before the stage ends.
func proves(u profile.Until) bool { return !u.Any || len(u.Conditions) == 1 }

// provenCore is the highest core temperature that a heated stage must reach, and
// that stage.
func (l *linting) provenCore() (quantity.Celsius, int) {
	highest, at := quantity.AbsoluteZero, -1
	for i, s := range l.Stages {
		if !s.Heat || !proves(s.Until) {
			continue
		}
		for _, c := range s.Until.Conditions {
			if c.Kind == profile.CoreAtLeast && c.Core > highest {
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
		if !s.Heat || !proves(s.Until) {
			continue
		}
		for _, c := range s.Until.Conditions {
			if c.Kind == profile.LethalityAtLeast {
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
		if !s.Heat || s.ChamberSetpoint <= core || !proves(s.Until) {
			break
		}
		held += longest(s.Until)
	}
	return held
}

// longest is the longest "after" among the conditions.
func longest(u profile.Until) time.Duration {
	var d time.Duration
	for _, c := range u.Conditions {
		if c.Kind == profile.After {
			d = max(d, c.After)
		}
	}
	return d
}

// dwell is the time of a limit in half minutes, as a product file writes it.
func dwell(l lethality.Limit) time.Duration {
	const grain = 30 * time.Second
	return (l.Hold + grain - 1) / grain * grain
}

func coreLow(l *linting) []finding {
	if l.Species == profile.Dairy || l.Process != profile.FullyCooked {
		return nil
	}
	core, at := l.provenCore()
	log10, needed := l.provenLog10(), lethality.MeatLog10
	if at < 0 && log10 == 0 {
		return []finding{{-1,
			"no stage has to reach a core temperature or a lethality before it ends, so nothing proves the product cooked",
			"wait for one in the cooking stage, or sell and serve it as raw, to be cooked, with process: not ready to eat"}}
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
	switch species := l.Species; {
	case l.PoultryInIt() && species != profile.Fish:
		needed = lethality.PoultryLog10
		limit := lethality.PoultryUncured.At
		if l.cured() {
			limit = lethality.PoultryCured.At
		}
		if log10 >= needed || core >= limit || core >= lethality.PoultryCured.At && held >= dwell(lethality.PoultryCured) {
			return nil
		}
		return low(fmt.Sprintf("poultry wants %v, cured and smoked poultry %v", lethality.PoultryUncured.At, lethality.PoultryCured.At),
			lethality.PoultryUncured.Source+"; "+lethality.PoultryCured.Source, "raise the core")
	case species == profile.Fish:
		if core >= lethality.SmokedFish.At && held >= lethality.SmokedFish.Hold {
			return nil
		}
		return low(fmt.Sprintf("hot-smoked fish wants %v held for %s", lethality.SmokedFish.At, quantity.FormatDuration(lethality.SmokedFish.Hold)),
			lethality.SmokedFish.Source, "raise the core, and follow with a hold of the same core and after: "+quantity.FormatDuration(lethality.SmokedFish.Hold))
	case species == profile.Game:
		if core >= lethality.GameAtOnce.At || log10 >= needed {
			return nil
		}
		return low(fmt.Sprintf("wild game wants %v or a lethality of %g", lethality.GameAtOnce.At, needed), lethality.GameAtOnce.Source, "raise the core")
	}
	if log10 >= needed || core >= lethality.RedMeatAtOnce.At || at >= 0 && held >= lethality.RedMeatCriterion().HoldAt(core) {
		return nil
	}
	return low(fmt.Sprintf("red meat wants %v, or %g log10 of lethality", lethality.RedMeatAtOnce.At, needed), lethality.RedMeatAtOnce.Source,
		fmt.Sprintf("add lethality: %g to the cooking stage, or raise the core", needed))
}

func targetOpen(l *linting) []finding {
	var found []finding
	core, _ := l.provenCore()
	if l.Targets.HasCore && core < l.Targets.Core {
		found = append(found, finding{-1,
			fmt.Sprintf("the target core is %v, but no stage has to reach it before it ends", l.Targets.Core),
			"wait for it in the cooking stage"})
	}
	if l.Targets.HasLethality && l.provenLog10() < l.Targets.Lethality && core < lethality.RedMeatAtOnce.At {
		found = append(found, finding{-1,
			fmt.Sprintf("the target lethality is %g log10, but no stage has to reach it before it ends", l.Targets.Lethality),
			"wait for it in the cooking stage"})
	}
	return found
}

func dryCook(l *linting) []finding {
	bare := l.Shape.Casing == profile.NoCasing || l.Shape.Casing == profile.NetCasing
	meat := l.Species == profile.RedMeat || l.Species == profile.Poultry || l.Species == profile.Game
	if !bare || !meat || !l.cooked() {
		return nil
	}
	// The shares count from loading until the product is cooked, drying and smoking included.
	last := l.lastProof()
	var cook, sealed, humid time.Duration
	shut := false
	for i, s := range l.Stages[:last+1] {
		if s.HasDamper {
			shut = s.Damper <= 0
		}
		if s.Place != profile.Chamber {
			continue
		}
		took := l.estimate.stages[i].took
		cook += took
		moist := s.HasHumidity && s.Humidity >= lethality.Humid.Humidity
		if moist {
			humid += took
		}
		if shut || moist {
			sealed += took
		}
	}
	needed := lethality.Sealed.Time(cook)
	if last < 0 || sealed >= needed || humid >= lethality.Humid.Time(cook) {
		return nil
	}
	return []finding{{last,
		fmt.Sprintf("bare meat hangs with the damper shut or at %v humidity for an estimated %s; it wants half of the time from loading until it is cooked, estimated as %s, and at least %s, because bacteria survive on a dry surface",
			lethality.Humid.Humidity, quantity.FormatDuration(sealed), quantity.FormatDuration(cook), quantity.FormatDuration(needed)),
		"shut the damper sooner or cook longer with damper: shut; a wet bulb shows what the air then holds"}}
}
