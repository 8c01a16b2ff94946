package controller

import (
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

const (
	// LateAfter is the longest gap between two steps that counts as in time. The
	// loop calls every second; common practice, no source.
	LateAfter = 5 * time.Second
	// Dwell is how long a core condition must hold without a break before it
	// counts, so that one noisy sample ends nothing. Common practice, no source.
	Dwell = 20 * time.Second
)

// A BatchState is where the batch is in its life; names from ISA-88.
type BatchState uint8

// The states. A zero BatchState has not started.
const (
	Idle BatchState = iota
	Running
	Holding
	Held
	Restarting
	Stopping
	Stopped
	Aborting
	Aborted
	Complete
	BatchStates // number of states, for loops
)

var batchStateText = [BatchStates]string{
	"idle", "running", "holding", "held", "restarting",
	"stopping", "stopped", "aborting", "aborted", "complete",
}

func (b BatchState) String() string {
	if b < BatchStates {
		return batchStateText[b]
	}
	return quantity.Unknown
}

// Active reports whether a batch is under way, so that no other can start.
func (b BatchState) Active() bool {
	switch b {
	case Idle, Stopped, Aborted, Complete:
		return false
	}
	return true
}

// Passing reports whether the state lasts one step only, on the way to another.
func (b BatchState) Passing() bool {
	switch b {
	case Holding, Restarting, Stopping, Aborting:
		return true
	}
	return false
}

// Inputs is everything one step may know about the world. Its zero value is a
// world in which nothing could be read.
type Inputs struct {
	// Elapsed is monotonic time since the caller began; it never decreases.
	Elapsed time.Duration                             `record:"elapsed"`
	Chamber [cabinet.MaxChamberProbes]sensors.Reading `record:"chamber"`
	Core    [cabinet.MaxCoreProbes]sensors.Reading    `record:"core"`
	WetBulb sensors.Reading                           `record:"wet_bulb"`
	Ambient sensors.Reading                           `record:"ambient"`
	Ember   sensors.Reading                           `record:"ember"` // in the smouldering wood
	Board   sensors.Reading                           `record:"board"` // of the front ends, the coldest: about as warm as the room
	// AirPascal is the pressure of the air, as measured in the room; 0 is not measured.
	AirPascal float64 `record:"air_pressure_pascal"`
	// AirHumidity is likewise the room's. No step goes by it: what is rehearsed of the batch does.
	AirHumidity quantity.Ratio `record:"air_humidity"`
	Door        DoorStatus     `record:"door"`
	Heater      Feedback       `record:"heater_feedback"` // what is behind the heater's relay, not what was asked of it
	// DriveFailed says that the outputs of the last step could not all be set; the
	// caller has tried to switch everything off.
	DriveFailed bool `record:"drive_failed"`
	// RecordFailing says that the record of this batch cannot be written now.
	RecordFailing bool `record:"record_failing"`
	DiskLow       bool `record:"disk_low"`
	// PowerLost says that the caller was away since the last step; Elapsed has
	// jumped by the gap.
	PowerLost bool `record:"power_lost"`
	// Away says how that is known. In a later step AwayByClock says that an absence of
	// which nobody knew how long it was has turned out to have lasted AwayFor altogether.
	Away         Evidence      `record:"away"`
	AwayFor      time.Duration `record:"away_for"`
	ClockUnset   bool          `record:"clock_unset"`   // the time of day is not known
	ClockStepped bool          `record:"clock_stepped"` // the time of day jumped since the last step
	Panel        PanelFaults   `record:"panel"`         // of what hangs at the front of the cabinet
	RelayWorn    bool          `record:"relay_worn"`    // the heater's, by how often it closed
	CopiesFail   bool          `record:"copies_fail"`   // of batches, into the folder for copies
	Drift        Drift         `record:"drift"`         // of the cabinet, by DriftOf the batches before
	Command      Command       `record:"command"`
}

// DoorStatus is what a door switch says.
type DoorStatus uint8

// A door without a switch is never known to be open. A switch that cannot be read
// counts as open.
const (
	NoDoorSwitch DoorStatus = iota
	DoorShut
	DoorOpen
	DoorUnread
)

// PanelFaults is what is wrong with display and buttons at the cabinet: a bit for each.
type PanelFaults uint8

// The faults. Records hold their bits.
const (
	DisplayDead PanelFaults = 1 << iota // it takes no picture
	ButtonBad                           // stuck, chattering or unread
)

// Feedback is what a contact behind the heater's relay says.
type Feedback uint8

// Without a feedback contact nothing is known.
const (
	NoFeedback Feedback = iota
	FeedbackOff
	FeedbackOn
)

// State is everything the step remembers. It holds no pointer and no NaN, so it
// can be recorded whole and compared with ==. The zero State has not started.
type State struct {
	Begun   bool          `record:"begun"` // a step has been made
	Elapsed time.Duration `record:"elapsed"`
	Batch   BatchState    `record:"batch.state"`
	Tripped trip.Code     `record:"batch.trip"` // the latched trip; None is none

	Started time.Duration `record:"batch.started"` // when the batch was started
	Ended   time.Duration `record:"batch.ended"`   // when it completed, stopped or aborted

	Stage        int           `record:"stage.index"` // index into the product's stages
	StageEntered time.Duration `record:"stage.entered"`
	StageClock   time.Duration `record:"stage.clock"`          // time that counts for "after": running, nothing asked
	Asking       bool          `record:"stage.asking"`         // the stage's hand step waits for the person
	Confirming   int           `record:"stage.confirming"`     // 1 + index of the condition that waits for the person; 0 is none
	asked        time.Duration `record:"stage.asked"`          // when what waits was asked
	met          uint8         `record:"stage.confirmed_mask"` // confirmations given, a bit for each condition
	holding      uint8         `record:"stage.holding_mask"`   // conditions that held in the last step
	CoreMetSince time.Duration `record:"stage.core_met_since"` // start of the unbroken dwell of the core condition
	coreMeeting  bool          `record:"stage.core_meeting"`
	coreUnseen   time.Duration `record:"stage.core_unseen"`
	Bend         Bend          `record:"bend"`                // what a person has changed of the stage under way
	skipped      uint32        `record:"stages.skipped_mask"` // stages that a person ended before their time, a bit for each

	Chamber  chamberMemory `record:"chamber"`
	Core     coreMemory    `record:"."`
	Heater   heaterMemory  `record:"heater"`
	Smoke    smokeMemory   `record:"smoke"`
	Wick     wickMemory    `record:"wick"`
	HeatTime heatTime      `record:"heat_time"`
	Balance  balanceMemory `record:"balance"`
	Fan      fanMemory     `record:"fan"`
	Absence  absence       `record:"absence"`
	Evidence evidence      `record:"evidence"`

	humidifierOn bool      `record:"humidifier.on"`
	Air          airMemory `record:"air"`

	// Learns says that the batch is an experiment: see Tune.
	Learns bool `record:"batch.learns"`

	proof.Claiming `record:"claim"` // what is claimed for the batch
	// CoreError is how far a core probe may be wrong, as it was said when the batch was
	// started. Every rule on the core is moved by it to the strict side.
	CoreError quantity.Kelvin `record:"cores.error_kelvin"`
	unshown   uint8           `record:"cores.unshown_mask"` // core probes that only ice water can show to be right
	// Where is the place whose rules the batch is held to, as it was said when it was
	// started. None, in records from before it was said, leaves it to the product.
	Where profile.Jurisdiction `record:"batch.jurisdiction"`
	// Edition is which rules of this program it is held to.
	Edition proof.Edition `record:"batch.rules_edition"`

	Alarms  [trip.Count]trip.State `record:"alarm"`
	stirred trip.Set               `record:"alarms.not_quiet_mask"` // alarms that are not quiet
	Out     Outputs                `record:"out"`                   // what the last step put out
}

// A Prompt is a hand step or a question that waits for the person.
type Prompt struct {
	Question Question
	Text     string
	Since    time.Duration
}

// Waiting returns the prompt that the batch waits for, if any.
func (s *State) Waiting(p *profile.Product) (Prompt, bool) {
	if _, back, unknown := s.AbsenceUnknown(); unknown {
		q, _ := s.Question()
		return Prompt{Question: q, Text: s.Absence.text(), Since: back}, true
	}
	if p == nil || !s.Batch.Active() || s.Stage >= len(p.Stages) {
		return Prompt{}, false
	}
	q, _ := s.Question()
	prompt := Prompt{Question: q, Since: s.asked}
	if s.asked == 0 { // asked by a program that did not keep it
		prompt.Since = max(s.StageEntered, s.Alarms[trip.PromptWaiting].Since)
	}
	stage := &p.Stages[s.Stage]
	switch {
	case s.Asking:
		prompt.Text = stage.Ask
	case s.Confirming > 0 && s.Confirming <= len(stage.Until.Conditions):
		prompt.Text = stage.Until.Conditions[s.Confirming-1].Confirm
	default:
		return Prompt{}, false
	}
	return prompt, true
}

// CurrentStage returns the stage under way as a person may have changed it, or nil when no
// batch is.
func (s *State) CurrentStage(p *profile.Product) *profile.Stage {
	if p == nil || !s.Batch.Active() || s.Stage >= len(p.Stages) {
		return nil
	}
	return s.Bend.of(&p.Stages[s.Stage])
}

// Skipped reports whether a person ended stage i before its time, or passed it over.
func (s *State) Skipped(i int) bool { return i < 32 && s.skipped>>i&1 != 0 }

// LethalityLog10 is the reduction counted so far, and false when the product has
// no criterion that is a log reduction.
func (s *State) LethalityLog10(p *profile.Product) (float64, bool) {
	if p == nil {
		return 0, false
	}
	return s.log10(p.Criterion())
}

func (s *State) log10(c *lethality.Criterion) (float64, bool) {
	if c == nil || c.Required == 0 {
		return 0, false
	}
	return c.Log10(s.Heat), true
}
