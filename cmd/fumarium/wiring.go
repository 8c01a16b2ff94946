package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// bench is the machine and the person as the wiring commands see them; tests put
// their own here.
type bench struct {
	in       io.Reader
	out      io.Writer
	terminal bool // a person types
	screen   bool // out can be wiped
	lines    relay.Host
	buses    wiring.Buses
	survey   wiring.Survey
	wait     func(context.Context, time.Duration) error
	elapsed  func() time.Duration
	answers  chan string
}

func newBench(cmd *cobra.Command) *bench {
	began := time.Now()
	return &bench{
		in: cmd.InOrStdin(), out: cmd.OutOrStdout(),
		terminal: isTerminal(cmd.InOrStdin()), screen: isTerminal(cmd.OutOrStdout()),
		lines: relay.NewKernel(), buses: wiring.Machine(), survey: wiring.NewSurvey(),
		wait: func(ctx context.Context, d time.Duration) error {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(d):
				return nil
			}
		},
		elapsed: func() time.Duration { return time.Since(began) },
	}
}

func isTerminal(v any) bool {
	f, ok := v.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

type wiringOptions struct {
	cabinet, state                string
	once, asJSON, click, selfTest bool
}

func wiringCommand() *cobra.Command {
	var o wiringOptions
	c := &cobra.Command{
		Use:   "wiring [--cabinet FILE]",
		Short: "Find buses and front ends, show live readings, click the relays",
		Long: `Lists the buses of this machine, the front ends that answer and the GPIO chips;
with --cabinet also what the file names and is not there, and what to do about it,
and then reads every probe each second until Ctrl-C. Nothing is switched.

--click switches one relay after the other on for a second, each only after you
typed its name at a terminal, the heater last. Stop the daemon first.

--self-test does all of it once, says what is wrong and appends a report to
` + selfTestFile + ` in the state folder.

Mains wiring belongs to someone qualified, under local code. Never open the
cabinet's wiring with the plug in.

Exit status: 0 all there and all readings good, 1 something is missing or faulty,
2 usage, 3 could not. Ended with Ctrl-C, the last table counts.`,
		Example: `  fumarium wiring
  fumarium wiring --cabinet my-cabinet.yaml --once
  fumarium wiring --cabinet my-cabinet.yaml --click
  fumarium wiring --cabinet my-cabinet.yaml --self-test
  fumarium wiring calibrate --cabinet my-cabinet.yaml --probe "core 1" --altitude 420`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return newBench(cmd).wiring(cmd.Context(), o)
		},
	}
	c.Flags().StringVar(&o.cabinet, "cabinet", "", "cabinet `FILE`, or the name of a shipped cabinet")
	c.Flags().BoolVar(&o.once, "once", false, "one table instead of one each second")
	c.Flags().BoolVar(&o.asJSON, "json", false, "print JSON; with live readings, one object a line")
	c.Flags().BoolVar(&o.click, "click", false, "click the relays one at a time, each with your consent")
	c.Flags().BoolVar(&o.selfTest, "self-test", false, "find, read and click once, and keep a report")
	c.Flags().StringVar(&o.state, "state", "", "`DIR` for the report (default: "+stateHint+")")
	c.AddCommand(calibrateCommand())
	return c
}

// probeReading is one line of the table.
type probeReading struct {
	Name    string   `json:"name"`
	Role    string   `json:"role"`
	Chip    string   `json:"chip"`
	Bus     string   `json:"bus,omitempty"`
	Status  string   `json:"status"`
	Celsius *float64 `json:"celsius"`                 // absent when it is not good
	Raw     *float64 `json:"raw_celsius"`             // before calibration and filter
	Board   *float64 `json:"board_celsius,omitempty"` // of the front end, where it tells
	// Lag is how late the reading follows a ramp because of median and damping.
	Lag float64 `json:"lag_seconds"`
	Why string  `json:"why,omitempty"`
}

func (b *bench) wiring(ctx context.Context, o wiringOptions) error {
	if o.click || o.selfTest {
		name := "--click"
		if o.selfTest {
			name = "--self-test"
		}
		switch {
		case o.cabinet == "":
			return usage("%s needs --cabinet: the file says where the relays are", name)
		case o.once || o.asJSON:
			return usage("%s talks with a person; leave out --once and --json", name)
		case o.click && o.selfTest:
			return usage("--self-test clicks the relays as well; leave out --click")
		case !b.terminal:
			return usage("%s wants a person at a terminal, and there is none; no relay was touched", name)
		}
	}
	var c *cabinet.Cabinet
	if o.cabinet != "" {
		var err error
		if c, err = findCabinet(o.cabinet); err != nil {
			return err
		}
	}
	switch {
	case o.click:
		_, err := b.click(ctx, c)
		return err
	case o.selfTest:
		return b.selfTest(ctx, c, o.state)
	}
	found := []wiring.Find{}
	if c == nil || !c.Simulated() { // what exists only in rehearsal needs nothing of this machine
		found = b.survey.Look(c)
	}
	var missing error // ends the command, when all else went well
	if wiring.Missing(found) != nil {
		missing = &failure{exitBad, errSaid}
	}
	if !o.asJSON && len(found) > 0 {
		b.printFinds(found)
	}
	if c == nil {
		if !o.asJSON {
			fmt.Fprintln(b.out, "name a cabinet file with --cabinet to read its probes")
		} else if err := printJSON(b.out, map[string]any{"machine": found}); err != nil {
			return couldNot(err)
		}
		return missing
	}
	w, err := b.openProbes(c)
	if err != nil {
		return couldNot(err)
	}
	defer w.Close()
	for n := 0; ; n++ {
		w.Sample(b.elapsed())
		table, settled, good := readings(w)
		last := settled || n >= mostSettling
		if !o.once || last {
			if err := b.show(o, found, table, n); err != nil {
				return couldNot(err)
			}
		}
		if (o.once && last) || b.wait(ctx, time.Second) != nil { // read, or asked to end
			if !good {
				return &failure{exitBad, errSaid}
			}
			return missing
		}
	}
}

// mostSettling is how many reads a probe may take to its first number; the chips
// need two and the median two more.
const mostSettling = 8

func (b *bench) openProbes(c *cabinet.Cabinet) (*wiring.World, error) {
	if !c.Simulated() {
		return wiring.OpenProbes(c, b.buses), nil
	}
	p, err := catalog.Find(defaultProduct) // whatever files lie here
	if err != nil {
		return nil, err
	}
	return wiring.Open(c, wiring.Options{Product: p.Value, Seed: 1})
}

// readings is the table, whether every probe has come to an answer, and whether
// all of them are good.
func readings(w *wiring.World) (table []probeReading, settled, good bool) {
	settled, good = true, true
	for _, ch := range w.Channels() {
		r := probeReading{Name: ch.Probe.Name, Role: ch.Probe.Role.String(), Chip: ch.Probe.Chip, Bus: ch.Probe.Bus, Status: ch.Reading.Status().String(), Lag: ch.Lag().Seconds()}
		if r.Celsius = quantity.OrNull(ch.Reading.Value()); r.Celsius == nil {
			good = false
			r.Why = ch.Err().Error()
		}
		r.Raw = quantity.OrNull(ch.Raw.Value())
		r.Board = quantity.OrNull(ch.Board().Value())
		settled = settled && ch.Reading.Status() != sensors.Unread
		table = append(table, r)
	}
	return table, settled, good
}

func (b *bench) printFinds(found []wiring.Find) {
	t := tabwriter.NewWriter(b.out, 0, 0, 2, ' ', 0)
	for _, f := range found {
		sign := "ok"
		if !f.Good {
			sign = "MISSING"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", sign, shown(f.What), shown(f.Note))
	}
	t.Flush()
	fmt.Fprintln(b.out)
}

func (b *bench) show(o wiringOptions, found []wiring.Find, table []probeReading, n int) error {
	if o.asJSON {
		all := map[string]any{"machine": found, "probes": table}
		if o.once {
			return printJSON(b.out, all)
		}
		return json.NewEncoder(b.out).Encode(all)
	}
	if n > 0 && b.screen && !o.once {
		fmt.Fprintf(b.out, "\x1b[%dA\x1b[J", len(table)+1)
	}
	return b.printReadings(table)
}

func (b *bench) printReadings(table []probeReading) error {
	t := tabwriter.NewWriter(b.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "probe\trole\tchip\treads\traw\tboard\t")
	celsius := func(v *float64, otherwise string) string {
		if v == nil {
			return otherwise
		}
		return quantity.Fixed(*v, 2) + " °C"
	}
	for _, r := range table {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", r.Name, r.Role, strings.TrimSpace(r.Chip+" "+r.Bus),
			celsius(r.Celsius, r.Status), celsius(r.Raw, quantity.Nothing), celsius(r.Board, quantity.Nothing), shown(r.Why))
	}
	return t.Flush()
}

// ask reads one line that the person types. Ctrl-C ends the waiting.
func (b *bench) ask(ctx context.Context, question string) (string, error) {
	fmt.Fprint(b.out, question)
	if b.answers == nil {
		b.answers = make(chan string)
		go func() {
			lines := bufio.NewScanner(b.in)
			for lines.Scan() {
				b.answers <- strings.TrimSpace(lines.Text())
			}
			close(b.answers)
		}()
	}
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case answer, open := <-b.answers:
		if !open {
			return "", io.ErrUnexpectedEOF
		}
		return answer, nil
	}
}

// clicked is how long a relay stays on.
const clicked = time.Second

// outputsOf gives the outputs with only one of them on.
func outputsOf(name string) (only controller.Outputs) {
	for o := range controller.OutputCount {
		only.On.Set(o, o.String() == name)
	}
	return only
}

// clickedRelay is what came of one relay.
type clickedRelay struct {
	Name   string `json:"name"`
	Result string `json:"result"` // "left out", "clicked" or "failed"
	// The feedback while the relay was on and afterwards; empty without one.
	ElementOn  string `json:"element_on,omitempty"`
	ElementOff string `json:"element_off,omitempty"`
	Why        string `json:"why,omitempty"`
}

// click tries one relay after the other. Every way out of it leaves all off. What it
// gives is every relay of the file, also those it did not come to.
func (b *bench) click(ctx context.Context, c *cabinet.Cabinet) (results []clickedRelay, err error) {
	if c.Simulated() {
		return nil, couldNot(fmt.Errorf("%s exists only in rehearsal: it has no relays to click", c.Name))
	}
	for _, name := range wiring.Fitted(c) {
		results = append(results, clickedRelay{Name: name, Result: "left out"})
	}
	bank, err := relay.Open(c, b.lines, func(d time.Duration) { _ = b.wait(context.Background(), d) })
	if err != nil {
		return results, couldNot(err)
	}
	defer func() {
		if off := bank.Close(); off != nil {
			err = couldNot(errors.Join(fmt.Errorf("cut the mains: %w", off), err))
		}
	}()
	if bank.Readback().Welded {
		return results, couldNot(relay.ErrLive)
	}
	fmt.Fprint(b.out, "Every output is off now. Each relay is switched on for one second, once you typed its name.\nPress Enter alone to leave one out, Ctrl-C to end.\n\n")
	for i := range results {
		r := &results[i]
		word, question := r.Name, fmt.Sprintf("Click the %s? Type %s: ", r.Name, r.Name)
		if r.Name == "heater" {
			word = "heat"
			fmt.Fprintf(b.out, "\nTHE HEATER IS NEXT. Its element gets mains voltage for one second and turns hot.\n"+
				"Go on only if the cabinet is closed and empty, nobody touches element or wiring, the\nthermal cut-out is fitted and someone qualified has checked the mains side.\n")
			question = "Click the heater? Type heat: "
		}
		answer, err := b.ask(ctx, question)
		switch {
		case err != nil:
			fmt.Fprintln(b.out, "\nended; every output is off")
			return results, nil
		case answer != word:
			fmt.Fprintf(b.out, "%s left out\n", r.Name)
			continue
		}
		if err := b.clickOne(ctx, bank, r); err != nil {
			r.Result, r.Why = "failed", err.Error()
			return results, couldNot(err)
		}
	}
	fmt.Fprintln(b.out, "done; every output is off")
	return results, nil
}

// clickOne switches one relay on and off again, and looks at the element meanwhile.
func (b *bench) clickOne(ctx context.Context, bank *relay.Bank, r *clickedRelay) error {
	if err := bank.Drive(outputsOf(r.Name)); err != nil {
		return err
	}
	on := bank.Readback().Element
	if on != relay.On || r.Name == "heater" {
		_ = b.wait(ctx, clicked) // ended early: off comes early
	}
	if err := bank.Drive(controller.Outputs{}); err != nil {
		return err
	}
	r.Result = "clicked"
	fmt.Fprintf(b.out, "%s was on and is off again", r.Name)
	if on != relay.Unknown {
		off := bank.Readback().Element
		r.ElementOn, r.ElementOff = on.String(), off.String()
		if r.Name != "heater" && on == relay.On {
			fmt.Fprintln(b.out)
			return fmt.Errorf("the element got voltage with the relay of the %s: two pins or two wires are swapped; correct them before anything else", r.Name)
		}
		if r.Name == "heater" {
			fmt.Fprintf(b.out, "; the feedback said %s meanwhile and says %s now", on, off)
			if on == relay.Off {
				fmt.Fprint(b.out, ": right with the mains off, wrong with them on")
			}
		}
	}
	fmt.Fprintln(b.out)
	return nil
}
