package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/report/recorded"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile/deviation"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// archive is where records are read from.
type archive struct {
	state     string
	from      string
	simulated bool
	json      bool
}

func (a *archive) flags(c *cobra.Command) *cobra.Command {
	f := c.Flags()
	f.StringVar(&a.state, "state", "", "`DIR` with the batch records (default: "+stateHint+")")
	f.StringVar(&a.from, "from", "", "look into an export in `FILE` instead")
	f.BoolVar(&a.simulated, "simulated", false, "look at the batches of simulated cabinets")
	f.BoolVar(&a.json, "json", false, "print JSON")
	return c
}

// open is of commands that run once and drop nearly all that they read: to collect it at 16 MiB
// and not at 4 saves a small board a twentieth of a report.
func (a *archive) open() (*record.Reader, error) {
	debug.SetGCPercent(400)
	if a.from != "" {
		r, err := record.OpenReader(a.from)
		return r, couldNot(err)
	}
	dir, err := stateDir(a.state)
	if err != nil {
		return nil, couldNot(err)
	}
	world, hint := record.Real, "; batches of simulated cabinets are shown with --simulated"
	if a.simulated {
		world, hint = record.Simulated, ""
	}
	file := filepath.Join(dir, world.File())
	if _, err := os.Stat(file); errors.Is(err, os.ErrNotExist) {
		return nil, couldNot(fmt.Errorf("there is no record yet at %s%s", file, hint))
	}
	r, err := record.OpenReader(file)
	return r, couldNot(err)
}

// listedBatch is one batch as `batches --json` prints it.
type listedBatch struct {
	ID             string     `json:"batch"`
	World          string     `json:"world"`
	Product        string     `json:"product"`
	Cabinet        string     `json:"cabinet"`
	Started        time.Time  `json:"started"`
	Ended          *time.Time `json:"ended"`
	State          string     `json:"state"` // empty while it has not ended
	Why            string     `json:"why,omitempty"`
	ElapsedSeconds float64    `json:"elapsed_seconds"`
	Steps          int64      `json:"steps"`
}

func batchesCommand() *cobra.Command {
	var a archive
	drawing, of, hub := "", "", ""
	c := a.flags(&cobra.Command{
		Use: "batches [BATCH]", Short: "List the recorded batches, or show one with its events and notes", Args: cobra.MaximumNArgs(1),
		Long: `Lists the recorded batches. With a batch, named by its id or the beginning of it:
what happened, the commands with who and why, the notes, and whether the chain of
hashes over the record still holds; --chart draws it. A chain that holds shows that nothing was
changed since by somebody who did not compute it anew; keep its head elsewhere.

--verify-against holds every chain, computed anew, against the heads that a hub keeps: links
that were cut off at the end, a batch that is gone and a record that was written anew show.
HUB is the address that this board has joined, or joined for it; of another hub, a key is
taken from $` + hubKeyEnv + `. Exit status then: 0 the hub has all of it, and the same; 1 not.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if hub != "" {
				if len(args) > 0 {
					return usage("--verify-against is about all batches; leave %s out", args[0])
				}
				return verifyAgainst(cmd.Context(), &a, hub, cmd.OutOrStdout())
			}
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			if len(args) == 1 {
				return showBatch(cmd.Context(), r, args[0], drawing, a.json, cmd.OutOrStdout())
			}
			if of != "" {
				return productHistory(cmd.Context(), r, of, a.json, cmd.OutOrStdout())
			}
			if drawing != "" {
				return usage("--chart draws one batch; name it, such as: fumarium batches BATCH --chart FILE.svg")
			}
			return listBatches(cmd.Context(), r, a.json, cmd.OutOrStdout())
		},
	})
	c.Flags().StringVar(&of, "of", "", "list the batches of one `PRODUCT` only, with yield and marks")
	c.Flags().StringVar(&hub, "verify-against", "", "hold the record against the heads that `HUB` keeps: its address, or joined")
	c.Flags().StringVar(&drawing, "chart", "", "draw the batch into `FILE` (SVG)")
	return c
}

func listBatches(ctx context.Context, r *record.Reader, asJSON bool, w io.Writer) error {
	batches, err := r.List(ctx)
	if err != nil {
		return couldNot(err)
	}
	list := make([]listedBatch, len(batches))
	for i, b := range batches {
		list[i] = listedOf(b)
	}
	if asJSON {
		return couldNot(printJSON(w, list))
	}
	t := newTable(w)
	fmt.Fprintln(t, "batch\tstarted\tproduct\tlasted\tended")
	for _, b := range list {
		state := b.State
		if state == "" {
			state = "not ended"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", shown(b.ID), b.Started.Format("2006-01-02 15:04"), shown(b.Product),
			quantity.FormatDuration(seconds(b.ElapsedSeconds)), shown(state))
	}
	return couldNot(t.Flush())
}

func listedOf(b *record.Batch) listedBatch {
	l := listedBatch{
		ID: b.ID, World: string(b.World), Product: b.Product, Cabinet: b.Cabinet, Started: b.Started,
		State: b.State, Why: b.Why, ElapsedSeconds: b.Elapsed.Seconds(), Steps: b.Steps,
	}
	if b.State != "" {
		l.Ended = &b.Ended
	}
	return l
}

// shownBatch is one batch as `batches BATCH --json` prints it.
type shownBatch struct {
	listedBatch
	Events   []shownEvent     `json:"events"`
	Commands []report.Command `json:"commands"`
	Notes    []shownNote      `json:"notes"`
	Whole    bool             `json:"record_whole"`
	Record   string           `json:"record"` // what was found, in words
	Good     *bool            `json:"good"`   // whether it completed and showed all that it is held to; null is not known
	Ending   string           `json:"ending"` // the same in words; empty while it is under way
}

type shownEvent struct {
	ID             string    `json:"id"` // as in /api/status
	ElapsedSeconds float64   `json:"elapsed_seconds"`
	Time           time.Time `json:"time"`
	Kind           string    `json:"kind"`
	Stage          string    `json:"stage,omitempty"`
	Alarm          string    `json:"alarm,omitempty"`
	Text           string    `json:"text"`
}

type shownNote struct {
	Time time.Time `json:"time"`
	Who  string    `json:"who"`
	Text string    `json:"text"`
	Mark string    `json:"mark,omitempty"`
}

// happened goes through what happened in a batch; what the program said of a command
// stands with the commands.
func happened(h *history.History) iter.Seq[*history.Event] {
	return func(yield func(*history.Event) bool) {
		events := h.Events()
		for i := range events {
			if e := &events[i]; e.Kind != 0 && !yield(e) {
				return
			}
		}
	}
}

func jsonOf(b *record.Batch, h *history.History, commands []record.Command, notes []record.Note, verdict record.Verdict) shownBatch {
	s := shownBatch{listedBatch: listedOf(b), Events: []shownEvent{}, Commands: []report.Command{}, Notes: []shownNote{}, Whole: verdict.Whole, Record: verdict.String()}
	for e := range happened(h) {
		s.Events = append(s.Events, shownEvent{e.ID.String(), e.Elapsed.Seconds(), e.Wall, history.KindName(e.Kind), e.StageName(), e.Alarm.String(), e.Text()})
	}
	for _, c := range commands {
		s.Commands = append(s.Commands, report.Command{
			ElapsedSeconds: c.Elapsed.Seconds(), Time: c.Wall, Command: c.Command, Alarm: c.Alarm, Who: c.Who, Reason: c.Reason, Refused: c.Refused,
		})
	}
	for _, n := range notes {
		s.Notes = append(s.Notes, shownNote{n.Wall, n.Who, n.Text, n.Mark})
	}
	return s
}

func showBatch(ctx context.Context, r *record.Reader, id, drawing string, asJSON bool, w io.Writer) error {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return couldNot(err)
	}
	told, err := r.History(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	notes, err := r.Notes(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	commands, err := r.Commands(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	verdict, err := r.Verify(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	if drawing != "" {
		if err := writeChart(drawing, recorded.Figure(b, told), quantity.UnitsOf(w)); err != nil {
			return couldNot(err)
		}
	}
	good, ending, err := endingOf(ctx, r, b)
	if err != nil {
		return couldNot(err)
	}
	if asJSON {
		whole := jsonOf(b, told, commands, notes, verdict)
		whole.Good, whole.Ending = good, ending
		if err := printJSON(w, whole); err != nil {
			return couldNot(err)
		}
	} else {
		printBatch(w, b, told, commands, notes, verdict)
		if ending != "" {
			fmt.Fprintf(w, "verdict %s\n", shown(ending))
		}
	}
	if !verdict.Whole || good != nil && !*good {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// endingOf replays a batch that is over, for what can be said of it. When this program
// decides otherwise than the one that recorded it, nothing can.
func endingOf(ctx context.Context, r *record.Reader, b *record.Batch) (good *bool, text string, err error) {
	if b.State == "" {
		return nil, "", nil
	}
	result, err := r.Replay(ctx, b.ID)
	switch {
	case ctx.Err() != nil:
		return nil, "", ctx.Err()
	case err != nil:
		return nil, "not known: " + err.Error(), nil
	case result.Decisions != nil || result.Final.Batch.Active():
		return nil, "not known: this program does not replay the batch to its end", nil
	}
	is, text := snapshot.Ending(result.Final.Batch, &result.Verdict)
	return &is, text, nil
}

func printBatch(w io.Writer, b *record.Batch, h *history.History, commands []record.Command, notes []record.Note, verdict record.Verdict) {
	fmt.Fprintf(w, "%s  %s in the %s, %s world\nstarted %s\n\n", shown(b.ID), shown(b.Product), shown(lowerFirst(b.Cabinet)), shown(string(b.World)), b.Started.Format(time.RFC3339))
	for e := range happened(h) {
		fmt.Fprintf(w, "%8s  %s\n", clock(e.Elapsed.Seconds()), shown(e.Text()))
	}
	fmt.Fprintln(w)
	for _, c := range commands {
		line := fmt.Sprintf("%8s  %s by %s", clock(c.Elapsed.Seconds()), c.Command, c.Who)
		if c.Reason != "" {
			line += ", because: " + c.Reason
		}
		if c.Refused != "" {
			line += " (refused: " + c.Refused + ")"
		}
		fmt.Fprintln(w, shown(line))
	}
	for _, n := range notes {
		text := n.Text
		if n.Mark != "" {
			text = strings.TrimSpace("mark " + n.Mark + " " + text)
		}
		fmt.Fprintf(w, "note %s by %s: %s\n", n.Wall.Format(time.RFC3339), shown(n.Who), shown(text))
	}
	fmt.Fprintf(w, "record %s\n", shown(verdict.String()))
}

func replayCommand() *cobra.Command {
	var a archive
	return a.flags(&cobra.Command{
		Use: "replay BATCH", Short: "Run a recorded batch through the controller again and compare", Args: cobra.ExactArgs(1),
		Long: `Steps the controller through everything it was told in a recorded batch and holds
its outputs and events against the recorded ones. Equal means that the record and
this version of the program agree about every decision. Then it says what was shown of
each rule, and for what was not, of a batch that is over, what the guidance allows, worked
out with the batch's own course. Who decides stands at its end.

Exit status: 0 equal, 1 not, 2 usage, 3 the record could not be read.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runReplay(cmd.Context(), r, args[0], a.json, cmd.OutOrStdout())
		},
	})
}

func runReplay(ctx context.Context, r *record.Reader, id string, asJSON bool, w io.Writer) error {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return couldNot(err)
	}
	result, err := r.Replay(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	whole, err := r.Verify(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	result.Verdict[proof.Recorded] = recorded.Judge(&whole, result)
	rules := web.RulesOf(result.Verdict)
	sheet := deviation.Sheet{} // of a batch that is over
	if !result.Final.Batch.Active() && result.Final.Batch != controller.Idle {
		held := result.Final.Rules(result.Product)
		if result.Weighed != nil {
			held = held.MadeAs(result.Weighed.Product)
		}
		sheet = deviation.Work(deviation.Of(&held, result.Verdict, result.Course))
	}
	difference := ""
	switch {
	case result.Decisions != nil:
		difference = result.Decisions.String()
	case result.State != nil:
		difference = result.State.String()
	}
	if asJSON {
		err = printJSON(w, map[string]any{"batch": b.ID, "steps": result.Steps, "same": result.Same(), "difference": difference, "not_kept": result.Lost, "recorded_by": result.Program, "rules": rules,
			"worksheet": sheet, "not_covered": proof.Uncovered(), "core_error_kelvin": result.Final.CoreError})
		if err != nil {
			return couldNot(err)
		}
	} else if result.Same() {
		fmt.Fprintf(w, "%d steps, every decision the same\n", result.Steps)
		if len(result.Lost) > 0 {
			fmt.Fprintf(w, "not compared everywhere: what the program remembered between the steps, since this one no longer keeps %s\n", strings.Join(result.Lost, ", "))
		}
		printRules(w, rules)
		printProbes(w, result)
		printUncovered(w, proof.Uncovered())
		fmt.Fprint(w, shownLines(sheet.Text()))
	} else {
		fmt.Fprintf(w, "%d steps, recorded by version %s; not the same: %s\n", result.Steps, shown(result.Program), shown(difference))
	}
	if !result.Same() {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// printProbes says how far the cores that were believed may have been wrong.
func printProbes(w io.Writer, result *record.Result) {
	for i := range result.Cabinet.Probes {
		p := &result.Cabinet.Probes[i]
		if p.Role != cabinet.CoreProbe {
			continue
		}
		e, why := p.Accuracy()
		fmt.Fprintf(w, "%-9s %s may be wrong by %v (%s)\n", "probe", shown(p.Name), e, shown(why))
	}
	if most := result.Final.CoreError; most != result.Cabinet.CoreError() {
		fmt.Fprintf(w, "%-9s the batch was judged with %v\n", "", most)
	}
}

// printUncovered lists what no verdict says anything of.
func printUncovered(w io.Writer, list []string) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(w, "not covered by any of this:")
	for _, what := range list {
		fmt.Fprintf(w, "  - %s\n", shown(what))
	}
}

// notes hands the operator's notes to the record.
func notes(add func(context.Context, record.Moment, string, record.Note) error, now func() time.Time) func(ctx context.Context, who, batch, text, mark string) error {
	return func(ctx context.Context, who, batch, text, mark string) error {
		return add(ctx, moment(now()), batch, record.Note{Who: who, Text: text, Mark: mark})
	}
}
