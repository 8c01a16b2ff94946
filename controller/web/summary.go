package web

import (
	"slices"
	"unicode"
	"unicode/utf8"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// summary says what is happening as one would to somebody at the cabinet.
func summary(s *snapshot.Snapshot) string {
	st := &s.State
	chamber := "chamber " + quantity.NotRead
	if t, ok := st.Chamber.Reading.Value(); ok {
		chamber = "chamber " + celsius(t)
	}
	core := ""
	if t, ok := st.Core.Coldest.Value(); ok {
		core = ", core " + celsius(t)
	} else if usesCore(s) {
		core = ", core " + quantity.NotRead
	}
	heater := "heater off"
	if st.Out.On.Has(controller.Heater) {
		heater = "heater on"
	}
	lasted := quantity.FormatDuration(s.BatchElapsed())
	stage := st.CurrentStage(s.Product)
	name := "the batch"
	if stage != nil {
		name = stage.Name
	}
	switch st.Batch {
	case controller.Idle:
		return "No batch: " + heater + ", " + chamber
	case controller.Complete:
		return "Complete after " + lasted + notGood(s) + ": " + heater + ", " + chamber + core
	case controller.Stopped, controller.Aborted:
		return capital(st.Batch.String()) + " after " + lasted + ": " + heater + ", " + chamber + core
	case controller.Holding, controller.Held, controller.Restarting, controller.Stopping, controller.Aborting:
		text := capital(st.Batch.String()) + " in " + name + ": " + heater + ", " + chamber + core
		if st.Tripped != trip.None {
			text += "; tripped by " + st.Tripped.String()
		}
		if from, back, unknown := st.AbsenceUnknown(); unknown {
			text += "; how long the controller was away is not known, at least " + quantity.FormatDuration(back-from) + ": say it, or stop the batch"
		}
		return text
	}
	if stage == nil {
		return capital(st.Batch.String()) + ": " + chamber + core
	}
	text := capital(name) + ": " + heater + ", " + chamber
	if stage.Heat {
		text = capital(name) + ": " + chamber + " of " + stage.ChamberSetpoint.String()
	}
	text += core + "; "
	if l := learningOf(s); l != nil {
		return text + l.Text
	}
	if st.Asking {
		return text + "its clock waits for you: " + stage.Ask
	}
	return text + "ends when " + endedBy(stage)
}

// notGood is said of a batch that completed all the same.
func notGood(s *snapshot.Snapshot) string {
	if good, _, known := s.Ending(); known && !good {
		return ", NOT good"
	}
	return ""
}

// usesCore reports whether the stage under way waits for the core.
func usesCore(s *snapshot.Snapshot) bool {
	stage := s.State.CurrentStage(s.Product)
	return stage != nil && slices.ContainsFunc(stage.Until.Conditions, func(c profile.Condition) bool {
		return c.Kind == profile.CoreAtLeast || c.Kind == profile.CoreAtMost || c.Kind == profile.LethalityAtLeast
	})
}

func capital(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return text
	}
	return string(unicode.ToUpper(r)) + text[n:]
}
