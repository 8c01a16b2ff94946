package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/front"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/panel"
	"fumarium/controller/snapshot"
	"fumarium/profile"
)

type panelOptions struct {
	cabinet string
	last    time.Duration
}

func panelCommand() *cobra.Command {
	var o panelOptions
	c := &cobra.Command{
		Use:   "panel --cabinet FILE",
		Short: "Try the display and the buttons at the cabinet",
		Long: `Shows on the cabinet's display what each button would do while it is held, and prints
each press that counts, until Ctrl-C. Nothing is switched and no batch is touched.
Stop the daemon first: a button's line has one owner.

Exit status: 0 ended with Ctrl-C or after --for with nothing wrong, 1 the display takes
no picture or a button could not be read, 2 usage, 3 could not.`,
		Example: `  fumarium wiring panel --cabinet my-cabinet.yaml
  fumarium wiring panel --cabinet my-cabinet.yaml --for 20s`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return newBench(cmd).panel(cmd.Context(), o) },
	}
	c.Flags().DurationVar(&o.last, "for", 0, "`DURATION` after which it ends by itself, such as 20s")
	return cabinetFlag(c, &o.cabinet)
}

// tried is a loop that has no cabinet: it asks for each button, and prints what it is sent.
type tried struct{ out io.Writer }

func (t tried) Snapshot() *snapshot.Snapshot {
	return &snapshot.Snapshot{
		Stepped: time.Now(),
		Product: &profile.Product{Name: "trial", Stages: []profile.Stage{{Name: "trial", Ask: "Hold each button"}}},
		State:   controller.State{Begun: true, Batch: controller.Running, Asking: true},
	}
}

func (t tried) Do(_ context.Context, r snapshot.Request) (snapshot.Reply, error) {
	fmt.Fprintf(t.out, "%s was held for long enough\n", r.Command.Kind)
	return snapshot.Reply{Accepted: true}, nil
}

func (b *bench) panel(ctx context.Context, o panelOptions) error {
	if o.cabinet == "" {
		return usage("name the cabinet whose panel to try with --cabinet")
	}
	c, err := findCabinet(o.cabinet)
	if err != nil {
		return err
	}
	switch {
	case c.Simulated():
		return couldNot(fmt.Errorf("%s exists only in rehearsal: see its panel with fumarium rehearse --panel", c.Name))
	case !c.Panel.Fitted():
		return usage("%s has no panel; add panel: {display: I2C1, confirm: {pin: GPIO5}} to the file", o.cabinet)
	}
	w := wiring.OpenProbes(c, b.buses)
	defer w.Close()
	cfg := w.Front(b.lines)
	var missing error
	for k, err := range cfg.Missing {
		missing = errors.Join(missing, fmt.Errorf("button %s: %w", k, err))
	}
	if missing != nil {
		for _, in := range cfg.Buttons {
			_ = in.Close()
		}
		return couldNot(missing)
	}
	if o.last > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, o.last)
		defer cancel()
	}
	fmt.Fprintf(b.out, "Hold each button: %s for a second, %s for a moment, %s for three. Ctrl-C ends.\n", panel.Confirm, panel.Silence, panel.Stop)
	if c.Panel.OnSPI() {
		fmt.Fprintln(b.out, "A display on SPI says nothing back: see for yourself that it shows this.")
	}
	f := front.New(cfg)
	f.Run(ctx, tried{b.out}, slog.New(slog.NewTextHandler(b.out, nil)))
	if f.Faults() != 0 || !f.Drawn() {
		return &failure{exitBad, errors.New("the display took no picture, or a button is stuck")}
	}
	return nil
}
