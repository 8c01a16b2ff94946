// Package store keeps the records of many cabinets in PostgreSQL: the bytes of each link as
// the board hashed them, and beside them what lists and pages need, derived from those bytes.
// A link is taken only where it is whole and follows the head that is kept; head and rows
// move in one transaction, so that the count of rows is the head whatever crashes.
//
// Nothing here reaches a board: boards ask and are answered.
package store

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Errors of what is asked for.
var (
	ErrNone  = errors.New("there is none of that name")
	ErrTaken = errors.New("that name is taken")
	ErrKey   = errors.New("this key is not good, or not any more; let the board join again with a new code")
	ErrCode  = errors.New("this code is not good, or not any more; ask for a new one with: fumarium-hub code NAME")
)

// A Wrong is what cannot be done as it was asked for.
type Wrong string

func (w Wrong) Error() string { return string(w) }

// A Store is the database. Accept goes through one writer; everything else asks by itself.
type Store struct {
	pool  *pgxpool.Pool
	log   *slog.Logger
	now   func() time.Time
	queue chan *posted
	// waiting are the bytes of rows in the queue.
	waiting atomic.Int64
	done    chan struct{}
	stop    context.CancelFunc
}

// Open connects, brings the tables to this program's version and starts the writer. An older
// program refuses tables of a newer one.
func Open(ctx context.Context, url string, now func() time.Time, log *slog.Logger) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, errors.New("the address of the database is not understood; write it like postgres://hub@/hub?host=/run/postgresql") // it may hold a password
	}
	if config.ConnConfig.ConnectTimeout == 0 {
		config.ConnConfig.ConnectTimeout = 10 * time.Second
	}
	// What hangs is given up and asked for again; common practice, no source.
	config.ConnConfig.RuntimeParams["statement_timeout"] = "30s"
	config.ConnConfig.RuntimeParams["timezone"] = "UTC"
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("database: %w", err)
	}
	s := &Store{pool: pool, log: log, now: now, queue: make(chan *posted, mostWaiting), done: make(chan struct{})}
	if err := s.migrate(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("database: %w", err)
	}
	running, stop := context.WithCancel(context.Background())
	s.stop = stop
	go s.write(running)
	return s, nil
}

// Close ends the writer and the connections. What was not answered was not taken.
func (s *Store) Close() {
	s.stop()
	<-s.done
	s.pool.Close()
}

// migrate runs, in order and each in a transaction of its own, what was not run yet.
func (s *Store) migrate(ctx context.Context) error {
	files, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	slices.Sort(files)
	for i, name := range files {
		text, err := migrations.ReadFile(name)
		if err != nil {
			return err
		}
		err = pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
			// One hub at a time: 0x66756d72 is the record's application id.
			if _, err := tx.Exec(ctx, "SELECT pg_advisory_xact_lock(1718971762)"); err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, "CREATE TABLE IF NOT EXISTS migration (version integer PRIMARY KEY, at timestamptz NOT NULL DEFAULT now())"); err != nil {
				return err
			}
			version := 0
			if err := tx.QueryRow(ctx, "SELECT coalesce(max(version), 0) FROM migration").Scan(&version); err != nil {
				return err
			}
			if version > len(files) {
				return fmt.Errorf("its tables are of version %d and this program knows %d; use the newer program", version, len(files))
			}
			if version > i {
				return nil
			}
			if _, err := tx.Exec(ctx, string(text)); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			_, err := tx.Exec(ctx, "INSERT INTO migration (version) VALUES ($1)", i+1)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// IsFull reports an error of a database that has no room.
func IsFull(err error) bool {
	p := (*pgconn.PgError)(nil)
	return errors.As(err, &p) && (p.Code == "53100" || p.Code == "53200") // disk_full, out_of_memory
}

// isOfTheData reports an error that the same rows would give again: class 22, data exception,
// and 23, integrity constraint violation, of the table of SQLSTATE.
func isOfTheData(err error) bool {
	p := (*pgconn.PgError)(nil)
	return errors.As(err, &p) && (strings.HasPrefix(p.Code, "22") || strings.HasPrefix(p.Code, "23"))
}

// plain is a text as the database takes it.
func plain(text string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(text, "\ufffd"), "\x00", "\ufffd")
}

func none(err, is error) error {
	if errors.Is(err, pgx.ErrNoRows) {
		return is
	}
	return err
}
