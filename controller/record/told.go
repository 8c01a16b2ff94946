package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"time"
)

// A Told is what the rows of a link say, for lists and drawings. The rows are the truth.
type Told struct {
	// Of a header.
	Batch        *Batch
	Previous     string // id of the batch before; empty is none
	PreviousHash Hash

	// Of a link behind it.
	Wall    time.Time
	Block   bool // it has steps; the rest says how things stood after the last
	Elapsed time.Duration
	State   string
	Stage   string
	Chamber *float64 // °C, as are those below
	Core    *float64
	Set     *float64
	Duty    *float64
	Events  []ToldEvent
	Entries []Entry
	Ending  *ToldEnding
}

// A ToldEvent is an event by its fixed names.
type ToldEvent struct {
	Kind, Alarm string
	Wall        time.Time
}

// A ToldEnding is how a batch ended.
type ToldEnding struct {
	State, Why string
	Wall       time.Time
}

// Told reads the rows of a link of the batch that has that number in its file; a header
// brings its own. They are exactly the rows of that link, or there is an error.
func (l *Link) Told(number int64) (t Told, err error) {
	_, t, err = l.read(number)
	return t, err
}

func (l *Link) read(number int64) (rows []row, t Told, err error) {
	if rows, err = rowsOf(l.Rows); err != nil {
		return nil, t, err
	}
	errOther := fmt.Errorf("its rows are not those of link %d of batch %s", l.Number, l.Batch)
	if len(rows) == 0 {
		return nil, t, errOther
	}
	first := rows[0]
	if l.Number == 0 {
		t.Batch, t.Previous = batchOf(first), ""
		if first.table != batchTable || len(rows) > 1 || t.Batch.ID != l.Batch || t.Batch.Number < 1 || l.Batch == "" {
			return nil, t, errOther
		}
		t.Previous = first.text("previous")
		copy(t.PreviousHash[:], first.blob("previous_hash"))
		return rows, t, nil
	}
	if first.table != linkTable || first.int("batch") != number || first.int("number") != l.Number {
		return nil, t, errOther
	}
	t.Wall, t.Block = parseTime(first.text("wall")), first.int("steps") > 0
	elapsed, _ := first.float("elapsed_seconds")
	t.Elapsed, t.State, t.Stage = seconds(elapsed), first.text("batch_state"), first.text("stage")
	for column, to := range map[string]**float64{"chamber_celsius": &t.Chamber, "core_celsius": &t.Core, "setpoint_celsius": &t.Set, "heater_duty": &t.Duty} {
		if v, ok := first.float(column); ok {
			*to = &v
		}
	}
	order := 0
	for i, r := range rows[1:] {
		at := tableOrder(r.table)
		if at < order || r.int("batch") != number || r.int("link") != l.Number || r.int("row") != int64(i) {
			return nil, t, errOther
		}
		order = at
		switch r.table {
		case eventTable:
			t.Events = append(t.Events, ToldEvent{r.text("kind"), r.text("alarm"), parseTime(r.text("wall"))})
		case noteTable:
			if r.text("entry") != "" {
				t.Entries = append(t.Entries, entryOf(r))
			}
		case endingTable:
			t.Ending = &ToldEnding{r.text("state"), r.text("why"), parseTime(r.text("wall"))}
		}
	}
	return rows, t, nil
}

// tableOrder is where a table stands among those whose rows belong to a link, from 1; 0 is
// another table.
func tableOrder(t *table) int {
	for i, l := range linked {
		if l == t {
			return i + 1
		}
	}
	return -1
}

// Rebuild writes an extract of the batches whose links are given, each whole from its
// header on, batch by batch. Every link is checked on the way and the file after. A batch
// that is not over gets an ending that says why, where why is not empty: nothing may go on
// with what is put back.
func Rebuild(ctx context.Context, file string, links iter.Seq2[Link, error], now time.Time, why string) (done []Extracted, err error) {
	if exists(file) {
		return nil, fmt.Errorf("record: %s: %w; name another file", file, fs.ErrExist)
	}
	part := file + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("record: %w", err)
	}
	defer os.Remove(part)
	if done, err = rebuild(ctx, part, links, now, why); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	if _, err := checkExtract(ctx, part); err != nil {
		return nil, err
	}
	if err := os.Rename(part, file); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	return done, syncDir(filepath.Dir(file))
}

func rebuild(ctx context.Context, file string, links iter.Seq2[Link, error], now time.Time, why string) ([]Extracted, error) {
	b := rebuilt{ctx: ctx, now: now, why: why}
	err := inOne(ctx, file, func(tx *sql.Tx) error {
		b.tx = tx
		for l, err := range links {
			if err == nil {
				err = b.add(&l)
			}
			if err != nil {
				return err
			}
		}
		return b.end()
	})
	return b.done, err
}

// A rebuilt is a file of batches that grows link by link.
type rebuilt struct {
	ctx    context.Context
	tx     *sql.Tx
	now    time.Time
	why    string
	number int64 // of the batch that grows; 0 is none
	at     Extracted
	over   bool
	done   []Extracted
}

func (b *rebuilt) put(rows []row, hash Hash) error {
	rows[0].set("hash", hash[:])
	for _, r := range rows {
		if _, err := b.tx.ExecContext(b.ctx, r.table.insert(), r.values...); err != nil {
			return err
		}
	}
	return nil
}

func (b *rebuilt) add(l *Link) error {
	before := &b.at.Head
	if l.Number == 0 {
		if err := b.end(); err != nil {
			return err
		}
		before = nil
	} else if l.Batch != b.at.ID || l.Number != b.at.Links+1 || b.number == 0 {
		return fmt.Errorf("link %d of batch %s does not follow link %d of %q", l.Number, l.Batch, b.at.Links, b.at.ID)
	}
	if !l.Follows(before) {
		return fmt.Errorf("link %d of batch %s is not whole: its hash is another", l.Number, l.Batch)
	}
	rows, told, err := l.read(b.number)
	if err != nil {
		return fmt.Errorf("link %d of batch %s: %w", l.Number, l.Batch, err)
	}
	if l.Number == 0 {
		b.number, b.over = told.Batch.Number, false
	}
	b.at = Extracted{ID: l.Batch, Links: l.Number, Head: l.Hash}
	b.over = b.over || told.Ending != nil
	return b.put(rows, l.Hash)
}

// end closes the batch that grows.
func (b *rebuilt) end() error {
	if b.number == 0 {
		return nil
	}
	if !b.over && b.why != "" {
		b.at.Links++
		wall := b.now.Format(timeLayout)
		rows := []row{
			newRow(linkTable, "batch", b.number, "number", b.at.Links, "wall", wall, "clock_set", int64(clockUnset), "steps", int64(0)),
			newRow(endingTable, "batch", b.number, "link", b.at.Links, "row", int64(0), "wall", wall, "state", "aborted", "why", b.why),
		}
		b.at.Head = chain(b.at.Head[:], rows)
		if err := b.put(rows, b.at.Head); err != nil {
			return err
		}
	}
	if _, err := b.tx.ExecContext(b.ctx, "INSERT INTO extract VALUES (?, ?, ?)", b.number, b.at.Links, b.at.Head[:]); err != nil {
		return err
	}
	b.done, b.number = append(b.done, b.at), 0
	return nil
}
