package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// A World says whether a batch was made or rehearsed.
type World string

// The two worlds. Each has a file of its own.
const (
	Real      World = "real"
	Simulated World = "simulated"
)

// File is the name of the world's file in the state folder.
func (w World) File() string {
	if w == Simulated {
		return "batches-simulated.db"
	}
	return "batches.db"
}

const (
	// formatVersion stands in the file's user_version. FORMAT.md describes it.
	formatVersion = 1
	// applicationID stands in the file's application_id: "fumr".
	applicationID = 0x66756d72
	// readers is how many may read at once; more wait for each other.
	readers = 4
	// mostWAL bounds the write-ahead log that stays after a long reader, in bytes.
	mostWAL = 8 << 20
)

// ErrNewer is the error of a file that a newer program has written.
var ErrNewer = errors.New("written by a newer program")

// damaged is the error of a file that is not what it should be.
type damaged struct{ why string }

func (d damaged) Error() string { return "damaged: " + d.why }

// isDamaged reports whether err says that the content of a file is broken, which no
// second attempt can mend.
func isDamaged(err error) bool {
	if d := (damaged{}); errors.As(err, &d) {
		return true
	}
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return true
	}
	return false
}

// dsn names a file with the settings of one connection.
func dsn(file, vfs string, settings ...string) string {
	q := url.Values{}
	if vfs != "" {
		q.Set("vfs", vfs)
	}
	for _, s := range settings {
		if name, value, ok := strings.Cut(s, "="); ok {
			q.Add(name, value)
			continue
		}
		q.Add("_pragma", s)
	}
	// Opaque, because "file://" would make the first folder of a relative path a host.
	path := url.URL{Path: filepath.Clean(file)}
	u := url.URL{Scheme: "file", Opaque: path.EscapedPath(), RawQuery: q.Encode()}
	return u.String()
}

// lock takes the state folder's file for this process alone, for two writers would
// fork the chain.
func lock(file string) (*os.File, error) {
	f, err := os.OpenFile(file+".lock", os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("record: %s is in use by another program that records; end it first, or choose another folder for the state", file)
	}
	return f, nil
}

// openWriter opens the file for writing, makes it where there is none, and checks
// it if it was not closed properly. A file that is damaged comes back as such.
func openWriter(o *Options, file string) (*sql.DB, error) {
	unclean := false
	if info, err := os.Stat(file + "-wal"); err == nil && info.Size() > 0 {
		unclean = true
		if db, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) || err == nil && db.Size() == 0 {
			return nil, damaged{"the write-ahead log is there and what it belongs to is empty or missing"}
		}
	}
	settings := []string{"busy_timeout(2000)", "synchronous(FULL)", "foreign_keys(OFF)", fmt.Sprintf("journal_size_limit(%d)", mostWAL), "_txlock=immediate"}
	if o.pageBytes > 0 {
		settings = append([]string{fmt.Sprintf("page_size(%d)", o.pageBytes)}, settings...)
	}
	db, err := sql.Open("sqlite", dsn(file, o.vfs, settings...))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1) // one chain, one pen
	if err := prepare(db, o, unclean); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// prepare checks what the file is and makes its tables where it is new.
func prepare(db *sql.DB, o *Options, check bool) error {
	var application, version int64
	var tables int
	if err := db.QueryRow("SELECT (SELECT * FROM pragma_application_id), (SELECT * FROM pragma_user_version), (SELECT count(*) FROM sqlite_schema)").
		Scan(&application, &version, &tables); err != nil {
		return err
	}
	isNew := application == 0 && version == 0 && tables == 0
	if !isNew {
		if err := checkFormat(application, version); err != nil {
			return err
		}
	}
	if check && !isNew {
		var verdict string
		if err := db.QueryRow("PRAGMA quick_check(1)").Scan(&verdict); err != nil {
			return err
		}
		if verdict != "ok" {
			return damaged{verdict}
		}
	}
	var mode string
	if err := db.QueryRow("PRAGMA journal_mode(WAL)").Scan(&mode); err != nil {
		return err
	}
	if mode != "wal" {
		return fmt.Errorf("the file system cannot share memory between programs, which a record needs (journal mode %q); keep the state on a local disk", mode)
	}
	if isNew {
		return createTables(db)
	}
	if err := checkWorld(db, o.World); err != nil {
		return err
	}
	return addColumns(db)
}

// addColumns gives the tables of an older program the columns that it did not have. Rows
// without them keep their hash.
func addColumns(db *sql.DB) error {
	for _, t := range append([]*table{batchTable, linkTable}, linked...) {
		have, err := columnsOf(context.Background(), db, t)
		if err != nil {
			return err
		}
		for _, c := range t.columns {
			if len(have) > 0 && !have[c.name] && !strings.Contains(c.declared, "NOT NULL") {
				if _, err := db.Exec(fmt.Sprintf("ALTER TABLE %s ADD COLUMN %s %s", t.name, c.name, c.declared)); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func columnsOf(ctx context.Context, db querier, t *table) (map[string]bool, error) {
	rows, err := db.QueryContext(ctx, "SELECT name FROM pragma_table_info(?)", t.name)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	have := map[string]bool{}
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			return nil, err
		}
		have[name] = true
	}
	return have, rows.Err()
}

// isMissing reports an error of a table or column that the file does not have.
func isMissing(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code() == sqlite3.SQLITE_ERROR && strings.Contains(e.Error(), "no such column")
}

// checkFormat refuses what this program must not write into.
func checkFormat(application, version int64) error {
	switch {
	case application != applicationID:
		return fmt.Errorf("it is a database of another kind (application %#x); move it away, or choose another folder for the state", application)
	case version > formatVersion:
		return fmt.Errorf("%w: it is of format %d and this program knows formats up to %d; use the newer program, or choose another folder for the state",
			ErrNewer, version, formatVersion)
	case version < 1:
		return damaged{fmt.Sprintf("format %d never existed", version)}
	}
	return nil
}

func createTables(db *sql.DB) error {
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // nothing to undo after Commit
	for _, t := range append([]*table{batchTable, linkTable}, linked...) {
		for _, statement := range t.create() {
			if _, err := tx.Exec(statement); err != nil {
				return err
			}
		}
	}
	for _, pragma := range []string{"application_id", "user_version"} {
		value := formatVersion
		if pragma == "application_id" {
			value = applicationID
		}
		if _, err := tx.Exec(fmt.Sprintf("PRAGMA %s = %d", pragma, value)); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// checkWorld reads every row of the batches, so that a file whose first table is
// broken shows at once, and refuses a file of the other world.
func checkWorld(db *sql.DB, world World) error {
	rows, err := query(context.Background(), db, batchTable, "")
	if err != nil {
		var e *sqlite.Error
		if errors.As(err, &e) && e.Code() == sqlite3.SQLITE_ERROR { // no such table or column
			return damaged{err.Error()}
		}
		return err
	}
	for _, r := range rows {
		if w := r.text("world"); w != string(world) {
			return fmt.Errorf("batch %s in it says that its world is %q, and this is the file for %s batches; move it away", r.text("id"), w, world)
		}
	}
	return nil
}

// setAside renames a damaged file with all that belongs to it. Nothing is deleted.
// The log goes first: left alone, it would be thrown away.
func setAside(file string, now time.Time) (string, error) {
	base, ext := strings.TrimSuffix(file, filepath.Ext(file)), filepath.Ext(file)
	stamp := now.UTC().Format("20060102T150405")
	to := fmt.Sprintf("%s-damaged-%s%s", base, stamp, ext)
	for n := 2; exists(to) || exists(to+"-wal"); n++ {
		to = fmt.Sprintf("%s-damaged-%s-%d%s", base, stamp, n, ext)
	}
	for _, suffix := range []string{"-wal", "-shm", ""} {
		if err := os.Rename(file+suffix, to+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
	}
	return to, nil
}

func exists(file string) bool {
	_, err := os.Lstat(file)
	return err == nil
}

// A querier is a database or one transaction of it.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// query reads rows of a table in the order of its key.
func query(ctx context.Context, db querier, t *table, where string, args ...any) ([]row, error) {
	var all []row
	err := each(ctx, db, t, where, args, func(r row) error {
		all = append(all, r)
		return nil
	})
	return all, err
}

func scan(rows *sql.Rows, t *table) (row, error) {
	r := row{table: t, values: make([]any, len(t.columns))}
	into := make([]any, len(t.columns))
	for i := range into {
		into[i] = &r.values[i]
	}
	return r, rows.Scan(into...)
}

// each calls f for every row of a table in the order of its key.
func each(ctx context.Context, db querier, t *table, where string, args []any, f func(row) error) error {
	if where != "" {
		where = " WHERE " + where
	}
	order := make([]string, t.key)
	for i := range order {
		order[i] = t.columns[i].name
	}
	ask := func(names string) (*sql.Rows, error) {
		return db.QueryContext(ctx, fmt.Sprintf("SELECT %s FROM %s%s ORDER BY %s", names, t.name, where, strings.Join(order, ", ")), args...)
	}
	rows, err := ask(t.names())
	if isMissing(err) { // a file that no newer program has written to
		have, missing := columnsOf(ctx, db, t)
		if missing != nil {
			return missing
		}
		rows, err = ask(t.namesIn(have))
	}
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		r, err := scan(rows, t)
		if err != nil {
			return err
		}
		if err := f(r); err != nil {
			return err
		}
	}
	return rows.Err()
}
