package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/web"
	"fumarium/profile/proof"
)

// bendCommands change the stage under way.
func bendCommands() []*cobra.Command {
	var o web.Order
	adjust := bendCommand(controller.Adjust, &o, "Change the stage under way: its chamber, core, time or smoke",
		"Changes the stage under way and no other: the next one is as the file has it. The\n"+
			"limits of the cabinet stay, and so does the end of its heat. A core that is easier to\n"+
			"reach is taken only with what the food needs: where the last heat ends, the stage goes\n"+
			"on until it is cooked by its rule.")
	adjust.Example = `  fumarium adjust --chamber 85°C --reason "the guests come early"
  fumarium adjust --smoke 40% --reason "the last batch was bitter"
  fumarium adjust --time 3h --reason "still wet to the touch"`
	f := adjust.Flags()
	f.StringVar(&o.Chamber, "chamber", "", "`TEMPERATURE` that the stage heats the chamber to")
	f.StringVar(&o.Core, "core", "", "`TEMPERATURE` of the core that it waits for")
	f.StringVar(&o.Time, "time", "", "`DURATION` of the whole stage")
	f.StringVar(&o.Smoke, "smoke", "", "`SHARE` of full air that the smoke generator gets, or off")
	return []*cobra.Command{
		adjust,
		bendCommand(controller.Skip, &web.Order{}, "End the stage under way now and go on with the next",
			"What the stage waited for is not shown then, whatever it was, and the verdict counts\nwhat the food has had."),
		bendCommand(controller.EndCooking, &web.Order{}, "End the cooking now and go on with what comes after the heat",
			"Goes on to the chill, or to what else the product has after its last heat. The verdict\ncounts what the food has had: what was not cooked is not good, whoever ended it."),
	}
}

// bendCommand rehearses what a change would come to, and at a terminal asks. A script is not
// asked.
func bendCommand(kind controller.CommandKind, o *web.Order, short, long string) *cobra.Command {
	var c client
	var yes bool
	cmd := c.flags(&cobra.Command{
		Use: kind.String(), Short: short, Args: cobra.NoArgs,
		Long: long + "\n\nIt first rehearses what the change would come to, and at a terminal asks.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if strings.TrimSpace(o.Reason) == "" {
				return usage("%s needs --reason: why; it goes on the record", kind)
			}
			o.Command = kind.String()
			s, err := c.status(cmd.Context())
			if err != nil {
				return err
			}
			if s.Change == nil || s.Stage == nil {
				return &failure{exitBad, errors.New("no stage is under way that could be changed; see fumarium status")}
			}
			o.Stage = s.Change.Stage
			out := cmd.OutOrStdout()
			if !yes {
				if err := c.foresee(cmd.Context(), o, s, out); err != nil {
					return err
				}
			}
			if !yes && atTerminal(cmd.InOrStdin(), out) {
				fmt.Fprintf(out, "Type yes to change it: ")
				answer, _ := bufio.NewReader(cmd.InOrStdin()).ReadString('\n') // an end without a word is no yes
				if !strings.EqualFold(strings.TrimSpace(answer), "yes") {
					return &failure{exitBad, errors.New("not changed: it goes on as before")}
				}
			}
			return c.send(cmd.Context(), *o, out)
		},
	})
	cmd.Flags().StringVar(&o.Reason, "reason", "", "`WHY`; it goes on the record")
	cmd.Flags().BoolVar(&yes, "yes", false, "neither rehearse it nor ask")
	return cmd
}

// foresee prints what a change would come to. What the daemon refuses is refused here; a
// rehearsal that comes to nothing is said, and forbids nothing.
func (c *client) foresee(ctx context.Context, o *web.Order, s *web.Status, w io.Writer) error {
	body, err := json.Marshal(o)
	if err != nil {
		return couldNot(err)
	}
	answer, err := c.call(ctx, http.MethodPost, "/api/rehearse/change", body)
	if err != nil {
		return err
	}
	var e web.Effect
	if err := json.Unmarshal(answer, &e); err != nil {
		return couldNot(fmt.Errorf("the answer of %s is not understood: %w", c.server, err))
	}
	fmt.Fprintf(w, "stage     %s: %s\n", shown(e.Stage), shown(e.Change))
	now := s.Time
	for _, line := range []struct {
		name          string
		before, after *time.Time
	}{{"its end", e.Before.StageEnd, e.After.StageEnd}, {"finish", e.Before.Finish, e.After.Finish}} {
		fmt.Fprintf(w, "%-9s %s, now %s\n", line.name, about(line.after, now), about(line.before, now))
	}
	for _, side := range []struct {
		name   string
		course web.Course
	}{{"without", e.Before}, {"with it", e.After}} {
		if side.course.Missing != nil {
			fmt.Fprintf(w, "%-9s %s\n", side.name, shown(*side.course.Missing))
		}
	}
	for _, r := range worse(&e) {
		fmt.Fprintf(w, "%-9s %s: %s\n", shown(r.Rule), shown(r.Answer), shown(r.Why))
	}
	fmt.Fprintln(w, "A rehearsal in the simulated cabinet; the verdict counts what really happens.")
	return nil
}

// worse are the rules that a change would cost.
func worse(e *web.Effect) (cost []web.Rule) {
	held := func(answer string) bool {
		return answer == proof.Met.String() || answer == proof.DoesNotApply.String()
	}
	for _, r := range e.After.Rules {
		was := slices.IndexFunc(e.Before.Rules, func(b web.Rule) bool { return b.Rule == r.Rule })
		if !held(r.Answer) && (was < 0 || held(e.Before.Rules[was].Answer)) {
			cost = append(cost, r)
		}
	}
	return cost
}

// about is a clock time on the cabinet's own clock, with the day where it is another.
func about(at *time.Time, now time.Time) string {
	if at == nil {
		return "not known"
	}
	local := at.In(now.Location())
	if local.YearDay() != now.YearDay() {
		return "about " + local.Format("Mon 15:04")
	}
	return "about " + local.Format("15:04")
}
