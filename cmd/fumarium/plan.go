package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/caution"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

type planOptions struct {
	ready, made string
	json        bool
	rehearse    rehearseOptions
}

func planCommand() *cobra.Command {
	var o planOptions
	c := &cobra.Command{
		Use:   "plan PRODUCT --ready TIME",
		Short: "Count back from when it shall be ready to when to begin",
		Long: `Rehearses the product many times, with all that nobody has measured drawn anew (load,
size, room, air, moisture, heat, where the probe is, cracks, fan, glow) and answers to
hand steps varied, and counts back from the time it shall be ready: through the
last stage, the cook and the rest to the first knife. The batch is hung so early
that nine rehearsals of ten are ready in time.

` + caution.Food + `

Exit status: 0 it can be made, 1 it can't (the earliest time is printed), 2 usage,
3 a file could not be read or the schedule does not work.`,
		Example: `  fumarium plan marjoram-ring --ready "saturday 12:00"
  fumarium plan marjoram-ring --ready "2026-11-28 12:00"
  fumarium plan my-sausage.yaml --ready 18:00 --load 6kg --make 3h`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPlan(cmd.Context(), args[0], o, time.Now(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.ready, "ready", "", "`TIME` it shall be ready: "+timeForms)
	f.StringVar(&o.made, "make", "2 h", "`DURATION` of grinding, mixing and stuffing")
	f.BoolVar(&o.json, "json", false, "print the plan as JSON")
	o.rehearse.flags(f)
	f.IntVar(&o.rehearse.runs, "runs", 100, "`NUMBER` of rehearsals to count on, at least 10")
	_ = c.MarkFlagRequired("ready")
	return c
}

func runPlan(ctx context.Context, product string, o planOptions, now time.Time, stdout, stderr io.Writer) error {
	ready, err := comingTime(o.ready, now)
	if err != nil {
		return usage("--ready %w", err)
	}
	made, err := quantity.ParseDuration(o.made)
	if err != nil {
		return usage("--make %s: %w", o.made, err)
	}
	setup, err := o.rehearse.setup(product)
	if err != nil {
		return err
	}
	if o.rehearse.runs < 10 {
		return usage("--runs %d is too few to know the ninth of ten; take 10 or more", o.rehearse.runs)
	}
	bar := newProgress(stderr)
	spread, err := sim.Spread(ctx, setup, o.rehearse.runs, func(done int) { bar.count(done, o.rehearse.runs, "rehearsals") })
	bar.clear()
	if err != nil {
		return couldNot(err)
	}
	plan, err := sim.NewPlan(setup.Product, spread, now, ready, made)
	if err != nil {
		return couldNot(err)
	}
	if o.json {
		err = printJSON(stdout, plan)
	} else {
		err = printPlan(stdout, plan, now)
	}
	if err != nil {
		return couldNot(err)
	}
	if !plan.Possible {
		return &failure{exitBad, errSaid}
	}
	return nil
}

func printPlan(w io.Writer, p *sim.Plan, now time.Time) error {
	const day = "Monday 2 January"
	fmt.Fprintf(w, "%s, ready %s %s\n", p.Product, p.Ready.Format(day), p.Ready.Format("15:04 MST"))
	if !p.Possible {
		fmt.Fprintf(w, "\nIt can't be made in time: making would have to begin %s.\nBegun now (%s), it is ready %s at the earliest.\n%s\n",
			p.Steps[0].Begin.Format(day+" 15:04"), now.Format("15:04"), p.Earliest.Format(day+" 15:04 MST"), caution.Food)
		return nil
	}
	fmt.Fprintln(w)
	t := newTable(w)
	last := ""
	for _, s := range p.Steps {
		today := s.Begin.Format("Mon 2 Jan")
		if today == last {
			today = ""
		} else {
			last = today
		}
		until := "until " + clockOn(s.Until, s.Begin)
		if s.Late.After(s.Until.Add(time.Minute)) {
			until += ", at the latest " + clockOn(s.Late, s.Begin)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", today, s.Begin.Format("15:04"), s.Name, until, s.Note)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if p.Missed > 0 {
		fmt.Fprintf(w, "\nIn %d of %d rehearsals a limit was missed: cooked, come-up or chilling. With what nobody has\nmeasured, this schedule may lose the batch.\n", p.Missed, p.Runs)
	}
	_, err := fmt.Fprintf(w, "\nTimes of stages are those by which half of %d rehearsals were through; at the latest, nine of ten.\n"+
		"A plan is a model. The core decides when the cook ends, not the clock.\n%s\n", p.Runs, caution.Food)
	return err
}

// clockOn writes the time of day, with the weekday when it is another day.
func clockOn(t, from time.Time) string {
	if t.Format(time.DateOnly) == from.Format(time.DateOnly) {
		return t.Format("15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}
