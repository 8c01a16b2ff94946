package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"fumarium/controller/record"
)

const (
	// mostWaiting posts wait for the writer, in the order in which they came, and mostBytes of
	// rows; more are told to come again.
	mostWaiting = 1024
	mostBytes   = 64 << 20
	// mostInGroup bounds one transaction, in links. All common practice, no source.
	mostInGroup = 2000
)

// ErrBusy is the error of a post for which there is no room now.
var ErrBusy = errors.New("too many posts wait; come again")

// A Conflict is a link that does not go with what is kept: a gap, or another one in its
// place. It is an alarm, and what came before it in the post was taken.
type Conflict struct{ Kind, Batch, Why string }

func (c *Conflict) Error() string { return "batch " + c.Batch + ": " + c.Why }

// The kinds of alarms.
const (
	Gap      = "gap"      // links between the head and this one are missing
	Mismatch = "mismatch" // it is not whole, or another one is kept in its place
	Anew     = "anew"     // the record does not follow the one that is kept
	Behind   = "behind"   // the board has less than is kept
	Form     = "form"     // it is not in the form that is hashed
	Newer    = "newer"    // the board's program is newer than this one
)

// posted is what one board sent.
type posted struct {
	cabinet int
	links   []record.Link
	size    int64 // of their rows
	answer  chan error

	heads    map[string]record.Head
	conflict *Conflict
}

// Accept takes links of a cabinet, in order, and gives the heads that they lead to. All that
// were before a conflict are kept when it returns one; of any other error nobody knows, and
// sending them again settles it.
func (s *Store) Accept(ctx context.Context, cabinet int, links []record.Link) ([]record.Head, error) {
	p := &posted{cabinet: cabinet, links: links, answer: make(chan error, 1)}
	for i := range links {
		p.size += int64(len(links[i].Rows))
	}
	if all := s.waiting.Add(p.size); all > mostBytes && all > p.size { // one alone is let in, however long
		s.waiting.Add(-p.size)
		return nil, ErrBusy
	}
	select {
	case s.queue <- p:
	default:
		s.waiting.Add(-p.size)
		return nil, ErrBusy
	}
	select {
	case err := <-p.answer:
		if err != nil {
			return nil, err
		}
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-s.done:
		return nil, errors.New("the hub is ending")
	}
	heads := make([]record.Head, 0, len(p.heads))
	for _, h := range p.heads {
		heads = append(heads, h)
	}
	if p.conflict != nil {
		return heads, p.conflict
	}
	return heads, nil
}

// write is the writer: what has come while it wrote goes into the next transaction together.
func (s *Store) write(ctx context.Context) {
	defer close(s.done)
	for {
		var group []*posted
		select {
		case <-ctx.Done():
			return
		case p := <-s.queue:
			s.waiting.Add(-p.size)
			group = append(group, p)
		}
		count := len(group[0].links)
	more:
		for count < mostInGroup {
			select {
			case p := <-s.queue:
				s.waiting.Add(-p.size)
				group = append(group, p)
				count += len(p.links)
			default:
				break more
			}
		}
		err := s.commit(ctx, group)
		if err != nil && isOfTheData(err) && len(group) > 1 { // one of them; the others shall not wait for it
			for _, p := range group {
				p.answer <- s.alone(ctx, p)
			}
			continue
		}
		if err != nil && isOfTheData(err) {
			err = s.alone(ctx, group[0])
		}
		for _, p := range group {
			p.answer <- err
		}
	}
}

// alone commits one post. Rows that the database refuses are a conflict.
func (s *Store) alone(ctx context.Context, p *posted) error {
	err := s.commit(ctx, []*posted{p})
	if err == nil || !isOfTheData(err) || len(p.links) == 0 {
		return err
	}
	p.conflict = &Conflict{Form, p.links[0].Batch, "the database refuses its rows: " + err.Error()}
	p.heads = map[string]record.Head{}
	return pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error { return raise(ctx, tx, p.cabinet, p.conflict) })
}

// chain is the end of a batch's chain in a transaction, and what is derived.
type chain struct {
	id, number, links int64
	cabinet           int
	month             time.Time
	head              record.Hash
	isNew, changed    bool
	fresh             []record.Link // of this transaction

	state, stage, why string
	at, ended         *time.Time
	elapsed           float64
	chamber, set      *float64
	core, duty        *float64
	standing          []string
}

type key struct {
	cabinet int
	batch   string
}

// A group is one transaction of posts.
type group struct {
	tx     pgx.Tx
	now    time.Time
	chains map[key]*chain
	rows   [][]any
	seen   map[int]bool
	batch  pgx.Batch
}

func (s *Store) commit(ctx context.Context, posts []*posted) error {
	return pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		g := &group{tx: tx, now: s.now().UTC(), chains: map[key]*chain{}, seen: map[int]bool{}}
		for _, p := range posts {
			p.conflict, p.heads = nil, map[string]record.Head{}
			g.seen[p.cabinet] = true
			for i := range p.links {
				l := &p.links[i]
				c, why, err := g.take(ctx, p.cabinet, l)
				if err != nil {
					return err
				}
				if why != nil {
					p.conflict = why
					if err := raise(ctx, tx, p.cabinet, why); err != nil {
						return err
					}
				}
				if c != nil {
					p.heads[l.Batch] = record.Head{Batch: l.Batch, Links: c.links, Hash: c.head}
				}
				if why != nil {
					break
				}
			}
		}
		return g.flush(ctx)
	})
}

// take checks a link against the head and puts it behind it.
func (g *group) take(ctx context.Context, cabinet int, l *record.Link) (*chain, *Conflict, error) {
	k := key{cabinet, l.Batch}
	c, err := g.find(ctx, k)
	if err != nil {
		return nil, nil, err
	}
	conflict := func(kind, format string, args ...any) (*chain, *Conflict, error) {
		if c != nil && c.isNew && c.links == 0 {
			c = nil
		}
		return c, &Conflict{kind, plain(l.Batch), fmt.Sprintf(format, args...)}, nil
	}
	have := int64(0)
	if c != nil {
		have = c.links
	}
	switch {
	case l.Number > have:
		return conflict(Gap, "link %d was sent and %d links are kept; those between are missing", l.Number, have)
	case l.Number < have:
		same, err := g.kept(ctx, c, l)
		if err != nil || same {
			return c, nil, err
		}
		return conflict(Mismatch, "link %d was sent again and differs from the one that is kept: the board's record was changed or put back, or another board sends with its key", l.Number)
	}
	var before *record.Hash
	number := int64(0)
	if c != nil {
		before, number = &c.head, c.number
	}
	if !l.Follows(before) {
		return conflict(Mismatch, "link %d is not whole behind the head that is kept", l.Number)
	}
	told, err := l.Told(number)
	if errors.Is(err, record.ErrNewColumn) {
		return conflict(Newer, "%v; update the hub", err)
	} else if err != nil {
		return conflict(Form, "%v", err)
	}
	if l.Number == 0 {
		if why, err := g.begin(ctx, k, &told); why != nil || err != nil {
			return nil, why, err
		}
		c = g.chains[k]
	}
	c.add(l, &told)
	g.rows = append(g.rows, []any{cabinet, c.id, l.Number, c.month, l.Hash[:], l.Rows})
	for i, e := range told.Entries {
		g.batch.Queue(`INSERT INTO entry VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, cabinet, c.id, l.Number, i, plain(string(e.Kind)), plain(e.Subject), plain(e.Lot), optional(e.Value, e.HasValue), plain(e.Who))
	}
	return c, nil, nil
}

func optional(v float64, has bool) *float64 {
	if has {
		return &v
	}
	return nil
}

// find gives the chain of a batch, held against others until the transaction ends; nil is none.
func (g *group) find(ctx context.Context, k key) (*chain, error) {
	if c := g.chains[k]; c != nil {
		return c, nil
	}
	c := &chain{cabinet: k.cabinet}
	var head []byte
	err := g.tx.QueryRow(ctx, `SELECT id, number, links, month, head, state, stage, why, at, ended, elapsed, chamber, setpoint, core, duty, standing
		FROM batch WHERE cabinet = $1 AND name = $2 FOR UPDATE`, k.cabinet, plain(k.batch)).
		Scan(&c.id, &c.number, &c.links, &c.month, &head, &c.state, &c.stage, &c.why, &c.at, &c.ended, &c.elapsed, &c.chamber, &c.set, &c.core, &c.duty, &c.standing)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	copy(c.head[:], head)
	g.chains[k] = c
	return c, nil
}

// kept reports whether exactly this link is kept.
func (g *group) kept(ctx context.Context, c *chain, l *record.Link) (bool, error) {
	for i := range c.fresh {
		if f := &c.fresh[i]; f.Number == l.Number {
			return f.Hash == l.Hash && bytes.Equal(f.Rows, l.Rows), nil
		}
	}
	var hash, rows []byte
	err := g.tx.QueryRow(ctx, "SELECT hash, rows FROM link WHERE cabinet = $1 AND batch = $2 AND number = $3 AND month = $4", c.cabinet, c.id, l.Number, c.month).Scan(&hash, &rows)
	return bytes.Equal(hash, l.Hash[:]) && bytes.Equal(rows, l.Rows), err
}

// begin makes a batch of a header that follows the batches which are kept.
func (g *group) begin(ctx context.Context, k key, told *record.Told) (*Conflict, error) {
	b := told.Batch
	var world string
	var anew bool
	var count, last int64
	err := g.tx.QueryRow(ctx, `SELECT world, anew, (SELECT count(*) FROM batch WHERE cabinet = c.id),
		coalesce((SELECT max(number) FROM batch WHERE cabinet = c.id AND previous IS NOT DISTINCT FROM $2 AND $2 IS NOT NULL), 0)
		FROM cabinet c WHERE id = $1 FOR UPDATE`, k.cabinet, pointer(told.Previous)).Scan(&world, &anew, &count, &last)
	if err != nil {
		return nil, err
	}
	refuse := func(format string, args ...any) (*Conflict, error) {
		return &Conflict{Anew, plain(k.batch), fmt.Sprintf(format, args...) + "; where that is right, such as after a card has died, admit it with: fumarium-hub admit CABINET"}, nil
	}
	if string(b.World) != world {
		return &Conflict{Mismatch, plain(k.batch), fmt.Sprintf("its world is %s and the cabinet joined as %s; let it join as another cabinet", b.World, world)}, nil
	}
	isFirst, admitted := told.Previous == "", false
	switch {
	case isFirst && count > 0 && !anew:
		return refuse("it follows no batch, and %d batches of this cabinet are kept", count)
	case isFirst:
		if admitted = count > 0; admitted {
			if _, err := g.tx.Exec(ctx, "UPDATE batch SET apart = true WHERE cabinet = $1", k.cabinet); err != nil {
				return nil, err
			}
		}
	case !isFirst && last > 0:
		return refuse("another batch is kept that follows the same one, %s", told.Previous)
	default:
		before, err := g.find(ctx, key{k.cabinet, told.Previous})
		if err != nil {
			return nil, err
		}
		follows := before != nil && before.number == b.Number-1
		if follows {
			if follows, err = g.hadHead(ctx, before, told.PreviousHash); err != nil {
				return nil, err
			}
		}
		if admitted = !follows; admitted && !anew {
			return refuse("it follows %s as nobody keeps it here", told.Previous)
		}
	}
	c := &chain{cabinet: k.cabinet, number: b.Number, isNew: true, standing: []string{}}
	c.month = time.Date(g.now.Year(), g.now.Month(), 1, 0, 0, 0, 0, time.UTC)
	if err := g.partition(ctx, c.month); err != nil {
		return nil, err
	}
	if admitted {
		if _, err := g.tx.Exec(ctx, "UPDATE cabinet SET anew = false WHERE id = $1", k.cabinet); err != nil {
			return nil, err
		}
	}
	err = g.tx.QueryRow(ctx, `INSERT INTO batch (cabinet, name, number, month, links, head, previous, product, program, started)
		VALUES ($1, $2, $3, $4, 0, '', $5, $6, $7, $8) RETURNING id`,
		k.cabinet, k.batch, b.Number, c.month, pointer(told.Previous), plain(b.Product), plain(b.Program), b.Started).Scan(&c.id)
	g.chains[k] = c
	return nil, err
}

func pointer(text string) *string {
	if text == "" {
		return nil
	}
	text = plain(text)
	return &text
}

// hadHead reports whether a chain once ended in that hash.
func (g *group) hadHead(ctx context.Context, c *chain, hash record.Hash) (has bool, err error) {
	if c.head == hash || slices.ContainsFunc(c.fresh, func(l record.Link) bool { return l.Hash == hash }) {
		return true, nil
	}
	err = g.tx.QueryRow(ctx, "SELECT EXISTS (SELECT FROM link WHERE cabinet = $1 AND batch = $2 AND month = $3 AND hash = $4)", c.cabinet, c.id, c.month, hash[:]).Scan(&has)
	return has, err
}

// partition makes the table of a month where there is none.
func (g *group) partition(ctx context.Context, month time.Time) error {
	name := pgx.Identifier{"link_" + month.Format("2006_01")}.Sanitize()
	is := false
	if err := g.tx.QueryRow(ctx, "SELECT to_regclass($1) IS NOT NULL", name).Scan(&is); err != nil || is {
		return err
	}
	_, err := g.tx.Exec(ctx, fmt.Sprintf("CREATE TABLE %s PARTITION OF link FOR VALUES FROM ('%s') TO ('%s')", name,
		month.Format(time.DateOnly), month.AddDate(0, 1, 0).Format(time.DateOnly)))
	return err
}

// add moves the head and derives.
func (c *chain) add(l *record.Link, t *record.Told) {
	c.links, c.head, c.changed = c.links+1, l.Hash, true
	c.fresh = append(c.fresh, *l)
	if t.Batch != nil {
		return
	}
	if !t.Wall.IsZero() {
		c.at = &t.Wall
	}
	if t.Block {
		c.elapsed, c.state, c.stage = t.Elapsed.Seconds(), plain(t.State), plain(t.Stage)
		c.chamber, c.set, c.core, c.duty = t.Chamber, t.Set, t.Core, t.Duty
	}
	for _, e := range t.Events {
		name := plain(e.Alarm)
		switch e.Kind {
		case "alarm raised":
			if !slices.Contains(c.standing, name) {
				c.standing = append(c.standing, name)
			}
		case "alarm returned":
			c.standing = slices.DeleteFunc(c.standing, func(s string) bool { return s == name })
		}
	}
	if e := t.Ending; e != nil {
		c.state, c.why, c.ended = plain(e.State), plain(e.Why), &e.Wall
	}
}

// flush writes the rows and the heads that they lead to.
func (g *group) flush(ctx context.Context) error {
	if len(g.rows) > 0 {
		if _, err := g.tx.CopyFrom(ctx, pgx.Identifier{"link"}, []string{"cabinet", "batch", "number", "month", "hash", "rows"}, pgx.CopyFromRows(g.rows)); err != nil {
			return err
		}
	}
	for _, c := range g.chains {
		if !c.changed {
			continue
		}
		g.batch.Queue(`UPDATE batch SET links = $2, head = $3, state = $4, stage = $5, why = $6, at = $7, ended = $8, elapsed = $9,
			chamber = $10, setpoint = $11, core = $12, duty = $13, standing = $14 WHERE id = $1`,
			c.id, c.links, c.head[:], c.state, c.stage, c.why, c.at, c.ended, c.elapsed, c.chamber, c.set, c.core, c.duty, c.standing)
	}
	for cabinet := range g.seen {
		g.batch.Queue("UPDATE cabinet SET seen = $2 WHERE id = $1", cabinet, g.now)
	}
	return g.tx.SendBatch(ctx, &g.batch).Close()
}

// raise keeps an alarm, or counts it once more where it stands.
func raise(ctx context.Context, tx pgx.Tx, cabinet int, c *Conflict) error {
	_, err := tx.Exec(ctx, `INSERT INTO alarm (cabinet, batch, kind, text) VALUES ($1, $2, $3, $4)
		ON CONFLICT (cabinet, batch, kind) WHERE settled IS NULL DO UPDATE SET times = alarm.times + 1, last = now(), text = excluded.text`,
		cabinet, c.Batch, c.Kind, plain(c.Why))
	return err
}
