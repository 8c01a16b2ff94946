package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strings"
	"time"

	"fumarium/controller"
)

// A Reader reads the batches of one file. Many may read while one writes, also from
// other processes. It never changes the file.
type Reader struct {
	file string
	db   *sql.DB
}

// OpenReader opens a file of batches for reading: that of a world in the state
// folder, or one that was set aside.
func OpenReader(file string) (*Reader, error) {
	if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("record: %s: %w; no batch was recorded there yet", file, fs.ErrNotExist)
	}
	r, err := newReader(file, "")
	if err == nil || isDamaged(err) || errors.Is(err, ErrNewer) || exists(file+"-wal") {
		return r, wrapFile(file, err)
	}
	// A folder that this user may not write to: without a log nobody is writing, and
	// the file can be read as it lies there.
	r, err = newReader(file, "", "immutable=1")
	return r, wrapFile(file, err)
}

func wrapFile(file string, err error) error {
	if err != nil {
		return fmt.Errorf("record: %s: %w", file, err)
	}
	return nil
}

func newReader(file, vfs string, settings ...string) (*Reader, error) {
	settings = append(settings, "mode=ro", "busy_timeout(5000)", "query_only(1)")
	db, err := sql.Open("sqlite", dsn(file, vfs, settings...))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(readers)
	var application, version int64
	err = db.QueryRow("SELECT (SELECT * FROM pragma_application_id), (SELECT * FROM pragma_user_version)").Scan(&application, &version)
	if err == nil {
		err = checkFormat(application, version)
	}
	if err != nil {
		db.Close()
		return nil, err
	}
	return &Reader{file: file, db: db}, nil
}

// Close ends the reading.
func (r *Reader) Close() error { return r.db.Close() }

// File is the name of the file that is read.
func (r *Reader) File() string { return r.file }

// reading calls f with the file as it is at one moment, whatever is written
// meanwhile.
func (r *Reader) reading(ctx context.Context, f func(q querier) error) error {
	tx, err := r.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return wrapFile(r.file, err)
	}
	defer tx.Rollback() //nolint:errcheck // nothing was changed
	return wrapFile(r.file, f(tx))
}

// A Batch is one recorded batch without its course.
type Batch struct {
	Number      int64 // in its file, from 1
	ID          string
	World       World
	Started     time.Time
	ClockSet    bool   // the wall clock was known to be right at the start
	Boot        string // the computer's boot id
	Program     string // version of the program that started the batch
	Pace        float64
	Product     string // the name that the product gives itself
	ProductName string // of the file
	ProductFile []byte
	Cabinet     string
	CabinetName string
	CabinetFile []byte

	// State is how the batch ended, and empty while it has not.
	State string
	Why   string
	Ended time.Time
	// Elapsed is its age when it was last written to.
	Elapsed time.Duration
	Steps   int64

	layout, state string
}

// timeLayout is how wall clock times stand in the file: the local time with its
// offset from UTC.
const timeLayout = "2006-01-02T15:04:05.000Z07:00"

func parseTime(text string) time.Time {
	t, err := time.Parse(timeLayout, text)
	if err != nil { // only in a damaged row
		return time.Time{}
	}
	return t
}

func batchOf(r row) *Batch {
	pace, _ := r.float("pace")
	return &Batch{
		Number: r.int("number"), ID: r.text("id"), World: World(r.text("world")),
		Started: parseTime(r.text("started")), ClockSet: r.int("clock_set") != 0, Boot: r.text("boot"),
		Program: r.text("program"), Pace: pace,
		Product: r.text("product"), ProductName: r.text("product_name"), ProductFile: r.blob("product_file"),
		Cabinet: r.text("cabinet"), CabinetName: r.text("cabinet_name"), CabinetFile: r.blob("cabinet_file"),
		layout: r.text("layout"), state: r.text("state"),
	}
}

// lastSteps finds the last block of a batch.
const lastSteps = `SELECT first_step, steps, elapsed_seconds FROM link WHERE batch = ? AND steps > 0 ORDER BY number DESC LIMIT 1`

// course fills in how far the batch has come.
func course(ctx context.Context, q querier, b *Batch) error {
	if err := b.lasted(q.QueryRowContext(ctx, lastSteps, b.Number)); err != nil {
		return err
	}
	endings, err := query(ctx, q, endingTable, "batch = ?", b.Number)
	if err != nil || len(endings) == 0 {
		return err
	}
	b.ends(endings[len(endings)-1])
	return nil
}

func (b *Batch) lasted(last *sql.Row) error {
	var first, steps sql.NullInt64
	var elapsed sql.NullFloat64
	if err := last.Scan(&first, &steps, &elapsed); err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	b.Steps, b.Elapsed = first.Int64+steps.Int64, seconds(elapsed.Float64)
	return nil
}

func (b *Batch) ends(e row) {
	b.State, b.Why, b.Ended = e.text("state"), e.text("why"), parseTime(e.text("wall"))
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * float64(time.Second))) }

// listed is what List reads of each batch in one go: no files and nothing that a replay needs.
// A batch most often ends with its last steps.
const listed = `SELECT b.number, b.id, b.world, b.started, b.clock_set, b.boot, b.program, b.pace, b.product, b.product_name, b.cabinet, b.cabinet_name,
	l.first_step, l.steps, l.elapsed_seconds, e.state, e.why, e.wall
	FROM batch b
	LEFT JOIN ending e ON e.batch = b.number
	LEFT JOIN link l ON l.batch = b.number AND l.number = e.link
	ORDER BY b.number DESC, e.link DESC, e.row DESC`

// List gives every batch, newest first, without its files and without what a replay needs:
// those of a thousand batches are many megabytes.
func (r *Reader) List(ctx context.Context) ([]*Batch, error) {
	var all []*Batch
	err := r.reading(ctx, func(q querier) error {
		rows, err := q.QueryContext(ctx, listed)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var b Batch
			var world, started string
			var clock int64
			var first, steps sql.NullInt64
			var elapsed sql.NullFloat64
			var boot, state, why, ended sql.NullString
			if err := rows.Scan(&b.Number, &b.ID, &world, &started, &clock, &boot, &b.Program, &b.Pace, &b.Product, &b.ProductName, &b.Cabinet, &b.CabinetName,
				&first, &steps, &elapsed, &state, &why, &ended); err != nil {
				return err
			}
			if n := len(all); n > 0 && all[n-1].Number == b.Number {
				continue // its last ending counts
			}
			b.World, b.Started, b.ClockSet, b.Boot = World(world), parseTime(started), clock != 0, boot.String
			b.Steps, b.Elapsed = first.Int64+steps.Int64, seconds(elapsed.Float64)
			if state.Valid {
				b.State, b.Why, b.Ended = state.String, why.String, parseTime(ended.String)
			}
			all = append(all, &b)
		}
		for _, b := range all {
			if b.Steps == 0 {
				if err := b.lasted(q.QueryRowContext(ctx, lastSteps, b.Number)); err != nil {
					return err
				}
			}
		}
		return rows.Err()
	})
	return all, err
}

// ErrNoBatch is the error of an id that names no batch.
var ErrNoBatch = errors.New("no such batch")

// Batch finds the batch of that id, or the only one whose id begins so.
func (r *Reader) Batch(ctx context.Context, id string) (*Batch, error) {
	var b *Batch
	err := r.reading(ctx, func(q querier) error {
		row, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		b = batchOf(row)
		return course(ctx, q, b)
	})
	if err != nil {
		return nil, err
	}
	return b, nil
}

func find(ctx context.Context, q querier, id string) (row, error) {
	rows, err := query(ctx, q, batchTable, "id = ?", id) // by its index
	if err != nil {
		return row{}, err
	}
	if len(rows) == 1 {
		return rows[0], nil
	}
	rows, err = query(ctx, q, batchTable, "substr(id, 1, length(?1)) = ?1", id)
	if err != nil {
		return row{}, err
	}
	var ids []string
	for _, found := range rows {
		ids = append(ids, found.text("id"))
	}
	switch {
	case len(ids) == 0 || id == "":
		return row{}, fmt.Errorf("%w: %q; see the list of batches", ErrNoBatch, id)
	case len(ids) > 1:
		return row{}, fmt.Errorf("%q may be any of %s; give more of the id", id, strings.Join(ids, ", "))
	}
	return rows[0], nil
}

// A Command is one recorded command.
type Command struct {
	Step    int64
	Wall    time.Time
	Elapsed time.Duration
	Command string
	Alarm   string
	By
	Refused string // why, when it was
}

// Commands gives the commands of a batch, oldest first.
func (r *Reader) Commands(ctx context.Context, id string) ([]Command, error) {
	b, err := r.beside(ctx, id, commandTable)
	return b.Commands, err
}

func commandOf(r row) Command {
	elapsed, _ := r.float("elapsed_seconds")
	return Command{
		Step: r.int("step"), Wall: parseTime(r.text("wall")), Elapsed: seconds(elapsed), Command: r.text("command"),
		Alarm: r.text("alarm"), By: By{Who: r.text("who"), Reason: r.text("reason")}, Refused: r.text("refused"),
	}
}

// A Note is what a person adds to a batch, also long after its end. Photos are
// named, not stored.
type Note struct {
	Wall  time.Time
	Who   string
	Text  string
	Photo string
	Mark  string // a judgement such as "good" or "4/5"
}

// Notes gives the notes of a batch, oldest first.
func (r *Reader) Notes(ctx context.Context, id string) ([]Note, error) {
	b, err := r.beside(ctx, id, noteTable)
	return b.Notes, err
}

// A Gap is time in a batch of which nothing was recorded. Nothing is invented for
// it.
type Gap struct {
	Why       string
	FirstStep int64 // the first that is missing
	Steps     int64 // how many are missing; 0 when not known
	From      time.Duration
	Length    time.Duration
	Known     bool   // otherwise Length is the least that it was
	Program   string // that went on
}

// Gaps gives the gaps of a batch, oldest first.
func (r *Reader) Gaps(ctx context.Context, id string) ([]Gap, error) {
	b, err := r.beside(ctx, id, gapTable)
	return b.Gaps, err
}

func gapOf(r row) Gap {
	from, _ := r.float("from_elapsed_seconds")
	length, _ := r.float("seconds")
	return Gap{
		Why: r.text("why"), FirstStep: r.int("first_step"), Steps: r.int("steps"), From: seconds(from),
		Length: seconds(length), Known: r.int("seconds_known") != 0, Program: r.text("program"),
	}
}

// Beside is what stands beside the steps of a batch, each oldest first.
type Beside struct {
	Commands []Command
	Gaps     []Gap
	Notes    []Note
	Entries  []Entry
}

// Beside gives all of it, read at one moment.
func (r *Reader) Beside(ctx context.Context, id string) (Beside, error) {
	return r.beside(ctx, id, commandTable, gapTable, noteTable)
}

func (r *Reader) beside(ctx context.Context, id string, tables ...*table) (all Beside, err error) {
	err = r.reading(ctx, func(q querier) error {
		b, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		for _, t := range tables {
			rows, err := query(ctx, q, t, "batch = ?", b.int("number"))
			if err != nil {
				return err
			}
			for _, r := range rows {
				all.add(r)
			}
		}
		return nil
	})
	return all, err
}

func (b *Beside) add(r row) {
	switch r.table {
	case commandTable:
		b.Commands = append(b.Commands, commandOf(r))
	case gapTable:
		b.Gaps = append(b.Gaps, gapOf(r))
	case noteTable:
		switch r.text("entry") {
		case "":
			b.Notes = append(b.Notes, Note{Wall: parseTime(r.text("wall")), Who: r.text("who"), Text: r.text("text"), Photo: r.text("photo"), Mark: r.text("mark")})
		case string(Concluded): // the program's own
		default:
			b.Entries = append(b.Entries, entryOf(r))
		}
	}
}

// Steps calls f for every recorded step of a batch, bit for bit as it was. A gap
// shows in the numbers.
func (r *Reader) Steps(ctx context.Context, id string, f func(Step) error) error {
	return r.reading(ctx, func(q querier) error {
		row, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		return walk(ctx, q, batchOf(row), walker{step: func(n int64, fr *frame, events []controller.Event) error {
			return f(Step{Number: n, Elapsed: fr.In.Elapsed, In: fr.In, Out: fr.Out, Events: events})
		}})
	})
}

// A walker is what to call on the way through the steps of a batch; gap and end may
// be nil.
type walker struct {
	link func(row) error // each link, also of a note alone
	gap  func(row) error // before the link that comes after a gap
	step func(n int64, f *frame, events []controller.Event) error
	end  func(link row) error // after the steps of each link
}

func walk(ctx context.Context, q querier, b *Batch, w walker) error {
	d, err := newStepDecoder(b.layout)
	if err != nil {
		return err
	}
	rows, err := query(ctx, q, gapTable, "batch = ?", b.Number)
	if err != nil {
		return err
	}
	gaps := map[int64]row{}
	for _, g := range rows {
		gaps[g.int("link")] = g
	}
	next := int64(0)
	where := "batch = ? AND steps > 0"
	if w.link != nil {
		where = "batch = ?"
	}
	return each(ctx, q, linkTable, where, []any{b.Number}, func(l row) error {
		if w.link != nil {
			if err := w.link(l); err != nil {
				return err
			}
			if l.int("steps") == 0 {
				return nil
			}
		}
		broken := func(err error) error { return fmt.Errorf("batch %s, link %d: %w", b.ID, l.int("number"), err) }
		first := l.int("first_step")
		expected := first
		if g, ok := gaps[l.int("number")]; ok {
			expected = g.int("first_step")
			if d, err = newStepDecoder(g.text("layout")); err != nil {
				return broken(err)
			}
			if w.gap != nil {
				if err := w.gap(g); err != nil {
					return broken(err)
				}
			}
		}
		if expected != next {
			return broken(fmt.Errorf("steps %d to %d are missing, and no gap says so", next, expected-1))
		}
		next = first
		if err := d.block(l.blob("data"), l.int("steps"), func(f *frame, events []controller.Event) error {
			next++
			return w.step(next-1, f, events)
		}); err != nil {
			return broken(err)
		}
		if w.end != nil {
			return w.end(l)
		}
		return nil
	})
}
