package lint

import (
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

func dryFirst(l *linting) []finding {
	first, ok := l.smokes()
	if !ok || l.Shape.Casing == profile.PlasticCasing {
		return nil
	}
	var dried time.Duration
	for i, s := range l.Stages[:first] {
		took := l.estimate.stages[i].took
		switch {
		case s.Place == profile.ColdRoom || s.Place == profile.Room:
			dried += took / unheatedSlower
		case s.Place == profile.Chamber && (s.Heat || s.Fan > 0):
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
	if !ok || l.Shape.Casing != profile.PlasticCasing {
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
	case profile.NoCasing, profile.NetCasing:
		return false
	}
	return l.Formula.Composition().Fat >= fatty
}

func fatOut(l *linting) []finding {
	limit, what := fatRunsOut, "fat runs out of a sausage"
	switch {
	case l.Species == profile.Dairy:
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
		if s.Heat && s.ChamberSetpoint > l.chamberHigh-quantity.Celsius(profile.ChamberMargin) {
			found = append(found, finding{i,
				fmt.Sprintf("%s asks for %v; this cabinet's limit is %v and the batch is refused closer to it than %v",
					l.stageName(i), s.ChamberSetpoint, l.chamberHigh, profile.ChamberMargin),
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

// smokeWarms is how much a smouldering generator warms the chamber over the room with the
// damper open: 7 to 10 K in rehearsals of the shipped cabinets, less where its smoke cools in
// a long pipe. Own magnitude, no source.
const smokeWarms quantity.Celsius = 6

func warmRoom(l *linting) []finding {
	var found []finding
	for i, s := range l.Stages {
		if !s.HasNotAbove || l.cools {
			continue
		}
		const remedy = "wait for a colder day, or take a cabinet with a cooler"
		if l.ambient >= s.NotAbove {
			found = append(found, finding{i,
				fmt.Sprintf("%s allows no more than %v in a room of %v, and this cabinet has no cooler", l.stageName(i), s.NotAbove, l.ambient), remedy})
		} else if warmed := l.ambient + smokeWarms; s.Smoke && warmed >= s.NotAbove {
			found = append(found, finding{i,
				fmt.Sprintf("%s allows no more than %v, and smoke warms a chamber without a cooler to %v or more in a room of %v", l.stageName(i), s.NotAbove, warmed, l.ambient), remedy})
		}
	}
	return found
}
