package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
)

// confirmCommand sends the question along, so that a second confirm cannot answer
// the next one unread.
func confirmCommand() *cobra.Command {
	var c client
	return c.flags(&cobra.Command{
		Use: "confirm [QUESTION]", Short: "Confirm the hand step that the batch waits for", Args: aQuestion,
		Long: `Answers the question that the batch waits with: prints it, and confirms that one
and no other. If another waits by the time the answer comes, nothing is confirmed.

With QUESTION, as fumarium status names it, that one is confirmed whatever waits
when this is run: so for one that you have read a while ago, and in scripts. Its
last part is the batch, so that no question of another batch is answered.`,
		Example: `  fumarium confirm
  fumarium confirm 2-ask-k3jx9d        # the hand step of the second stage
  fumarium confirm 4-until-1-k3jx9d    # the first condition of the fourth`,
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := c.status(cmd.Context())
			if err != nil {
				return err
			}
			if s.Prompt == nil {
				return &failure{exitBad, errors.New("nothing waits for a confirmation")}
			}
			read := s.Prompt.Question
			if s.Prompt.Command == controller.Absence.String() && len(args) == 0 {
				return &failure{exitBad, fmt.Errorf("%s: %s", shown(s.Prompt.Text), answerWith(s.Prompt))}
			}
			if len(args) == 1 {
				read = args[0]
			}
			if read == s.Prompt.Question {
				fmt.Fprintln(cmd.OutOrStdout(), shown(s.Prompt.Text))
			}
			return c.send(cmd.Context(), web.Order{Command: controller.Confirm.String(), Question: read}, cmd.OutOrStdout())
		},
	})
}

// answerWith is the command line that answers a prompt.
func answerWith(p *web.Prompt) string {
	if p.Command == controller.Absence.String() {
		return "fumarium absence " + shown(p.Question) + " --for TIME"
	}
	return "fumarium confirm " + shown(p.Question)
}

// absenceCommand sends the question along: the answer to an earlier absence is none to
// the next.
func absenceCommand() *cobra.Command {
	var c client
	var d string
	cmd := c.flags(&cobra.Command{
		Use: "absence QUESTION --for TIME", Short: "Say for how long the controller was away, where the clock does not show it", Args: anAbsence,
		Long: `After a power cut the length of it is known only if the clock was synchronised
since the computer was started, before the cut and now; otherwise the heater stays
off and the batch is held until you say it. fumarium status names the question and
the least that it was. Say the time from the last step to the daemon's return, the
longest that it may have been: it counts against the batch, and more than four hours
end it. After less fumarium restart goes on. You are believed, and it is on the
record that a person said it. If you cannot tell: fumarium stop.`,
		Example: `  fumarium absence absence-1-k3jx9d --for "1 h 30 min"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := quantity.ParseDuration(d); err != nil {
				return usage("--for %s: %w", d, err)
			}
			return c.send(cmd.Context(), web.Order{Command: controller.Absence.String(), Question: args[0], For: d}, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&d, "for", "", "`TIME` that the controller was away, as 40 min")
	return cmd
}

// anAbsence takes the name of one question about an absence.
func anAbsence(cmd *cobra.Command, args []string) error {
	if err := cobra.ExactArgs(1)(cmd, args); err != nil {
		return err
	}
	if q, ok := controller.ParseQuestion(args[0]); !ok || q.Absence == 0 {
		return usage("no absence is called %q; fumarium status names the one that waits, such as absence-1-k3jx9d", args[0])
	}
	return nil
}

// aQuestion takes the name of one question, or none.
func aQuestion(cmd *cobra.Command, args []string) error {
	if err := cobra.MaximumNArgs(1)(cmd, args); err != nil || len(args) == 0 {
		return err
	}
	if _, ok := controller.ParseQuestion(args[0]); !ok {
		return usage("no question is called %q; fumarium status names the one that waits, such as 2-ask-k3jx9d or 4-until-1-k3jx9d", args[0])
	}
	return nil
}

func acknowledgeCommand() *cobra.Command {
	var c client
	return c.flags(&cobra.Command{
		Use: "acknowledge [ALARM]", Short: "Acknowledge one alarm, or all", Args: anAlarm(controller.Acknowledge), ValidArgs: alarmNames(),
		Long: `Says that a person knows of an alarm, or of all that call. It ends the noise and
claims nothing, however often it is said; a trip stays latched until fumarium
reset. That something is mended which no probe can see is said by fumarium mended.
An alarm that is named is taken off the shelf as well.

fumarium status shows which stand. What each means and what to do about it is in
deploy/alarms.md. The alarms:

` + alarmTable(),
		Example: `  fumarium acknowledge
  fumarium acknowledge core-out`,
		RunE: func(cmd *cobra.Command, args []string) error {
			o := web.Order{Command: controller.Acknowledge.String()}
			if len(args) == 1 {
				o.Alarm = args[0]
			}
			if err := c.send(cmd.Context(), o, cmd.OutOrStdout()); err != nil || len(args) == 0 {
				return err
			}
			return c.hint(cmd.Context(), o.Alarm, cmd.OutOrStdout())
		},
	})
}

// hint says what is left to say about an alarm that is known now.
func (c *client) hint(ctx context.Context, alarm string, w io.Writer) error {
	s, err := c.status(ctx)
	if err != nil {
		return err
	}
	for _, a := range s.Alarms {
		if a.Code == alarm && a.Mended != "" {
			fmt.Fprintf(w, "%s is known and stands. To say %q: fumarium mended %s\n", alarm, shown(a.Mended), alarm)
		}
	}
	return nil
}

// mendedCommand prints the claim before it is sent.
func mendedCommand() *cobra.Command {
	var c client
	return c.flags(&cobra.Command{
		Use: "mended ALARM", Short: "Say that an alarm which waits for your word is mended", Args: aMendable, ValidArgs: mendable(),
		Long: `Some alarms wait for a person to say that they are mended, because no probe can
see it. You are believed, and what the batch is held to afterwards rests on it: look
first. It is on the record who said it. What mended claims of each:

` + mendedTable() + `
The others end by themselves when their cause is gone. To end the noise and claim
nothing: fumarium acknowledge.`,
		Example: `  fumarium mended core-out    # the probe is back in the meat`,
		RunE: func(cmd *cobra.Command, args []string) error {
			code, _ := trip.Parse(args[0])
			fmt.Fprintf(cmd.OutOrStdout(), "%s: %s.\n", code, code.Entry().Mended)
			return c.send(cmd.Context(), web.Order{Command: controller.Mended.String(), Alarm: args[0]}, cmd.OutOrStdout())
		},
	})
}

// aMendable takes one alarm that waits for a person's word.
func aMendable(cmd *cobra.Command, args []string) error {
	if err := anAlarm(controller.Mended)(cmd, args); err != nil {
		return err
	}
	if code, _ := trip.Parse(args[0]); code.Entry().Mended == "" {
		return usage("%s needs nobody's word: it ends by itself when its cause is gone; those that do are %s", args[0], strings.Join(mendable(), ", "))
	}
	return nil
}

func mendable() (names []string) {
	for c := trip.None + 1; c < trip.Count; c++ {
		if c.Entry().Mended != "" {
			names = append(names, c.String())
		}
	}
	return names
}

// mendedTable lists what a person can say that no probe can.
func mendedTable() string {
	var b strings.Builder
	for _, name := range mendable() {
		c, _ := trip.Parse(name)
		fmt.Fprintf(&b, "  %-20s %s\n", name, c.Entry().Mended)
	}
	return b.String()
}

func shelveCommand() *cobra.Command {
	var c client
	var d string
	cmd := c.flags(&cobra.Command{
		Use: "shelve ALARM", Short: "Put an alarm aside for a while; a trip cannot be shelved", Args: anAlarm(controller.Shelve), ValidArgs: alarmNames(),
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := quantity.ParseDuration(d); err != nil {
				return usage("--for %s: %w", d, err)
			}
			return c.send(cmd.Context(), web.Order{Command: controller.Shelve.String(), Alarm: args[0], For: d}, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&d, "for", "1 h", "`DURATION`, at most 8 h")
	return cmd
}

func alarmNames() (names []string) {
	for c := trip.None + 1; c < trip.Count; c++ {
		names = append(names, c.String())
	}
	return names
}

func alarmTable() string {
	var b strings.Builder
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		line := fmt.Sprintf("  %-20s %s", e.Name, e.Priority)
		if e.Trips {
			line += ", trip"
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}

// anAlarm takes one alarm of the catalogue, or none where the command needs none.
func anAlarm(of controller.CommandKind) cobra.PositionalArgs {
	least := 0
	if of.Needs()&controller.WithAlarm != 0 {
		least = 1
	}
	return func(cmd *cobra.Command, args []string) error {
		if err := cobra.RangeArgs(least, 1)(cmd, args); err != nil || len(args) == 0 {
			return err
		}
		if _, ok := trip.Parse(args[0]); !ok {
			return usage("no alarm is called %q; fumarium status shows which stand; there are %s", args[0], strings.Join(alarmNames(), ", "))
		}
		return nil
	}
}
