package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/wiring"
)

// selfTestFile is where the reports of self-tests are kept, one JSON object a line.
const selfTestFile = "self-test.jsonl"

// selfTestReport is one line of the record.
type selfTestReport struct {
	Time    time.Time      `json:"time"`
	Cabinet string         `json:"cabinet"`
	Machine []wiring.Find  `json:"machine"`
	Probes  []probeReading `json:"probes"`
	Relays  []clickedRelay `json:"relays"`
	// Wrong is what must be mended, LeftOut which relays nobody clicked.
	Wrong   []string `json:"wrong"`
	LeftOut []string `json:"left_out"`
	Pass    bool     `json:"pass"` // nothing wrong and nothing left out
}

type selfTestOptions struct{ cabinet, state string }

func selfTestCommand() *cobra.Command {
	var o selfTestOptions
	c := &cobra.Command{
		Use:   "self-test --cabinet FILE",
		Short: "Find, read and click everything once, and keep a report",
		Long: `Finds, reads and clicks everything of a cabinet once, says what is wrong and appends
a report to ` + selfTestFile + ` in the state folder. Each relay waits for you to type its
name. Stop the daemon first.

Mains wiring belongs to someone qualified, under local code. Never open the
cabinet's wiring with the plug in.

Exit status: 0 passed, 1 something is wrong or was left out, 2 usage, 3 could not.`,
		Example: "  fumarium wiring self-test --cabinet my-cabinet.yaml",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return newBench(cmd).selfTest(cmd.Context(), o) },
	}
	c.Flags().StringVar(&o.state, "state", "", "`DIR` for the report and the last opening (default: "+stateHint+")")
	return cabinetFlag(c, &o.cabinet)
}

// selfTest finds, reads and clicks everything of a real cabinet once, tells what is
// wrong and keeps the report, whatever came of it.
func (b *bench) selfTest(ctx context.Context, o selfTestOptions) error {
	c, err := b.attended("self-test", o.cabinet)
	if err != nil {
		return err
	}
	if c.Simulated() {
		return couldNot(fmt.Errorf("%s exists only in rehearsal: there is no wiring to test", c.Name))
	}
	r := selfTestReport{Time: time.Now().UTC().Truncate(time.Second), Cabinet: c.Name, Machine: b.survey.Look(c), Wrong: []string{}, LeftOut: []string{}}
	b.printFinds(r.Machine, "MISSING")
	fmt.Fprintln(b.out)
	for _, f := range r.Machine {
		if !f.Good {
			r.Wrong = append(r.Wrong, f.What+": "+f.Note)
		}
	}
	w := wiring.OpenProbes(c, b.buses)
	for n := 0; n <= mostSettling; n++ {
		w.Sample(b.elapsed())
		settled := false
		if r.Probes, settled, _ = readings(w); settled {
			break
		}
		if err := b.wait(ctx, time.Second); err != nil {
			return couldNot(fmt.Errorf("ended before the probes had settled: %w; no report was written", err))
		}
	}
	if err := w.Close(); err != nil {
		return couldNot(err)
	}
	if err := b.printReadings(r.Probes); err != nil {
		return couldNot(err)
	}
	for _, p := range r.Probes {
		if p.Celsius == nil {
			r.Wrong = append(r.Wrong, fmt.Sprintf("probe %q: %s: %s", p.Name, p.Status, p.Why))
		}
	}
	fmt.Fprintln(b.out)
	var failed error
	r.Relays, failed = b.clickThrough(ctx, c, clickOptions{cabinet: o.cabinet, state: o.state})
	if failed != nil {
		r.Wrong = append(r.Wrong, "relays: "+failed.Error())
	}
	for _, relay := range r.Relays {
		if relay.Result == "left out" {
			r.LeftOut = append(r.LeftOut, relay.Name)
		}
	}
	r.Pass = len(r.Wrong) == 0 && len(r.LeftOut) == 0
	fmt.Fprintln(b.out)
	for _, wrong := range r.Wrong {
		fmt.Fprintf(b.out, "WRONG  %s\n", shownLines(wrong))
	}
	for _, name := range r.LeftOut {
		fmt.Fprintf(b.out, "not tested  %s\n", name)
	}
	if r.Pass {
		fmt.Fprintln(b.out, "self-test passed: all is there, reads and switches. It says nothing about the mains side, the earth and the cut-out.")
	}
	name, err := appendLine(o.state, selfTestFile, r)
	if err != nil {
		return couldNot(fmt.Errorf("the report could not be written: %w", err))
	}
	fmt.Fprintf(b.out, "appended to %s\n", name)
	switch {
	case failed != nil:
		return failed
	case !r.Pass:
		return &failure{exitBad, errSaid}
	}
	return nil
}
