package desk

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/report/recorded"
)

// judgeEvery is how often it is looked whether a batch lacks its verdict; common practice, no
// source.
const judgeEvery = 10 * time.Second

// Judge replays each batch that is over, one at a time, and keeps what can be said of it.
func (d *Desk) Judge(ctx context.Context) {
	look := time.NewTicker(judgeEvery)
	defer look.Stop()
	for {
		b, err := d.store.Unjudged(ctx)
		if err == nil && b != nil {
			err = d.judge(ctx, b)
			if err == nil {
				continue
			}
		}
		if err != nil && ctx.Err() == nil {
			d.log.Error("no verdict could be worked out now", "err", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-look.C:
		}
	}
}

func (d *Desk) judge(ctx context.Context, b *store.Batch) error {
	var good *bool
	verdict := ""
	err := d.with(ctx, b, func(s *report.Source, _ string) error {
		switch {
		case !s.Whole:
			verdict, good = "the record does not hold: "+s.Record, new(bool)
		case s.Replayed == nil:
			verdict = "not known: " + s.NotReplayed
		default:
			good, verdict = &s.Replayed.Good, s.Replayed.Ending
		}
		return nil
	})
	if err != nil && ctx.Err() != nil {
		return err
	}
	if err != nil { // of this batch; the next shall not wait for it
		verdict = "not known: " + err.Error()
	}
	return d.store.Judge(ctx, b.ID, b.Links, good, verdict)
}

// with rebuilds a batch as a file of the record's own format, which lives as long as f, and
// reads it for its report.
func (d *Desk) with(ctx context.Context, b *store.Batch, f func(s *report.Source, file string) error) error {
	select {
	case d.reading <- struct{}{}:
		defer func() { <-d.reading }()
	case <-ctx.Done():
		return ctx.Err()
	}
	dir, err := os.MkdirTemp(d.scratch, "batch-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "batch.db")
	done, err := record.Rebuild(ctx, file, d.store.All(ctx, b.CabinetID, b.Name), time.Now(), "")
	if err != nil {
		return err
	}
	if len(done) != 1 {
		return fmt.Errorf("batch %s is not there", b.Name)
	}
	r, err := record.OpenReader(file)
	if err != nil {
		return err
	}
	defer r.Close()
	is, err := r.Batch(ctx, b.Name)
	if err != nil {
		return err
	}
	s, err := recorded.Source(ctx, r, is)
	if err != nil {
		return err
	}
	return f(s, file)
}
