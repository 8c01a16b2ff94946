package lint

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/quantity"
)

// chills reports the stages after the last heated one that wait for the core to
// fall.
func (l *linting) chills() []int {
	var found []int
	for i, s := range l.Stages {
		if s.Heat {
			found = found[:0]
		} else if s.Until.Has(profile.CoreAtMost) {
			found = append(found, i)
		}
	}
	return found
}

func noChill(l *linting) []finding {
	if !l.cooked() || l.Targets.Chill == profile.ServedHot {
		return nil
	}
	if len(l.chills()) == 0 {
		return []finding{{len(l.Stages) - 1,
			"the cooked product is left to cool with no stage that waits for the core to fall",
			"end with a stage in ice water or a cold room, heater: off, until the core is cold"}}
	}
	if l.Targets.Chill == profile.NoChillRule {
		return []finding{{-1, "no cooling limits are set for a cooked product", "add chill: cured, uncured or retail to targets, or served hot for what is eaten at once"}}
	}
	return nil
}

func chillEnd(l *linting) []finding {
	chills := l.chills()
	if !l.cooked() || len(chills) == 0 || l.Targets.Chill == profile.ServedHot {
		return nil
	}
	rule := l.ChillRule(l.where)
	if rule == nil {
		rule = chilling.Uncured()
	}
	limit := rule.End()
	coldest := quantity.Celsius(1e3)
	for _, i := range chills {
		for _, c := range l.Stages[i].Until.Conditions {
			if c.Kind == profile.CoreAtMost {
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
	if l.Targets.Chill != profile.ChillCured {
		return nil
	}
	ppm := 0.0
	if meat := l.Formula.MeatMass(); meat > 0 && l.cured() {
		ppm = float64(l.Formula.NitriteMass()/meat) * 1e6
	}
	floor := l.ChillRule(l.where).NitritePPM
	if ppm >= floor {
		return nil
	}
	return []finding{{-1,
		fmt.Sprintf("chill: cured allows slow cooling, but the meat gets %.0f ppm nitrite; it wants at least %.0f ppm", ppm, floor),
		"take chill: uncured, or weigh the cure anew"}}
}
