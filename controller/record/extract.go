package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// An extract is a file of the record's own format with some of its batches, row by row as
// they are, and a table that lists them with their heads: so that what is missing of one
// shows, also where the file was cut off. Any reader of records reads it.
const extractDDL = "CREATE TABLE extract (batch INTEGER PRIMARY KEY, links INTEGER NOT NULL, head BLOB NOT NULL)"

// An Extracted is one batch with the head of its chain.
type Extracted struct {
	ID    string
	Links int64
	Head  Hash
}

// ErrUnderWay is the error of a batch that is not over. It is not copied: another program
// would go on with it.
var ErrUnderWay = errors.New("it is not over")

// Extract writes batches that are over into a new file, whole or not at all. Their chains are
// verified on the way, before and after; one that does not hold is an error.
func (r *Reader) Extract(ctx context.Context, file string, ids []string) (done []Extracted, err error) {
	if exists(file) {
		return nil, fmt.Errorf("record: %s: %w; name another file", file, fs.ErrExist)
	}
	part := file + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("record: %w", err)
	}
	defer os.Remove(part)
	err = r.reading(ctx, func(q querier) error {
		var headers []row
		for _, id := range ids {
			b, err := find(ctx, q, id)
			if err != nil {
				return err
			}
			headers = append(headers, b)
		}
		done, err = copyOut(ctx, q, part, headers)
		return err
	})
	if err != nil {
		return nil, err
	}
	if _, err := checkExtract(ctx, part); err != nil { // what is on disk, read again
		return nil, err
	}
	f, err := os.Open(part)
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	if err := errors.Join(f.Sync(), f.Close(), os.Rename(part, file)); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	return done, syncDir(filepath.Dir(file))
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("record: %w", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("record: %w", err)
	}
	return nil
}

// inOne makes a file of batches, in one transaction.
func inOne(ctx context.Context, file string, fill func(tx *sql.Tx) error) (err error) {
	// No log beside it: the file is one.
	db, err := sql.Open("sqlite", dsn(file, "", "journal_mode(DELETE)", "synchronous(FULL)"))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := createTables(db); err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // nothing to undo after Commit
	if _, err := tx.Exec(extractDDL); err != nil {
		return err
	}
	if err := fill(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// copyOut puts batches into a file of their own.
func copyOut(ctx context.Context, q querier, file string, headers []row) (done []Extracted, err error) {
	err = inOne(ctx, file, func(tx *sql.Tx) error {
		for _, h := range headers {
			b := batchOf(h)
			if err := course(ctx, q, b); err != nil {
				return err
			}
			if b.State == "" {
				return fmt.Errorf("batch %s: %w", b.ID, ErrUnderWay)
			}
			v, err := verify(ctx, q, h)
			if err != nil {
				return err
			}
			if !v.Whole {
				return fmt.Errorf("batch %s: %s; a copy of it would look whole and is not", b.ID, v)
			}
			if err := copyBatch(ctx, q, tx, h); err != nil {
				return err
			}
			if _, err := tx.Exec("INSERT INTO extract VALUES (?, ?, ?)", b.Number, v.Links, v.Head[:]); err != nil {
				return err
			}
			done = append(done, Extracted{b.ID, v.Links, v.Head})
		}
		return nil
	})
	return done, err
}

// copyBatch copies the rows of one batch as they are.
func copyBatch(ctx context.Context, q querier, tx *sql.Tx, header row) error {
	put := func(r row) error {
		_, err := tx.ExecContext(ctx, r.table.insert(), r.values...)
		return err
	}
	if err := put(header); err != nil {
		return err
	}
	for _, t := range append([]*table{linkTable}, linked...) {
		if err := each(ctx, q, t, "batch = ?", []any{header.int("number")}, put); err != nil {
			return err
		}
	}
	return nil
}

// isExtract reports whether the file holds some of a record's batches only.
func isExtract(ctx context.Context, q querier) bool {
	n := 0
	err := q.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'extract'").Scan(&n)
	return err == nil && n > 0
}

// checkLength verifies that the file has all of its last page: SQLite takes what is missing
// of it for zeros, as it may have been.
func checkLength(ctx context.Context, q querier, file string) error {
	var whole int64
	if err := q.QueryRowContext(ctx, "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size").Scan(&whole); err != nil {
		return err
	}
	info, err := os.Stat(file)
	if err == nil && info.Size() < whole {
		return damaged{fmt.Sprintf("the file is torn: it has %d of %d bytes", info.Size(), whole)}
	}
	return err
}

// checkExtract verifies that every batch of an extract is there, whole, and of the head that
// the extract names.
func checkExtract(ctx context.Context, file string) (headers []row, err error) {
	r, err := OpenReader(file)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	err = r.reading(ctx, func(q querier) error {
		if !isExtract(ctx, q) {
			return errors.New("it is no export; write one with fumarium export")
		}
		if err := checkLength(ctx, q, file); err != nil {
			return err
		}
		var sound string
		if err := q.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&sound); err != nil || sound != "ok" {
			return errors.Join(damaged{"the file is torn or changed: " + sound}, err)
		}
		if headers, err = query(ctx, q, batchTable, ""); err != nil {
			return err
		}
		listed := 0
		if err := q.QueryRowContext(ctx, "SELECT count(*) FROM extract").Scan(&listed); err != nil {
			return err
		}
		if listed != len(headers) || listed == 0 {
			return damaged{fmt.Sprintf("it lists %d batches and has %d", listed, len(headers))}
		}
		for _, h := range headers {
			v, err := verify(ctx, q, h)
			if err != nil {
				return err
			}
			var links int64
			var head []byte
			if err := q.QueryRowContext(ctx, "SELECT links, head FROM extract WHERE batch = ?", h.int("number")).Scan(&links, &head); err != nil {
				return err
			}
			if !v.Whole || v.Links != links || string(v.Head[:]) != string(head) {
				return damaged{fmt.Sprintf("batch %s is not as it was exported: %s", h.text("id"), v)}
			}
		}
		return nil
	})
	return headers, err
}

// An Imported is what came of one batch of an import.
type Imported struct {
	ID   string
	Had  bool // it was there already, with all that the import has of it
	File string
}

// Import puts the batches of extracts into the record of a world, in a folder that no program
// records in. All of them are verified first, and the record after: it takes all, or none.
func Import(ctx context.Context, dir string, world World, files []string) (done []Imported, err error) {
	for _, f := range files {
		headers, err := checkExtract(ctx, f)
		if err != nil {
			return nil, err
		}
		for _, h := range headers {
			if h.text("world") != string(world) {
				return nil, fmt.Errorf("record: %s: batch %s is of a %s cabinet, and this is the record of %s ones", f, h.text("id"), h.text("world"), world)
			}
		}
	}
	file := filepath.Join(dir, world.File())
	held, err := lock(file)
	if err != nil {
		return nil, err
	}
	defer held.Close()
	db, err := openWriter(&Options{Dir: dir, World: world}, file)
	if err != nil {
		return nil, wrapFile(file, err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return nil, wrapFile(file, err)
	}
	defer tx.Rollback() //nolint:errcheck // nothing to undo after Commit
	for _, f := range files {
		more, err := importFile(ctx, tx, f)
		if err != nil {
			return nil, fmt.Errorf("record: %s: %w", f, err)
		}
		done = append(done, more...)
	}
	for _, i := range done {
		if err := stillWhole(ctx, tx, i.ID); err != nil {
			return nil, wrapFile(file, err)
		}
	}
	return done, wrapFile(file, tx.Commit())
}

func stillWhole(ctx context.Context, q querier, id string) error {
	h, err := find(ctx, q, id)
	if err != nil {
		return err
	}
	v, err := verify(ctx, q, h)
	switch {
	case err != nil:
		return err
	case !v.Whole && strings.Contains(v.Why, "was taken out"):
		return fmt.Errorf("batch %s: %s; import that one too, or look at the export where it is, with --from", id, v.Why)
	case !v.Whole:
		return fmt.Errorf("batch %s: %s", id, v)
	}
	return nil
}

func importFile(ctx context.Context, tx *sql.Tx, file string) (done []Imported, err error) {
	r, err := OpenReader(file)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	err = r.reading(ctx, func(q querier) error {
		headers, err := query(ctx, q, batchTable, "")
		if err != nil {
			return err
		}
		for _, h := range headers {
			there, err := query(ctx, tx, batchTable, "number = ? OR id = ?", h.int("number"), h.text("id"))
			if err != nil {
				return err
			}
			i := Imported{ID: h.text("id"), File: file}
			switch {
			case len(there) == 0:
				err = copyBatch(ctx, q, tx, h)
			case len(there) == 1 && string(there[0].blob("hash")) == string(h.blob("hash")):
				i.Had = true
				err = goesOn(ctx, q, tx, h)
			default:
				err = fmt.Errorf("batch %s: this record has another batch of that number or name; import into a new folder, or look at the export where it is, with --from", i.ID)
			}
			if err != nil {
				return err
			}
			done = append(done, i)
		}
		return nil
	})
	return done, err
}

// goesOn adds the links of a batch that the record does not have yet, such as notes of later.
// Where both went on by themselves there is no one chain.
func goesOn(ctx context.Context, q querier, tx *sql.Tx, h row) error {
	number := h.int("number")
	mine, err := query(ctx, tx, linkTable, "batch = ?", number)
	if err != nil {
		return err
	}
	n := 0
	err = each(ctx, q, linkTable, "batch = ?", []any{number}, func(l row) error {
		if n++; n <= len(mine) {
			if string(mine[n-1].blob("hash")) != string(l.blob("hash")) {
				return fmt.Errorf("batch %s: the record and the export went on differently from link %d; look at the export where it is, with --from", h.text("id"), n)
			}
			return nil
		}
		if _, err := tx.ExecContext(ctx, l.table.insert(), l.values...); err != nil {
			return err
		}
		for _, t := range linked {
			if err := each(ctx, q, t, "batch = ? AND link = ?", []any{number, l.int("number")}, func(r row) error {
				_, err := tx.ExecContext(ctx, r.table.insert(), r.values...)
				return err
			}); err != nil {
				return err
			}
		}
		return nil
	})
	return err
}

// Copy keeps an extract of each batch that is over in a folder, ID.db, and writes anew those
// to which something was added since. It deletes nothing.
func (r *Reader) Copy(ctx context.Context, dir string) (written []string, err error) {
	batches, err := r.List(ctx)
	if err != nil {
		return nil, err
	}
	for _, b := range batches {
		file := filepath.Join(dir, b.ID+".db")
		if b.State == "" {
			continue
		}
		has, err := r.copied(ctx, b, file)
		if err != nil {
			return written, err
		}
		if has {
			continue
		}
		next := file + ".next"
		if err := os.Remove(next); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return written, fmt.Errorf("record: %w", err)
		}
		if _, err := r.Extract(ctx, next, []string{b.ID}); err != nil {
			return written, err
		}
		if err := os.Rename(next, file); err != nil {
			return written, fmt.Errorf("record: %w", err)
		}
		if err := syncDir(dir); err != nil {
			return written, err
		}
		written = append(written, b.ID)
	}
	return written, nil
}

// copied reports whether a file is an extract of the batch with its head of now. Whatever it
// is otherwise, if it is another record's batch it stays.
func (r *Reader) copied(ctx context.Context, b *Batch, file string) (bool, error) {
	if !exists(file) {
		return false, nil
	}
	var head []byte
	if err := r.db.QueryRowContext(ctx, "SELECT hash FROM link WHERE batch = ? ORDER BY number DESC LIMIT 1", b.Number).Scan(&head); err != nil {
		return false, wrapFile(r.file, err)
	}
	c, err := OpenReader(file)
	if err != nil {
		return false, nil // torn: write it anew
	}
	defer c.Close()
	var id string
	var kept []byte
	err = c.db.QueryRowContext(ctx, "SELECT id, head FROM extract JOIN batch ON extract.batch = batch.number").Scan(&id, &kept)
	if err != nil {
		return false, nil // likewise
	}
	had, err := r.HadHead(ctx, b.ID, fmt.Sprintf("%x", kept))
	if err != nil {
		return false, err
	}
	if id != b.ID || !had {
		return false, fmt.Errorf("record: %s is a copy of another batch, or of one that this record has lost; move it away and keep it", file)
	}
	return string(kept) == string(head), nil
}
