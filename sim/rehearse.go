package sim

import (
	"context"
	"fmt"
	"math"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sim/fault"
)

// Longest is the virtual time after which a rehearsal gives up: longer than any
// batch the product file can describe without waiting for something that never
// comes.
const Longest = 10 * 24 * time.Hour

// TraceEvery is the distance of the samples in a Trace.
const TraceEvery = time.Minute

// controlBand is how near the chamber must come to its setpoint before the hold
// error is counted; common practice, no source.
const controlBand = 1.0 // K

// A Result is what one rehearsal came to. Its JSON keys are part of the command
// line's contract; what could not be known is null.
type Result struct {
	Product         string         `json:"product"`
	World           string         `json:"world"`
	Cabinet         string         `json:"cabinet"`
	Seed            uint64         `json:"seed"`
	LoadKilograms   float64        `json:"load_kilograms"`
	AmbientCelsius  float64        `json:"ambient_celsius"`
	Outcome         string         `json:"outcome"`
	Reason          string         `json:"reason,omitempty"`
	ElapsedSeconds  float64        `json:"elapsed_seconds"`
	Stages          []StageResult  `json:"stages"`
	Core            CoreResult     `json:"core"`
	Control         ControlResult  `json:"control"`
	Lethality       LethalityGain  `json:"lethality"`
	ComeUp          ComeUpResult   `json:"come_up"`
	Surface         SurfaceResult  `json:"surface"`
	Chill           ChillResult    `json:"chill"`
	Smoke           SmokeResult    `json:"smoke"`
	YieldPercent    *float64       `json:"yield_percent"`
	Losses          *LossResult    `json:"losses"` // what the yield leaves of the whole; null with it
	EnergyJoules    float64        `json:"energy_joules"`
	RelayOperations uint64         `json:"relay_operations"`
	Alarms          []AlarmResult  `json:"alarms"`
	Prompts         []PromptResult `json:"prompts"`
	// Doubts is what spoke against the probes before the start.
	Doubts []string      `json:"doubts,omitempty"`
	Spread *SpreadResult `json:"spread,omitempty"`
	Limits *LimitsResult `json:"limits,omitempty"`
	// WallSeconds and TimesRealTime are null unless the caller measured them:
	// measured time differs from run to run, and equal seeds give equal bytes.
	WallSeconds   *float64 `json:"wall_seconds"`
	TimesRealTime *float64 `json:"times_real_time"`

	// Verdict is what all of it is worth; the keys above tell it.
	Verdict proof.Verdict `json:"-"`
}

// LossResult is what the product lost of the mass that was hung: vapour less dew, juice and
// dew that dripped, fat that ran out.
type LossResult struct {
	EvaporationPercent float64 `json:"evaporation_percent"`
	DripPercent        float64 `json:"drip_percent"`
	FatPercent         float64 `json:"fat_percent"`
}

// Words tells them in a line.
func (l *LossResult) Words() string {
	return fmt.Sprintf("lost: evaporated %.1f %%, dripped %.1f %%, fat %.1f %%", l.EvaporationPercent, l.DripPercent, l.FatPercent)
}

// StageResult is one stage as it went.
type StageResult struct {
	Name               string   `json:"name"`
	StartSeconds       float64  `json:"start_seconds"`
	EndSeconds         float64  `json:"end_seconds"`
	EndedBy            string   `json:"ended_by"`
	ChamberMeanCelsius *float64 `json:"chamber_mean_celsius"` // null while the product was elsewhere
	ChamberPeakCelsius *float64 `json:"chamber_peak_celsius"`
	CoreEndCelsius     float64  `json:"core_end_celsius"`
}

// CoreResult is the true temperature in the middle of the piece.
type CoreResult struct {
	FinalCelsius float64 `json:"final_celsius"`
	PeakCelsius  float64 `json:"peak_celsius"`
}

// ControlResult says how well the chamber was held: true chamber air against the
// setpoint. Overshoot is the largest excess over whatever the setpoint was at that
// moment; what a stage takes over from a hotter one counts only once it has cooled.
// The hold error counts from the moment the chamber came within 1 K of a stage's
// setpoint, and not while less is aimed at because a damper will be closed. Null when no
// stage heated.
type ControlResult struct {
	OvershootKelvin  *float64 `json:"overshoot_kelvin"`
	HoldRMSKelvin    *float64 `json:"hold_rms_kelvin"`
	IAEKelvinSeconds *float64 `json:"iae_kelvin_seconds"`
}

// LethalityGain is the reduction that the controller counted.
type LethalityGain struct {
	Log10Reduction *float64 `json:"log10_reduction"`
	Log10Capped    bool     `json:"log10_capped"` // more was counted than is shown
	RequiredLog10  *float64 `json:"required_log10"`
	ComeUpSeconds  *float64 `json:"come_up_seconds"`
	Pass           *bool    `json:"pass"`
}

// ComeUpResult is the time the core took through lethality.ComeUpBand against its limit;
// null for a product that does not go through all of that.
type ComeUpResult struct {
	Seconds      *float64 `json:"seconds"`
	LimitSeconds *float64 `json:"limit_seconds"`
	Pass         *bool    `json:"pass"`
}

// SurfaceResult says whether the surface was moist enough for the heat to count there;
// null where nothing asks for it.
type SurfaceResult struct {
	Pass *bool  `json:"pass"`
	Why  string `json:"why"`
}

// ChillResult is the cooling verdict by the rule that the product names; null where
// it names none.
type ChillResult struct {
	Rule string      `json:"rule,omitempty"`
	Pass *bool       `json:"pass"`
	Legs []LegResult `json:"legs"`
}

// SmokeResult is how long stages asked for smoke, from the hand step that lights the
// generator on, and for how much of that it truly smouldered. Null where no stage
// asked.
type SmokeResult struct {
	AskedSeconds      *float64 `json:"asked_seconds"`
	SmoulderedSeconds *float64 `json:"smouldered_seconds"`
}

// LegResult is one leg of the cooling.
type LegResult struct {
	FromCelsius  *float64 `json:"from_celsius"` // null is the end of the cook
	ToCelsius    float64  `json:"to_celsius"`
	Seconds      float64  `json:"seconds"`
	LimitSeconds float64  `json:"limit_seconds"`
	Pass         bool     `json:"pass"`
}

// AlarmResult is one alarm as it came up.
type AlarmResult struct {
	Code      string  `json:"code"`
	Priority  string  `json:"priority"`
	AtSeconds float64 `json:"at_seconds"`
}

// PromptResult is one hand step that the simulated person carried out.
type PromptResult struct {
	Text         string  `json:"text"`
	AtSeconds    float64 `json:"at_seconds"`
	AfterSeconds float64 `json:"answered_after_seconds"`
}

// SpreadResult is how the whole duration differs over many rehearsals.
type SpreadResult struct {
	Runs       int     `json:"runs"`
	Ended      int     `json:"ended"`    // came to their end, good or not
	Complete   int     `json:"complete"` // and met what they are held to
	P10Seconds float64 `json:"p10_seconds"`
	P50Seconds float64 `json:"p50_seconds"`
	P90Seconds float64 `json:"p90_seconds"`
	// Stages says when each stage ended.
	Stages []StageSpread `json:"stages"`
	// Hands are the hand steps and questions of the rehearsals that came to their end.
	Hands []HandSpread `json:"-"`
}

// HandSpread is when a hand step came up, in seconds since the start.
type HandSpread struct {
	Text                  string
	Early, Middle, Latest float64 // one in ten, half, nine in ten
}

// StageSpread is when a stage ended, counted from the start of the batch.
type StageSpread struct {
	Name          string  `json:"name"`
	EndP50Seconds float64 `json:"end_p50_seconds"`
	EndP90Seconds float64 `json:"end_p90_seconds"`
}

// A Truth is what the simulated cabinet really held at a moment, which no probe says. What
// the plant does not know is NaN.
type Truth struct {
	Elapsed                time.Duration
	Chamber, Core, Surface float64 // °C
	Humidity, Yield        float64 // 0..1
}

// A Trace is the course of one rehearsal: what the controller saw and did, and the
// truth beside it.
type Trace struct {
	History history.History
	Truth   []Truth
}

// Good reports whether the batch ended as a maker wants it: complete, and all that it is
// held to was shown.
func (r *Result) Good() bool { return r.Outcome == controller.Complete.String() && r.Verdict.Good() }

// AsPlanned reports whether the schedule did what it is for: the batch is complete, and
// its core was cooked, came up and was chilled in time, and the chamber kept what another
// process asks of it. That nobody measured the humidity at
// a bare surface is no fault of the schedule's times.
func (r *Result) AsPlanned() bool {
	return r.Outcome == controller.Complete.String() && r.Verdict.Holds(Asked()...)
}

// Asked are the rules that a schedule is for.
func Asked() []proof.Rule {
	return []proof.Rule{proof.Cooked, proof.CameUp, proof.Chilled, proof.Process}
}

// rehearsal is the bookkeeping of one run.
type rehearsal struct {
	setup  Setup
	result *Result
	trace  *Trace

	history history.History
	stages  []measured // as many as the history has

	inBand                        bool
	heated                        bool
	overshoot, squares, held, iae float64
	ceiling                       float64 // the setpoint, or what was hotter when it fell
	corePeak                      float64
	energy                        float64
	smoke, smouldered             float64 // seconds
}

// measured is the truth about one stage.
type measured struct{ sum, seconds, peak, coreEnd float64 }

// Rehearse runs one whole batch. While the product lies in a room or a cold room for some
// time, without faults, orders or questions, it makes a step every five seconds instead of
// every second: such a stage may end up to four seconds late, and the core is within some
// thousandths of a kelvin of where it would be. Whatever is heated, smoked, chilled to a core
// or can go wrong is stepped every second, as live, and comes to the same bytes. Watch never
// strides. trace may be nil; progress, which may be nil
// too, is called once per virtual minute. A cancelled context ends it early with
// the context's error.
func Rehearse(ctx context.Context, setup Setup, trace *Trace, progress func(elapsed time.Duration, s *controller.State)) (*Result, error) {
	return run(ctx, setup, trace, progress, nil)
}

// Watch is Rehearse for one who wants to see every second of it.
func Watch(ctx context.Context, setup Setup, see func(*Moment)) (*Result, error) {
	return run(ctx, setup, nil, nil, see)
}

func run(ctx context.Context, setup Setup, trace *Trace, progress func(elapsed time.Duration, s *controller.State), see func(*Moment)) (*Result, error) {
	w, m, err := prepare(setup)
	if err != nil {
		return nil, err
	}
	r := rehearsal{setup: setup, trace: trace, corePeak: math.Inf(-1), result: &Result{
		Product: setup.Product.Name, World: "simulated", Cabinet: setup.Cabinet.Name, Seed: setup.Seed,
		LoadKilograms: float64(loadOf(setup)), AmbientCelsius: float64(w.room),
		Stages: []StageResult{}, Alarms: []AlarmResult{}, Prompts: []PromptResult{}, Chill: ChillResult{Legs: []LegResult{}},
	}}
	p := setup.Product
	w.strides = see == nil
	longest := setup.Longest
	if longest <= 0 {
		longest = Longest
	}
	r.history.KeepAll = true
	r.history.Begin("", p, 0)
	var s, before controller.State
	if setup.Examine {
		s = Examine(m, w)
		before = s
		for _, d := range controller.Doubts(setup.Cabinet, &s) {
			r.result.Doubts = append(r.result.Doubts, d.Text(setup.Cabinet))
		}
	}
	err = Run(ctx, m, &s, w, func(t *Moment) bool {
		if t.Call == fault.Made && (trace != nil || len(t.Events) > 0) { // the curve is for the trace
			r.history.Add(time.Time{}, t.Now, &s, t.Out, t.Events)
		}
		if see != nil {
			t.Before = &before
			see(t)
			before = s
		}
		r.observe(t)
		switch {
		case s.Begun && !s.Batch.Active():
			for i := range t.Events {
				if e := &t.Events[i]; e.Kind == controller.Refused && s.Batch == controller.Idle {
					r.result.Reason = e.Text(p)
				}
			}
		case t.Now >= longest:
			r.result.Reason = "gave up after " + quantity.FormatDuration(longest) + ": a stage never ends"
			return false
		case w.Hopeless(&s):
			r.result.Reason = "held by the trip " + s.Tripped.String()
			if s.HeatEnded() {
				r.result.Reason = "held: the heat has lasted too long"
			}
			return false
		case progress != nil && t.Now%time.Minute == 0:
			progress(t.Now, &s)
		}
		return true
	})
	if err != nil {
		return nil, err
	}
	r.finish(w, &s)
	return r.result, nil
}

// prepare is a world and a machine that starts a batch in it with its next step.
func prepare(setup Setup) (*World, *controller.Machine, error) {
	w, err := NewWorld(setup)
	if err != nil {
		return nil, nil, err
	}
	m, err := controller.New(setup.Product, setup.Cabinet)
	if err != nil {
		return nil, nil, err
	}
	rest, _ := setup.Product.Rest() // a rehearsal begins where the rest ends
	w.Order(controller.Command{Kind: controller.Start, Rested: rest, Excused: setup.Excused})
	return w, m, nil
}

// observe books one step.
func (r *rehearsal) observe(t *Moment) {
	p, s, seconds := t.World.plant, t.After, t.Lasts.Seconds()
	chamber, core := float64(p.At(InChamber)), float64(p.At(InCore))
	if core > r.corePeak {
		r.corePeak = core
	}
	if t.Out.On.Has(controller.Heater) {
		r.energy += float64(r.setup.Cabinet.Heater.Power) * seconds
	}
	for i := range t.Events {
		switch t.Events[i].Kind {
		case controller.StageBegan:
			r.stages, r.inBand = append(r.stages, measured{peak: math.Inf(-1)}), false
		case controller.StageEnded:
			if n := len(r.stages); n > 0 {
				r.stages[n-1].coreEnd = core
			}
		}
	}
	stage := s.CurrentStage(r.setup.Product)
	if stage != nil && stage.Smoke && !s.Asking {
		r.smoke += seconds
		if smoker, fitted := p.(Smoker); fitted && smoker.Lit() {
			r.smouldered += seconds
		}
	}
	if stage != nil && stage.Place == profile.Chamber {
		if n := len(r.stages); n > 0 {
			now := &r.stages[n-1]
			now.sum += chamber
			now.seconds++
			now.peak = max(now.peak, chamber)
		}
		if s.Heater.HasSetpoint {
			if s.Heater.AimsLower() > 0 { // and then comes into the band anew
				r.inBand = false
			}
			// The loop is judged by what it can know of.
			r.control(float64(t.World.at(OnProbe)), float64(s.Heater.Setpoint), s.Heater.Setpoint == stage.ChamberSetpoint && s.Heater.AimsLower() == 0)
		}
	}
	if r.trace != nil && t.Now%TraceEvery == 0 {
		r.trace.Truth = append(r.trace.Truth, truth(p, t.Now))
	}
}

func truth(p Plant, elapsed time.Duration) Truth {
	t := Truth{
		Elapsed: elapsed, Chamber: float64(p.At(InChamber)), Core: float64(p.At(InCore)), Surface: float64(p.At(OnSurface)),
		Humidity: math.NaN(), Yield: math.NaN(),
	}
	if moist, knows := p.(Moist); knows {
		t.Humidity, t.Yield = float64(moist.Humidity()), float64(moist.Yield())
	}
	return t
}

// control books the chamber's error against the setpoint over one step.
func (r *rehearsal) control(chamber, setpoint float64, rampDone bool) {
	err := chamber - setpoint
	if !r.heated {
		r.ceiling = max(chamber, setpoint)
	}
	r.ceiling = max(setpoint, min(r.ceiling, chamber))
	r.heated = true
	r.overshoot = max(r.overshoot, chamber-r.ceiling)
	r.iae += math.Abs(err) * Step.Seconds()
	if rampDone && math.Abs(err) < controlBand {
		r.inBand = true
	}
	if r.inBand {
		r.squares += err * err
		r.held++
	}
}

// tell puts what the history holds into the result.
func (r *rehearsal) tell(elapsed time.Duration, core float64) {
	res := r.result
	stages := r.history.Stages()
	for i, stage := range stages {
		m := r.stages[i]
		if i == len(stages)-1 && stage.By == 0 {
			stage.Ended, m.coreEnd = elapsed, core
		}
		told := StageResult{
			Name: stage.Name, StartSeconds: stage.Began.Seconds(), EndSeconds: stage.Ended.Seconds(), EndedBy: stage.By.String(), CoreEndCelsius: round(m.coreEnd),
		}
		if m.seconds > 0 {
			mean, peak := round(m.sum/m.seconds), round(m.peak)
			told.ChamberMeanCelsius, told.ChamberPeakCelsius = &mean, &peak
		}
		res.Stages = append(res.Stages, told)
		for _, w := range stage.Waits {
			if w.Done {
				res.Prompts = append(res.Prompts, PromptResult{Text: w.Prompt, AtSeconds: w.Asked.Seconds(), AfterSeconds: (w.Answered - w.Asked).Seconds()})
			}
		}
	}
	for _, e := range r.history.Events() {
		if e.Kind == controller.AlarmRaised {
			res.Alarms = append(res.Alarms, AlarmResult{Code: e.Alarm.String(), Priority: e.Priority.String(), AtSeconds: e.Elapsed.Seconds()})
		}
	}
	if r.trace != nil {
		r.trace.History = r.history
	}
}

func (r *rehearsal) finish(w *World, s *controller.State) {
	res := r.result
	res.Outcome = s.Batch.String()
	res.ElapsedSeconds = s.Elapsed.Seconds()
	r.tell(s.Elapsed, float64(w.plant.At(InCore)))
	res.Core = CoreResult{FinalCelsius: round(float64(w.plant.At(InCore))), PeakCelsius: round(r.corePeak)}
	if r.heated {
		iae := round(r.iae)
		res.Control.IAEKelvinSeconds = &iae
	}
	if r.heated {
		overshoot := round(r.overshoot)
		res.Control.OvershootKelvin = &overshoot
	}
	if r.held > 0 {
		rms := round(math.Sqrt(r.squares / r.held))
		res.Control.HoldRMSKelvin = &rms
	}
	res.judge(r.setup.Product, s)
	if r.smoke > 0 {
		res.Smoke = SmokeResult{&r.smoke, &r.smouldered}
	}
	if moist, knows := w.plant.(Moist); knows {
		left := round(float64(moist.Yield()) * 100)
		res.YieldPercent = &left
		lost := moist.Losses()
		res.Losses = &LossResult{round(float64(lost.Evaporation) * 100), round(float64(lost.Drip) * 100), round(float64(lost.Fat) * 100)}
	}
	res.EnergyJoules = math.Round(r.energy)
	res.RelayOperations = s.Heater.Relay.Operations()
}

// round keeps three decimals: more would claim what no probe can tell.
func round(v float64) float64 { return math.Round(v*1000)/1000 + 0 } // and no minus sign on a zero
