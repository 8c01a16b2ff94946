package record

import (
	"context"
	"errors"
	"fmt"
)

type noteRequest struct {
	ctx    context.Context
	id     string
	moment Moment
	rows   []row // of notes and entries, one link
	reply  chan error
}

// mostText bounds the words of a note and each of its names, in bytes.
const mostText = 10000

// AddNote adds a note to a batch, under way or long over. It waits until the note is
// on disk. Should ctx end first, the note may have been written or not; look.
func (r *Recorder) AddNote(ctx context.Context, m Moment, id string, n Note) error {
	if n.Text == "" && n.Photo == "" && n.Mark == "" {
		return errors.New("record: the note is empty; give it a text, a photo's name or a mark")
	}
	if max(len(n.Text), len(n.Photo), len(n.Mark), len(n.Who)) > mostText {
		return fmt.Errorf("record: the note is longer than %d bytes; shorten it", mostText)
	}
	return r.add(ctx, m, id, newRow(noteTable, "wall", m.Wall.Format(timeLayout), "who", optional(n.Who),
		"text", optional(n.Text), "photo", optional(n.Photo), "mark", optional(n.Mark)))
}

// add hands rows to the writer and waits until they are on disk.
func (r *Recorder) add(ctx context.Context, m Moment, id string, rows ...row) error {
	q := &noteRequest{ctx: ctx, id: id, moment: m, rows: rows, reply: make(chan error, 1)}
	select {
	case r.notes <- q:
	case <-r.done:
		return errors.New("record: the record is closed")
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-q.reply:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// note writes what was added, on the writer's goroutine.
func (r *Recorder) note(q *noteRequest) error {
	if err := q.ctx.Err(); err != nil {
		return err
	}
	found, err := find(q.ctx, r.db, q.id)
	if err != nil {
		return wrapFile(r.file, err)
	}
	err = r.commit(func(c *commit) error {
		link := newRow(linkTable, "wall", q.moment.Wall.Format(timeLayout), "clock_set", q.moment.trust(), "steps", 0)
		if r.o.Boot != "" {
			link.set("uptime_seconds", r.uptime().Seconds())
		}
		return c.link(found.int("number"), link, q.rows...)
	})
	if err != nil {
		return fmt.Errorf("record: the note was not written: %w", err)
	}
	return nil
}
