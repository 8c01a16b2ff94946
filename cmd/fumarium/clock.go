package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/bootclock"
)

// clockEvery is how often the kernel is asked; common practice, no source.
const clockEvery = time.Second

func clockCommand() *cobra.Command {
	var mark string
	c := &cobra.Command{
		Use:   "clock [--mark FILE]",
		Short: "Say whether the computer's clock is synchronised, or wait for it and leave a mark",
		Long: `How long a power cut was is known only by a clock that was synchronised since the
computer was started, before the cut and after it. That the time of day looks right
is no evidence: a board goes on from where it last wrote a file.

Without --mark it says whether the kernel calls its clock synchronised now. With it,
it waits until the kernel does, and writes the id of this boot into FILE; the unit
fumarium-clock.service runs that, and the daemon looks for ` + bootclock.Mark + `.
The kernel's word comes from whoever sets the clock: systemd-timesyncd, or chrony
with rtcsync in its file, which Debian's has. A clock set by hand, and a clock chip,
are not synchronised.

Exit status: 0 synchronised, 1 not, 2 usage, 3 the kernel does not say or FILE cannot
be written.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if mark == "" {
				return sayClock(bootclock.Disciplined, cmd.OutOrStdout())
			}
			at := bootclock.This()
			at.Mark = mark
			tick := time.NewTicker(clockEvery)
			defer tick.Stop()
			return couldNot(markClock(cmd.Context(), at, bootclock.Disciplined, tick.C))
		},
	}
	c.Flags().StringVar(&mark, "mark", "", "`FILE` to leave the mark in once the clock is synchronised")
	return c
}

func sayClock(disciplined func() (bool, error), w io.Writer) error {
	is, err := disciplined()
	switch {
	case err != nil:
		return couldNot(err)
	case !is:
		fmt.Fprintln(w, "the clock is not synchronised: after a power cut a person would be asked how long it was; systemd-timesyncd or chrony sets it, from a network or a receiver")
		return &failure{exitBad, errSaid}
	}
	fmt.Fprintln(w, "the clock is synchronised")
	return nil
}

// markClock leaves the mark once the kernel says that its clock is synchronised.
func markClock(ctx context.Context, at *bootclock.Clock, disciplined func() (bool, error), tick <-chan time.Time) error {
	for {
		is, err := disciplined()
		if err != nil {
			return err
		}
		if is {
			return at.Leave()
		}
		select {
		case <-tick:
		case <-ctx.Done():
			return errors.New("told to end before the clock was synchronised")
		}
	}
}
