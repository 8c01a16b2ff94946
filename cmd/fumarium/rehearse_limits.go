package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
)

// addLimits rehearses once more for each doubt, where it was asked for.
func (o rehearseOptions) addLimits(ctx context.Context, setup sim.Setup, result *sim.Result, bar *progress) (err error) {
	if o.limits {
		result.Limits, err = sim.Limits(ctx, setup, func(done, all int) { bar.count(done, all, "rehearsals") })
	}
	return err
}

// faultKinds lists the kinds of fault for --help.
func faultKinds() string {
	var b strings.Builder
	for _, line := range fault.Kinds() {
		b.WriteString("  " + line + "\n")
	}
	return b.String()
}

// printLimits tells what the model does not know of a rehearsal.
func printLimits(w io.Writer, l *sim.LimitsResult) {
	if l == nil {
		return
	}
	fmt.Fprintln(w, "what the model does not know, one thing at a time:")
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	row := func(what string, c sim.Course) {
		fmt.Fprintf(table, "  %s\t%s\t%s\tyield %.1f %%\t%s\n", what, c.At, quantity.FormatDuration(seconds(c.HotSeconds)), c.YieldPercent, c.Outcome)
	}
	row("time in the chamber", l.Plain)
	for _, limit := range l.Limits {
		for i, c := range limit.Ends {
			what := ""
			if i == 0 {
				what = limit.What
			}
			row(what, c)
		}
	}
	_ = table.Flush() // what it writes to is looked at by whoever made it
	fmt.Fprintln(w, "and what it leaves out, so that its effect is not known:")
	for _, what := range l.Unmodelled {
		fmt.Fprintln(w, "  - "+what)
	}
}
