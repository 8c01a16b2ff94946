package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/tune"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
)

// lookEvery is how often tune looks how far it is; common practice, no source.
const lookEvery = 2 * time.Second

func tuneCommand() *cobra.Command {
	var c client
	away := false
	cmd := c.flags(&cobra.Command{
		Use: "tune", Short: "Let the cabinet learn how its chamber answers to heat", Args: cobra.NoArgs,
		Long: fmt.Sprintf(`An evening's experiment with a cabinet that has cooled down and holds nothing but a
wide pan with a litre of water: five minutes of rest, full heat up to %.0f K above the
room, and on and off around that %d times; with the fan, and then without. It asks two
questions before anything heats (fumarium confirm, or on the page).

It is a batch of its own. Every trip and alarm lives. Stop it at any time with fumarium
stop, on the page or at the cabinet; to end this command ends only the looking on. Each
state of the fan heats for %s at most, then the heat ends by itself. A trip, an open
door, and a program or computer that is started again meanwhile end it, with the heater
off, and nothing is learned of what was broken off.

Of its record the daemon works out how fast the chamber rises and how late it answers,
says how sure that is, and puts it into the cabinet file under learned:, with the old
file kept beside it. Where it may not write there, it says what to do (fumarium learned
--write). The control law goes by it from the next batch on; what watches the heater
goes by response: as before.

Before anything gets hot:
%s`, float64(tune.Rise), tune.Cycles, quantity.FormatDuration(tune.Longest), beforeHeat()),
		RunE: func(cmd *cobra.Command, _ []string) error {
			w := cmd.OutOrStdout()
			if err := c.send(cmd.Context(), web.Order{Command: controller.Tune.String()}, w); err != nil {
				return err
			}
			if away {
				return nil
			}
			fmt.Fprintln(w, "Ctrl-C ends the looking on, not the experiment; that ends with: fumarium stop")
			return c.watchLearning(cmd.Context(), w)
		},
	})
	cmd.Flags().BoolVar(&away, "no-wait", false, "do not look on")
	return cmd
}

// watchLearning says each phase as it begins, each question, and what came of it.
func (c *client) watchLearning(ctx context.Context, w io.Writer) error {
	said, batch := "", ""
	over := time.Time{}
	for {
		s, err := c.status(ctx)
		if err != nil {
			return err
		}
		if s.Batch != nil && batch == "" {
			batch = *s.Batch
		}
		if text := learningLine(s); text != said {
			said = text
			if text != "" {
				fmt.Fprintln(w, shown(text))
			}
		}
		if s.Learned != nil && s.Learned.Batch == batch {
			return tellLearned(w, s)
		}
		switch s.State {
		case controller.Complete.String(), controller.Stopped.String(), controller.Aborted.String():
			if over.IsZero() {
				over = time.Now()
			}
			if time.Since(over) > recordedWithin {
				return couldNot(fmt.Errorf("the batch is %s, and the daemon does not say what came of it; see fumarium learned", shown(s.State)))
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(lookEvery):
		}
	}
}

// learningLine is what there is to say now; it changes only with the phase.
func learningLine(s *web.Status) string {
	switch {
	case s.Trip != nil:
		return "TRIPPED " + s.Trip.Code + ": " + s.Trip.Meaning + " " + s.Trip.Action
	case s.Prompt != nil:
		return "to do: " + s.Prompt.Text + " (then: " + answerWith(s.Prompt) + ")"
	case s.Learning != nil:
		text, _, _ := strings.Cut(s.Learning.Text, ", for ")
		text, _, _ = strings.Cut(text, " for ")
		return text
	case s.Stage != nil:
		return s.Stage.Name + ", until " + s.Stage.EndedBy
	}
	return ""
}

func tellLearned(w io.Writer, s *web.Status) error {
	for _, line := range s.Learned.Lines {
		fmt.Fprintln(w, shown(line))
	}
	for _, line := range []*string{s.Learned.Kept, s.Learned.Do} {
		if line != nil {
			fmt.Fprintln(w, shown(*line))
		}
	}
	if s.State != controller.Complete.String() {
		return &failure{exitBad, errSaid}
	}
	return nil
}
