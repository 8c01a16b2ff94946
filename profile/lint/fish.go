package lint

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/fish"
)

// coldSmoke holds the time in the chamber against what fish that is smoked cold may have.
// A stage without heat is as warm as the room.
func coldSmoke(l *linting) []finding {
	if l.Process != profile.ColdSmoked {
		return nil
	}
	var course fish.Course
	for i, s := range l.Stages {
		if s.Place != profile.Chamber {
			continue
		}
		chamber := l.ambient
		if s.Heat {
			chamber = max(chamber, s.ChamberSetpoint)
		}
		course = course.Add(chamber, true, l.estimate.stages[i].took)
		if broken := course.Broken(); broken != "" {
			return []finding{{i, fmt.Sprintf("by the end of %s %s; fish is smoked cold %s", l.stageName(i), broken, fish.Ways()),
				"shorten the time in the chamber, or dry it in a cold room first"}}
		}
	}
	return nil
}

func parasites(l *linting) []finding {
	if l.Process != profile.ColdSmoked || l.Fish.Parasites != fish.NoSafeguard {
		return nil
	}
	return []finding{{-1, "the fish stays raw, and the file names neither a freezing that kills parasites nor what exempts it from one",
		"add fish: {parasites: {frozen: -20 °C, for: 168 h}}, or parasites: farmed on pellets if its supplier says so in writing"}}
}
