package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fumarium/controller"
	"fumarium/controller/chart"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// mostAnswer is the slowest person that a rehearsal can have.
const mostAnswer = 24 * time.Hour

type rehearseOptions struct {
	cabinet, load, ambient, diameter, answer, chart string
	seed                                            uint64
	runs                                            int
	limits                                          bool
	json, timing                                    bool
	reason                                          string
	faults                                          []string
	panel                                           string
	tune                                            bool
	taught                                          string
	lesson                                          *lesson
}

func rehearseCommand() *cobra.Command {
	var o rehearseOptions
	c := &cobra.Command{
		Use:   "rehearse [PRODUCT]",
		Short: "Run a whole batch in the simulated cabinet, on virtual time",
		Long: `Runs a whole batch through the same controller that runs the real cabinet,
against a simulated one, and prints what happened: stage by stage, the core, the
chamber, yield, energy and how often the relay switched.

PRODUCT is a product file or the name of a shipped product (fumarium products);
without it, ` + defaultProduct + `. A rehearsal is a model: it tells you what to
expect and whether a schedule can work, not that your batch is safe.

A simulated person does the hand steps. The seed draws how long each takes to be
answered: half within 4 min, nine of ten within 15 min, none later than 60 min.
--answer 2min makes it the same for all.

Before the start the simulated cabinet has stood still for two hours and each probe
was shown in ice water, as a careful person does. What they show against a probe is
printed, and the batch is not started unless --reason says why it is all the same.

--fault KIND@TIME[+DURATION][=VALUE] lets something go wrong at a time, for a
while or, without a duration, to the end; a number in the kind picks one probe,
as in core2-open@1h. Times count from the start of the batch. The simulated
person looks after an alarm when its cause has gone. Kinds:

` + faultKinds() + `
--tune lets the simulated cabinet learn instead, with little in it: rest, full power,
and a relay around a target, once for each state of its fan, with noisy probes and
every trip. It prints what was learned, how sure that is, and what the control of the
product comes to with it, beside the response of the cabinet file.

What check says of the product is printed at the end: no batch is started with an
error, and with advice only for a reason.

Exit status: 0 the batch completed and is good, 1 it is not, or check finds an error
in the product, 2 usage, 3 a file could not be read.`,
		Example: `  fumarium rehearse
  fumarium rehearse my-sausage.yaml --cabinet my-cabinet.yaml --load 6kg --ambient 2°C
  fumarium rehearse caraway-sticks --chart sticks.svg
  fumarium rehearse caraway-sticks --runs 200
  fumarium rehearse --fault core-open@1h10m+2m --fault ambient-step@2h=-15K`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name := defaultProduct
			if len(args) == 1 {
				name = args[0]
			}
			return runRehearse(cmd.Context(), name, o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	o.flags(f)
	f.StringVar(&o.reason, "reason", "", "`TEXT` why the batch is started whatever speaks against it")
	f.StringArrayVar(&o.faults, "fault", nil, "`KIND@TIME[+DURATION][=VALUE]` that goes wrong, such as core-open@1h10m+2m; may be repeated")
	f.IntVar(&o.runs, "runs", 1, "`NUMBER` of rehearsals in which all that nobody measured is drawn, and the answers; gives the spread")
	f.BoolVar(&o.limits, "limits", false, "tell what the model does not know, and what that comes to in this rehearsal")
	f.StringVar(&o.chart, "chart", "", "write the course of the batch to this SVG `FILE`")
	f.StringVar(&o.panel, "panel", "", "write what the display at the cabinet shows at a time of the batch to a picture, `FILE.png@TIME`")
	f.BoolVar(&o.tune, "tune", false, "let the simulated cabinet learn how its chamber answers to heat, and hold that against its file")
	f.BoolVar(&o.json, "json", false, "print the result as JSON; equal seeds give equal bytes")
	f.BoolVar(&o.timing, "timing", false, "with --json: fill wall_seconds and times_real_time, of the rehearsal shown; they differ from run to run")
	return c
}

// flags adds what says where and with what a rehearsal takes place.
func (o *rehearseOptions) flags(f *pflag.FlagSet) {
	f.StringVar(&o.cabinet, "cabinet", defaultCabinet, "cabinet `FILE`, or the name of a shipped cabinet")
	f.StringVar(&o.load, "load", "", "`MASS` hung, such as 4kg (default: the whole formula)")
	f.StringVar(&o.ambient, "ambient", "", "`TEMPERATURE` of the room, such as 8°C (default: the cabinet's)")
	f.StringVar(&o.diameter, "diameter", "", "`LENGTH`, diameter or slab thickness, such as 45mm (default: the product's)")
	f.StringVar(&o.answer, "answer", "", "`DURATION` that the simulated person takes for everything, such as 2min (default: drawn by the seed)")
	f.StringVar(&o.taught, "taught", "", "rehearse with what batches have taught, from the daemon's state `FOLDER`")
	f.Uint64Var(&o.seed, "seed", 1, "`NUMBER` that all randomness is drawn from")
}

func (o *rehearseOptions) setup(product string) (sim.Setup, error) {
	s := sim.Setup{Seed: o.seed, Examine: true, Excused: o.reason != ""}
	var err error
	if s.Product, err = findProduct(product); err != nil {
		return s, err
	}
	if s.Cabinet, err = findCabinet(o.cabinet); err != nil {
		return s, err
	}
	if s.Where, err = placeOf(""); err != nil {
		return s, err
	}
	if o.runs < 1 || o.runs > 1_000_000 {
		return s, usage("--runs %d is outside 1 to 1000000", o.runs)
	}
	if o.load != "" {
		if s.Load, err = quantity.ParseMass(o.load); err != nil {
			return s, usage("--load %s: %w", o.load, err)
		}
		if s.Load <= 0 { // zero would mean the whole formula
			return s, usage("--load %s is nothing; give the mass that hangs, such as 4kg, or leave it out", o.load)
		}
	}
	if o.diameter != "" {
		if s.Diameter, err = quantity.ParseLength(o.diameter); err != nil {
			return s, usage("--diameter %s: %w", o.diameter, err)
		}
		if s.Diameter <= 0 {
			return s, usage("--diameter %s is nothing; give a length such as 45mm, or leave it out", o.diameter)
		}
	}
	if o.ambient != "" {
		ambient, err := quantity.ParseTemperature(o.ambient)
		if err != nil {
			return s, usage("--ambient %s: %w", o.ambient, err)
		}
		s.Ambient = &ambient
	}
	if o.answer != "" {
		if s.Answer, err = quantity.ParseDuration(o.answer); err != nil {
			return s, usage("--answer %s: %w", o.answer, err)
		}
		if s.Answer < sim.Step || s.Answer > mostAnswer {
			return s, usage("--answer %s is outside 1 s to 24 h", o.answer)
		}
	}
	if o.taught != "" {
		if s, err = o.learn(s); err != nil {
			return s, err
		}
	}
	for _, spec := range o.faults {
		f, err := fault.Parse(spec)
		if err != nil {
			return s, usage("--fault: %w", err)
		}
		s.Faults = append(s.Faults, f)
	}
	return s, nil
}

func runRehearse(ctx context.Context, product string, o rehearseOptions, stdout, stderr io.Writer) error {
	setup, err := o.setup(product)
	if err != nil {
		return err
	}
	if o.tune {
		return runTune(ctx, o, setup, stdout, stderr)
	}
	found, err := o.found(ctx, product, setup)
	if err != nil {
		return err
	}
	var trace *sim.Trace
	if o.chart != "" {
		trace = &sim.Trace{}
	}
	shot, err := parsePanel(o.panel)
	if err != nil {
		return err
	}
	bar := newProgress(stderr)
	began := time.Now()
	var drawn error
	result, err := sim.Rehearse(ctx, setup, trace, func(elapsed time.Duration, s *controller.State) {
		drawn = errors.Join(drawn, shot.see(s, setup.Cabinet, setup.Product))
		bar.rehearsal(elapsed, s, setup.Product)
	})
	took := time.Since(began)
	if err != nil {
		bar.clear()
		return couldNot(err)
	}
	if o.runs > 1 {
		result.Spread, err = sim.Spread(ctx, setup, o.runs, func(done int) { bar.count(done, o.runs, "rehearsals") })
		if err != nil {
			bar.clear()
			return couldNot(err)
		}
	}
	if err := o.addLimits(ctx, setup, result, bar); err != nil {
		bar.clear()
		return couldNot(err)
	}
	whole := time.Since(began)
	bar.clear()
	if o.chart != "" {
		if err := writeChart(o.chart, trace.Figure(setup, result), quantity.UnitsOf(stdout)); err != nil {
			return couldNot(err)
		}
	}
	if err := errors.Join(drawn, shot.write()); err != nil {
		return couldNot(err)
	}
	if o.json {
		if o.timing {
			wall := took.Seconds()
			times := result.ElapsedSeconds / wall
			result.WallSeconds, result.TimesRealTime = &wall, &times
		}
		if err := printJSON(stdout, checked{result, found}); err != nil {
			return couldNot(err)
		}
	} else {
		printRehearsal(stdout, setup, result, took, whole, o)
		printLimits(stdout, result.Limits)
		for _, f := range found {
			fmt.Fprintf(stdout, "check, %s: %s\n", f.Severity.Asks(), shown(f.Error()))
		}
	}
	if !result.Good() || hasErrors(found) {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// checked is a rehearsal with what check says of its product.
type checked struct {
	*sim.Result
	Findings source.Findings `json:"findings,omitempty"`
}

// found is what check says of the product in that cabinet: no batch is started with an
// error, and advice wants a reason. A rehearsal heats nothing, and runs with either.
func (o rehearseOptions) found(ctx context.Context, product string, setup sim.Setup) (source.Findings, error) {
	item, err := find(product, keptHere, profile.Parse)
	if err != nil {
		return nil, err
	}
	found := checkProduct(item.Value, item.File, item.Data, setup.Cabinet, setup.Where)
	return append(found, unreached(ctx, item.Value, item.File, setup.Cabinet)...), nil
}

func writeChart(name string, figure chart.Figure, units quantity.Units) (err error) {
	figure.Units = units
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	return figure.WriteSVG(f)
}

func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

func printRehearsal(w io.Writer, setup sim.Setup, r *sim.Result, took, whole time.Duration, o rehearseOptions) {
	p := setup.Product
	fmt.Fprintf(w, "%s in the %s, simulated, seed %d\n", p.Name, lowerFirst(setup.Cabinet.Name), r.Seed)
	fmt.Fprintf(w, "%s hung, room %s\n", quantity.Kilograms(r.LoadKilograms), quantity.Celsius(r.AmbientCelsius))
	o.printLesson(w)
	for _, f := range setup.Faults {
		fmt.Fprintf(w, "with the fault %s\n", f)
	}
	for _, d := range r.Doubts {
		fmt.Fprintf(w, "before the start: %s\n", d)
	}
	if len(r.Doubts) > 0 && setup.Excused {
		fmt.Fprintf(w, "started all the same, because: %s\n", shown(o.reason))
	}
	fmt.Fprintln(w)

	t := newTable(w)
	fmt.Fprintln(t, "stage\tplan\tfrom\tto\ttook\tended by\tchamber mean / peak\tcore at its end")
	for i, s := range r.Stages {
		chamber := quantity.Nothing
		if s.ChamberMeanCelsius != nil {
			chamber = quantity.Fixed(*s.ChamberMeanCelsius, 1) + " / " + quantity.Fixed(*s.ChamberPeakCelsius, 1) + " °C"
		}
		by := s.EndedBy
		if by == "" {
			by = "not ended"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s °C\n", s.Name, planText(&p.Stages[i]),
			clock(s.StartSeconds), clock(s.EndSeconds), quantity.FormatDuration(seconds(s.EndSeconds-s.StartSeconds)),
			by, chamber, quantity.Fixed(s.CoreEndCelsius, 1))
	}
	t.Flush()

	outcome := r.Outcome
	if r.Outcome == controller.Complete.String() && !r.Good() {
		outcome += ", NOT good,"
	}
	fmt.Fprintf(w, "\n%s after %s\n", outcome, quantity.FormatDuration(seconds(r.ElapsedSeconds)))
	if r.Reason != "" {
		fmt.Fprintf(w, "reason        %s\n", r.Reason)
	}
	peak := quantity.Celsius(r.Core.PeakCelsius)
	if u := quantity.UnitsOf(w); u.Fahrenheit { // neither end is shown to reach what it does not
		fmt.Fprintf(w, "core          peak %s, %s at the end\n", u.AtLeast(peak), u.AtMost(quantity.Celsius(r.Core.FinalCelsius)))
	} else {
		fmt.Fprintf(w, "core          peak %s °C (%s °F), %s °C at the end\n", quantity.Fixed(r.Core.PeakCelsius, 1),
			quantity.Fixed(peak.Fahrenheit(), 1), quantity.Fixed(r.Core.FinalCelsius, 1))
	}
	printSafety(w, r)
	if r.Control.OvershootKelvin != nil {
		fmt.Fprintf(w, "chamber       %s K over its setpoint at worst", quantity.Fixed(*r.Control.OvershootKelvin, 1))
		if r.Control.HoldRMSKelvin != nil {
			fmt.Fprintf(w, ", %.2f K rms while held", *r.Control.HoldRMSKelvin)
		}
		fmt.Fprintln(w)
	}
	if r.Smoke.AskedSeconds != nil {
		fmt.Fprintf(w, "smoke         %s asked for, and the generator smouldered for %s of it\n",
			quantity.FormatDuration(seconds(*r.Smoke.AskedSeconds).Round(time.Minute)), quantity.FormatDuration(seconds(*r.Smoke.SmoulderedSeconds).Round(time.Minute)))
	}
	if r.YieldPercent != nil {
		fmt.Fprintf(w, "yield         %.1f %% of the hung mass; %s; how much drips is the model's loosest number\n", *r.YieldPercent, r.Losses.Words())
	}
	fmt.Fprintf(w, "heater        %.2f kWh, switched on %d times\n", r.EnergyJoules/3.6e6, r.RelayOperations)
	for _, prompt := range r.Prompts {
		fmt.Fprintf(w, "hand step     %s  %s (done %s later, simulated)\n", clock(prompt.AtSeconds), prompt.Text,
			quantity.FormatDuration(seconds(prompt.AfterSeconds)))
	}
	if len(r.Alarms) == 0 {
		fmt.Fprintln(w, "alarms        none")
	}
	for _, a := range r.Alarms {
		fmt.Fprintf(w, "alarm         %s  %s (%s)\n", clock(a.AtSeconds), a.Code, a.Priority)
	}
	if s := r.Spread; s != nil {
		fmt.Fprintf(w, "spread        %d rehearsals, %d to the end, %d as planned: 1 in 10 done by %s, half by %s, 9 in 10 by %s\n", s.Runs, s.Ended, s.Complete,
			quantity.FormatDuration(seconds(s.P10Seconds)), quantity.FormatDuration(seconds(s.P50Seconds)), quantity.FormatDuration(seconds(s.P90Seconds)))
	}
	fmt.Fprintf(w, "\n%s", tookText(r.ElapsedSeconds, o.runs, took, whole))
	if o.chart != "" {
		fmt.Fprintf(w, "; chart in %s", shown(o.chart))
	} else {
		fmt.Fprint(w, "; --chart FILE.svg draws it")
	}
	if o.runs == 1 {
		fmt.Fprint(w, ", --runs 200 gives the spread")
	}
	fmt.Fprintln(w, "\nA rehearsal is a model. It does not prove a batch safe.")
	printUncovered(w, proof.Uncovered())
}

// tookText says how long the rehearsal shown took and, where there were more for the
// spread, all of them together.
func tookText(elapsedSeconds float64, runs int, took, whole time.Duration) string {
	one := fmt.Sprintf("in %.3f s, %.0f times real time", took.Seconds(), elapsedSeconds/took.Seconds())
	if runs == 1 {
		return "rehearsed " + one
	}
	return fmt.Sprintf("rehearsed %d times in %.3f s, the one above %s", 1+runs, whole.Seconds(), one)
}

// printSafety says what the batch was held to and whether it met it.
func printSafety(w io.Writer, r *sim.Result) {
	verdict := func(rule proof.Rule) string {
		if a := r.Verdict[rule].Answer; a != proof.NotMet {
			return a.String()
		}
		return "NOT met"
	}
	l := r.Lethality
	switch {
	case l.Pass == nil:
		fmt.Fprintf(w, "lethality     %s\n", r.Verdict[proof.Cooked].Why)
	case l.Log10Reduction == nil:
		fmt.Fprintf(w, "lethality     %s: %s\n", r.Verdict[proof.Cooked].Why, verdict(proof.Cooked))
	default:
		fmt.Fprintf(w, "lethality     %s log10 counted, %g required: %s\n", lethality.Text(*l.Log10Reduction, l.Log10Capped, 1), *l.RequiredLog10, verdict(proof.Cooked))
	}
	if r.Surface.Pass != nil {
		fmt.Fprintf(w, "surface       %s: %s\n", verdict(proof.Surface), r.Surface.Why)
	}
	if c := r.ComeUp; c.Pass != nil {
		took := "not seen"
		if c.Seconds != nil {
			took = quantity.FormatDuration(seconds(*c.Seconds))
		}
		fmt.Fprintf(w, "come-up       core from %v to %v in %s, limit %s: %s\n", lethality.ComeUpBand.From, lethality.ComeUpBand.To, took, quantity.FormatDuration(seconds(*c.LimitSeconds)), verdict(proof.CameUp))
	}
	if c := r.Chill; c.Pass != nil {
		var legs []string
		for _, leg := range c.Legs {
			legs = append(legs, fmt.Sprintf("%s to %s °C in %s of %s", leg.Begins(), quantity.Fixed(leg.ToCelsius, 1),
				quantity.FormatDuration(seconds(leg.Seconds)), quantity.FormatDuration(seconds(leg.LimitSeconds))))
		}
		if len(legs) == 0 {
			legs = []string{r.Verdict[proof.Chilled].Why}
		}
		fmt.Fprintf(w, "chilling      %s: %s (%s)\n", strings.Join(legs, ", "), verdict(proof.Chilled), c.Rule)
	}
	printOther(w, r)
}

// printOther says what besides heat and cold the product is held to. What a rehearsal
// cannot show is said, and is no fault of the schedule.
func printOther(w io.Writer, r *sim.Result) {
	for _, rule := range []proof.Rule{proof.Process, proof.Killed, proof.RawFish, proof.Keeping} {
		if j := r.Verdict[rule]; j.Answer != proof.DoesNotApply {
			fmt.Fprintf(w, "%-13s %s: %s\n", rule, j.Answer, j.Why)
		}
	}
}

// planText says in a few words what the product file asks of a stage.
func planText(s *profile.Stage) string {
	var parts []string
	if s.Heat {
		parts = append(parts, s.ChamberSetpoint.String())
	} else if s.Place != profile.Chamber {
		parts = append(parts, s.Place.String())
	} else {
		parts = append(parts, "no heat")
	}
	if s.Smoke {
		parts = append(parts, "smoke")
	}
	return strings.Join(append(parts, s.Until.String()), ", ")
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// clock writes elapsed seconds as h:mm.
func clock(s float64) string {
	m := int(s/60 + 0.5)
	return fmt.Sprintf("%d:%02d", m/60, m%60)
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
