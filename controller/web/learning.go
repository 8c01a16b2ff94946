package web

import (
	"fmt"

	"fumarium/controller/snapshot"
	"fumarium/controller/tune"
	"fumarium/profile/quantity"
)

// Learning is an experiment under way by which the cabinet learns.
type Learning struct {
	Phase         string   `json:"phase"`
	Fan           bool     `json:"fan"`
	Text          string   `json:"text"` // all of it in words
	Cycles        int      `json:"cycles"`
	CyclesWanted  int      `json:"cycles_wanted"`
	TargetCelsius float64  `json:"target_celsius"`
	ProgressRatio *float64 `json:"progress_ratio"` // of this state of the fan
}

// Learned is what came of the last one since the daemon began.
type Learned struct {
	Batch string   `json:"batch"`
	Lines []string `json:"lines"`
	Kept  *string  `json:"kept"` // where it is kept
	Do    *string  `json:"do"`   // what a person has to do about it
}

// learningOf is nil where no stage under way learns.
func learningOf(s *snapshot.Snapshot) *Learning {
	st := &s.State
	stage := st.CurrentStage(s.Product)
	if !st.Learns || stage == nil || !stage.Heat {
		return nil
	}
	t := &st.Heater.Tune
	l := &Learning{Phase: t.Phase.String(), Fan: stage.Fan > 0, Cycles: t.Cycles, CyclesWanted: tune.Cycles, TargetCelsius: float64(stage.ChamberSetpoint)}
	chamber, known := st.Chamber.Reading.Value()
	share, ok := t.Share(stage.ChamberSetpoint, chamber)
	l.ProgressRatio = quantity.OrNull(share, ok && known)
	fan := "without the fan"
	if l.Fan {
		fan = "with the fan"
	}
	switch t.Phase {
	case tune.Rest:
		l.Text = fmt.Sprintf("learns %s: at rest for %s, the heater off", fan, quantity.FormatDuration(t.For))
	case tune.Full:
		l.Text = fmt.Sprintf("learns %s: full heat up to %v, for %s", fan, stage.ChamberSetpoint, quantity.FormatDuration(t.For))
	default:
		l.Text = fmt.Sprintf("learns %s: on and off around %v, time %d of %d", fan, stage.ChamberSetpoint, min(t.Cycles, tune.Cycles), tune.Cycles)
	}
	return l
}

func learnedOf(s *snapshot.Snapshot) *Learned {
	if s.Learned == nil {
		return nil
	}
	return &Learned{Batch: s.Learned.Batch, Lines: s.Learned.Lines, Kept: word(s.Learned.Kept), Do: word(s.Learned.Do)}
}
