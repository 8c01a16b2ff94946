package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
)

type clickOptions struct {
	cabinet, state string
	outputs        []string // none is all
}

func clickCommand() *cobra.Command {
	var o clickOptions
	c := &cobra.Command{
		Use:   "click --cabinet FILE [OUTPUT...]",
		Short: "Click the relays one at a time, each with your consent",
		Long: `Switches one relay after the other on for a second, each only after you typed its
name at a terminal, the heater last; or only those that are named. Stop the daemon
first. Which outputs it opens is kept in the state folder, as the daemon does, so
that fumarium off knows them should this be killed and the file torn.

Mains wiring belongs to someone qualified, under local code. Never open the
cabinet's wiring with the plug in.

Exit status: 0 done, every output off; 2 usage; 3 could not.`,
		Example: `  fumarium wiring click --cabinet my-cabinet.yaml
  fumarium wiring click --cabinet my-cabinet.yaml fan sounder`,
		ValidArgs: outputNames(),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.outputs = args
			return newBench(cmd).click(cmd.Context(), o)
		},
	}
	c.Flags().StringVar(&o.state, "state", "", "`DIR` in which the daemon keeps its state (default: "+stateHint+")")
	return cabinetFlag(c, &o.cabinet)
}

func outputNames() (names []string) {
	for o := range controller.OutputCount {
		names = append(names, o.String())
	}
	return names
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

// attended refuses what may switch a relay while nobody watches.
func (b *bench) attended(command, name string) (*cabinet.Cabinet, error) {
	switch {
	case name == "":
		return nil, usage("%s needs --cabinet: the file says where the relays are", command)
	case !b.terminal:
		return nil, usage("%s wants a person at a terminal, and there is none; no relay was touched", command)
	}
	return findCabinet(name)
}

func (b *bench) click(ctx context.Context, o clickOptions) error {
	c, err := b.attended("click", o.cabinet)
	if err != nil {
		return err
	}
	fitted := wiring.Fitted(c)
	for _, name := range o.outputs {
		if !c.Simulated() && !slices.Contains(fitted, name) {
			return usage("%s has no %q; it has %s", c.Name, name, strings.Join(fitted, ", "))
		}
	}
	_, err = b.clickThrough(ctx, c, o)
	return err
}

// clickThrough tries one relay after the other, those that are named or all, once they
// are on disk as the last opening. Every way out of it leaves all off. What it gives is every relay of the file, also those it did
// not come to.
func (b *bench) clickThrough(ctx context.Context, c *cabinet.Cabinet, o clickOptions) (results []clickedRelay, err error) {
	if c.Simulated() {
		return nil, couldNot(fmt.Errorf("%s exists only in rehearsal: it has no relays to click", c.Name))
	}
	for _, name := range wiring.Fitted(c) {
		results = append(results, clickedRelay{Name: name, Result: "left out"})
	}
	told, err := supersede(o.state, o.cabinet, c, b.lines)
	for _, text := range told {
		fmt.Fprintln(b.out, shownLines(text))
	}
	if err != nil {
		return results, couldNot(err)
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
		if len(o.outputs) > 0 && !slices.Contains(o.outputs, r.Name) {
			continue
		}
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
