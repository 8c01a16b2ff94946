// Package recorded reads a recorded batch for its report: everything that people see of it,
// and what a replay finds of each rule. The board and the hub tell a batch by it alike.
package recorded

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/chart"
	"fumarium/controller/history"
	"fumarium/controller/label"
	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/snapshot"
	"fumarium/profile/proof"
)

// Source reads everything of a batch that a report tells, and on the way writes what was
// read and switched in every step; nil writes nothing. Photographs are named: whoever has
// their files adds them.
func Source(ctx context.Context, r *record.Reader, b *record.Batch, seconds io.Writer) (*report.Source, error) {
	told, missing, err := Tell(ctx, r, b, seconds)
	if err != nil {
		return nil, err
	}
	beside, err := r.Beside(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	s := &report.Source{
		ID: b.ID, World: string(b.World), Program: b.Program, Started: b.Started, ClockSet: b.ClockSet, State: b.State, Why: b.Why, Elapsed: b.Elapsed,
		Product: fileOf(b.Product, b.ProductName, b.ProductFile), Cabinet: fileOf(b.Cabinet, b.CabinetName, b.CabinetFile),
		Course: told.History, Chart: Figure(b, told.History), Whole: told.Chain.Whole, Record: told.Chain.String(), NotReplayed: missing,
	}
	if b.State != "" {
		s.Ended = b.Ended
	}
	for _, c := range beside.Commands {
		s.Commands = append(s.Commands, report.Command{ElapsedSeconds: c.Elapsed.Seconds(), Time: c.Wall, Command: c.Command, Alarm: c.Alarm, Who: c.Who, Reason: c.Reason, Refused: c.Refused})
	}
	for _, n := range beside.Notes {
		s.Notes = append(s.Notes, report.Note{Time: n.Wall, Who: n.Who, Text: n.Text, Mark: n.Mark, Photo: n.Photo})
	}
	facing(beside.Entries, s)
	for _, g := range beside.Gaps {
		s.Gaps = append(s.Gaps, report.Gap{FromSeconds: g.From.Seconds(), Seconds: g.Length.Seconds(), Known: g.Known, Why: g.Why})
	}
	if result := told.Result; result != nil {
		good, ending := snapshot.Ending(result.Final.Batch, &result.Verdict)
		s.Replayed = &report.Replayed{Product: result.Product, Cabinet: result.Cabinet, Final: &result.Final, Verdict: result.Verdict, Cores: result.Course, Weighed: result.Weighed, Good: good, Ending: ending}
	}
	return s, nil
}

// Tell reads the course of a batch: as it was concluded when it ended, or else by a replay.
// Where neither is to be had there is no result, and missing says why.
func Tell(ctx context.Context, r *record.Reader, b *record.Batch, into io.Writer) (told *record.Account, missing string, err error) {
	lines := &sheetOfSeconds{w: into}
	told, err = r.Tell(ctx, b.ID, lines.of(b))
	if err == nil {
		told.Result.Verdict[proof.Recorded] = proof.Judgement{Answer: proof.Met, Why: "whole, with the state in which it ended"}
		return told, "", lines.flush()
	}
	if !errors.Is(err, record.ErrNotConcluded) {
		return nil, "", err
	}
	told = &record.Account{}
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
	result.Verdict[proof.Recorded] = Judge(&told.Chain, result)
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

func (s *sheetOfSeconds) of(b *record.Batch) func(int64, *controller.Inputs, controller.Outputs) error {
	if s.w == nil {
		return nil
	}
	return func(number int64, in *controller.Inputs, out controller.Outputs) (err error) {
		if s.seconds == nil {
			c, err := cabinet.ParseRecorded(b.CabinetName, b.CabinetFile)
			if err != nil {
				return err
			}
			s.started = in.Elapsed
			if s.seconds, err = report.NewSeconds(s.w, c); err != nil {
				return err
			}
		}
		if number < s.next {
			return nil
		}
		s.next = number + 1
		return s.seconds.Add(report.Moment{Elapsed: in.Elapsed - s.started, In: in, Out: out})
	}
}

// rest writes the steps that were not written yet.
func (s *sheetOfSeconds) rest(ctx context.Context, r *record.Reader, b *record.Batch) error {
	if s.w == nil {
		return nil
	}
	each := s.of(b)
	if err := r.Steps(ctx, b.ID, func(step record.Step) error { return each(step.Number, &step.In, step.Out) }); err != nil {
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

// facing takes what people said of a batch by entries, each the last word of its kind.
func facing(entries []record.Entry, s *report.Source) {
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
		case record.Photographed:
			s.Photos = append(s.Photos, Photo(&e))
		}
	}
}

// Photo is what the record has of a photograph.
func Photo(e *record.Entry) report.Photo {
	sum, text, _ := strings.Cut(e.Text, " ")
	return report.Photo{Time: e.Wall, Who: e.Who, Name: e.Subject, SHA256: sum, Text: text, State: report.NotLookedAt}
}

func fileOf(title, name string, data []byte) report.File {
	sum := sha256.Sum256(data)
	return report.File{Title: title, Name: name, SHA256: hex.EncodeToString(sum[:])}
}

// Figure draws a recorded batch as the page drew it.
func Figure(b *record.Batch, h *history.History) chart.Figure {
	d := history.Drawing{Title: b.Product, Subtitle: fmt.Sprintf("Batch %s, %s", b.ID, b.Cabinet), Width: 1100}
	if b.ClockSet {
		d.ClockStart = b.Started.Truncate(time.Second)
	}
	if b.World == record.Simulated {
		d.Footer = "Simulated cabinet: no real reading."
	}
	return h.Figure(d)
}

// Judge is what is to be said of the record itself.
func Judge(whole *record.Verdict, result *record.Result) proof.Judgement {
	if whole.Whole && result.Same() {
		return proof.Judgement{Answer: proof.Met, Why: "whole, and every decision comes again"}
	}
	return proof.Judgement{Answer: proof.NotMet, Why: whole.String()}
}
