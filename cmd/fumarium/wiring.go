package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/relay"
	"fumarium/profile/quantity"
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
	if w, ok := v.(io.Writer); ok {
		v = quantity.Raw(w)
	}
	f, ok := v.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

func wiringCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "wiring",
		Short: "Find buses and front ends, read the probes, click the relays",
		Long: `What one does with the wires of a cabinet, before the first heat and after every
change.

Mains wiring belongs to someone qualified, under local code. Never open the
cabinet's wiring with the plug in. Stop the daemon before anything that clicks.`,
		Example: `  fumarium wiring find --cabinet my-cabinet.yaml
  fumarium wiring read --cabinet my-cabinet.yaml
  fumarium wiring calibrate --cabinet my-cabinet.yaml --probe "core 1" --altitude 420
  fumarium wiring click --cabinet my-cabinet.yaml fan
  fumarium wiring self-test --cabinet my-cabinet.yaml`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := movedFlags(cmd.Flags()); err != nil {
				return err
			}
			return cmd.Help()
		},
	}
	f := c.Flags()
	for _, name := range []string{"click", "self-test", "once", "json"} {
		f.Bool(name, false, "")
	}
	f.String("cabinet", "", "")
	f.String("state", "", "")
	f.VisitAll(func(f *pflag.Flag) { f.Hidden = true })
	c.AddCommand(findCommand(), readCommand(), calibrateCommand(), clickCommand(), panelCommand(), selfTestCommand())
	return c
}

// movedFlags tells whoever gives a flag that once chose what wiring did the command that
// does it now.
func movedFlags(f *pflag.FlagSet) error {
	name := "FILE"
	if given := f.Lookup("cabinet").Value.String(); given != "" {
		name = strconv.Quote(given)
	}
	for _, moved := range []struct{ flag, to string }{
		{"self-test", "self-test --cabinet " + name},
		{"click", "click --cabinet " + name},
		{"state", "self-test --cabinet " + name},
		{"once", "read --cabinet " + name + " --once"},
		{"cabinet", "find --cabinet " + name + " for what is there, fumarium wiring read --cabinet " + name + " for the probes"},
		{"json", "find --json"},
	} {
		if f.Changed(moved.flag) {
			return usage("wiring takes no --%s; write fumarium wiring %s", moved.flag, moved.to)
		}
	}
	return nil
}

// cabinetFlag gives a command the flag for the cabinet it is about.
func cabinetFlag(c *cobra.Command, name *string) *cobra.Command {
	c.Flags().StringVar(name, "cabinet", "", "cabinet `FILE`, or the name of a shipped cabinet")
	return c
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
