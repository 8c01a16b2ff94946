package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/loop"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// What a cabinet has learned, as page, log and command line say it.

// lines say for each state of the fan what was learned and how sure it is, or why nothing was.
func lines(all []controller.Finding) (texts []string) {
	for i := range all {
		f := &all[i]
		if f.Refused != nil {
			texts = append(texts, fmt.Sprintf("%s: nothing learned: %v", fanWords(f.Fan), f.Refused))
			continue
		}
		texts = append(texts, fmt.Sprintf("%s: rises by %.1f K/min at full heat (%.1f to %.1f), answers after %.0f s (%.0f to %.0f); the fit leaves %.2f K of %.0f K, readings scatter by %.2f K; took %s",
			fanWords(f.Fan), 60*float64(f.Slope), 60*float64(f.SlopeLeast), 60*float64(f.SlopeMost), (f.SecondLag+f.DeadTime).Seconds(), f.DelayLeast.Seconds(), f.DelayMost.Seconds(),
			float64(f.RMS), float64(f.Settled-f.Rested), float64(f.Noise), quantity.FormatDuration(f.Duration)))
	}
	if len(all) == 0 {
		texts = append(texts, "nothing learned: the experiment ended before anything was heated")
	}
	return texts
}

// A learner makes constants of each experiment that is over, puts them into the cabinet
// file, and lets the loop go by them.
type learner struct {
	records *record.Recorder
	file    source.Item[*cabinet.Cabinet]
	named   string // as on the command line
	loop    *loop.Loop
	log     *slog.Logger
}

// recordedWithin is how long the end of an experiment may take to its disk; common
// practice, no source.
const recordedWithin = time.Minute

func (l *learner) learn(ctx context.Context, batch string) {
	ctx, cancel := context.WithTimeout(ctx, recordedWithin)
	defer cancel()
	found := &snapshot.Learned{Batch: batch}
	all, err := l.lessons(ctx, batch)
	if err != nil {
		found.Lines = []string{"nothing learned: " + err.Error()}
	} else {
		found.Lines = lines(all)
		l.keep(all, found)
	}
	text := ""
	for _, line := range append(append([]string(nil), found.Lines...), found.Kept, found.Do) {
		if line != "" {
			l.log.Info(line, "batch", batch)
			text += line + "\n"
		}
	}
	l.loop.Learned(found)
	if err := l.records.AddNote(ctx, moment(time.Now()), batch, record.Note{Who: "fumarium", Text: text}); err != nil {
		l.log.Error("what was learned was not noted with the batch; fumarium learned finds it again", "batch", batch, "err", err)
	}
}

// lessons waits until all of the batch is on disk.
func (l *learner) lessons(ctx context.Context, batch string) ([]controller.Finding, error) {
	r, err := record.OpenReader(l.records.File())
	if err != nil {
		return nil, err
	}
	defer r.Close()
	for {
		b, err := r.Batch(ctx, batch)
		if err == nil && b.State != "" {
			break
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(fmt.Errorf("the end of batch %s is not on disk; see fumarium learned %s later", batch, batch), err)
		case <-time.After(200 * time.Millisecond):
		}
	}
	lessons, _, err := r.Lessons(ctx, batch)
	if err != nil {
		return nil, err
	}
	return lessons.Fit(), nil
}

// keep puts what was learned into the cabinet file, and hands the cabinet to the loop.
func (l *learner) keep(all []controller.Finding, found *snapshot.Learned) {
	if controller.LearnedOf(all) == (cabinet.Learned{}) {
		return
	}
	byHand := fmt.Sprintf("fumarium learned %s --write FILE", found.Batch)
	if !isFile(l.named) {
		found.Do = fmt.Sprintf("%s is a shipped cabinet without a file of yours: nothing was written, and the daemon goes on by what it has; %s makes a file of it", l.named, byHand)
		return
	}
	if current := l.loop.Snapshot(); current != nil && current.Learned != nil && current.Learned.Cabinet != nil {
		l.file.Data = current.Learned.File // learned before, in this run
	}
	next, after, err := withFindings(l.file.File, l.file.Data, all, found.Batch, time.Now())
	if err == nil {
		var kept string
		if kept, err = replaceCabinet(l.named, l.file.Data, next, time.Now()); err == nil {
			found.Kept = fmt.Sprintf("%s holds it; what it was is kept as %s, and is taken back by copying that over it", l.named, kept)
			found.Cabinet, found.File = after, next
			return
		}
	}
	found.Do = fmt.Sprintf("the cabinet file was not changed: %v; who may write it says: %s, and starts the daemon again", err, byHand)
}
