package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/cabinet"
)

type findOptions struct {
	cabinet string
	asJSON  bool
}

func findCommand() *cobra.Command {
	var o findOptions
	c := &cobra.Command{
		Use:   "find [--cabinet FILE]",
		Short: "List the buses, front ends and GPIO chips that are here",
		Long: `Lists the buses of this machine, the front ends that answer and the GPIO chips;
with --cabinet also what the file names and is not there, whether the kernel can
limit the daemon's memory, whether the board's watchdog is fed, and what to do.
Nothing is switched.

Exit status: 0 all there, 1 something is missing, 2 usage, 3 could not.`,
		Example: `  fumarium wiring find
  fumarium wiring find --cabinet my-cabinet.yaml`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return newBench(cmd).find(o) },
	}
	c.Flags().BoolVar(&o.asJSON, "json", false, "print JSON")
	return cabinetFlag(c, &o.cabinet)
}

func (b *bench) find(o findOptions) error {
	var c *cabinet.Cabinet
	if o.cabinet != "" {
		var err error
		if c, err = findCabinet(o.cabinet); err != nil {
			return err
		}
	}
	found := []wiring.Find{}
	if c == nil || !c.Simulated() { // what exists only in rehearsal needs nothing of this machine
		found = b.survey.Look(c)
	}
	switch {
	case o.asJSON:
		if err := printJSON(b.out, map[string]any{"machine": found}); err != nil {
			return couldNot(err)
		}
	case len(found) == 0 && c != nil:
		fmt.Fprintf(b.out, "%s exists only in rehearsal: it needs nothing of this machine\n", c.Name)
	default:
		b.printFinds(found, "MISSING")
	}
	if wiring.Missing(found) != nil {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// printFinds prints what was found; bad is the word before what is not good.
func (b *bench) printFinds(found []wiring.Find, bad string) {
	t := newTable(b.out)
	for _, f := range found {
		sign := "ok"
		if !f.Good {
			sign = bad
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", sign, shown(f.What), shown(f.Note))
	}
	t.Flush()
}
