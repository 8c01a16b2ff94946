package main

import (
	"context"
	"errors"
	"io/fs"
	"path/filepath"
	"slices"
	"sync"

	"fumarium/controller/history"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
	"fumarium/controller/report/recorded"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// mostLedger is how many batches that were replayed are kept in memory, so that who looks at
// one again waits for nothing. Common practice, no source.
const mostLedger = 4

// ledger is the batches of one world as the page shows them. Each that is over is replayed
// once; notes are read each time, for they may still come.
type ledger struct {
	file string

	mu   sync.Mutex
	kept []*web.WholeBatch // the latest asked for last
}

func newLedger(dir string, world record.World) *ledger {
	return &ledger{file: filepath.Join(dir, world.File())}
}

func pastOf(b *record.Batch) web.PastBatch {
	p := web.PastBatch{
		Batch: b.ID, World: string(b.World), Product: b.Product, Cabinet: b.Cabinet, Started: b.Started, ElapsedSeconds: b.Elapsed.Seconds(),
	}
	if b.State != "" {
		p.Ended, p.State = &b.Ended, &b.State
	}
	if b.Why != "" {
		p.Why = &b.Why
	}
	return p
}

// List implements web.Archive.
func (a *ledger) List(ctx context.Context) ([]web.PastBatch, error) {
	r, err := record.OpenReader(a.file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	defer r.Close()
	batches, err := r.List(ctx)
	if err != nil {
		return nil, err
	}
	list := make([]web.PastBatch, len(batches))
	for i, b := range batches {
		list[i] = pastOf(b)
	}
	slices.SortStableFunc(list, func(a, b web.PastBatch) int { return b.Started.Compare(a.Started) })
	return list, nil
}

// open gives a reader with the batch of that whole name, as it is listed.
func (a *ledger) open(ctx context.Context, id string) (*record.Reader, *record.Batch, error) {
	r, err := record.OpenReader(a.file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, web.ErrNoBatch
	} else if err != nil {
		return nil, nil, err
	}
	batches, err := r.List(ctx)
	if err == nil {
		if i := slices.IndexFunc(batches, func(b *record.Batch) bool { return b.ID == id }); i >= 0 {
			return r, batches[i], nil
		}
		err = web.ErrNoBatch
	}
	return nil, nil, errors.Join(err, r.Close())
}

// Batch implements web.Archive.
func (a *ledger) Batch(ctx context.Context, id string) (*web.WholeBatch, error) {
	r, listed, err := a.open(ctx, id)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if listed.State == "" {
		return nil, web.ErrUnderWay
	}
	whole := a.had(id)
	if whole == nil {
		b, err := r.Batch(ctx, id) // with its files
		if err != nil {
			return nil, err
		}
		if whole, err = replayed(ctx, r, b); err != nil {
			return nil, err
		}
		a.keep(whole)
	}
	with := *whole
	with.Notes, err = notesOf(ctx, r, id)
	return &with, err
}

// Notes implements web.Archive.
func (a *ledger) Notes(ctx context.Context, id string) ([]web.PastNote, error) {
	r, _, err := a.open(ctx, id)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return notesOf(ctx, r, id)
}

func notesOf(ctx context.Context, r *record.Reader, id string) ([]web.PastNote, error) {
	notes, err := r.Notes(ctx, id)
	list := []web.PastNote{}
	for _, n := range notes {
		list = append(list, web.PastNote{Time: n.Wall, Who: n.Who, Text: n.Text, Mark: n.Mark})
	}
	return list, err
}

func (a *ledger) had(id string) *web.WholeBatch {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, w := range a.kept {
		if w.Batch == id {
			return w
		}
	}
	return nil
}

func (a *ledger) keep(w *web.WholeBatch) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.kept) >= mostLedger {
		a.kept = slices.Clone(a.kept[1:])
	}
	a.kept = append(a.kept, w)
}

// replayed is all of a batch that does not change any more.
func replayed(ctx context.Context, r *record.Reader, b *record.Batch) (*web.WholeBatch, error) {
	read, missing, err := recorded.Tell(ctx, r, b, nil)
	if err != nil {
		return nil, err
	}
	told, result := read.History, read.Result
	whole := &web.WholeBatch{PastBatch: pastOf(b), Rules: []web.Rule{}, NotCovered: []string{}, Stages: []web.PastStage{}, Points: pointsOf(told)}
	for _, s := range told.Stages() {
		stage := web.PastStage{Name: s.Name, StartSeconds: s.Began.Seconds()}
		if s.Over {
			ended := s.Ended.Seconds()
			stage.EndSeconds = &ended
		}
		if s.By != 0 {
			by := s.By.String()
			stage.EndedBy = &by
		}
		whole.Stages = append(whole.Stages, stage)
	}
	for _, p := range told.Samples() {
		whole.PeakCore, whole.PeakChamber = higher(whole.PeakCore, p.Core), higher(whole.PeakChamber, p.Chamber)
	}
	switch {
	case result == nil:
		whole.Ending = "not known: " + missing
	case result.Final.Batch.Active():
		whole.Ending = "not known: this program does not replay the batch to its end"
	default:
		whole.PeakChamber = higher(nil, result.Peak) // to the second; the curve is coarser
		good, text := snapshot.Ending(result.Final.Batch, &result.Verdict)
		whole.Good, whole.Ending, whole.Rules, whole.NotCovered = &good, text, web.RulesOf(result.Verdict), proof.Uncovered()
	}
	return whole, nil
}

func higher(peak *float64, v float64) *float64 {
	if v = roundTenth(v); !quantity.Finite(v) || peak != nil && *peak >= v {
		return peak
	}
	return &v
}

// pointsOf thins a curve to what a screen has room for.
func pointsOf(h *history.History) []outlook.Point {
	samples := h.Samples()
	every := max(1, (len(samples)+mostCurve-1)/mostCurve)
	points := []outlook.Point{}
	for i := 0; i < len(samples); i += every {
		s := &samples[i]
		points = append(points, outlook.Point{Seconds: s.Elapsed.Seconds(), Setpoint: tenth(s.Setpoint), Chamber: tenth(s.Chamber), Core: tenth(s.Core)})
	}
	return points
}
