package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/cabinet"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

type readOptions struct {
	cabinet      string
	once, asJSON bool
}

func readCommand() *cobra.Command {
	var o readOptions
	c := &cobra.Command{
		Use:   "read --cabinet FILE",
		Short: "Read every probe, each second until Ctrl-C",
		Long: `Reads every probe of a cabinet and shows what it says, each second until Ctrl-C.
Nothing is switched.

Exit status: 0 all readings good, 1 one is not, 2 usage, 3 could not. Ended with
Ctrl-C, the last table counts.`,
		Example: `  fumarium wiring read --cabinet my-cabinet.yaml
  fumarium wiring read --cabinet my-cabinet.yaml --once --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return newBench(cmd).read(cmd.Context(), o) },
	}
	c.Flags().BoolVar(&o.once, "once", false, "one table instead of one each second")
	c.Flags().BoolVar(&o.asJSON, "json", false, "print JSON; without --once, one object a line")
	return cabinetFlag(c, &o.cabinet)
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

func (b *bench) read(ctx context.Context, o readOptions) error {
	if o.cabinet == "" {
		return usage("name the cabinet whose probes to read with --cabinet")
	}
	c, err := findCabinet(o.cabinet)
	if err != nil {
		return err
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
			if err := b.show(o, table, n); err != nil {
				return couldNot(err)
			}
		}
		if (o.once && last) || b.wait(ctx, time.Second) != nil { // read, or asked to end
			if !good {
				return &failure{exitBad, errSaid}
			}
			return nil
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

func (b *bench) show(o readOptions, table []probeReading, n int) error {
	if o.asJSON {
		all := map[string]any{"probes": table}
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
	t := newTable(b.out)
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
