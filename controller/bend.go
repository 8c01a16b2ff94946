package controller

import (
	"slices"
	"strings"
	"time"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// A Bend is what a person has changed of the stage under way. It ends with the stage: the
// next one is as the file has it. Nothing of it touches a limit, the end of the heat, or
// what the food must have had.
type Bend struct {
	Parts   BentParts        `record:"changed"`
	Chamber quantity.Celsius `record:"chamber_celsius"`
	Core    quantity.Celsius `record:"core_celsius"` // that the stage waits for
	Time    time.Duration    `record:"time"`         // that the stage lasts for
	Smoke   quantity.Ratio   `record:"smoke_ratio"`  // of full air, once the ember glows; zero is no smoke
}

// BentParts is which parts of a stage are changed, a bit for each.
type BentParts uint8

// The parts.
const (
	BentChamber BentParts = 1 << iota
	BentCore
	BentTime
	BentSmoke
)

// BitNames gives the names under which records keep the parts, lowest bit first.
func (BentParts) BitNames() []string { return []string{"chamber", "core", "time", "smoke"} }

// Has reports whether one of the parts is changed.
func (b *Bend) Has(part BentParts) bool { return b.Parts&part != 0 }

// String says what is changed, as people read it.
func (b Bend) String() string {
	var texts []string
	if b.Has(BentChamber) {
		texts = append(texts, "chamber "+b.Chamber.String())
	}
	if b.Has(BentCore) {
		texts = append(texts, "core "+b.Core.String())
	}
	if b.Has(BentTime) {
		texts = append(texts, "lasts "+quantity.FormatDuration(b.Time))
	}
	if b.Has(BentSmoke) {
		if b.Smoke > 0 {
			texts = append(texts, "smoke with "+b.Smoke.String()+" of full air")
		} else {
			texts = append(texts, "no smoke")
		}
	}
	return strings.Join(texts, ", ")
}

// and is b with what is newer.
func (b Bend) and(newer Bend) Bend {
	b.Parts |= newer.Parts
	if newer.Has(BentChamber) {
		b.Chamber = newer.Chamber
	}
	if newer.Has(BentCore) {
		b.Core = newer.Core
	}
	if newer.Has(BentTime) {
		b.Time = newer.Time
	}
	if newer.Has(BentSmoke) {
		b.Smoke = newer.Smoke
	}
	return b
}

// of is the stage as it is bent.
func (b *Bend) of(stage *profile.Stage) *profile.Stage {
	if b.Parts == 0 {
		return stage
	}
	bent := *stage
	if b.Has(BentChamber) {
		bent.ChamberSetpoint = b.Chamber
	}
	if b.Has(BentSmoke) {
		bent.Smoke = b.Smoke > 0
	}
	if b.Parts&(BentCore|BentTime) != 0 {
		bent.Until.Conditions = slices.Clone(stage.Until.Conditions)
	}
	for i := range bent.Until.Conditions {
		switch c := &bent.Until.Conditions[i]; {
		case c.Kind == profile.After && b.Has(BentTime):
			c.After = b.Time
		case waitsForTheCore(c) && b.Has(BentCore):
			c.Core = b.Core
		}
	}
	return &bent
}

func waitsForTheCore(c *profile.Condition) bool {
	return c.Kind == profile.CoreAtLeast || c.Kind == profile.CoreAtMost
}

func conditionOf(stage *profile.Stage, of func(*profile.Condition) bool) *profile.Condition {
	for i := range stage.Until.Conditions {
		if c := &stage.Until.Conditions[i]; of(c) {
			return c
		}
	}
	return nil
}

func isAfter(c *profile.Condition) bool { return c.Kind == profile.After }

// A Bound is how far one part of the stage under way may be changed.
type Bound[T any] struct {
	Can       bool // the stage has it
	Now, File T
	Low, High T
}

// Bounds is what of the stage under way may be changed, and how far.
type Bounds struct {
	Known   bool // a batch is under way
	Stage   Question
	Chamber Bound[quantity.Celsius] // it must also stay above the core that is waited for
	Core    Bound[quantity.Celsius] // and that below the chamber
	Time    Bound[time.Duration]
	Smoke   Bound[quantity.Ratio] // or none at all, which is zero
	After   int                   // the stage to which EndCooking goes; zero where nothing heats
}

// StageName names the stage under way for a command that changes it.
func (s *State) StageName() Question {
	return Question{Stage: s.Stage, Part: WholeStage, Batch: s.Started.Truncate(time.Millisecond)}
}

// Bounds gives what of the stage under way may be changed.
func (m *Machine) Bounds(s *State) (b Bounds) {
	stage := s.CurrentStage(m.product)
	if stage == nil {
		return b
	}
	file := &m.product.Stages[s.Stage]
	b.Known, b.Stage = true, s.StageName()
	if stage.Heat {
		low, high := m.product.ChamberBounds()
		high = min(high, m.cabinet.Limits.ChamberHigh-quantity.Celsius(profile.ChamberMargin))
		b.Chamber = Bound[quantity.Celsius]{true, stage.ChamberSetpoint, file.ChamberSetpoint, low, high}
	}
	if c := conditionOf(stage, waitsForTheCore); c != nil {
		low, high := profile.CoreBounds()
		b.Core = Bound[quantity.Celsius]{true, c.Core, conditionOf(file, waitsForTheCore).Core, low, high}
	}
	if c := conditionOf(stage, isAfter); c != nil {
		b.Time = Bound[time.Duration]{true, c.After, conditionOf(file, isAfter).After, time.Minute, profile.LongestStage()}
		if ends := m.heatEnds(s.Stage); ends > 0 { // the end of the heat stays where the file has put it
			b.Time.High = min(b.Time.High, ends)
		}
	}
	if m.cabinet.Smoke.Fitted && stage.Place == profile.Chamber {
		share := func(st *profile.Stage) quantity.Ratio {
			if !st.Smoke {
				return 0
			}
			return m.cabinet.Generator.Share()
		}
		b.Smoke = Bound[quantity.Ratio]{true, share(stage), share(file), m.cabinet.Generator.LeastShare(m.cabinet.Smoke), 1}
		if s.Bend.Has(BentSmoke) {
			b.Smoke.Now = s.Bend.Smoke
		}
	}
	b.After = m.afterHeat(s.Stage)
	return b
}

// afterHeat is the first stage behind the last that heats; zero where nothing heats from
// stage i on.
func (m *Machine) afterHeat(i int) int {
	last := -1
	for j := i; j < len(m.product.Stages); j++ {
		if m.product.Stages[j].Heat {
			last = j
		}
	}
	return last + 1
}

// bend carries out what a person changes of the stage that is named, or refuses it.
func (t *step) bend() {
	s, c := t.s, &t.in.Command
	b := t.m.Bounds(s)
	if why := b.Refused(c, s); why != 0 {
		t.refuse(why)
		return
	}
	switch c.Kind {
	case Adjust:
		s.Bend, t.bent = s.Bend.and(c.Bend), nil
		t.event(Event{Kind: Bent, Stage: s.Stage, Bend: c.Bend, For: s.StageClock})
	case Skip:
		t.skipTo(s.Stage + 1)
	default:
		t.skipTo(b.After)
	}
}

// Refused is why a command that changes the stage under way is not taken; zero is that it is.
func (b *Bounds) Refused(c *Command, s *State) Refusal {
	if why := c.Kind.Refused(s); why != 0 {
		return why
	}
	switch {
	case !b.Known:
		return NothingToRun
	case c.Question != b.Stage:
		return AnotherStage
	case !c.Excused:
		return NoReason
	case c.Kind == Adjust:
		return b.refused(&c.Bend)
	case s.Stage == 0 && s.Asking: // nobody knows whether the probes are in the meat
		return HandStepFirst
	case c.Kind == EndCooking && b.After == 0:
		return NothingHeats
	}
	return 0
}

// refused is why what is to change is not taken. A number that is none is
// outside of every bound.
func (b *Bounds) refused(change *Bend) Refusal {
	const all = BentChamber | BentCore | BentTime | BentSmoke
	switch {
	case change.Parts == 0 || change.Parts&^all != 0:
		return NothingBent
	case change.Has(BentChamber) && !b.Chamber.Can, change.Has(BentCore) && !b.Core.Can, change.Has(BentTime) && !b.Time.Can, change.Has(BentSmoke) && !b.Smoke.Can:
		return NotInThisStage
	case change.Has(BentChamber) && !within(b.Chamber, change.Chamber):
		return ChamberOutOfBounds
	case change.Has(BentCore) && !within(b.Core, change.Core):
		return CoreOutOfBounds
	case change.Has(BentTime) && !within(b.Time, change.Time):
		return TimeOutOfBounds
	case change.Has(BentSmoke) && change.Smoke != 0 && !within(b.Smoke, change.Smoke):
		return SmokeOutOfBounds
	}
	core, chamber := b.Core.Now, b.Chamber.Now
	if change.Has(BentCore) {
		core = change.Core
	}
	if change.Has(BentChamber) {
		chamber = change.Chamber
	}
	switch {
	case !b.Core.Can || !b.Chamber.Can || core < chamber || change.Parts&(BentChamber|BentCore) == 0:
		return 0
	case change.Has(BentChamber):
		return ChamberOutOfBounds
	}
	return CoreOutOfBounds
}

func within[T quantity.Celsius | quantity.Ratio | time.Duration](b Bound[T], v T) bool {
	return v >= b.Low && v <= b.High
}

// skipTo ends the stage under way at the word of a person and goes on with another, further
// on. What the stages between waited for is not shown.
func (t *step) skipTo(stage int) {
	s := t.s
	for i := s.Stage; i < stage; i++ {
		s.skipped |= 1 << i
	}
	t.answered(trip.PromptWaiting, trip.PromptOverdue, trip.StageOvertime, trip.StageOverdue)
	t.event(Event{Kind: StageEnded, Stage: s.Stage, By: EndedBySkip, For: s.StageClock})
	t.goOn(stage)
	t.changed = true // it begins with the next step
}

// safeToo reports whether a core that a person has set easier to reach has come with what
// the food needs: where the last heat ends the lethality, where the last chill ends the
// rule, unless that is broken already.
func (t *step) safeToo(c *profile.Condition) bool {
	s := t.s
	if !s.Bend.Has(BentCore) {
		return true
	}
	file := conditionOf(&t.m.product.Stages[s.Stage], waitsForTheCore)
	rules := t.m.rules.Rules(s.Edition, s.Where, s.CoreError)
	switch {
	case file == nil:
	case c.Kind == profile.CoreAtLeast && c.Core < file.Core && rules.Criterion != nil && t.m.afterHeat(s.Stage) == s.Stage+1:
		return rules.Criterion.Met(s.Heat)
	case c.Kind == profile.CoreAtMost && c.Core > file.Core && rules.Chill != nil && t.lastChill():
		rule := rules.Chilling()
		return rule.Pass(s.Chill) || rule.Failed(s.Chill)
	}
	return true
}

// lastChill reports whether no stage after this one waits for a core that falls.
func (t *step) lastChill() bool {
	for i := t.s.Stage + 1; i < len(t.m.product.Stages); i++ {
		if t.m.product.Stages[i].Until.Has(profile.CoreAtMost) {
			return false
		}
	}
	return true
}

// airShare is how much of full air the smoke generator gets once its ember glows.
func (t *step) airShare() quantity.Ratio {
	if t.s.Bend.Has(BentSmoke) {
		return t.s.Bend.Smoke
	}
	return t.m.cabinet.Generator.Share()
}
