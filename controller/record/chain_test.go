package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rowsOf is what the canonical encoding of FORMAT.md gives for a row, written out by
// hand.
func TestCanonicalEncoding(t *testing.T) {
	var written bytes.Buffer
	r := newRow(noteTable, "batch", 1, "link", 2, "row", 0, "wall", "now", "text", "hé")
	r.canonical(recorded{&written})
	assert.Equal(t, "\x04note"+
		"\x05batch\x01\x00\x00\x00\x00\x00\x00\x00\x01"+
		"\x04link\x01\x00\x00\x00\x00\x00\x00\x00\x02"+
		"\x03row\x01\x00\x00\x00\x00\x00\x00\x00\x00"+
		"\x04wall\x03\x00\x00\x00\x00\x00\x00\x00\x03now"+
		"\x04text\x03\x00\x00\x00\x00\x00\x00\x00\x03h\xc3\xa9"+
		"\x00\x00", written.String())
	written.Reset()
	r = newRow(linkTable, "batch", -1, "elapsed_seconds", 1.5, "data", []byte{7}, "state_hash", []byte{}, "hash", []byte{9})
	r.canonical(recorded{&written})
	assert.Equal(t, "\x04link"+
		"\x05batch\x01\xff\xff\xff\xff\xff\xff\xff\xff"+
		"\x0felapsed_seconds\x02\x3f\xf8\x00\x00\x00\x00\x00\x00"+
		"\x04data\x04\x00\x00\x00\x00\x00\x00\x00\x01\x07"+
		"\x00\x00", written.String())
}

// recorded is a hash that keeps what it is given.
type recorded struct{ *bytes.Buffer }

func (r recorded) Sum(b []byte) []byte { return b }
func (r recorded) Size() int           { return 0 }
func (r recorded) BlockSize() int      { return 1 }

// sha256 against the examples of FIPS 180-4 as published by NIST (Cryptographic
// Standards and Guidelines, Example Values, SHA256.pdf): "abc".
func TestChainIsSHA256(t *testing.T) {
	assert.Equal(t, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", chain([]byte("abc"), nil).String())
	assert.Len(t, Hash{}, sha256.Size)
}

// chained records two batches with everything in them and returns the file and the
// id of the second.
func chained(t testing.TB) (file, id string) {
	ctx := context.Background()
	dir := t.TempDir()
	r := open(t, options(dir))
	newTrial(t, r).begin().finish()
	b := newTrial(t, r).begin().run(60)
	shut(t, r)
	r = open(t, options(dir))
	u, err := r.Unfinished(ctx, b.moment())
	require.NoError(t, err)
	r.Resume(u, u.State)
	b.r = r
	b.finish()
	drain(r)
	require.NoError(t, r.AddNote(ctx, b.moment(), b.id, Note{Who: "Ada", Text: "good", Photo: "a.jpg", Mark: "5/5"}))
	shut(t, r)
	return filepath.Join(dir, "batches.db"), b.id
}

func tamper(t testing.TB, file string, statements ...string) {
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer db.Close()
	for _, table := range append([]*table{batchTable, linkTable}, linked...) {
		for _, trigger := range []string{"stays", "remains"} {
			_, err := db.Exec("DROP TRIGGER IF EXISTS " + table.name + "_" + trigger)
			require.NoError(t, err)
		}
	}
	for _, s := range statements {
		result, err := db.Exec(s)
		require.NoError(t, err, s)
		n, err := result.RowsAffected()
		require.NoError(t, err)
		require.NotZero(t, n, s)
	}
}

// Every column of every table, changed in one row, breaks the chain at that row's
// link.
func TestEveryChangeShows(t *testing.T) {
	ctx := context.Background()
	file, id := chained(t)
	r, err := OpenReader(file)
	require.NoError(t, err)
	requireSound(t, r, id)
	require.NoError(t, r.Close())
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	defer db.Close()
	tamper(t, file, "UPDATE batch SET pace = pace") // takes the triggers away
	check := func(name, statement string, link int64) {
		_, err := db.Exec("SAVEPOINT s")
		require.NoError(t, err)
		result, err := db.Exec(statement)
		require.NoError(t, err, statement)
		n, err := result.RowsAffected()
		require.NoError(t, err)
		require.NotZero(t, n, statement)
		header, err := query(ctx, db, batchTable, "id = ?", id)
		require.NoError(t, err)
		if len(header) == 1 {
			v, err := verify(ctx, db, header[0])
			require.NoError(t, err)
			assert.False(t, v.Whole, name)
			if link >= 0 {
				assert.Equal(t, link, v.Broken, name+": "+v.Why)
			}
			assert.NotEmpty(t, v.Why)
		}
		_, err = db.Exec("ROLLBACK TO s")
		require.NoError(t, err)
		_, err = db.Exec("RELEASE s")
		require.NoError(t, err)
	}
	for _, table := range append([]*table{batchTable, linkTable}, linked...) {
		where, link := "batch = 2", "link"
		switch table {
		case batchTable:
			where, link = "number = 2", "0"
		case linkTable:
			link = "number"
		}
		var key string
		var broken int64
		last := "row"
		if table.key < 3 {
			last = "number"
		}
		require.NoError(t, db.QueryRow(fmt.Sprintf("SELECT %s, %s FROM %s WHERE %s ORDER BY 2 DESC LIMIT 1", last, link, table.name, where)).Scan(&key, &broken))
		if table != batchTable {
			where = fmt.Sprintf("%s AND %s = %d AND %s = %s", where, link, broken, last, key)
		}
		for _, c := range table.columns {
			if c.name == "batch" || table == batchTable && (c.name == "number" || c.name == "id") {
				continue
			}
			value := c.name + " || 'x'"
			switch strings.Fields(c.declared)[0] {
			case "INTEGER":
				value = c.name + " + 1000"
			case "REAL":
				value = c.name + " + 0.001"
			case "BLOB":
				value = "CAST(" + c.name + " || x'00' AS BLOB)"
			}
			at := broken
			if c.name == "link" || table == linkTable && c.name == "number" {
				at = -1 // broken where it was, or where it is now
			}
			var null bool
			require.NoError(t, db.QueryRow(fmt.Sprintf("SELECT %s IS NULL FROM %s WHERE %s", c.name, table.name, where)).Scan(&null))
			if null {
				value = "1"
			}
			check(table.name+"."+c.name, fmt.Sprintf("UPDATE %s SET %s = %s WHERE %s", table.name, c.name, value, where), at)
		}
		if table != batchTable {
			at := broken
			if table == linkTable {
				at = -1 // the last link takes its rows along or leaves them without one
			}
			check("a row of "+table.name+" taken out", fmt.Sprintf("DELETE FROM %s WHERE %s", table.name, where), at)
		}
	}
	check("a link in the middle taken out", "DELETE FROM link WHERE batch = 2 AND number = 4", 4)
	check("the batch before taken out", "DELETE FROM batch WHERE number = 1", 0)
	check("the batch before rewritten", "UPDATE link SET hash = x'00' WHERE batch = 1", 0)
	check("an event put in", "INSERT INTO event SELECT batch, link, row + 1000, step, wall, elapsed_seconds, kind, stage, alarm, priority, text FROM event WHERE batch = 2 AND link = 1 AND row = 0", 1)
	check("an event of no link put in", "INSERT INTO event SELECT batch, 100000, row, step, wall, elapsed_seconds, kind, stage, alarm, priority, text FROM event WHERE batch = 2 AND link = 1 AND row = 0", 100000)
}

// What the chain cannot show: its owner cuts the end off, or writes all of it anew.
// A head that was kept elsewhere does.
func TestChainDoesNotShowAMissingEnd(t *testing.T) {
	ctx := context.Background()
	file, id := chained(t)
	r, err := OpenReader(file)
	require.NoError(t, err)
	before, err := r.Verify(ctx, id)
	require.NoError(t, err)
	require.NoError(t, r.Close())
	tamper(t, file, "DELETE FROM note WHERE batch = 2",
		fmt.Sprintf("DELETE FROM link WHERE batch = 2 AND number = %d", before.Links))
	r, err = OpenReader(file)
	require.NoError(t, err)
	defer r.Close()
	after, err := r.Verify(ctx, id)
	require.NoError(t, err)
	assert.True(t, after.Whole)
	assert.NotEqual(t, before.Head, after.Head)
}
