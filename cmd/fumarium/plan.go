package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/caution"
	"fumarium/profile/quantity"
	"fumarium/sim"
)

type planOptions struct {
	ready, hang, made, night, clean string
	json                            bool
	rehearse                        rehearseOptions
}

func planCommand() *cobra.Command {
	var o planOptions
	c := &cobra.Command{
		Use:   "plan PRODUCT... (--ready TIME | --hang TIME)",
		Short: "Count back from when it shall be ready, or on from when it hangs, for one batch or several in a row",
		Long: `Rehearses the product many times, with all that nobody has measured drawn anew (load,
size, room, air, moisture, heat, where the probe is, cracks, fan, glow) and answers to
hand steps varied, and counts back from the time it shall be ready: through the
last stage, the cook and the rest to the first knife. The batch is hung so early
that nine rehearsals of ten are ready in time; and up to 12 h sooner where that leaves
fewer hand steps in the night. Those that remain there are named.

With --hang it counts on from when it hangs, and nothing is moved.

Several products hang in the cabinet one after the other, as they are named: each is
hung when the one before is out of the chamber in nine rehearsals of ten, the rehearsed
cabinet has cooled down to 40 °C, and it is cleaned and loaded (--clean). --ready is of
the last then, and --hang of the first; each is made, and rests, by itself.

` + caution.Food + `

Exit status: 0 it can be made, 1 it can't (the earliest time is printed), 2 usage,
3 a file could not be read or the schedule does not work.`,
		Example: `  fumarium plan marjoram-ring --ready "saturday 12:00"
  fumarium plan marjoram-ring --ready "2026-11-28 12:00"
  fumarium plan my-sausage.yaml --ready 18:00 --load 6kg --make 3h
  fumarium plan marjoram-ring --hang "saturday 8:00" --night 23:00-6:00
  fumarium plan caraway-sticks marjoram-ring --hang "saturday 8:00" --clean 45min`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPlan(cmd.Context(), args, o, time.Now(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.ready, "ready", "", "`TIME` it shall be ready: "+timeForms)
	f.StringVar(&o.hang, "hang", "", "`TIME` it hangs, in place of --ready")
	f.StringVar(&o.night, "night", "22:00-6:00", "`FROM-TO` between which nobody wants to get up, or none")
	f.StringVar(&o.clean, "clean", "1 h", "`DURATION` of cleaning the cabinet and loading it again, between two batches")
	f.StringVar(&o.made, "make", "2 h", "`DURATION` of grinding, mixing and stuffing")
	f.BoolVar(&o.json, "json", false, "print the plan as JSON")
	o.rehearse.flags(f)
	f.IntVar(&o.rehearse.runs, "runs", 100, "`NUMBER` of rehearsals to count on, at least 10")
	c.MarkFlagsOneRequired("ready", "hang")
	c.MarkFlagsMutuallyExclusive("ready", "hang")
	return c
}

func runPlan(ctx context.Context, products []string, o planOptions, now time.Time, stdout, stderr io.Writer) error {
	row, err := o.row(now)
	if err != nil {
		return err
	}
	if o.rehearse.runs < 10 {
		return usage("--runs %d is too few to know the ninth of ten; take 10 or more", o.rehearse.runs)
	}
	var makes []sim.Make
	bar := newProgress(stderr)
	for i, product := range products {
		setup, err := o.rehearse.setup(product)
		if err != nil {
			return err
		}
		m := sim.Make{Product: setup.Product}
		m.Spread, err = sim.Spread(ctx, setup, o.rehearse.runs, func(done int) { bar.count(i*o.rehearse.runs+done, len(products)*o.rehearse.runs, "rehearsals") })
		if err == nil && i+1 < len(products) {
			m.Cools, err = sim.Cools(ctx, setup)
		}
		if err != nil {
			bar.clear()
			return couldNot(err)
		}
		makes = append(makes, m)
	}
	bar.clear()
	plans, err := row.Plans(makes)
	if err != nil {
		return couldNot(err)
	}
	switch {
	case o.json && len(plans) == 1:
		err = printJSON(stdout, plans[0])
	case o.json:
		err = printJSON(stdout, plans)
	default:
		for i, plan := range plans {
			if i > 0 {
				fmt.Fprintln(stdout)
			}
			err = errors.Join(err, printPlan(stdout, plan, now, i+1 == len(plans)))
		}
	}
	if err != nil {
		return couldNot(err)
	}
	for _, plan := range plans {
		if !plan.Possible {
			return &failure{exitBad, errSaid}
		}
	}
	return nil
}

// row reads when.
func (o *planOptions) row(now time.Time) (r sim.Row, err error) {
	r.Now = now
	if o.ready != "" {
		r.Ready, err = comingTime(o.ready, now)
		err = named("--ready", err)
	} else {
		r.Hang, err = comingTime(o.hang, now)
		err = named("--hang", err)
	}
	if err != nil {
		return r, err
	}
	if r.Made, err = quantity.ParseDuration(o.made); err != nil {
		return r, usage("--make %s: %w", o.made, err)
	}
	if r.Clean, err = quantity.ParseDuration(o.clean); err != nil || r.Clean < 0 || r.Clean > mostAnswer {
		return r, usage("--clean %s is no time of up to 24 h; write it like 45 min", o.clean)
	}
	if o.night == "none" {
		return r, nil
	}
	from, to, both := strings.Cut(o.night, "-")
	begins, err1 := time.Parse("15:04", strings.TrimSpace(from))
	ends, err2 := time.Parse("15:04", strings.TrimSpace(to))
	if !both || err1 != nil || err2 != nil {
		return r, usage("--night %s: write it as FROM-TO like 22:00-6:00, or none", o.night)
	}
	midnight := begins.Truncate(24 * time.Hour)
	r.NightFrom, r.NightTo = begins.Sub(midnight), ends.Sub(midnight)
	return r, nil
}

func named(option string, err error) error {
	if err == nil {
		return nil
	}
	return usage(option+" %w", err)
}

func printPlan(w io.Writer, p *sim.Plan, now time.Time, last bool) error {
	const day = "Monday 2 January"
	fmt.Fprintf(w, "%s, ready %s %s\n", p.Product, p.Ready.Format(day), p.Ready.Format("15:04 MST"))
	if !p.Possible {
		fmt.Fprintf(w, "\nIt can't be made in time: making would have to begin %s.\nBegun now (%s), it is ready %s at the earliest.\n%s\n",
			p.Steps[0].Begin.Format(day+" 15:04"), now.Format("15:04"), p.Earliest.Format(day+" 15:04 MST"), caution.Food)
		return nil
	}
	fmt.Fprintln(w)
	t := newTable(w)
	before := ""
	for _, s := range p.Steps {
		today := s.Begin.Format("Mon 2 Jan")
		if today == before {
			today = ""
		} else {
			before = today
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
	printHands(w, p)
	if !last {
		return nil
	}
	_, err := fmt.Fprintf(w, "\nTimes of stages are those by which half of %d rehearsals were through; at the latest, nine of ten.\n"+
		"A plan is a model. The core decides when the cook ends, not the clock.\n%s\n", p.Runs, caution.Food)
	return err
}

// printHands says which hand steps may fall into the night, and when the next batch hangs.
func printHands(w io.Writer, p *sim.Plan) {
	if p.SoonerSeconds > 0 {
		fmt.Fprintf(w, "\nHung %s sooner than it needs to be, for fewer hand steps in the night.\n", quantity.FormatDuration(seconds(p.SoonerSeconds)))
	}
	if p.Nights > 0 {
		fmt.Fprintln(w, "\nBy hand, and maybe in the night:")
		t := newTable(w)
		named := 0
		for _, h := range p.Hands {
			if h.Night {
				named++
				fmt.Fprintf(t, "  %s\t%s to %s\t%s\n", h.At.Format("Mon 15:04"), h.Early.Format("15:04"), h.Late.Format("15:04"), h.Text)
			}
		}
		if named < p.Nights {
			fmt.Fprintln(t, "  making it, or cleaning the cabinet for the next")
		}
		t.Flush()
	}
	if p.Free != nil {
		fmt.Fprintf(w, "\nThe cabinet has cooled down by %s, and is cleaned and free by %s.\n", clockOn(*p.Cool, p.Hung), clockOn(*p.Free, p.Hung))
	}
}

// clockOn writes the time of day, with the weekday when it is another day.
func clockOn(t, from time.Time) string {
	if t.Format(time.DateOnly) == from.Format(time.DateOnly) {
		return t.Format("15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}
