// Package loop is the live shell around the controller's step: it keeps the
// clock, samples the probes, calls the step, drives the outputs and publishes a
// snapshot. It decides nothing about heat. However it ends (asked to, by an error
// or by a panic), it switches every output off first.
//
// Order of effects after each step: every off at once, then whatever has to be
// written, then every on, then the word to whoever watches the loop. Writing may
// delay heat; it may never delay cutting it.
package loop

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync/atomic"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/source"
)

const (
	// Period is the time between two steps.
	Period = time.Second
	// leastTick is the shortest wall time between two wake-ups; a pace that needs
	// more makes several steps in one.
	leastTick = 5 * time.Millisecond
	// mostStepsPerTick bounds the catching up of a simulated cabinet.
	mostStepsPerTick = 600
	queueLength      = 8
)

// ErrLive is wrapped by the error of World.Drive when every output is known to be off,
// but for the sounder if it was wanted, and the heating element has voltage all the
// same: its contact is welded, or its feedback is wired wrongly. No program can switch
// that off.
var ErrLive = errors.New("the element has voltage although its relay is off; cut the mains")

// A World is what the loop reads and drives: real buses, or the simulated
// cabinet. Sample never fails as a whole: what could not be read is a fault in
// the reading's place.
type World interface {
	Sample(elapsed time.Duration) controller.Inputs
	// Drive sets every output. After an error the outputs are not known to be set,
	// unless it is ErrLive.
	Drive(controller.Outputs) error
	// Hang gets ready for a batch of p, while none is active and before the step
	// that may start it. An error refuses the start.
	Hang(p *profile.Product) error
}

// A Person gives orders where no client does: a simulated one, who stands in for the
// operator of a simulated cabinet. It is asked before every step that no client has an
// order for.
type Person interface {
	Answer(*controller.State) controller.Command
}

// A Keeper keeps what happens; a record.Recorder is one. No method may wait for a
// disk: the step calls them.
type Keeper interface {
	Begin(record.Moment, record.Start) (id string)
	Resume(*record.Recovery, controller.State)
	Step(record.Moment, *controller.Inputs, controller.Outputs, []controller.Event, *controller.State, record.By) record.Receipt
	Health() record.Health
}

// A Config is what a Loop needs.
type Config struct {
	World   World
	Person  Person // nil is nobody
	Cabinet *cabinet.Cabinet
	// Pace is virtual seconds per wall second. Anything but zero makes time
	// virtual: steps are counted, and a late tick loses nothing. Zero is a real
	// cabinet on the monotonic clock.
	Pace float64
	Log  *slog.Logger
	// Record keeps the batches; nil keeps none, which only tests want. CabinetFile is
	// the file that Cabinet was read from.
	Record      Keeper
	CabinetFile record.File
	// Resume is a batch that a former run of the program left unfinished, or nil.
	Resume *Resume
	// Latched is the trip that was latched when a former run ended; None is none. It is
	// the cabinet's, whatever became of a batch.
	Latched trip.Code
	// Judge says what speaks against a product in this cabinet: an error refuses its start,
	// advice wants a reason. It is called outside of the loop. Nil finds nothing.
	Judge func(*profile.Product, record.File) source.Findings
	// Where is the place whose rules a product is held to that names none.
	Where profile.Jurisdiction
	// Panel is what is wrong with display and buttons at the cabinet. It must not wait. Nil
	// is a cabinet without.
	Panel func() controller.PanelFaults
	// Wear is what share of its rated cycles the heater's relay has been used for, and false
	// where nobody knows. It must not wait. Nil knows nothing.
	Wear func() (ratio float64, known bool)
	// Drift is how the heat that holds a cabinet's chamber has changed. It must not wait. Nil
	// knows nothing.
	Drift func(*cabinet.Cabinet) controller.Drift
	// CopiesFail reports whether batches have no copy where they should. It must not wait. Nil
	// keeps no copies.
	CopiesFail func() bool
	// Ended is told of each batch that is over, with what can be said of it. It must not wait.
	Ended func(batch string, s *snapshot.Snapshot)
	// Told is what people must know of the time before Run, such as a record that was
	// found damaged. The page shows it.
	Told []string
	// Cycle is called at the very end of each full cycle that left the outputs known:
	// as they were asked for and verified, or off. Whoever watches the loop from
	// outside may go by it and by nothing else. Nil is nobody. See Loop.fed for an
	// element that stays live.
	Cycle func(*snapshot.Snapshot)
	// Up is the computer's clock since boot, with the time that it slept; nil is the
	// monotonic one, which stands still meanwhile.
	Up func() time.Duration
	// Synced reports whether the time of day was synchronised since boot. Nil is never.
	Synced func() bool
}

// A Resume is a batch to go on with.
type Resume struct {
	Product  *profile.Product
	State    controller.State
	Recovery *record.Recovery
}

// A Loop runs one cabinet.
type Loop struct {
	cfg      Config
	requests chan request
	early    *request // asked for one step too early
	current  atomic.Pointer[snapshot.Snapshot]
	weighed  atomic.Pointer[weighing]
	learned  atomic.Pointer[snapshot.Learned]
	observe  func(took, late time.Duration)

	state   controller.State
	machine *controller.Machine
	from    time.Duration // elapsed when Run began: not zero after a Resume
	failed  bool          // the last outputs could not all be set
	live    bool          // the last word of the outputs was ErrLive
	found   bool          // and so it has been since before the first step
	wall    time.Time     // of the last step, to see the clock step
	up      time.Duration // of the last step, by Config.Up
	upBegan time.Duration // when Run began
	synced  bool          // the time of day was, by the last step
	left    record.Moment // when an absence began of which nobody knows how long it was
	first   bool          // no step has been made yet after a Resume
	late    time.Duration // by how much the loop woke after its tick
	applied controller.Outputs
	steps   uint64
	began   time.Time
	snap    snapshot.Snapshot // the next to be published
}

// New prepares a loop; Run starts it.
func New(cfg Config) (*Loop, error) {
	switch {
	case cfg.World == nil || cfg.Cabinet == nil || cfg.Log == nil:
		return nil, errors.New("loop: world, cabinet and log are required")
	case cfg.Pace < 0 || math.IsNaN(cfg.Pace) || cfg.Pace > 100000:
		return nil, fmt.Errorf("loop: pace %v is outside 0 to 100000", cfg.Pace)
	}
	idle, err := controller.New(nil, cfg.Cabinet)
	if err != nil {
		return nil, fmt.Errorf("loop: %w", err)
	}
	if cfg.Up == nil {
		began := time.Now()
		cfg.Up = func() time.Duration { return time.Since(began) }
	}
	if cfg.Synced == nil {
		cfg.Synced = func() bool { return false }
	}
	return &Loop{cfg: cfg, machine: idle, requests: make(chan request, queueLength), applied: controller.Outputs{Damper: 1}, observe: func(took, late time.Duration) {}}, nil
}

// Observe sets what is told how long each step took, and how much later it began than a
// period after the one before: what kept the loop waiting, when it was nothing in the
// step. Call it before Run.
func (l *Loop) Observe(f func(took, late time.Duration)) { l.observe = f }

// Snapshot is the world after the last step; nil before the first.
func (l *Loop) Snapshot() *snapshot.Snapshot { return l.current.Load() }

// Run steps until ctx ends, then switches everything off and returns. The error
// says whether that failed.
func (l *Loop) Run(ctx context.Context) (err error) {
	defer func() {
		// Also on a panic: heat off before anything else is said.
		if off := l.off(); off != nil && err == nil {
			err = off
		}
	}()
	// Known off before the first decision. A live element is no reason to go: nobody
	// would be left to sound the sounder and to say what to do.
	if err := l.off(); err != nil && !l.live {
		return err
	}
	if l.found = l.live; l.found {
		l.sayLive()
	}
	l.began, l.upBegan = time.Now(), l.cfg.Up()
	l.state.Tripped = l.cfg.Latched
	if r := l.cfg.Resume; r != nil {
		if l.machine, err = controller.New(r.Product, l.cfg.Cabinet); err != nil {
			return err
		}
		l.state, l.first = r.State, true
		if l.cfg.Latched != trip.None {
			l.state.Tripped = l.cfg.Latched // newer than what the record has of it
		}
		l.from, l.left = r.State.Elapsed+r.Recovery.Unseen, r.Recovery.Left
		if since := l.upBegan - r.Recovery.Uptime; l.cfg.Pace == 0 && since > 0 { // checking a long record takes its time
			l.from += since
		}
		l.snap.BatchID, l.snap.History = r.Recovery.Batch.ID, r.Recovery.History
		l.snap.History.Resume(r.Recovery.Steps)
		l.cfg.Record.Resume(r.Recovery, l.state)
	}
	for _, text := range l.cfg.Told {
		l.say(l.from, text, trip.Soon)
	}
	pace := l.cfg.Pace
	if pace == 0 {
		pace = 1
	}
	tick := max(time.Duration(float64(Period)/pace), leastTick)
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	for woke := l.began; ; {
		now := time.Now()
		l.late, woke = max(0, now.Sub(woke)-tick), now
		for range l.due(pace) {
			l.step()
		}
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
	}
}

// due is how many steps to make now: one on a real cabinet, as many as virtual
// time has fallen behind on a simulated one.
func (l *Loop) due(pace float64) int {
	if l.cfg.Pace == 0 {
		return 1
	}
	target := uint64(time.Since(l.began).Seconds()*pace/Period.Seconds()) + 1
	if target <= l.steps {
		return 0
	}
	if target-l.steps > mostStepsPerTick {
		return mostStepsPerTick
	}
	return int(target - l.steps)
}

func (l *Loop) elapsed() time.Duration {
	if l.cfg.Pace == 0 {
		return l.from + l.cfg.Up() - l.upBegan
	}
	return l.from + time.Duration(l.steps)*Period
}

func (l *Loop) now(elapsed time.Duration) time.Time {
	if l.cfg.Pace == 0 {
		return time.Now()
	}
	return l.began.Add(elapsed)
}

// step makes one controller step and everything that follows from it.
func (l *Loop) step() {
	woke := time.Now()
	elapsed := l.elapsed()
	l.adopt()
	machine := l.machine
	command, asked := l.command(elapsed)
	if asked != nil && command.Kind.Begins() && !l.state.Batch.Active() {
		next, err := controller.New(asked.Product, l.cfg.Cabinet)
		if err == nil {
			err = l.cfg.World.Hang(asked.Product)
		}
		if l.live { // at once; the trip comes some steps later
			err = ErrLive
		}
		if err != nil {
			asked.reply <- taken{Reply: snapshot.Reply{Why: err.Error(), State: l.state.Batch}}
			command, asked = controller.Command{}, nil
		} else {
			machine = next
		}
	}
	if command.Kind.Begins() {
		command.Edition = proof.Current
		command.Where, command.CoreError = machine.Product().Where(l.cfg.Where), l.cfg.Cabinet.CoreError()
		now := l.moment(elapsed)
		command.Unshown = l.cfg.Cabinet.Unshown(now.Wall, now.ClockSet)
	}
	in := l.cfg.World.Sample(elapsed)
	in.Elapsed, in.Command, in.DriveFailed = elapsed, command, l.failed
	l.witness(&in)
	before, wasLive := l.state, l.live
	state, out, events := machine.Step(before, in)
	l.state = state
	known := true // whether what is on is known
	err := l.cut(out)
	if err != nil {
		known = l.giveUp(err, out.On.Has(controller.Sounder), wasLive) // before anything is written
	}
	var findings []string
	if asked != nil && command.Kind.Begins() {
		findings = append(asked.against, l.doubts(&state)...)
		asked.Reason = despite(asked.Reason, findings)
	}
	began := false
	if state.Batch.Active() && !before.Batch.Active() {
		l.machine = machine
		if l.cfg.Record != nil {
			l.snap.BatchID = l.cfg.Record.Begin(l.moment(elapsed), record.Start{
				Product: asked.Product, ProductFile: record.File{Name: asked.ProductName, Data: asked.ProductFile},
				Cabinet: l.cfg.Cabinet, CabinetFile: l.cfg.CabinetFile, Before: before,
			})
		}
		l.snap.History.Begin(l.snap.BatchID, machine.Product(), state.Started)
		began = true
	}
	var receipt record.Receipt
	if l.cfg.Record != nil {
		receipt = l.cfg.Record.Step(l.moment(elapsed), &in, out, events, &state, who(asked, command))
	}
	if err == nil {
		if err = l.drive(out); err != nil {
			known = l.giveUp(err, out.On.Has(controller.Sounder), wasLive)
		}
	}
	// In words only now: a slow journal delays nothing that was switched.
	if began {
		l.sayStart(elapsed, &state, asked.Reason)
	}
	if asked != nil && bends(command) && !refused(events) {
		l.say(elapsed, history.Because(command.Kind.String(), asked.Reason), 0)
	}
	// A live element has an alarm of its own; what was asked for and is off has not.
	l.failed = err != nil && (!l.live || out != l.applied)
	is := l.applied
	if l.live { // whatever its relay was told
		is.On.Set(controller.Heater, true)
	}
	if !known {
		is = maybe(out, l.applied)
	}
	l.book(elapsed, is, events, in)
	l.steps++
	l.observe(time.Since(woke), l.late)
	l.publish(elapsed, in, is)
	if before.Batch.Active() && !state.Batch.Active() && l.cfg.Ended != nil {
		l.cfg.Ended(l.snap.BatchID, l.current.Load())
	}
	if asked != nil {
		asked.reply <- taken{answer(events, state, findings), receipt}
	}
	if known && l.fed() && l.cfg.Cycle != nil {
		l.cfg.Cycle(l.current.Load())
	}
}

// fed reports whether a cycle with known outputs counts for whoever watches. While the
// element is live it does only if it was so from before the first step on. Otherwise
// the watch runs out, once: its stop helper takes every line anew and switches it off,
// which is all that is left to try. If the next run finds the element live again, that
// was in vain, and to be ended every ten seconds for ever would only take the page and
// the sounder from the person who must cut the mains.
func (l *Loop) fed() bool {
	l.found = l.found && l.live
	return !l.live || l.found
}

// maybe is what may be on: what was asked for, and what was on before, when nobody
// knows what came of it.
func maybe(asked, before controller.Outputs) controller.Outputs {
	return controller.Outputs{On: asked.On | before.On, Damper: asked.Damper}
}

func (l *Loop) book(elapsed time.Duration, out controller.Outputs, events []controller.Event, in controller.Inputs) {
	if l.state.Alarms[trip.StepLate].Standing && !in.PowerLost { // each one, whether it calls or not
		l.snap.StepsLate++
	}
	h := &l.snap.History
	h.Add(l.moment(elapsed).Wall, elapsed, &l.state, out, events)
	said := h.Events()
	for i := len(said) - len(events); i < len(said); i++ {
		l.log(&said[i])
	}
}

// sayStart says what is not known of a batch that has just begun, and why it began all the
// same.
func (l *Loop) sayStart(elapsed time.Duration, state *controller.State, reason string) {
	if l.cfg.Pace == 0 && !l.synced {
		l.say(elapsed, "the clock was not synchronised since the computer was started: after a power cut a person would be asked how long it was, and nothing heats until then", trip.Later)
	}
	for _, text := range controller.Unshown(l.cfg.Cabinet, state) {
		l.say(elapsed, text, trip.Later)
	}
	if reason != "" {
		l.say(elapsed, history.Excused(reason), trip.Later)
	}
}

// say logs what the loop itself has to say and keeps it for the page.
func (l *Loop) say(elapsed time.Duration, text string, p trip.Priority) {
	h := &l.snap.History
	h.Say(l.moment(elapsed).Wall, elapsed, text, p)
	said := h.Events()
	l.log(&said[len(said)-1])
}

func (l *Loop) log(e *history.Event) {
	level := slog.LevelInfo
	if e.Priority > 0 {
		level = slog.LevelWarn
	}
	l.cfg.Log.Log(context.Background(), level, e.Text(), "batch_elapsed", e.Elapsed.Round(time.Second).String())
}

// publish shows the outputs as they are, which after an error is not what the step
// asked for.
func (l *Loop) publish(elapsed time.Duration, in controller.Inputs, is controller.Outputs) {
	l.snap.Simulated = l.cfg.Pace != 0
	l.snap.Pace = max(l.cfg.Pace, 1)
	if l.cfg.Pace > 0 {
		l.snap.Pace = l.cfg.Pace
	}
	l.snap.Time = l.now(elapsed)
	l.snap.Stepped = time.Now()
	l.snap.Cabinet = l.cfg.Cabinet
	l.snap.Product = l.machine.Product()
	l.snap.Learned = l.learned.Load()
	l.snap.Weighed = l.weighed.Load().of(l.snap.BatchID)
	l.snap.State = l.state
	l.snap.HeatLeft, l.snap.Heats = l.machine.HeatLeft(&l.state)
	l.snap.Bounds = l.machine.Bounds(&l.state)
	l.snap.State.Out = is
	l.snap.Inputs = in
	next := l.snap
	l.current.Store(&next)
}
