package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/outlook"
	"fumarium/controller/web"
	"fumarium/sim"
)

type whatifOptions struct {
	chamber, damper, room, from, ready, hang string
	json                                     bool
	rehearse                                 rehearseOptions
}

func whatifCommand() *cobra.Command {
	var o whatifOptions
	var c client
	cmd := c.flags(&cobra.Command{
		Use:   "whatif [PRODUCT]",
		Short: "Say what another chamber, damper or room would come to, or what must change to be ready in time",
		Long: `Without PRODUCT it asks the daemon about the batch under way: the rehearsals that
explain it best are made again, from where each is like the batch now, with what you
name; the answer stands beside the present forecast. --chamber is of the stage under
way, within what adjust takes. --damper is set by hand until the product leaves the
chamber. --room is by how much the room is warmer or colder. Both hold from now on, or
from --from on: tonight at 22:00, say.

With PRODUCT it is about a batch that hangs at --hang: --chamber is of each stage that
waits for a hot core, and the other two hold for all of it, or from --from on.

--ready asks what must change for nine in ten to be ready by then: the chamber, up to
10 K above the file's and never above what the cabinet allows, and for a batch that does
not hang yet, when to hang it. A chamber with which more rehearsals miss what the food
needs than without is none. What is ready before then needs no change: it is not cooked
slower for that.

It changes nothing. fumarium adjust changes the stage under way.

Exit status: 0 it can be, 1 it cannot be ready then, or more rehearsals miss what the
food needs, 2 usage, 3 no daemon answers, or nothing can be said yet.`,
		Example: `  fumarium whatif --chamber +5K
  fumarium whatif --room -8K --from 22:00
  fumarium whatif --ready 18:00
  fumarium whatif caraway-sticks --hang 8:00 --chamber +5K
  fumarium whatif my-sausage.yaml --hang 8:00 --ready 12:30`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return o.running(cmd.Context(), &c, cmd.OutOrStdout())
			}
			return o.planned(cmd.Context(), args[0], time.Now(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	})
	f := cmd.Flags()
	f.StringVar(&o.chamber, "chamber", "", "`TEMPERATURE` of the chamber, such as 85°C, or by how much otherwise, such as +5K")
	f.StringVar(&o.damper, "damper", "", "`SHARE` that the damper is open, such as 50%, or open or shut")
	f.StringVar(&o.room, "room", "", "`KELVINS` by which the room is warmer, such as -8K")
	f.StringVar(&o.from, "from", "", "`TIME` from which on damper and room are so (default: now)")
	f.StringVar(&o.ready, "ready", "", "`TIME` it shall be ready: "+timeForms)
	f.StringVar(&o.hang, "hang", "", "`TIME` at which PRODUCT hangs (default: now)")
	f.BoolVar(&o.json, "json", false, "print the answer as JSON")
	o.rehearse.flags(f)
	f.IntVar(&o.rehearse.runs, "runs", 30, "`NUMBER` of rehearsals of PRODUCT, at least 10")
	return cmd
}

// asked refuses what cannot be asked.
func (o *whatifOptions) asked() error {
	others := o.chamber + o.damper + o.room
	switch {
	case others == "" && o.ready == "":
		return usage("whatif needs one of --chamber, --damper, --room and --ready: what would be otherwise")
	case o.from != "" && o.damper+o.room == "":
		return usage("--from is of --damper and --room; give one of them")
	case others != "" && o.ready != "":
		return usage("--ready looks for what must change; give it without --chamber, --damper and --room")
	}
	return nil
}

// running asks the daemon.
func (o *whatifOptions) running(ctx context.Context, c *client, w io.Writer) error {
	if err := o.asked(); err != nil {
		return err
	}
	if o.hang != "" {
		return usage("--hang is for a product that does not hang yet; name it")
	}
	s, err := c.status(ctx)
	if err != nil {
		return err
	}
	body := map[string]string{}
	for key, text := range map[string]string{"chamber": o.chamber, "damper": o.damper, "room": o.room} {
		if text != "" {
			body[key] = text
		}
	}
	for key, text := range map[string]string{"ready": o.ready, "from": o.from} {
		if text == "" {
			continue
		}
		at, err := comingTime(text, s.Time.Local())
		if err != nil {
			return usage("--%s %w", key, err)
		}
		body[key] = at.Format(time.RFC3339)
	}
	order, err := json.Marshal(body)
	if err != nil {
		return couldNot(err)
	}
	answer, err := c.call(ctx, http.MethodPost, "/api/rehearse/suppose", order)
	if err != nil {
		return err
	}
	var e web.Supposed
	if err := json.Unmarshal(answer, &e); err != nil {
		return couldNot(fmt.Errorf("the answer of %s is not understood: %w", c.server, err))
	}
	if o.json {
		if _, err := w.Write(answer); err != nil {
			return couldNot(err)
		}
	} else {
		printSupposed(w, &e, s.Time)
	}
	if e.Worse > 0 || e.Reached != nil && !*e.Reached {
		return &failure{exitBad, errSaid}
	}
	return nil
}

func printSupposed(w io.Writer, e *web.Supposed, now time.Time) {
	fmt.Fprintf(w, "stage     %s: %s\n", shown(e.Stage), shown(e.Change))
	fmt.Fprintf(w, "now       %s\nthen      %s\n", rangeText(e.Now, now), rangeText(e.Then, now))
	switch {
	case e.Reached != nil && !*e.Reached:
		fmt.Fprintln(w, "No chamber that may be asked for brings it there in nine of ten; this comes nearest.")
	case e.Reached != nil && e.Rehearsals == 0:
		fmt.Fprintln(w, "Nothing must change.")
	}
	if e.Worse > 0 {
		rule := ""
		if e.Rule != nil {
			rule = " (" + shown(*e.Rule) + ")"
		}
		fmt.Fprintf(w, "In %d of %d rehearsals it costs what the food needs%s: do not do this.\n", e.Worse, e.Rehearsals, rule)
	}
	if e.Rehearsals > 0 {
		fmt.Fprintf(w, "By %d rehearsals made again; it changes nothing. The core decides when the cook ends.\n", e.Rehearsals)
	}
}

// rangeText is a time with its spread, on the cabinet's own clock.
func rangeText(r outlook.Range, now time.Time) string {
	return fmt.Sprintf("%s (%s to %s)", about(&r.Middle, now), clockOn(r.Earliest.In(now.Location()), now), clockOn(r.Latest.In(now.Location()), now))
}

// planned rehearses a product that does not hang yet.
func (o *whatifOptions) planned(ctx context.Context, product string, now time.Time, stdout, stderr io.Writer) error {
	if err := o.asked(); err != nil {
		return err
	}
	hang := now
	var err error
	if o.hang != "" {
		if hang, err = comingTime(o.hang, now); err != nil {
			return usage("--hang %w", err)
		}
	}
	setup, err := o.rehearse.setup(product)
	if err != nil {
		return err
	}
	if o.rehearse.runs < 10 {
		return usage("--runs %d is too few to know the ninth of ten; take 10 or more", o.rehearse.runs)
	}
	p := planned{hang: hang.Truncate(time.Minute), runs: o.rehearse.runs, bar: newProgress(stderr)}
	if p.first, err = p.spread(ctx, setup); err != nil {
		return err
	}
	e := &web.Supposed{Stage: setup.Product.Name, Now: p.said(p.first), Rehearsals: p.runs}
	if o.ready != "" {
		ready, err := comingTime(o.ready, hang)
		if err != nil {
			return usage("--ready %w", err)
		}
		err = p.reach(ctx, setup, ready, e)
		if err != nil {
			return err
		}
	} else {
		what, err := o.changed(&setup, hang)
		if err != nil {
			return err
		}
		then, err := p.spread(ctx, setup)
		if err != nil {
			return err
		}
		e.Change, e.Then, e.Worse = what, p.said(then), max(0, p.first.Complete-then.Complete)
	}
	p.bar.clear()
	if o.json {
		err = printJSON(stdout, e)
	} else {
		o.rehearse.printLesson(stdout)
		err = p.print(stdout, e)
	}
	if err != nil {
		return couldNot(err)
	}
	if e.Worse > 0 || e.Reached != nil && !*e.Reached {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// A planned is a batch that does not hang yet.
type planned struct {
	hang  time.Time
	runs  int
	bar   *progress
	first *sim.SpreadResult // as the file has it
	later time.Time         // when it would have to hang
}

// spread rehearses it. Of what mostly comes to no end nothing is said.
func (p *planned) spread(ctx context.Context, setup sim.Setup) (*sim.SpreadResult, error) {
	s, err := sim.Spread(ctx, setup, p.runs, func(done int) { p.bar.count(done, p.runs, "rehearsals") })
	if err != nil {
		p.bar.clear()
		return nil, couldNot(err)
	}
	if float64(s.Ended) < 0.9*float64(s.Runs) {
		p.bar.clear()
		why := "some part that nobody has measured is to blame"
		if r, err := sim.Rehearse(ctx, setup, nil, nil); err == nil && r.Reason != "" {
			why = r.Reason
		}
		return nil, &failure{exitBad, fmt.Errorf("only %d of %d rehearsals come to their end then: %s", s.Ended, s.Runs, why)}
	}
	return s, nil
}

func (p *planned) said(s *sim.SpreadResult) outlook.Range {
	at := func(v float64) time.Time { return p.hang.Add(seconds(v)).Truncate(time.Second) }
	return outlook.Range{Earliest: at(s.P10Seconds), Middle: at(s.P50Seconds), Latest: at(s.P90Seconds)}
}

func (p *planned) print(w io.Writer, e *web.Supposed) error {
	fmt.Fprintf(w, "%s, hung %s\n", shown(e.Stage), p.hang.Format("Mon 2 Jan 15:04"))
	fmt.Fprintf(w, "as it is  %s\n", rangeText(e.Now, p.hang))
	if e.Change != "" {
		fmt.Fprintf(w, "%s: %s\n", shown(e.Change), rangeText(e.Then, p.hang))
	}
	if e.Reached != nil && *e.Reached && e.Change == "" {
		fmt.Fprintln(w, "Nothing must change.")
	}
	if !p.later.IsZero() {
		fmt.Fprintf(w, "or hung   %s, for nine in ten to be ready by then\n", clockOn(p.later, p.hang))
	}
	if e.Reached != nil && !*e.Reached {
		fmt.Fprintln(w, "No chamber that may be asked for brings it there in nine of ten; the one above comes nearest.")
	}
	if e.Worse > 0 {
		fmt.Fprintf(w, "%d of %d rehearsals more than without miss what the food needs: do not do this.\n", e.Worse, e.Rehearsals)
	}
	_, err := fmt.Fprintf(w, "Half of %d rehearsals are done by that time, one in ten and nine in ten by those behind it.\nA rehearsal is a model. The core decides when the cook ends, not the clock.\n", e.Rehearsals)
	return err
}
