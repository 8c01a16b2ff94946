// Package snapshot is what everything outside the control loop sees of it: one
// value, made after each step and never changed afterwards. The page and the
// metrics read it; what they want done goes back as a Request. Nothing here can
// reach a relay.
package snapshot

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/weighed"
)

// A Snapshot is the loop's world after one step. Treat it as read-only: several
// readers share it.
type Snapshot struct {
	Simulated bool
	Pace      float64   // virtual seconds per wall second; 1 on a real cabinet
	Time      time.Time // of the step; on a simulated cabinet its virtual clock
	// Stepped is the wall clock when the step was made, with its monotonic part,
	// so that a reader can tell how old the numbers are whatever Time runs on.
	Stepped time.Time
	Cabinet *cabinet.Cabinet
	Product *profile.Product // nil before the first batch
	State   controller.State
	// Weighed is what people weighed for the batch, as far as it is on its record; nil is
	// nothing.
	Weighed *weighed.Tally
	// Learned is what the cabinet has learned since the daemon began; nil is nothing.
	Learned *Learned
	// HeatLeft is how long the heat lasts yet without a person's word, where it heats.
	HeatLeft time.Duration
	Heats    bool
	Bounds   controller.Bounds // what of the stage under way may be changed
	Inputs   controller.Inputs
	Stopping bool // the daemon is switching off to exit

	RelayWear float64 // share of its rated cycles that the heater's relay has been used for
	WearKnown bool

	StepsLate    uint64
	RecordErrors uint64 // attempts to write the record that failed, since the daemon began
	RecordKept   bool   // there is a record whose errors could be counted

	BatchID string // in the record; empty before the first batch and without a record
	// History is what has happened, also before a restart in the middle of the batch;
	// its Use counts since the daemon began.
	History history.History
}

// Learned is what came of an experiment by which the cabinet learned.
type Learned struct {
	Batch string
	// Lines say for each state of the fan what was learned, or why nothing was.
	Lines []string
	// Kept says where it is kept now, and Do what a person has to do about it; one of them may
	// be empty.
	Kept, Do string
	// Cabinet is the one to go by from now on, as File has it; nil is the same as before.
	Cabinet *cabinet.Cabinet
	File    []byte
}

// A Request is a command from outside the loop, ready for its step: what the page, the
// command line and the daemon itself hand in. Start needs a Product.
type Request struct {
	Command controller.Command
	Product *profile.Product
	Reason  string // why it starts all the same, whatever speaks against it, or why the stage is changed; goes on the record
	Who     string // who asks: the page, the command line
	// ProductName and ProductFile are the file that Product was read from.
	ProductName string
	ProductFile []byte
}

// Complete reports what the command needs and the request does not have.
func (r *Request) Complete() error {
	kind := r.Command.Kind
	if !slices.Contains(controller.Commands(), kind) {
		return errors.New("there is no such command")
	}
	for _, part := range []struct {
		of   controller.With
		have bool
		what string
	}{
		{controller.WithProduct, r.Product != nil, "a product"},
		{controller.WithAlarm, r.Command.Alarm != trip.None, "an alarm"},
		{controller.WithProbe, r.Command.Probe > 0, "a probe"},
		{controller.WithStage, r.Command.Question.Part == controller.WholeStage, "the stage that is meant"},
		{controller.WithReason, r.Reason != "" && r.Command.Excused, "a reason"},
		{controller.WithBend, r.Command.Bend.Parts != 0, "something to change"},
		{controller.WithQuestion, r.Command.Question.Part != controller.Unnamed || r.Command.Question.Absence > 0, "the question that it answers"},
	} {
		if kind.Needs()&part.of != 0 && !part.have {
			return fmt.Errorf("%s needs %s", kind, part.what)
		}
	}
	return nil
}

// A Reply says what the step that took the request did with it.
type Reply struct {
	Accepted   bool
	Recorded   bool // it is on disk; otherwise Unrecorded says why not, and what follows
	Unrecorded string
	Why        string // when refused
	State      controller.BatchState
	// Findings are what speaks against a start. Excusable says that it is taken with a
	// reason, which goes on the record with them; Accepted that there was one.
	Findings  []string
	Excusable bool
}

// HeaterEnergyJoules is the heater's rated power times its on-time since the daemon
// began.
func (s *Snapshot) HeaterEnergyJoules() float64 {
	return float64(s.Cabinet.Heater.Power) * s.History.Use().HeaterOn.Seconds()
}

// StageElapsed is how long the stage under way has counted.
func (s *Snapshot) StageElapsed() time.Duration { return s.State.StageClock }

// BatchElapsed is the age of the batch, or its whole length once it has ended.
func (s *Snapshot) BatchElapsed() time.Duration {
	switch {
	case s.State.Batch == controller.Idle:
		return 0
	case s.State.Batch.Active():
		return s.State.Elapsed - s.State.Started
	}
	return s.State.Ended - s.State.Started
}
