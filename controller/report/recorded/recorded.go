// Package recorded reads a recorded batch for its report: everything that people see of it,
// and what a replay finds of each rule. The board and the hub tell a batch by it alike.
package recorded

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"fumarium/controller/chart"
	"fumarium/controller/history"
	"fumarium/controller/label"
	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/snapshot"
	"fumarium/profile/proof"
)

// Source reads everything of a batch that a report tells.
func Source(ctx context.Context, r *record.Reader, b *record.Batch) (*report.Source, error) {
	course, err := r.History(ctx, b.ID)
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
	whole, err := r.Verify(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	s := &report.Source{
		ID: b.ID, World: string(b.World), Program: b.Program, Started: b.Started, ClockSet: b.ClockSet, State: b.State, Why: b.Why, Elapsed: b.Elapsed,
		Product: fileOf(b.Product, b.ProductName, b.ProductFile), Cabinet: fileOf(b.Cabinet, b.CabinetName, b.CabinetFile),
		Course: course, Chart: Figure(b, course), Whole: whole.Whole, Record: whole.String(),
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
	if err := facing(ctx, r, b.ID, s); err != nil {
		return nil, err
	}
	for _, g := range gaps {
		s.Gaps = append(s.Gaps, report.Gap{FromSeconds: g.From.Seconds(), Seconds: g.Length.Seconds(), Known: g.Known, Why: g.Why})
	}
	result, err := r.Replay(ctx, b.ID)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		s.NotReplayed = err.Error()
	case result.Decisions != nil:
		s.NotReplayed = "this program decides otherwise than the one that recorded it: " + result.Decisions.String()
	default:
		result.Verdict[proof.Recorded] = Judge(&whole, result)
		good, ending := snapshot.Ending(result.Final.Batch, &result.Verdict)
		s.Replayed = &report.Replayed{Product: result.Product, Cabinet: result.Cabinet, Final: &result.Final, Verdict: result.Verdict, Cores: result.Course, Weighed: result.Weighed, Good: good, Ending: ending}
	}
	return s, nil
}

// facing reads what people said of a batch by entries, each the last word of its kind.
func facing(ctx context.Context, r *record.Reader, id string, s *report.Source) error {
	entries, err := r.Entries(ctx, id)
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
