package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"fumarium/controller/access"
)

// CodeLasts is how long a code is good for, and SessionLasts a person's session; common
// practice, no source.
const (
	CodeLasts    = time.Hour
	SessionLasts = 12 * time.Hour
)

// The roles of people; each may do what those before it may.
const (
	Look       = "look"
	Note       = "note"
	Administer = "administer"
)

// Roles are all of them, the least first.
var Roles = []string{Look, Note, Administer}

// hashOf is what is kept of a secret. All of them are drawn here, with 12 letters (5.9e1 bits)
// that last an hour or 26 (1.3e2 bits), so that no slow hash is wanted.
func hashOf(secret string) []byte {
	sum := sha256.Sum256([]byte(strings.ToUpper(strings.ReplaceAll(strings.TrimSpace(secret), "-", ""))))
	return sum[:]
}

func grouped(text string, n int) string {
	var parts []string
	for len(text) > n {
		parts, text = append(parts, text[:n]), text[n:]
	}
	return strings.Join(append(parts, text), "-")
}

func isTaken(err error) bool {
	p := (*pgconn.PgError)(nil)
	return errors.As(err, &p) && p.Code == "23505" // unique_violation
}

// Code makes a code by which one board joins as a new cabinet, or with again as one that is
// known and whose key then ends.
func (s *Store) Code(ctx context.Context, name, world string, again bool) (string, error) {
	name = strings.TrimSpace(plain(name))
	if name == "" || len(name) > 60 || strings.ContainsAny(name, "/\n") {
		return "", Wrong("a cabinet needs a name of 1 to 60 bytes, without a slash")
	}
	if world != "real" && world != "simulated" {
		return "", Wrong(fmt.Sprintf("%q is no world; say real or simulated", world))
	}
	var is *string
	if err := s.pool.QueryRow(ctx, "SELECT (SELECT world FROM cabinet WHERE name = $1)", name).Scan(&is); err != nil {
		return "", err
	}
	switch {
	case again && is == nil:
		return "", fmt.Errorf("cabinet %s: %w", name, ErrNone)
	case again:
		world = *is
	case is != nil:
		return "", fmt.Errorf("cabinet %s: %w; a board that was changed joins with --again", name, ErrTaken)
	}
	code := access.Drawn(12)
	_, err := s.pool.Exec(ctx, "INSERT INTO code VALUES ($1, $2, $3, $4, $5)", hashOf(code), name, world, again, s.now().Add(CodeLasts).UTC())
	return grouped(code, 4), err
}

// Join gives a key for a code, once.
func (s *Store) Join(ctx context.Context, code string) (name, world, key string, err error) {
	key = access.Drawn(26)
	err = pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "DELETE FROM code WHERE until < $1", s.now().UTC()); err != nil {
			return err
		}
		again := false
		if err := tx.QueryRow(ctx, "DELETE FROM code WHERE hash = $1 RETURNING name, world, again", hashOf(code)).Scan(&name, &world, &again); err != nil {
			return none(err, ErrCode)
		}
		query := "INSERT INTO cabinet (name, world, key) VALUES ($1, $2, $3)"
		if again {
			query = "UPDATE cabinet SET key = $3 WHERE name = $1 AND world = $2"
		}
		_, err := tx.Exec(ctx, query, name, world, hashOf(key))
		return err
	})
	if isTaken(err) {
		err = ErrCode
	}
	return name, world, key, err
}

// Known finds the cabinet of a key.
func (s *Store) Known(ctx context.Context, key string) (id int, name string, err error) {
	err = s.pool.QueryRow(ctx, "SELECT id, name FROM cabinet WHERE key = $1", hashOf(key)).Scan(&id, &name)
	return id, name, none(err, ErrKey)
}

// Revoke ends a cabinet's key. Its records stay.
func (s *Store) Revoke(ctx context.Context, name string) error {
	return s.one(ctx, "UPDATE cabinet SET key = NULL WHERE name = $1", name)
}

// Admit lets one batch of a cabinet through that does not follow what is kept.
func (s *Store) Admit(ctx context.Context, name string) error {
	return s.one(ctx, "UPDATE cabinet SET anew = true WHERE name = $1", name)
}

func (s *Store) one(ctx context.Context, query, name string) error {
	tag, err := s.pool.Exec(ctx, query, plain(name))
	if err == nil && tag.RowsAffected() == 0 {
		err = fmt.Errorf("%s: %w", name, ErrNone)
	}
	return err
}

// A Person may use the pages.
type Person struct {
	Name, Role string
	Made       time.Time
}

// May reports whether a person may do what the role may.
func (p *Person) May(role string) bool {
	if p == nil {
		return false
	}
	for _, r := range Roles {
		if r == role {
			return true
		}
		if r == p.Role {
			return false
		}
	}
	return false
}

// AddPerson gives a new person the word to come in with. It is told once.
func (s *Store) AddPerson(ctx context.Context, name, role string) (word string, err error) {
	if name = strings.TrimSpace(plain(name)); name == "" || len(name) > 60 {
		return "", Wrong("a person needs a name of 1 to 60 bytes")
	}
	if role != Look && role != Note && role != Administer {
		return "", Wrong(fmt.Sprintf("%q is no role; it is one of %s", role, strings.Join(Roles, ", ")))
	}
	word = access.Drawn(26)
	_, err = s.pool.Exec(ctx, "INSERT INTO person (name, role, hash) VALUES ($1, $2, $3)", name, role, hashOf(word))
	if isTaken(err) {
		err = fmt.Errorf("person %s: %w", name, ErrTaken)
	}
	return grouped(word, 5), err
}

// RemovePerson ends a person's sessions, too.
func (s *Store) RemovePerson(ctx context.Context, name string) error {
	return s.one(ctx, "DELETE FROM person WHERE name = $1", name)
}

// People gives all of them by name.
func (s *Store) People(ctx context.Context) ([]Person, error) {
	rows, _ := s.pool.Query(ctx, "SELECT name, role, made FROM person ORDER BY name")
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Person])
}

// Enter begins a session for a person's word.
func (s *Store) Enter(ctx context.Context, word string) (secret string, err error) {
	name := ""
	if err := s.pool.QueryRow(ctx, "SELECT name FROM person WHERE hash = $1", hashOf(word)).Scan(&name); err != nil {
		return "", none(err, ErrNone)
	}
	secret = access.Drawn(26)
	_, err = s.pool.Exec(ctx, "WITH old AS (DELETE FROM session WHERE until < $3) INSERT INTO session SELECT $1, $2, $4", hashOf(secret), name, s.now().UTC(), s.now().Add(SessionLasts).UTC())
	return secret, err
}

// Leave ends a session.
func (s *Store) Leave(ctx context.Context, secret string) error {
	_, err := s.pool.Exec(ctx, "DELETE FROM session WHERE hash = $1", hashOf(secret))
	return err
}

// Who finds the person of a session.
func (s *Store) Who(ctx context.Context, secret string) (*Person, error) {
	rows, _ := s.pool.Query(ctx, "SELECT p.name, p.role, p.made FROM session s JOIN person p ON p.name = s.person WHERE s.hash = $1 AND s.until > $2", hashOf(secret), s.now().UTC())
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Person])
	return &p, none(err, ErrNone)
}

// A Remark is what a person wrote here of a batch.
type Remark struct {
	Who, Text string
	At        time.Time
}

// Remark keeps one.
func (s *Store) Remark(ctx context.Context, batch int64, who, text string) error {
	if text = strings.TrimSpace(plain(text)); text == "" || len(text) > 2000 {
		return Wrong("write 1 to 2000 bytes")
	}
	_, err := s.pool.Exec(ctx, "INSERT INTO remark (batch, who, text) VALUES ($1, $2, $3)", batch, plain(who), text)
	return err
}

// Remarks gives those of a batch, oldest first.
func (s *Store) Remarks(ctx context.Context, batch int64) ([]Remark, error) {
	rows, _ := s.pool.Query(ctx, "SELECT who, text, at FROM remark WHERE batch = $1 ORDER BY id", batch)
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Remark])
}

// Worded finds the person of a word.
func (s *Store) Worded(ctx context.Context, word string) (*Person, error) {
	rows, _ := s.pool.Query(ctx, "SELECT name, role, made FROM person WHERE hash = $1", hashOf(word))
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Person])
	return &p, none(err, ErrNone)
}
