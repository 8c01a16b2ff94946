package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/cabinet"
	"fumarium/controller/label"
	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/snapshot"
	"fumarium/profile/proof"
)

func reportCommand() *cobra.Command {
	var a archive
	into, short := ".", false
	c := a.flags(&cobra.Command{
		Use: "report BATCH", Short: "Write the report of a recorded batch, to be read, kept and printed", Args: cobra.ExactArgs(1),
		Long: `Writes three files, named by the batch, into a folder:

  BATCH.html   one page that needs nothing else, for A4 or Letter: what could be
               shown of each rule with limit, figure and source, the curve,
               deviations and what the guidance allows, stages and hand steps, what
               it was made from, probes, who did what, notes, events, the record
  BATCH.csv    readings and outputs of every step; assess reads it
  BATCH.json   the same as the page, for programs

--short writes the page for an inspector, on one sheet, and nothing else; --json prints
the JSON and writes nothing. The batch is replayed for it, as by replay.

Exit status: 0 good, or not over yet; 1 not good, or the record does not hold; 2 usage;
3 the record could not be read or the report not written.`,
		Example: `  fumarium report 2026-11
  fumarium report 2026-11 --into /media/stick
  fumarium report 2026-11 --short`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runReport(cmd.Context(), r, args[0], into, short, a.json, cmd.OutOrStdout())
		},
	})
	c.Flags().StringVar(&into, "into", ".", "write into `FOLDER`")
	c.Flags().BoolVar(&short, "short", false, "one sheet for an inspector, BATCH-short.html")
	return c
}

func runReport(ctx context.Context, r *record.Reader, id, into string, short, asJSON bool, w io.Writer) error {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return couldNot(err)
	}
	var source *report.Source
	read := func(seconds io.Writer) (err error) {
		source, err = sourceOf(ctx, r, b, seconds)
		return err
	}
	var seconds error
	if !asJSON && !short { // the steps are read once, for the seconds and the rest
		seconds = writeWhole(w, into, b.ID+".csv", read)
	}
	if asJSON || short || seconds != nil { // a damaged record is told as far as it goes
		if err = read(nil); err != nil {
			return couldNot(err)
		}
	}
	told := report.Make(source)
	switch {
	case asJSON:
		err = printJSON(w, told)
	case short:
		err = writeWhole(w, into, b.ID+"-short.html", func(f io.Writer) error { return told.HTML(f, true) })
	default:
		err = errors.Join(seconds,
			writeWhole(w, into, b.ID+".html", func(f io.Writer) error { return told.HTML(f, false) }),
			writeWhole(w, into, b.ID+".json", func(f io.Writer) error { return printJSON(f, told) }),
		)
	}
	if err != nil {
		return couldNot(err)
	}
	if !told.Whole || told.Good != nil && !*told.Good {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// sourceOf reads everything of a batch that a report tells, and on the way writes what was
// read and switched in every step; nil writes nothing.
func sourceOf(ctx context.Context, r *record.Reader, b *record.Batch, seconds io.Writer) (*report.Source, error) {
	told, missing, err := tell(ctx, r, b, seconds)
	if err != nil {
		return nil, err
	}
	notes, err := r.Notes(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	commands, err := r.Commands(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	gaps, err := r.Gaps(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	s := &report.Source{
		ID: b.ID, World: string(b.World), Program: b.Program, Started: b.Started, ClockSet: b.ClockSet, State: b.State, Why: b.Why, Elapsed: b.Elapsed,
		Product: fileOf(b.Product, b.ProductName, b.ProductFile), Cabinet: fileOf(b.Cabinet, b.CabinetName, b.CabinetFile),
		Course: told.History, Chart: figureOf(b, told.History), Whole: told.Chain.Whole, Record: told.Chain.String(), NotReplayed: missing,
	}
	if b.State != "" {
		s.Ended = b.Ended
	}
	for _, c := range commands {
		s.Commands = append(s.Commands, report.Command{ElapsedSeconds: c.Elapsed.Seconds(), Time: c.Wall, Command: c.Command, Alarm: c.Alarm, Who: c.Who, Reason: c.Reason, Refused: c.Refused})
	}
	for _, n := range notes {
		s.Notes = append(s.Notes, report.Note{Time: n.Wall, Who: n.Who, Text: n.Text, Mark: n.Mark, Photo: n.Photo})
	}
	if err := facing(ctx, r, b, s); err != nil {
		return nil, err
	}
	for _, g := range gaps {
		s.Gaps = append(s.Gaps, report.Gap{FromSeconds: g.From.Seconds(), Seconds: g.Length.Seconds(), Known: g.Known, Why: g.Why})
	}
	if result := told.Result; result != nil {
		good, ending := snapshot.Ending(result.Final.Batch, &result.Verdict)
		s.Replayed = &report.Replayed{Product: result.Product, Cabinet: result.Cabinet, Final: &result.Final, Verdict: result.Verdict, Cores: result.Course, Weighed: result.Weighed, Good: good, Ending: ending}
	}
	return s, nil
}

// tell reads the course of a batch: as it was concluded when it ended, or else by a replay.
// Where neither is to be had there is no result, and missing says why.
func tell(ctx context.Context, r *record.Reader, b *record.Batch, into io.Writer) (told *record.Told, missing string, err error) {
	lines := &sheetOfSeconds{w: into}
	told, err = r.Tell(ctx, b.ID, lines.of(b))
	if err == nil {
		told.Result.Verdict[proof.Recorded] = proof.Judgement{Answer: proof.Met, Why: "whole, with the state in which it ended"}
		return told, "", lines.flush()
	}
	if !errors.Is(err, record.ErrNotConcluded) {
		return nil, "", err
	}
	told = &record.Told{}
	if told.History, err = r.History(ctx, b.ID); err != nil {
		return nil, "", err
	}
	if told.Chain, err = r.Verify(ctx, b.ID); err != nil {
		return nil, "", err
	}
	if err := lines.rest(ctx, r, b); err != nil {
		return nil, "", err
	}
	result, err := r.Replay(ctx, b.ID)
	switch {
	case ctx.Err() != nil:
		return nil, "", ctx.Err()
	case err != nil:
		return told, err.Error(), nil
	case result.Decisions != nil:
		return told, "this program decides otherwise than the one that recorded it: " + result.Decisions.String(), nil
	}
	result.Verdict[proof.Recorded] = recorded(&told.Chain, result)
	told.Result = result
	return told, "", nil
}

// sheetOfSeconds writes what was read and switched in every step, each once, however often
// they are read.
type sheetOfSeconds struct {
	w       io.Writer // nil writes nothing
	seconds *report.Seconds
	next    int64
	started time.Duration // since the daemon began
}

func (s *sheetOfSeconds) of(b *record.Batch) func(*record.Step) error {
	if s.w == nil {
		return nil
	}
	return func(step *record.Step) (err error) {
		if s.seconds == nil {
			c, err := cabinet.ParseRecorded(b.CabinetName, b.CabinetFile)
			if err != nil {
				return err
			}
			s.started = step.Elapsed
			if s.seconds, err = report.NewSeconds(s.w, c); err != nil {
				return err
			}
		}
		if step.Number < s.next {
			return nil
		}
		s.next = step.Number + 1
		return s.seconds.Add(report.Moment{Elapsed: step.Elapsed - s.started, In: &step.In, Out: step.Out})
	}
}

// rest writes the steps that were not written yet.
func (s *sheetOfSeconds) rest(ctx context.Context, r *record.Reader, b *record.Batch) error {
	if s.w == nil {
		return nil
	}
	each := s.of(b)
	if err := r.Steps(ctx, b.ID, func(step record.Step) error { return each(&step) }); err != nil {
		return err
	}
	return s.flush()
}

func (s *sheetOfSeconds) flush() error {
	if s.seconds == nil {
		return nil
	}
	return s.seconds.Flush()
}

// facing reads what people said of a batch by entries, each the last word of its kind.
func facing(ctx context.Context, r *record.Reader, b *record.Batch, s *report.Source) error {
	entries, err := r.Entries(ctx, b.ID)
	s.Photos = photosOf(entries, filepath.Dir(r.File()), b.ID)
	for _, e := range entries {
		switch e.Kind {
		case record.Rated:
			s.Marks = slices.DeleteFunc(s.Marks, func(m report.Mark) bool { return m.Trait == e.Subject })
			s.Marks = append(s.Marks, report.Mark{Trait: e.Subject, Of5: e.Value, Who: e.Who, Text: e.Text})
		case record.Declared:
			what, _, _ := strings.Cut(e.Text, ":")
			s.Declared = slices.DeleteFunc(s.Declared, func(d report.Declared) bool {
				return d.What == e.Subject && (d.What != string(label.Allergen) || strings.HasPrefix(d.Text, what+":"))
			})
			s.Declared = append(s.Declared, report.Declared{What: e.Subject, Text: e.Text, Who: e.Who})
		case record.Decided:
			s.Decisions = append(s.Decisions, report.Decision{Time: e.Wall, What: e.Subject, Text: e.Text, Who: e.Who})
		case record.Repeats:
			s.Like = &report.Like{Batch: e.Subject, Difference: e.Text}
		}
	}
	return err
}

func fileOf(title, name string, data []byte) report.File {
	sum := sha256.Sum256(data)
	return report.File{Title: title, Name: name, SHA256: hex.EncodeToString(sum[:])}
}

// writeWhole writes a file whole or not at all, and says its name.
func writeWhole(w io.Writer, into, name string, write func(io.Writer) error) (err error) {
	path := filepath.Join(into, name)
	f, err := os.CreateTemp(filepath.Dir(path), ".report-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	buffered := bufio.NewWriter(f)
	err = errors.Join(write(buffered), buffered.Flush(), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err == nil {
		fmt.Fprintln(w, shown(path))
	}
	return err
}
