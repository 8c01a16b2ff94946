package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/report/recorded"
	"fumarium/controller/web"
	"fumarium/profile/proof"
)

// decidable are what a decision may be of.
func decidable() []string {
	names := []string{report.Whole, report.Read}
	for r := range proof.RuleCount {
		names = append(names, r.String())
	}
	return names
}

// mostDecision bounds what is kept of a decision, in bytes; common practice, no source.
const mostDecision = 1000

func (f *facts) decide(ctx context.Context, b *record.Batch, o *web.Order) (web.Kept, error) {
	what, text := "", strings.TrimSpace(o.Text)
	for _, name := range decidable() {
		if strings.EqualFold(name, strings.TrimSpace(o.What)) {
			what = name
		}
	}
	switch {
	case what == "":
		return web.Kept{}, fmt.Errorf("%q is nothing to decide of; take one of %s", o.What, strings.Join(decidable(), ", "))
	case text == "" || len(text) > mostDecision:
		return web.Kept{}, fmt.Errorf("%s: write what was decided, and by whom, in at most %d bytes", what, mostDecision)
	}
	e := record.Entry{Who: "operator", Kind: record.Decided, Subject: what, Text: text}
	if err := f.records.AddEntries(ctx, moment(f.now()), b.ID, []record.Entry{e}); err != nil {
		return web.Kept{}, err
	}
	return web.Kept{Told: []string{what + ": " + text}}, nil
}

func decideCommand() *cobra.Command {
	var c client
	o := web.Order{Command: web.Decide}
	cmd := c.flags(&cobra.Command{
		Use: "decide WHAT TEXT", Short: "Keep what was decided of a batch that deviated, or who has read its record",
		Long: `Keeps a decision on the record of a batch. WHAT is a rule by its name (cooked, come-up,
chilled, formula, ...), batch for all of it, or read for who has read the record. It changes
no verdict: a rule that was not met stays so. The report and fumarium haccp show it.`,
		Example: `  fumarium decide cooked "thrown out, 4 kg; Ada, on the word of the process authority"
  fumarium decide read "Ada, weekly review" --batch 2026-11-28-1`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.What, o.Text = args[0], args[1]
			return c.send(cmd.Context(), o, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&o.Batch, "batch", "", "`BATCH` (default: the one under way, or the last)")
	return cmd
}

func haccpCommand() *cobra.Command {
	var a archive
	since, until, into := "", "", "."
	c := a.flags(&cobra.Command{
		Use: "haccp", Short: "Write the log of critical limits for a time: measured, deviations, decisions, verification", Args: cobra.NoArgs,
		Long: `Writes haccp-SINCE-UNTIL.html, to print, and .csv, with a line for each limit of each batch
that began in that time: limit, figure, source and answer; for a deviation, what the guidance
says to do first and what a person decided (fumarium decide); and what was verified: how right
the core probes were known to be, whether the record is whole, who has read it. Each batch is
replayed for it, which takes a while.

It is an aid to a hazard plan, and none. Who is responsible for the plan decides.

Exit status: 0 written; 1 written, and some batch deviated; 2 usage; 3 could not.`,
		Example: `  fumarium haccp --since 2026-11-01 --until 2026-11-30 --into /media/stick`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			from, err := time.ParseInLocation(time.DateOnly, since, time.Local)
			if err != nil {
				return usage("--since %q is no date; write it like 2026-11-01", since)
			}
			last, err := time.ParseInLocation(time.DateOnly, until, time.Local)
			if err != nil || last.Before(from) {
				return usage("--until %q is no date, or before --since; write it like 2026-11-30", until)
			}
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runHACCP(cmd.Context(), r, &report.Log{From: from, Until: last.AddDate(0, 0, 1), Entries: []report.Limit{}}, into, a.json, cmd.OutOrStdout())
		},
	})
	c.Flags().StringVar(&since, "since", "", "first `DAY`, such as 2026-11-01")
	c.Flags().StringVar(&until, "until", "", "last `DAY`, such as 2026-11-30")
	c.Flags().StringVar(&into, "into", ".", "write into `FOLDER`")
	return c
}

func runHACCP(ctx context.Context, r *record.Reader, l *report.Log, into string, asJSON bool, w io.Writer) error {
	batches, err := r.List(ctx)
	if err != nil {
		return couldNot(err)
	}
	for i := len(batches) - 1; i >= 0; i-- {
		if began := batches[i].Started; began.Before(l.From) || !began.Before(l.Until) {
			continue
		}
		b, err := r.Batch(ctx, batches[i].ID) // with its files
		if err != nil {
			return couldNot(err)
		}
		s, err := recorded.Source(ctx, r, b)
		if err != nil {
			return couldNot(err)
		}
		l.Add(s)
	}
	if asJSON {
		err = printJSON(w, l)
	} else {
		name := "haccp-" + l.From.Format(time.DateOnly) + "-" + l.Until.AddDate(0, 0, -1).Format(time.DateOnly)
		err = errors.Join(writeWhole(w, into, name+".html", l.HTML), writeWhole(w, into, name+".csv", l.CSV))
	}
	if err != nil {
		return couldNot(err)
	}
	for _, e := range l.Entries {
		if e.Deviation != "" {
			return &failure{exitBad, errSaid}
		}
	}
	return nil
}
