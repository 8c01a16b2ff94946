package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

// tuneResult is what --tune --json prints.
type tuneResult struct {
	Cabinet string       `json:"cabinet"`
	Seed    uint64       `json:"seed"`
	Learned []sim.Tuning `json:"learned"`
	// The same batch with the response of the file and with what was learned; null where
	// nothing was.
	File *sim.ControlResult `json:"control_by_file"`
	Then *sim.ControlResult `json:"control_by_learned"`
}

// runTune lets the simulated cabinet learn, and holds that against its file.
func runTune(ctx context.Context, o rehearseOptions, setup sim.Setup, stdout, stderr io.Writer) error {
	switch {
	case o.runs > 1, o.limits, o.chart != "", o.panel != "":
		return usage("--tune stands with --cabinet, --ambient, --load, --seed, --answer and --json only")
	case len(o.faults) > 0:
		return usage("--tune stands without --fault: nothing is learned of a cabinet that is broken")
	}
	bar := newProgress(stderr)
	defer bar.clear()
	learned, constants, err := sim.Tune(ctx, setup)
	if err != nil {
		return couldNot(err)
	}
	result := tuneResult{Cabinet: setup.Cabinet.Name, Seed: setup.Seed, Learned: learned}
	var refused error
	for i := range learned {
		if learned[i].Refused != "" {
			refused = &failure{exitBad, errSaid}
		}
	}
	if constants != (cabinet.Learned{}) {
		if result.File, result.Then, err = compare(ctx, setup, constants); err != nil {
			return couldNot(err)
		}
	}
	bar.clear()
	if o.json {
		if err := printJSON(stdout, result); err != nil {
			return couldNot(err)
		}
		return refused
	}
	printTune(stdout, setup, &result)
	return refused
}

// compare rehearses the batch with a control law that goes by the file, and by what was
// learned.
func compare(ctx context.Context, setup sim.Setup, learned cabinet.Learned) (file, then *sim.ControlResult, err error) {
	one, err := sim.Rehearse(ctx, setup, nil, nil)
	if err != nil {
		return nil, nil, err
	}
	tuned := *setup.Cabinet
	tuned.Learned = learned
	setup.Cabinet = &tuned
	other, err := sim.Rehearse(ctx, setup, nil, nil)
	if err != nil {
		return nil, nil, err
	}
	return &one.Control, &other.Control, nil
}

func printTune(w io.Writer, setup sim.Setup, r *tuneResult) {
	fmt.Fprintf(w, "%s learns, simulated, seed %d: rest, full power, and a relay around a target, with a pan of water in it and the damper shut\n\n", r.Cabinet, r.Seed)
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "\tgain\tlag\tsecond lag\tdead time\tslope at full duty\tdelay\tleft by the fit")
	row := func(what string, gain, lag, second, dead float64, sure string) {
		fmt.Fprintf(table, "%s\t%.0f K\t%.0f s\t%.0f s\t%.0f s\t%s\n", what, gain, lag, second, dead, sure)
	}
	f := setup.Cabinet.Response
	row("the file", float64(f.Gain), f.Lag.Seconds(), f.SecondLag.Seconds(), f.DeadTime.Seconds(),
		fmt.Sprintf("%.1f K/min\t%.0f s\t–", 60*float64(f.Gain)/f.Lag.Seconds(), (f.SecondLag+f.DeadTime).Seconds()))
	for i := range r.Learned {
		t := &r.Learned[i]
		if t.Refused != "" {
			continue
		}
		row(fanWords(t.Fan), t.Gain, t.Lag, t.SecondLag, t.DeadTime, fmt.Sprintf("%.1f K/min (%.1f to %.1f)\t%.0f s (%.0f to %.0f)\t%.2f K",
			60*t.Slope, 60*t.SlopeLeast, 60*t.SlopeMost, t.SecondLag+t.DeadTime, t.DelayLeast, t.DelayMost, t.RMS))
	}
	_ = table.Flush() // what it writes to is looked at by whoever made it
	for i := range r.Learned {
		t := &r.Learned[i]
		if t.Refused != "" {
			fmt.Fprintf(w, "%s: nothing learned: %s\n", fanWords(t.Fan), t.Refused)
			continue
		}
		fmt.Fprintf(w, "%s: took %s to %.0f °C, readings scatter by %.2f K\n", fanWords(t.Fan), quantity.FormatDuration(time.Duration(t.Seconds)*time.Second), t.Target, t.Noise)
	}
	if r.Then != nil && r.File.OvershootKelvin != nil && r.Then.OvershootKelvin != nil {
		fmt.Fprintf(w, "\n%s then, %s: %.1f K over at worst, error %.1f K·h; with the file's %.1f K and %.1f K·h\n", setup.Product.Name, fanWords(r.Learned[0].Fan),
			*r.Then.OvershootKelvin, *r.Then.IAEKelvinSeconds/3600, *r.File.OvershootKelvin, *r.File.IAEKelvinSeconds/3600)
	}
	fmt.Fprintln(w, "\nGain and lag are sure only together, as the slope. All of this is the simulated cabinet's: nothing of it belongs into\nthe file of a real one.")
}

func fanWords(fan bool) string {
	if fan {
		return "fan on"
	}
	return "fan off"
}
