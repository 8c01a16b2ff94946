package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"fumarium/profile/quantity"
	"fumarium/sim"
)

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
