package lint

import (
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/ferment"
	"fumarium/profile/quantity"
)

// fermentWarm reckons the degree-hours of the schedule until the pH is measured, each stage
// at its setpoint, and the one that waits for the pH for as long as its within allows.
func fermentWarm(l *linting) []finding {
	at, _, ok := l.MeasuredBy(profile.SourTo)
	if l.Process != profile.FermentedAndDried || !ok {
		return nil
	}
	table := l.where.SourTable()
	var course ferment.Course
	for i, s := range l.Stages[:at+1] {
		room := l.ambient
		if s.Heat {
			room = max(room, s.ChamberSetpoint)
		}
		took := longest(s.Until)
		if i == at {
			took = max(took, s.Within)
			if s.Within <= 0 {
				return []finding{{i, l.stageName(i) + " waits for the pH and has no within, so nobody is called before the degree-hours are over",
					"add within: with the time that the degree-hours leave, less some hours for another measurement"}}
			}
		}
		course = course.Add(room, true, took)
	}
	if !course.Over(table) {
		return nil
	}
	got, limit := course.Of(table)
	remedy := "shorten within, and measure the pH sooner"
	if longest, ends := table.Longest(course.Hottest); ends {
		remedy = fmt.Sprintf("at %v the pH must be measured within %s of hanging; shorten within, and measure it sooner", course.Hottest, quantity.FormatDuration(longest.Truncate(time.Hour)))
	}
	return []finding{{at, fmt.Sprintf("by the within of %s the sausage has had %.0f %s at up to %v, and the limit is %.0f (%s)", l.stageName(at), got, table.Unit, course.Hottest, limit, table.Source), remedy}}
}

// fermentUncured asks for nitrite, without which nothing holds back Clostridium botulinum in
// the warmth.
func fermentUncured(l *linting) []finding {
	if l.Process != profile.FermentedAndDried || l.cured() {
		return nil
	}
	return []finding{{-1, "sausage is fermented warm without nitrite, and Clostridium botulinum can grow in it", "cure it with at least 100 ppm of nitrite"}}
}
