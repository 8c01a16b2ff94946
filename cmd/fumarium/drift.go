package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"path/filepath"
	"sync/atomic"
	"time"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
)

// A driftWatch watches what the record says of the heat that holds the chamber.
type driftWatch struct {
	records *record.Reader
	log     *slog.Logger
	found   atomic.Pointer[driftFound]
}

type driftFound struct {
	cabinet *cabinet.Cabinet
	controller.Drift
}

// Of is for the loop. What another cabinet shows, or this one before it learned anew, is
// nothing of this one.
func (d *driftWatch) Of(c *cabinet.Cabinet) controller.Drift {
	if f := d.found.Load(); f != nil && f.cabinet == c {
		return f.Drift
	}
	return controller.Drift{}
}

// look reads the record, of a cabinet that has learned. What was found before stays where it
// cannot be read.
func (d *driftWatch) look(ctx context.Context, c *cabinet.Cabinet) {
	if c.Learned == (cabinet.Learned{}) {
		return
	}
	all, err := d.records.Held(ctx)
	switch {
	case ctx.Err() != nil:
	case err != nil:
		d.log.Warn("what the record says of the cabinet's heat could not be read", "err", err)
	default:
		d.found.Store(&driftFound{c, controller.DriftOf(c, all)})
	}
}

// driftEvery is how often it is seen whether a batch has ended. Common practice, no source.
const driftEvery = 5 * time.Second

// Run looks again after each batch, once its end is on disk, and when the cabinet has learned.
func (d *driftWatch) Run(ctx context.Context, latest func() *snapshot.Snapshot) {
	seen, began := "", false
	var of *cabinet.Cabinet
	ticks := time.NewTicker(driftEvery)
	defer ticks.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticks.C:
		}
		s := latest()
		if s == nil || s.State.Batch.Active() || began && s.BatchID == seen && s.Cabinet == of {
			continue
		}
		if s.BatchID != "" {
			if b, err := d.records.Batch(ctx, s.BatchID); err != nil || b.State == "" {
				continue // its end is not on disk yet
			}
		}
		seen, of, began = s.BatchID, s.Cabinet, true
		d.look(ctx, s.Cabinet)
	}
}

// driftFind says how the heat that holds the chamber has changed.
func driftFind(ctx context.Context, dir string, c *cabinet.Cabinet) []wiring.Find {
	if c.Simulated() || c.Learned == (cabinet.Learned{}) {
		return nil
	}
	r, err := record.OpenReader(filepath.Join(dir, record.Real.File()))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	f := wiring.Find{What: "heat of the chamber"}
	var all []controller.HeldFigure
	if err == nil {
		defer r.Close()
		all, err = r.Held(ctx)
	}
	is := controller.DriftOf(c, all)
	switch f.Good = err == nil && !is.Beyond; {
	case err != nil:
		f.Note = fmt.Sprintf("what the record says of it cannot be read: %v", err)
	case is == controller.Drift{}:
		f.Note = "whether the cabinet takes more than when it learned nobody knows: that takes ten batches of one product in rooms as warm"
	case f.Good:
		f.Note = is.String() + " That is within what batches scatter by"
	default:
		f.Note = is.String() + " Look at gasket, element and insulation, or, where it is less, at where the chamber probe hangs; then let it learn anew (fumarium tune)"
	}
	return []wiring.Find{f}
}
