// Command fumarium runs a smokehouse cabinet, rehearses batches in a simulated
// one and talks to the running daemon. Each subcommand has a file of its own.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

// Exit statuses, as the README's table has them.
const (
	exitGood    = 0
	exitBad     = 1 // done, and the verdict is bad
	exitUsage   = 2
	exitCouldNo = 3 // a file, a bus or the daemon stood in the way
)

// A failure carries the exit status that its error stands for.
type failure struct {
	status int
	err    error
}

func (f *failure) Error() string { return f.err.Error() }
func (f *failure) Unwrap() error { return f.err }

func usage(format string, args ...any) error {
	return &failure{exitUsage, fmt.Errorf(format, args...)}
}

func couldNot(err error) error {
	if err == nil {
		return nil
	}
	return &failure{exitCouldNo, err}
}

// errSaid ends a command whose output has already said what is wrong.
var errSaid = errors.New("")

func main() {
	ends := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) { // nohup wants it to go on; else a lost terminal must not leave the heater on
		ends = append(ends, syscall.SIGHUP)
	}
	ctx, cancel := signal.NotifyContext(context.Background(), ends...)
	defer cancel()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run executes one command line and returns its exit status.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := command()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	called, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitGood
	}
	text := err.Error()
	if text == context.Canceled.Error() { // alone: what else went wrong must be read
		text = "ended before it was done"
	}
	if text != "" {
		text = "fumarium: " + shownLines(strings.TrimSuffix(text, "\n"))
		fmt.Fprintln(stderr, unitsOf(called, err).Text(text))
	}
	var f *failure
	if errors.As(err, &f) {
		return f.status
	}
	// What is left is cobra's own: an unknown command, flag or argument.
	if called.Runnable() && called.HasParent() {
		fmt.Fprintf(stderr, "usage: %s\n", called.UseLine())
	}
	fmt.Fprintf(stderr, "see %s --help\n", called.CommandPath())
	return exitUsage
}

// reason is what a library says of a flag's number that is none.
var reason = regexp.MustCompile(`: strconv\.\w+: parsing .*$`)

func command() *cobra.Command {
	root := &cobra.Command{
		Use:   "fumarium",
		Short: "Runs a smokehouse cabinet, and rehearses every batch first",
		Long: `fumarium runs the chamber of a home-built electric smokehouse through a
product's stages: dry, smoke, cook until the core is done, chill, bloom.

New here? Three commands, none of which needs any hardware:

  fumarium rehearse          a whole batch in the simulated cabinet, in a second
  fumarium products          what can be made
  fumarium run               the daemon with a simulated cabinet, 60 times as
                             fast as real time, and a page to look at

This software is not a safety device. An independent thermal cut-out in the
heater's circuit is the first line of defence; mains wiring belongs to someone
qualified, under local code. Never leave a burning smoke generator alone.`,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	// Not cobra's own: a template of ours would link what controller/layout avoids.
	asked := root.Flags().BoolP("version", "v", false, "version for fumarium")
	root.RunE = func(cmd *cobra.Command, _ []string) error {
		if !*asked {
			return cmd.Help()
		}
		_, err := fmt.Fprintln(cmd.OutOrStdout(), thisBuild())
		return err
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		return errors.New(reason.ReplaceAllString(err.Error(), ""))
	})
	root.PersistentFlags().String(unitsFlag, "", "`UNITS` that figures are shown in: C or F, kg or lb, or one of each as in F,lb (default: $"+unitsVariable+", or C,kg)")
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error { return showIn(cmd) }
	root.AddCommand(
		productsCommand(),
		keysCommand(),
		checkCommand(),
		sheetCommand(),
		planCommand(),
		whatifCommand(),
		assessCommand(),
		rehearseCommand(),
		runCommand(),
		cabinetsCommand(),
		wiringCommand(),
		offCommand(),
		clockCommand(),
		doctorCommand(),
		batchesCommand(),
		reportCommand(),
		replayCommand(),
		traceCommand(),
		labelCommand(),
		compareCommand(),
		exportCommand(),
		importCommand(),
		haccpCommand(),
		learnedCommand(),
		hubCommand(),
	)
	root.AddCommand(clientCommands()...)
	root.AddCommand(beside...)
	return root
}

// beside are commands of builds for the package; man.go has them.
var beside []*cobra.Command
