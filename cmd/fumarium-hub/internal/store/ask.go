package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"fumarium/controller/record"
)

// A Cabinet is one row of the row of cabinets: the cabinet and its newest batch.
type Cabinet struct {
	ID      int
	Name    string
	World   string
	Joined  time.Time
	Revoked bool
	Seen    *time.Time
	Alarms  int // of the hub, that stand
	Batches int
	Latest  *Batch
}

// A Batch is one batch as lists have it.
type Batch struct {
	ID                     int64
	Cabinet                string
	World                  string
	CabinetID              int
	Name, Product, Program string
	Started                time.Time
	At, Ended              *time.Time
	Received               time.Time
	Elapsed                float64
	State, Stage, Why      string
	Chamber, Set, Core     *float64
	Duty                   *float64
	Standing               []string
	Links                  int64
	Head                   []byte
	Good                   *bool
	Verdict                string
	Judged                 int64
}

// An Alarm is one of the hub's own.
type Alarm struct {
	ID          int64
	Cabinet     string
	Batch       string
	Kind, Text  string
	First, Last time.Time
	Times       int64
}

const batchColumns = `b.id, c.name, c.world, b.cabinet, b.name, b.product, b.program, b.started, b.at, b.ended, b.received, b.elapsed, b.state, b.stage, b.why,
	b.chamber, b.setpoint, b.core, b.duty, b.standing, b.links, b.head, b.good, b.verdict, b.judged`

func scanBatch(row pgx.CollectableRow) (b Batch, err error) {
	err = row.Scan(&b.ID, &b.Cabinet, &b.World, &b.CabinetID, &b.Name, &b.Product, &b.Program, &b.Started, &b.At, &b.Ended, &b.Received, &b.Elapsed, &b.State, &b.Stage, &b.Why,
		&b.Chamber, &b.Set, &b.Core, &b.Duty, &b.Standing, &b.Links, &b.Head, &b.Good, &b.Verdict, &b.Judged)
	return b, err
}

// Cabinets gives all of them by name.
func (s *Store) Cabinets(ctx context.Context) ([]Cabinet, error) {
	rows, _ := s.pool.Query(ctx, `SELECT c.id, c.name, c.world, c.joined, c.key IS NULL, c.seen,
		(SELECT count(*) FROM alarm WHERE cabinet = c.id AND settled IS NULL), (SELECT count(*) FROM batch WHERE cabinet = c.id) FROM cabinet c ORDER BY c.name`)
	all, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (c Cabinet, err error) {
		err = row.Scan(&c.ID, &c.Name, &c.World, &c.Joined, &c.Revoked, &c.Seen, &c.Alarms, &c.Batches)
		return c, err
	})
	if err != nil {
		return nil, err
	}
	rows, _ = s.pool.Query(ctx, `SELECT DISTINCT ON (b.cabinet) `+batchColumns+` FROM batch b JOIN cabinet c ON c.id = b.cabinet ORDER BY b.cabinet, b.id DESC`)
	latest, err := pgx.CollectRows(rows, scanBatch)
	for i := range latest {
		for j := range all {
			if all[j].ID == latest[i].CabinetID {
				all[j].Latest = &latest[i]
			}
		}
	}
	return all, err
}

// A Question is what batches are asked for.
type Question struct {
	Cabinet string // empty is all
	Product string // a part of it, whatever the capitals
	Lot     string // whole, whatever the capitals
	From    time.Time
	Until   time.Time // the first moment that is not in it; zero is open
	Before  int64     // id of the batch behind which the list goes on
	Most    int
}

// Batches gives those that are asked for, newest first.
func (s *Store) Batches(ctx context.Context, q Question) ([]Batch, error) {
	if q.Until.IsZero() {
		q.Until = time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)
	}
	rows, _ := s.pool.Query(ctx, `SELECT `+batchColumns+` FROM batch b JOIN cabinet c ON c.id = b.cabinet
		WHERE ($1 = '' OR c.name = $1) AND ($2 = '' OR strpos(lower(b.product), lower($2)) > 0) AND b.started >= $3 AND b.started < $4 AND ($5 = 0 OR b.id < $5)
		AND ($6 = '' OR EXISTS (SELECT FROM entry e WHERE e.batch = b.id AND lower(e.lot) = lower($6)))
		ORDER BY b.id DESC LIMIT $7`, plain(q.Cabinet), plain(q.Product), q.From, q.Until, q.Before, plain(q.Lot), q.Most)
	return pgx.CollectRows(rows, scanBatch)
}

// Batch finds one by the name of its cabinet and its own.
func (s *Store) Batch(ctx context.Context, cabinet, name string) (*Batch, error) {
	rows, _ := s.pool.Query(ctx, `SELECT `+batchColumns+` FROM batch b JOIN cabinet c ON c.id = b.cabinet WHERE c.name = $1 AND b.name = $2`, plain(cabinet), plain(name))
	b, err := pgx.CollectExactlyOneRow(rows, scanBatch)
	return &b, none(err, ErrNone)
}

// Lasted gives how long the newest batches of a product in a cabinet took, of those that
// completed, shortest first.
func (s *Store) Lasted(ctx context.Context, cabinet int, product string, most int) ([]time.Duration, error) {
	rows, _ := s.pool.Query(ctx, `SELECT elapsed FROM (SELECT elapsed FROM batch WHERE cabinet = $1 AND product = $2 AND ended IS NOT NULL AND state = 'complete' ORDER BY id DESC LIMIT $3) newest ORDER BY elapsed`,
		cabinet, product, most)
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (time.Duration, error) {
		seconds := 0.0
		err := row.Scan(&seconds)
		return time.Duration(seconds * float64(time.Second)), err
	})
}

// A Lot is where a lot went: one weighing of one batch.
type Lot struct {
	Batch
	Lot, Subject string
	Kg           *float64
}

// Lots gives where a lot was weighed, in all cabinets, oldest first.
func (s *Store) Lots(ctx context.Context, lot string, most int) ([]Lot, error) {
	rows, _ := s.pool.Query(ctx, `SELECT c.name, b.name, b.product, b.started, e.lot, e.subject, e.value FROM entry e JOIN batch b ON b.id = e.batch JOIN cabinet c ON c.id = e.cabinet
		WHERE lower(e.lot) = lower($1) AND e.lot <> '' ORDER BY b.id, e.link, e."row" LIMIT $2`, plain(lot), most)
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (l Lot, err error) {
		err = row.Scan(&l.Cabinet, &l.Name, &l.Product, &l.Started, &l.Lot, &l.Subject, &l.Kg)
		return l, err
	})
}

// Alarms gives those that stand, newest first.
func (s *Store) Alarms(ctx context.Context) ([]Alarm, error) {
	rows, _ := s.pool.Query(ctx, `SELECT a.id, c.name, a.batch, a.kind, a.text, a.first, a.last, a.times FROM alarm a JOIN cabinet c ON c.id = a.cabinet WHERE settled IS NULL ORDER BY a.id DESC LIMIT 500`)
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (a Alarm, err error) {
		err = row.Scan(&a.ID, &a.Cabinet, &a.Batch, &a.Kind, &a.Text, &a.First, &a.Last, &a.Times)
		return a, err
	})
}

// Settle ends an alarm by a person who says why.
func (s *Store) Settle(ctx context.Context, id int64, who, reason string) error {
	tag, err := s.pool.Exec(ctx, "UPDATE alarm SET settled = now(), settled_by = $2, reason = $3 WHERE id = $1 AND settled IS NULL", id, plain(who), plain(reason))
	if err == nil && tag.RowsAffected() == 0 {
		err = ErrNone
	}
	return err
}

// Heads gives the heads of a cabinet's batches, oldest first: those of its record of now.
func (s *Store) Heads(ctx context.Context, cabinet int) ([]record.Head, error) {
	rows, _ := s.pool.Query(ctx, "SELECT name, links, head FROM batch WHERE cabinet = $1 AND NOT apart ORDER BY id", cabinet)
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (h record.Head, err error) {
		var hash []byte
		err = row.Scan(&h.Batch, &h.Links, &hash)
		copy(h.Hash[:], hash)
		return h, err
	})
}

// Compare holds the heads that a board has against those that are kept: what the board lacks,
// and what differs where both have as many, is an alarm. What the board has more is to come.
func (s *Store) Compare(ctx context.Context, cabinet int, board []record.Head) ([]record.Head, error) {
	kept, err := s.Heads(ctx, cabinet)
	if err != nil {
		return nil, err
	}
	has := map[string]record.Head{}
	for _, h := range board {
		has[h.Batch] = h
	}
	err = pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		for _, k := range kept {
			h, found := has[k.Batch]
			var c *Conflict
			switch {
			case !found:
				c = &Conflict{Behind, k.Batch, fmt.Sprintf("the board has no such batch; %d links of it are kept", k.Links)}
			case h.Links < k.Links:
				c = &Conflict{Behind, k.Batch, fmt.Sprintf("the board has %d links and %d are kept: its end was cut off, or an older state was put back", h.Links, k.Links)}
			case h.Links == k.Links && h.Hash != k.Hash:
				c = &Conflict{Mismatch, k.Batch, fmt.Sprintf("the board's head is another than the one that is kept of %d links", k.Links)}
			default:
				continue
			}
			if err := raise(ctx, tx, cabinet, c); err != nil {
				return err
			}
		}
		_, err := tx.Exec(ctx, "UPDATE cabinet SET seen = $2 WHERE id = $1", cabinet, s.now().UTC())
		return err
	})
	return kept, err
}

// Links gives links of a batch from that number on: at least one where there is one, and
// others while all of them stay below most bytes.
func (s *Store) Links(ctx context.Context, cabinet int, batch string, from int64, most int) (links []record.Link, err error) {
	rows, err := s.pool.Query(ctx, `SELECT l.number, l.hash, l.rows FROM batch b JOIN link l ON l.cabinet = b.cabinet AND l.batch = b.id AND l.month = b.month
		WHERE b.cabinet = $1 AND b.name = $2 AND l.number >= $3 ORDER BY l.number LIMIT 2000`, cabinet, plain(batch), from)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		l := record.Link{Batch: batch}
		var hash []byte
		if err := rows.Scan(&l.Number, &hash, &l.Rows); err != nil {
			return nil, err
		}
		copy(l.Hash[:], hash)
		if most -= len(l.Rows); most < 0 && len(links) > 0 {
			break
		}
		links = append(links, l)
	}
	return links, rows.Err()
}

// All gives every link of a batch, in order.
func (s *Store) All(ctx context.Context, cabinet int, batch string) func(yield func(record.Link, error) bool) {
	return func(yield func(record.Link, error) bool) {
		for from := int64(0); ; {
			links, err := s.Links(ctx, cabinet, batch, from, 4<<20)
			if err != nil {
				yield(record.Link{}, err)
				return
			}
			for _, l := range links {
				if !yield(l, nil) {
					return
				}
				from = l.Number + 1
			}
			if len(links) == 0 {
				return
			}
		}
	}
}

// Unjudged gives a batch that is over and has links of which no verdict is, or nil.
func (s *Store) Unjudged(ctx context.Context) (*Batch, error) {
	rows, _ := s.pool.Query(ctx, `SELECT `+batchColumns+` FROM batch b JOIN cabinet c ON c.id = b.cabinet WHERE b.ended IS NOT NULL AND b.judged < b.links ORDER BY b.id LIMIT 1`)
	all, err := pgx.CollectRows(rows, scanBatch)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	return &all[0], nil
}

// Judge keeps a verdict on so many links of a batch.
func (s *Store) Judge(ctx context.Context, id, links int64, good *bool, verdict string) error {
	_, err := s.pool.Exec(ctx, "UPDATE batch SET good = $3, verdict = $4, judged = $2 WHERE id = $1", id, links, good, plain(verdict))
	return err
}

// A Fault is a batch whose rows and head do not go together.
type Fault struct{ Cabinet, Batch, Why string }

// Check computes every chain anew and counts its rows: what is kept is whole, or named.
func (s *Store) Check(ctx context.Context) (batches, links int64, faults []Fault, err error) {
	rows, _ := s.pool.Query(ctx, `SELECT `+batchColumns+` FROM batch b JOIN cabinet c ON c.id = b.cabinet ORDER BY b.id`)
	all, err := pgx.CollectRows(rows, scanBatch)
	if err != nil {
		return 0, 0, nil, err
	}
	for _, b := range all {
		batches++
		count, bad, number := int64(0), "", int64(0)
		var head *record.Hash
		for l, err := range s.All(ctx, b.CabinetID, b.Name) {
			if err != nil {
				return batches, links, faults, err
			}
			told, wrong := l.Told(number)
			if wrong == nil && l.Number == 0 {
				number = told.Batch.Number
			}
			if l.Number != count || !l.Follows(head) || wrong != nil {
				bad = fmt.Sprintf("link %d is not whole", l.Number)
				break
			}
			head, count = &l.Hash, count+1
		}
		if bad == "" && (count != b.Links || head == nil || string(head[:]) != string(b.Head)) {
			bad = fmt.Sprintf("its head is of %d links and %d are there", b.Links, count)
		}
		if bad != "" {
			faults = append(faults, Fault{b.Cabinet, b.Name, bad})
		}
		links += count
	}
	return batches, links, faults, nil
}
