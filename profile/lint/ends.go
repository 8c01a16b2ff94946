package lint

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

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
func (l *linting) impossible(s *profile.Stage, c profile.Condition) (why, remedy string) {
	switch c.Kind {
	case profile.CoreAtLeast:
		if !s.Heat {
			return fmt.Sprintf("it waits for a core of %v without heat", c.Core), "give the stage a chamber temperature"
		}
		if c.Core+l.coreError+coreBelowChamber > s.ChamberSetpoint {
			return fmt.Sprintf("it waits for a core of %v%s in a chamber of %v; the core levels off below the chamber", c.Core, l.mustRead(c.Core+l.coreError), s.ChamberSetpoint),
				fmt.Sprintf("set the chamber at least %v above the core, better 5 to 10 K", quantity.Kelvin(coreBelowChamber))
		}
	case profile.CoreAtMost:
		medium, where := l.ambient, "the room"
		switch s.Place {
		case profile.IceWater:
			medium, where = iceWaterCelsius, "ice water"
		case profile.ColdRoom:
			medium, where = coldRoomCelsius, "a cold room"
		}
		if c.Core-l.coreError <= medium {
			return fmt.Sprintf("it waits for a core of %v%s, and %s is taken to be at %v", c.Core, l.mustRead(c.Core-l.coreError), where, medium),
				"wait for a warmer core, or name a colder place"
		}
	case profile.LethalityAtLeast:
		if c := l.Criterion(); c == nil || c.Required == 0 {
			return "it waits for lethality, which is not counted for this species", "wait for a core temperature and a hold instead"
		}
		if !s.Heat || s.ChamberSetpoint <= lethality.ComeUpBand.To {
			return fmt.Sprintf("it waits for lethality, which is not gathered in a chamber of %v or less", lethality.ComeUpBand.To),
				"give the stage a hotter chamber"
		}
	}
	return "", ""
}

// mustRead says what a probe that may be wrong has to show.
func (l *linting) mustRead(t quantity.Celsius) string {
	if l.coreError == 0 {
		return ""
	}
	return fmt.Sprintf(", which this cabinet's probe must show as %v (it may be wrong by %v: calibrate it)", t, quantity.Kelvin(l.coreError))
}

func noWithin(l *linting) []finding {
	var found []finding
	for i, s := range l.Stages {
		onProduct := s.Until.Has(profile.CoreAtLeast) || s.Until.Has(profile.CoreAtMost) || s.Until.Has(profile.LethalityAtLeast)
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
		certain := s.Heat || s.Place == profile.IceWater
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
		case hot && s.Until.Has(profile.CoreAtMost):
			cold = i
		}
	}
	return nil
}
