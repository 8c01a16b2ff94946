package record

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

// A Kind is what an entry is of, by its name in the record.
type Kind string

// The kinds of entries. FORMAT.md says what each of their columns holds.
const (
	Weighed  Kind = "weighed"  // a weight or a lot, of an ingredient or of the batch
	Declared Kind = "declared" // what the maker says for the label
	Rated    Kind = "rated"    // a mark out of five, of one trait
	Repeats  Kind = "repeats"  // it was made like another batch
	Decided  Kind = "decided"  // what a person decided of a rule, or who read the record
	// Photographed is a photograph that lies beside the record: its file, bytes, and in the
	// text its SHA-256 and words.
	Photographed Kind = "photographed"
)

// An Entry is a fact that a person adds to a batch, also long after its end. A later one
// takes the place of an earlier one of the same; all of them stay on the record.
type Entry struct {
	Wall     time.Time
	Who      string
	Kind     Kind
	Subject  string
	Number   int64
	Value    float64 // in the unit of its kind
	HasValue bool
	Lot      string
	Text     string
}

// EntriesOf makes entries of what was weighed.
func EntriesOf(list []weighed.Entry, who string) (all []Entry) {
	for _, w := range list {
		all = append(all, Entry{Who: who, Kind: Weighed, Subject: w.What, Number: int64(w.Pack), Value: float64(w.Mass), HasValue: w.Known, Lot: w.Lot})
	}
	return all
}

// WeighedOf are the entries on what was weighed.
func WeighedOf(entries []Entry) (list []weighed.Entry) {
	for _, e := range entries {
		if e.Kind == Weighed {
			list = append(list, weighed.Entry{What: e.Subject, Pack: int(e.Number), Mass: quantity.Kilograms(e.Value), Known: e.HasValue, Lot: e.Lot})
		}
	}
	return list
}

// TallyOf folds what was weighed by the entries of a batch; nil is nothing.
func TallyOf(p *profile.Product, where profile.Jurisdiction, entries []Entry) *weighed.Tally {
	list := WeighedOf(entries)
	if len(list) == 0 {
		return nil
	}
	t := weighed.Of(p, where, list)
	return &t
}

// mostEntries bounds what is added at once.
const mostEntries = 200

// AddEntries adds entries to a batch, under way or long over: all of them, or none. It waits
// as AddNote does.
func (r *Recorder) AddEntries(ctx context.Context, m Moment, id string, entries []Entry) error {
	if len(entries) == 0 || len(entries) > mostEntries {
		return fmt.Errorf("record: %d entries at once, and it takes 1 to %d", len(entries), mostEntries)
	}
	rows := make([]row, len(entries))
	for i, e := range entries {
		switch {
		case e.Kind == "" || e.Subject == "":
			return errors.New("record: an entry needs its kind and what it is of")
		case max(len(e.Kind), len(e.Subject), len(e.Lot), len(e.Text), len(e.Who)) > mostText:
			return fmt.Errorf("record: the entry is longer than %d bytes; shorten it", mostText)
		case e.HasValue && (math.IsNaN(e.Value) || math.IsInf(e.Value, 0)):
			return fmt.Errorf("record: %v is no value of an entry", e.Value)
		}
		rows[i] = newRow(noteTable, "wall", m.Wall.Format(timeLayout), "who", optional(e.Who), "text", optional(e.Text),
			"entry", string(e.Kind), "subject", e.Subject, "lot", optional(e.Lot))
		if e.Number != 0 {
			rows[i].set("number", e.Number)
		}
		if e.HasValue {
			rows[i].set("value", e.Value)
		}
	}
	return r.add(ctx, m, id, rows...)
}

func entryOf(r row) Entry {
	e := Entry{
		Wall: parseTime(r.text("wall")), Who: r.text("who"), Kind: Kind(r.text("entry")), Subject: r.text("subject"), Number: r.int("number"),
		Lot: r.text("lot"), Text: r.text("text"),
	}
	e.Value, e.HasValue = r.float("value")
	return e
}

// Entries gives the entries of a batch, oldest first.
func (r *Reader) Entries(ctx context.Context, id string) ([]Entry, error) {
	b, err := r.beside(ctx, id, noteTable)
	return b.Entries, err
}

func entries(ctx context.Context, q querier, batch int64) ([]Entry, error) {
	var b Beside
	rows, err := query(ctx, q, noteTable, "batch = ?", batch)
	for _, row := range rows {
		b.add(row)
	}
	return b.Entries, err
}

// A Use is a batch that has a lot, with all that was weighed for it.
type Use struct {
	Batch   string
	Product string
	Started time.Time
	Entries []Entry
}

// Uses finds every batch of the file in which a lot was ever named, oldest first. Capitals
// do not matter.
func (r *Reader) Uses(ctx context.Context, lot string) ([]Use, error) {
	return r.uses(ctx, func(is string) bool { return strings.EqualFold(is, lot) })
}

// Lots finds every batch of the file in which any lot was ever named, oldest first.
func (r *Reader) Lots(ctx context.Context) ([]Use, error) {
	return r.uses(ctx, func(string) bool { return true })
}

func (r *Reader) uses(ctx context.Context, wanted func(lot string) bool) ([]Use, error) {
	var all []Use
	err := r.reading(ctx, func(q querier) error {
		rows, err := query(ctx, q, noteTable, "lot IS NOT NULL")
		if isMissing(err) { // a file that no program with entries has written to
			return nil
		}
		last := int64(0)
		for _, row := range rows {
			number := row.int("batch")
			if number == last || !wanted(row.text("lot")) {
				continue
			}
			last = number
			var use Use
			var started string
			if err := q.QueryRowContext(ctx, "SELECT id, product, started FROM batch WHERE number = ?", number).Scan(&use.Batch, &use.Product, &started); err != nil {
				return err
			}
			use.Started = parseTime(started)
			if use.Entries, err = entries(ctx, q, number); err != nil {
				return err
			}
			all = append(all, use)
		}
		return err
	})
	return all, err
}
