package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/caution"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// client talks to the daemon over its API.
type client struct {
	server, state string
}

func clientCommands() []*cobra.Command {
	return append(bendCommands(), []*cobra.Command{
		statusCommand(),
		startCommand(),
		confirmCommand(),
		absenceCommand(),
		noteCommand(),
		weighCommand(),
		lotCommand(),
		declareCommand(),
		rateCommand(),
		decideCommand(),
		photoCommand(),
		simple(controller.Hold, "Hold the batch: everything off, its clocks stand still",
			"The come-up clock of the core does not stand still: the meat does not know of the\nhold.", caution.Smoulders),
		restartCommand(),
		stopCommand(),
		simple(controller.Abort, "End the batch because something is wrong", "Like stop, and the record says aborted. The heater goes off with either in the same\nsecond.",
			caution.Smoulders),
		simple(controller.Reset, "Reset a trip whose cause is gone", "The batch stays held until restart.", caution.BeforeReset),
		acknowledgeCommand(),
		mendedCommand(),
		shelveCommand(),
		iceCommand(),
		tuneCommand(),
		pairCommand(),
		sessionsCommand(),
	}...)
}

func (c *client) flags(cmd *cobra.Command) *cobra.Command {
	cmd.Flags().StringVar(&c.server, "server", "http://"+defaultListen, "`URL` of the daemon")
	cmd.Flags().StringVar(&c.state, "state", "", "`DIR` with the operator's token (default: "+stateHint+")")
	return cmd
}

// simple gives the caution in the help and with the command: before what may bring
// heat, after what takes it away, which waits for no terminal.
func simple(kind controller.CommandKind, short, long, warning string) *cobra.Command {
	var c client
	return c.flags(&cobra.Command{
		Use: kind.String(), Short: short, Long: long + "\n\n" + warning, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			first := kind == controller.Restart || kind == controller.Reset
			if first {
				fmt.Fprintln(cmd.OutOrStdout(), warning)
			}
			err := c.send(cmd.Context(), web.Order{Command: kind.String()}, cmd.OutOrStdout())
			if !first {
				fmt.Fprintln(cmd.OutOrStdout(), warning)
			}
			return err
		},
	})
}

func restartCommand() *cobra.Command {
	c := simple(controller.Restart, "Go on with a held batch, where it was held",
		"The stage goes on with what was left of it. (Held, restarting and running are the\nstates of ISA-88.)", caution.HeatReturns)
	c.SuggestFor = []string{"resume"} // its name until ISA-88's was taken
	return c
}

func noteCommand() *cobra.Command {
	var c client
	var batch string
	cmd := c.flags(&cobra.Command{
		Use: "note TEXT", Short: "Keep a note on the batch: what you saw, changed or tasted", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.send(cmd.Context(), web.Order{Command: web.Note, Batch: batch, Text: args[0]}, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&batch, "batch", "", "`BATCH` (default: the one under way, or the last)")
	return cmd
}

func iceCommand() *cobra.Command {
	var c client
	return c.flags(&cobra.Command{
		Use: "ice PROBE", Short: "Say that a probe is in ice water, to have it judged before a batch",
		Long: `Between two batches: hold the probe in a cup full of ice with water between it,
stir for a minute, then say so with the probe's name. Its reading must have stood
still for half a minute. If it is farther from 0 °C than the probe's error (cabinet
file, 3 K at most), or below -1 °C, an alarm stands until you have shown it right or
said that it is mended, and a start needs a reason.

A thermocouple of the wrong type reads right at the temperature of the room and
wrong everywhere else: this is where that shows. The program forgets what it was
shown when it is started again.`,
		Example: `  fumarium ice "core 1"`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return c.send(cmd.Context(), web.Order{Command: controller.Ice.String(), Probe: args[0]}, cmd.OutOrStdout())
		},
	})
}

func beforeHeat() string {
	var b strings.Builder
	for _, text := range caution.BeforeHeat {
		b.WriteString(caution.Marked("  - ", "    ", text) + "\n")
	}
	return b.String()
}

func statusCommand() *cobra.Command {
	var c client
	var asJSON bool
	cmd := c.flags(&cobra.Command{
		Use: "status", Short: "Say what the cabinet is doing", Args: cobra.NoArgs,
		Long: `Prints what the cabinet is doing, what can be said of each rule that the batch is
held to, and, once it is over, whether it ended well.

Exit status: 0 as it should be, 1 the last batch is over and not good, 2 usage, 3 no
daemon answers.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			body, err := c.call(cmd.Context(), http.MethodGet, "/api/status", nil)
			if err != nil {
				return err
			}
			s, err := c.understood(body)
			if err != nil {
				return err
			}
			if asJSON {
				if _, err := cmd.OutOrStdout().Write(body); err != nil {
					return couldNot(err)
				}
				return ended(s)
			}
			printStatus(cmd.OutOrStdout(), s)
			return ended(s)
		},
	})
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the status as JSON")
	return cmd
}

// ended is the exit status of a status: bad when the last batch is over and not good.
func ended(s *web.Status) error {
	if s.Good != nil && !*s.Good {
		return &failure{exitBad, errSaid}
	}
	return nil
}

func (c *client) status(ctx context.Context) (*web.Status, error) {
	body, err := c.call(ctx, http.MethodGet, "/api/status", nil)
	if err != nil {
		return nil, err
	}
	return c.understood(body)
}

func (c *client) understood(body []byte) (*web.Status, error) {
	var s web.Status
	if err := json.Unmarshal(body, &s); err != nil {
		return nil, couldNot(fmt.Errorf("the answer of %s is not a status: %w", c.server, err))
	}
	return &s, nil
}

func (c *client) send(ctx context.Context, o web.Order, w io.Writer) error {
	body, err := json.Marshal(o)
	if err != nil {
		return couldNot(err)
	}
	answer, err := c.call(ctx, http.MethodPost, "/api/commands", body)
	if err != nil {
		return err
	}
	return c.accepted(w, o.Command, answer)
}

// accepted says what became of a command.
func (c *client) accepted(w io.Writer, command string, answer []byte) error {
	var reply web.Accepted
	if err := json.Unmarshal(answer, &reply); err != nil {
		return couldNot(fmt.Errorf("the answer of %s is not understood: %w", c.server, err))
	}
	fmt.Fprintf(w, "%s: done, the batch is %s\n", command, shown(reply.State))
	for _, text := range reply.Told {
		fmt.Fprintf(w, "on record %s\n", shown(text))
	}
	for _, text := range reply.Deviations {
		fmt.Fprintf(w, "DEVIATION %s\n", shown(text))
	}
	for _, f := range reply.Findings {
		fmt.Fprintf(w, "on record %s\n", shown(f))
	}
	if !reply.Recorded {
		if reply.Unrecorded == "" {
			reply.Unrecorded = "the daemon does not say why"
		}
		fmt.Fprintf(w, "not on disk: %s\n", shown(reply.Unrecorded))
	}
	if reply.Bad {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// excusable is a refusal of what would be done for a reason.
type excusable struct{ error }

// token looks in the environment first, so that a client on another machine needs
// no state folder.
func (c *client) token() (string, error) {
	if t := os.Getenv("FUMARIUM_TOKEN"); t != "" {
		return t, nil
	}
	dir, err := stateDir(c.state)
	if err != nil {
		return "", err
	}
	data, err := os.ReadFile(filepath.Join(dir, tokenFile))
	if err != nil {
		return "", fmt.Errorf("no operator's token: %w; name the daemon's folder with --state or set FUMARIUM_TOKEN", err)
	}
	return strings.TrimSpace(string(data)), nil
}

func (c *client) call(ctx context.Context, method, path string, body []byte) ([]byte, error) {
	return c.callWith(ctx, method, path, "application/json", body)
}

func (c *client) callWith(ctx context.Context, method, path, kind string, body []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, 15*time.Second)
	defer cancel()
	if u, err := url.Parse(c.server); err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return nil, usage("--server %q is no address of a daemon; write it as http://%s", c.server, defaultListen)
	}
	token := ""
	if method == http.MethodPost || path == "/api/sessions" {
		var err error
		if token, err = c.token(); err != nil {
			return nil, couldNot(err)
		}
	}
	resp, answer, err := c.persist(ctx, func() (*http.Request, error) {
		req, err := http.NewRequestWithContext(ctx, method, strings.TrimRight(c.server, "/")+path, bytes.NewReader(body))
		if err == nil && token != "" {
			req.Header.Set("Authorization", "Bearer "+token)
			req.Header.Set("Content-Type", kind)
		}
		return req, err
	})
	if err != nil {
		return nil, err
	}
	if resp.StatusCode >= 300 {
		var problem struct {
			Title, Detail string
			Findings      []string
			Excusable     bool
		}
		if json.Unmarshal(answer, &problem) != nil || problem.Detail == "" {
			problem.Detail = resp.Status
		}
		for _, f := range problem.Findings {
			problem.Detail += "\n  " + f
		}
		err := errors.New(problem.Detail)
		if problem.Excusable {
			err = &excusable{err}
		}
		if resp.StatusCode == http.StatusConflict {
			return nil, &failure{exitBad, err}
		}
		return nil, couldNot(err)
	}
	return answer, nil
}

// persist asks until it is let in, and what only reads until it has the answer: a daemon
// with too many readers turns away or drops who comes before it has read anything, and who
// is slow to take an answer. Once it works on a command it does neither.
func (c *client) persist(ctx context.Context, ask func() (*http.Request, error)) (*http.Response, []byte, error) {
	for {
		req, err := ask()
		if err != nil {
			return nil, nil, usage("--server %s: %w", c.server, err)
		}
		resp, err := http.DefaultClient.Do(req)
		if err == nil {
			var answer []byte
			answer, err = io.ReadAll(io.LimitReader(resp.Body, 8<<20))
			resp.Body.Close()
			switch {
			case err == nil:
				return resp, answer, nil
			case req.Method != http.MethodGet:
				return nil, nil, couldNot(fmt.Errorf("the answer was cut off: %w; see fumarium status for what was done", err))
			}
		}
		if !errors.Is(err, syscall.ECONNRESET) && !errors.Is(err, syscall.EPIPE) && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
			return nil, nil, couldNot(fmt.Errorf("no daemon answers: %w; is `fumarium run` running?", err))
		}
		select {
		case <-ctx.Done():
			return nil, nil, couldNot(fmt.Errorf("no daemon answers: %w; it may have too many readers, try again", err))
		case <-time.After(askAgain/2 + rand.N(askAgain)): // not in step with the others
		}
	}
}

// askAgain is about how long a client waits before it asks again; common practice, no
// source.
const askAgain = 100 * time.Millisecond

// printRules says what can be said of each rule that applies.
func printRules(w io.Writer, rules []web.Rule) {
	for _, r := range rules {
		if r.Answer != proof.DoesNotApply.String() {
			fmt.Fprintf(w, "%-9s %s: %s\n", shown(r.Rule), shown(r.Answer), shown(r.Why))
		}
	}
}

func printStatus(w io.Writer, s *web.Status) {
	cools := s.PlaceNow != "" && s.PlaceNow != profile.Chamber.String()
	temperature := func(v *float64, lessIsBetter bool) string {
		if v == nil {
			return quantity.NotRead
		}
		if u := quantity.UnitsOf(w); u.Fahrenheit {
			if lessIsBetter {
				return u.AtMost(quantity.Celsius(*v))
			}
			return u.AtLeast(quantity.Celsius(*v))
		}
		return quantity.Fixed(*v, 1) + " °C (" + quantity.Fixed(quantity.Celsius(*v).Fahrenheit(), 1) + " °F)"
	}
	fmt.Fprintf(w, "%s (%s): %s", shown(s.Cabinet), shown(s.World), shown(s.State))
	if s.Product != nil && s.ElapsedSeconds != nil {
		fmt.Fprintf(w, ", %s, %s", shown(*s.Product), quantity.FormatDuration(seconds(*s.ElapsedSeconds)))
	}
	fmt.Fprintln(w)
	if s.Trip != nil {
		fmt.Fprintf(w, "TRIPPED   %s: %s %s\n", shown(s.Trip.Code), shown(s.Trip.Meaning), shown(s.Trip.Action))
	}
	if s.Prompt != nil {
		fmt.Fprintf(w, "to do     %s (waits for %s; then: %s)\n", shown(s.Prompt.Text), quantity.FormatDuration(seconds(s.Prompt.WaitingSeconds)), answerWith(s.Prompt))
	}
	if s.Stage != nil {
		fmt.Fprintf(w, "stage     %s for %s, ends when %s\n", shown(s.Stage.Name),
			quantity.FormatDuration(seconds(s.Stage.ElapsedSeconds)), shown(s.Stage.EndedBy))
	}
	fmt.Fprintf(w, "chamber   %s", temperature(s.ChamberCelsius, true))
	if s.SetpointCelsius != nil {
		fmt.Fprintf(w, ", setpoint %s", temperature(s.SetpointCelsius, true))
		if s.AimsLowerKelvin != nil {
			fmt.Fprintf(w, ", kept %v cooler: closing the damper will lift the air", quantity.Kelvin(*s.AimsLowerKelvin))
		}
	}
	fmt.Fprintf(w, "\ncore      %s\n", temperature(s.CoreCelsius, cools))
	if s.Evidence != nil {
		fmt.Fprintf(w, "evidence  %s\n", shown(*s.Evidence))
	}
	for _, d := range s.Doubts {
		fmt.Fprintf(w, "doubt     %s\n", shown(d))
	}
	if s.HeatLeftSeconds != nil {
		fmt.Fprintf(w, "heat      ends by itself in %s, if nobody does anything\n", quantity.FormatDuration(seconds(*s.HeatLeftSeconds)))
	}
	printRules(w, s.Rules)
	if s.Ending != nil {
		fmt.Fprintf(w, "ending    %s\n", shown(*s.Ending))
	}
	switch s.State { // a batch that is over is judged
	case controller.Complete.String(), controller.Stopped.String(), controller.Aborted.String():
		printUncovered(w, s.NotCovered)
		if slices.ContainsFunc(s.Rules, func(r web.Rule) bool {
			return r.Answer == proof.NotMet.String() || r.Answer == proof.NotShown.String() && r.Rule != proof.Recorded.String()
		}) {
			fmt.Fprintln(w, "what the guidance allows now: fumarium replay BATCH, as fumarium batches names it")
		}
	}
	for _, a := range s.Alarms {
		fmt.Fprintf(w, "alarm     %s (%s, %s): %s\n", shown(a.Code), shown(a.Priority), shown(a.State), shown(a.Action))
	}
}
