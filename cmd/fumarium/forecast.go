package main

import (
	"context"
	"fmt"
	"log/slog"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"fumarium/controller"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/forecast"
)

const (
	// forecastRuns is how many rehearsals a library has; what they come to is scored in
	// sim/forecast/SCORE.md.
	forecastRuns = 64
	// forecastRests is how many times as long as it works the forecast rests: it takes a
	// third of one core at most, and only what nothing else wants.
	forecastRests = 2
	// mostSaid is how many forecasts are kept to be held against what happened.
	mostSaid = 24
)

// A forecaster says once a minute when the batch will be done. It looks on from outside of
// the loop; when it is slow or stands still, there is no forecast, and nothing else.
type forecaster struct {
	plans  *planner
	note   func(ctx context.Context, batch, text string) error
	log    *slog.Logger
	latest atomic.Pointer[outlook.Forecast]
	known  atomic.Pointer[rehearsed] // for who asks what would be

	hasty bool // rests never, for tests
	now   followed
}

// followed is what is known of one batch. Only Run's thread touches it.
type followed struct {
	batch   string
	library *forecast.Library
	setups  []sim.Setup       // of each rehearsal, before anything is drawn
	drawn   int               // rehearsals so far
	past    *sim.Past         // that they went through; nil is none
	turns   []sim.Turn        // changes of its stages that they made
	failed  string            // why it was given up
	said    []saidForecast    // to be held against what happened
	core    *quantity.Celsius // as it was hung
}

// rehearsed is what a batch is compared with, at one moment: nobody changes it.
type rehearsed struct {
	batch   string
	library forecast.Library
	setups  []sim.Setup
	turns   []sim.Turn
}

// saidForecast is what was said as a stage began.
type saidForecast struct {
	stage string
	at    time.Time
	says  outlook.Range
}

// Of is the latest of that batch.
func (f *forecaster) Of(batch string) *outlook.Forecast {
	if last := f.latest.Load(); last != nil && last.Batch == batch {
		return last
	}
	return nil
}

// finishOf gives what is forecast of the batch under way, while it comes.
func (f *forecaster) finishOf(latest func() *snapshot.Snapshot) func() *outlook.Finish {
	return func() *outlook.Finish {
		if s := latest(); s != nil && s.State.Batch.Active() {
			return f.Of(s.BatchID).Finish(s.Time)
		}
		return nil
	}
}

// Run follows the batches until ctx ends, on a thread of its own that the system runs only
// when nothing else wants the processor.
func (f *forecaster) Run(ctx context.Context, latest func() *snapshot.Snapshot) {
	lowest()
	ticker := time.NewTicker(outlookLooks)
	defer ticker.Stop()
	for {
		if s := latest(); s != nil && s.Product != nil && f.look(ctx, s) && ctx.Err() == nil {
			continue // there is more to rehearse, and it rests as it does
		}
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

// lowest gives this goroutine a thread of its own that yields to all others, and ends with
// it. Where the system refuses, it is as any other.
func lowest() {
	runtime.LockOSThread()
	const least = 19
	_ = syscall.Setpriority(syscall.PRIO_PROCESS, 0, least)
}

// look is one look at the batch: draw a rehearsal that is missing, or say a forecast. It
// reports whether more rehearsals are missing.
func (f *forecaster) look(ctx context.Context, s *snapshot.Snapshot) (more bool) {
	if s.BatchID != f.now.batch {
		f.begin(s)
	}
	if !s.State.Batch.Active() {
		f.hold(ctx, s)
		return false
	}
	if course, missing := f.plans.Of(s.BatchID); course == nil {
		f.say(s, missing)
		return false
	}
	switch {
	case !foretold(s.Product):
		f.say(s, "no stage waits for a core")
	case f.now.failed != "":
		f.say(s, f.now.failed)
	case s.State.Batch != controller.Running:
		f.say(s, s.State.Batch.String())
	default:
		f.renew(s)
		if f.now.drawn < forecastRuns {
			f.draw(ctx, s)
		}
		if last := f.latest.Load(); last == nil || last.Missing != "" || s.Time.Sub(last.Made) >= time.Minute || last.Stage != s.State.Stage {
			f.foretell(s)
		}
		return f.now.drawn < forecastRuns && f.now.failed == ""
	}
	return false
}

// foretold reports whether there is something to foretell: stages that only let time pass
// are as long as the plan says.
func foretold(p *profile.Product) bool {
	for i := range p.Stages {
		if u := p.Stages[i].Until; u.Has(profile.CoreAtLeast) || u.Has(profile.LethalityAtLeast) {
			return true
		}
	}
	return false
}

func (f *forecaster) begin(s *snapshot.Snapshot) {
	f.now = followed{batch: s.BatchID, library: &forecast.Library{Product: s.Product}, core: hungAt(&s.History)}
}

// renew begins a library anew when the batch has been through what the old one has not.
func (f *forecaster) renew(s *snapshot.Snapshot) {
	past := forecast.PastOf(&s.History, s.BatchElapsed(), forecast.DoorsOf(&s.History))
	turns := turnsOf(s)
	had := len(f.now.turns)
	if f.now.past != nil {
		had += len(f.now.past.Held) + len(f.now.past.Door)
	}
	if len(past.Held)+len(past.Door)+len(turns) == had {
		return
	}
	f.now.turns, f.now.past, f.now.drawn, f.now.library, f.now.setups = turns, past, 0, &forecast.Library{Product: s.Product}, nil
	f.known.Store(nil)
}

// draw rehearses one member.
func (f *forecaster) draw(ctx context.Context, s *snapshot.Snapshot) {
	setup := f.plans.setup(s.Product, s)
	setup.Past = f.now.past
	if f.now.core != nil {
		setup.Start = f.now.core
	}
	f.now.setups = append(f.now.setups[:f.now.drawn], setup)
	setup = turned(setup, f.now.turns)
	worked := time.Now()
	rest := func(time.Duration, *controller.State) {
		if took := time.Since(worked); !f.hasty && took > 5*time.Millisecond {
			select {
			case <-ctx.Done():
			case <-time.After(forecastRests * took):
			}
			worked = time.Now()
		}
	}
	members, err := forecast.Draw(ctx, setup, f.now.drawn, 1, rest)
	switch {
	case ctx.Err() != nil:
		return
	case err != nil:
		f.now.failed = err.Error()
		return
	}
	f.now.drawn++
	f.now.library.Members = append(f.now.library.Members, members...)
	f.known.Store(&rehearsed{batch: f.now.batch, setups: f.now.setups, turns: f.now.turns,
		library: forecast.Library{Product: s.Product, Members: slices.Clip(f.now.library.Members)}})
}

// foretell says a forecast.
func (f *forecaster) foretell(s *snapshot.Snapshot) {
	if n := f.now.drawn; n < forecastRuns && len(f.now.library.Members) < forecast.Fewest {
		why := fmt.Sprintf("being rehearsed, %d of %d", n, forecastRuns)
		if f.now.past != nil {
			why = "it was held, open or changed, and is being rehearsed anew, " + fmt.Sprintf("%d of %d", n, forecastRuns)
		}
		f.say(s, why)
		return
	}
	elapsed := s.BatchElapsed()
	track := forecast.TrackOf(&s.History, elapsed)
	if len(track.Stages) == 0 || track.Stages[len(track.Stages)-1].Index != s.State.Stage {
		f.say(s, "the stage has just begun")
		return
	}
	told := f.now.library.At(&track)
	if told.Missing != "" {
		f.say(s, told.Missing)
		return
	}
	start := s.Time.Add(-elapsed)
	at := func(seconds float64) time.Time { return start.Add(time.Duration(seconds * float64(time.Second))) }
	says := &outlook.Forecast{Batch: s.BatchID, Made: s.Time, Stage: s.State.Stage}
	for _, e := range told.Stages {
		says.Ends = append(says.Ends, outlook.Range{Earliest: at(e.Early), Middle: at(e.Middle), Latest: at(e.Late)})
	}
	f.latest.Store(says)
	name := s.Product.Stages[s.State.Stage].Name
	if n := len(f.now.said); n < mostSaid && (n == 0 || f.now.said[n-1].stage != name) {
		f.now.said = append(f.now.said, saidForecast{name, s.Time, says.Ends[len(says.Ends)-1]})
	}
}

// say says why there is none.
func (f *forecaster) say(s *snapshot.Snapshot, missing string) {
	f.latest.Store(&outlook.Forecast{Batch: s.BatchID, Made: s.Time, Stage: s.State.Stage, Missing: missing})
}

// hold holds what was said against what happened, once the batch is complete, as a note on
// its record.
func (f *forecaster) hold(ctx context.Context, s *snapshot.Snapshot) {
	f.latest.Store(nil)
	said := f.now.said
	f.now.said = nil
	if len(said) == 0 || s.State.Batch != controller.Complete || f.note == nil {
		return
	}
	if err := f.note(ctx, f.now.batch, against(said, s.Time.Add(s.State.Ended-s.State.Elapsed))); err != nil {
		f.log.Warn("the forecast was not noted beside what happened", "batch", f.now.batch, "err", err)
	}
}

// against is the note: what was said as each stage began, and when it was done.
func against(said []saidForecast, done time.Time) string {
	const clock = "Mon 15:04"
	text := []string{"forecast against what happened: done " + done.Format(clock)}
	held := 0
	for _, f := range said {
		off := f.says.Middle.Sub(done).Round(time.Minute)
		word := "late"
		if off < 0 {
			off, word = -off, "early"
		}
		if !done.Before(f.says.Earliest) && !done.After(f.says.Latest) {
			held++
		}
		text = append(text, fmt.Sprintf("in stage %s at %s it said %s (%s to %s), %s too %s",
			f.stage, f.at.Format(clock), f.says.Middle.Format(clock), f.says.Earliest.Format(clock), f.says.Latest.Format(clock), quantity.FormatDuration(off), word))
	}
	text = append(text, fmt.Sprintf("%d of %d spreads held it, of ten eight should", held, len(said)))
	return strings.Join(text, "; ")
}

// forecastNote keeps a note of the program's own.
func forecastNote(records *record.Recorder) func(context.Context, string, string) error {
	return func(ctx context.Context, batch, text string) error {
		ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
		defer cancel()
		return records.AddNote(ctx, moment(time.Now()), batch, record.Note{Who: "fumarium", Text: text})
	}
}
