package lint

import (
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/diffusion"
	"fumarium/profile/fish"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// brined is the least salt in the water of smoked fish that protects it.
const brined = quantity.Ratio(fish.InAirPercent / 100.)

func speciesOfCuts(l *linting) []finding {
	var found []finding
	for _, d := range l.Doubts() {
		found = append(found, finding{-1, fmt.Sprintf("the cut %q %s", d.Cut, d.Says), d.Remedy})
	}
	return found
}

func cureRest(l *linting) []finding {
	named := l.Formula.NamedRest()
	least, why := l.LeastRest()
	if named >= least {
		return nil
	}
	remedy := "give the cure a longer rest in the cold"
	if in, ok := l.CuredFromOutside(); ok {
		why += fmt.Sprintf("; after %s the middle has %.0f %%", quantity.FormatDuration(named), 100*in.Middle(diffusion.Salt, named))
		remedy += ", make thinner pieces, or pump part of the pickle"
	}
	had := "has no rest"
	if named > 0 {
		had = "rests " + quantity.FormatDuration(named)
	}
	return []finding{{-1,
		fmt.Sprintf("the cured product %s before it is heated; it wants at least %s: %s", had, quantity.FormatDuration(least), why),
		remedy}}
}

func uncuredWarm(l *linting) []finding {
	if l.Formula.Protected() || l.Species == profile.Dairy || l.Species == profile.Fish && l.Formula.WaterSalt() >= brined {
		return nil // brined fish is protected by its salt
	}
	var warm time.Duration
	for i, s := range l.Stages {
		if s.Place != profile.Chamber {
			continue
		}
		chamber := l.ambient
		if s.Heat {
			chamber = s.ChamberSetpoint
		}
		if chamber <= lethality.RawUncured.From || chamber >= lethality.RawUncured.To {
			continue
		}
		if warm += l.estimate.stages[i].took; warm > lethality.RawUncured.Limit {
			remedy := "cure it, or keep the chamber at 60 °C or above from the start"
			if l.Species == profile.Fish {
				remedy = fmt.Sprintf("brine it to at least %v salt in its water, cure it, or keep the chamber at 60 °C or above", brined)
			}
			return []finding{{i,
				fmt.Sprintf("by the end of %s the uncured product has spent %s in a chamber between %v and %v; without nitrite Clostridium botulinum can grow in smoke",
					l.stageName(i), quantity.FormatDuration(warm), lethality.RawUncured.From, lethality.RawUncured.To), remedy}}
		}
	}
	return nil
}

func comeUp(l *linting) []finding {
	// What is smoked cold or fermented goes by limits of its own (FSIS Cooking Guideline 2021).
	other := l.Process == profile.ColdSmoked || l.Process == profile.FermentedAndDried
	if other || l.Species == profile.Dairy || l.estimate.comeUp <= comeUpWarn {
		return nil
	}
	return []finding{{-1,
		fmt.Sprintf("the core is estimated to take at least %s from %v to %v by conduction alone; drying adds to that, and the limit is %s",
			quantity.FormatDuration(l.estimate.comeUp), lethality.ComeUpBand.From, lethality.ComeUpBand.To, quantity.FormatDuration(lethality.ComeUpBand.Limit)),
		"warm the chamber sooner, run the fan, or make thinner pieces"}}
}
