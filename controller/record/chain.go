package record

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"
)

// A table of the file. Its first columns, as many as key says, are its primary key
// and its order. Columns may be added at the end in later versions; a column that
// is empty is not hashed, so that old rows keep their hash.
type table struct {
	name    string
	key     int
	columns []column
}

// A column with its declaration. The hash itself is not hashed.
type column struct {
	name, declared string
	hash           bool
}

// The tables of format 1. FORMAT.md says what stands in them.
var (
	batchTable = &table{"batch", 1, []column{
		{name: "number", declared: "INTEGER"},
		{name: "id", declared: "TEXT NOT NULL UNIQUE"},
		{name: "world", declared: "TEXT NOT NULL"},
		{name: "started", declared: "TEXT NOT NULL"},
		{name: "clock_set", declared: "INTEGER NOT NULL"},
		{name: "boot", declared: "TEXT"},
		{name: "program", declared: "TEXT NOT NULL"},
		{name: "pace", declared: "REAL NOT NULL"},
		{name: "product", declared: "TEXT NOT NULL"},
		{name: "product_name", declared: "TEXT NOT NULL"},
		{name: "product_file", declared: "BLOB NOT NULL"},
		{name: "cabinet", declared: "TEXT NOT NULL"},
		{name: "cabinet_name", declared: "TEXT NOT NULL"},
		{name: "cabinet_file", declared: "BLOB NOT NULL"},
		{name: "layout", declared: "TEXT NOT NULL"},
		{name: "state", declared: "TEXT NOT NULL"},
		{name: "previous", declared: "TEXT"},
		{name: "previous_hash", declared: "BLOB"},
		{name: "hash", declared: "BLOB NOT NULL", hash: true},
	}}
	linkTable = &table{"link", 2, []column{
		{name: "batch", declared: "INTEGER"},
		{name: "number", declared: "INTEGER"},
		{name: "wall", declared: "TEXT NOT NULL"},
		{name: "clock_set", declared: "INTEGER NOT NULL"},
		{name: "uptime_seconds", declared: "REAL"},
		{name: "first_step", declared: "INTEGER"},
		{name: "steps", declared: "INTEGER NOT NULL"},
		{name: "elapsed_seconds", declared: "REAL"},
		{name: "batch_state", declared: "TEXT"},
		{name: "stage", declared: "TEXT"},
		{name: "chamber_celsius", declared: "REAL"},
		{name: "setpoint_celsius", declared: "REAL"},
		{name: "core_celsius", declared: "REAL"},
		{name: "heater_duty", declared: "REAL"},
		{name: "data", declared: "BLOB"},
		{name: "state_hash", declared: "BLOB"},
		{name: "hash", declared: "BLOB NOT NULL", hash: true},
	}}
	gapTable = &table{"gap", 3, []column{
		{name: "batch", declared: "INTEGER"},
		{name: "link", declared: "INTEGER"},
		{name: "row", declared: "INTEGER"},
		{name: "why", declared: "TEXT NOT NULL"},
		{name: "first_step", declared: "INTEGER NOT NULL"},
		{name: "steps", declared: "INTEGER"},
		{name: "from_elapsed_seconds", declared: "REAL"},
		{name: "seconds", declared: "REAL"},
		{name: "seconds_known", declared: "INTEGER NOT NULL"},
		{name: "boot", declared: "TEXT"},
		{name: "program", declared: "TEXT NOT NULL"},
		{name: "layout", declared: "TEXT NOT NULL"},
		{name: "state", declared: "TEXT NOT NULL"},
	}}
	eventTable = &table{"event", 3, []column{
		{name: "batch", declared: "INTEGER"},
		{name: "link", declared: "INTEGER"},
		{name: "row", declared: "INTEGER"},
		{name: "step", declared: "INTEGER NOT NULL"},
		{name: "wall", declared: "TEXT NOT NULL"},
		{name: "elapsed_seconds", declared: "REAL NOT NULL"},
		{name: "kind", declared: "TEXT NOT NULL"},
		{name: "stage", declared: "TEXT"},
		{name: "alarm", declared: "TEXT"},
		{name: "priority", declared: "TEXT"},
		{name: "text", declared: "TEXT NOT NULL"},
	}}
	commandTable = &table{"command", 3, []column{
		{name: "batch", declared: "INTEGER"},
		{name: "link", declared: "INTEGER"},
		{name: "row", declared: "INTEGER"},
		{name: "step", declared: "INTEGER NOT NULL"},
		{name: "wall", declared: "TEXT NOT NULL"},
		{name: "elapsed_seconds", declared: "REAL NOT NULL"},
		{name: "command", declared: "TEXT NOT NULL"},
		{name: "alarm", declared: "TEXT"},
		{name: "who", declared: "TEXT"},
		{name: "reason", declared: "TEXT"},
		{name: "refused", declared: "TEXT"},
	}}
	noteTable = &table{"note", 3, []column{
		{name: "batch", declared: "INTEGER"},
		{name: "link", declared: "INTEGER"},
		{name: "row", declared: "INTEGER"},
		{name: "wall", declared: "TEXT NOT NULL"},
		{name: "who", declared: "TEXT"},
		{name: "text", declared: "TEXT"},
		{name: "photo", declared: "TEXT"},
		{name: "mark", declared: "TEXT"},
		{name: "entry", declared: "TEXT"}, // from here on NULL in a note, and in all of programs before 0.4.0
		{name: "subject", declared: "TEXT"},
		{name: "number", declared: "INTEGER"},
		{name: "value", declared: "REAL"},
		{name: "lot", declared: "TEXT"},
	}}
	endingTable = &table{"ending", 3, []column{
		{name: "batch", declared: "INTEGER"},
		{name: "link", declared: "INTEGER"},
		{name: "row", declared: "INTEGER"},
		{name: "wall", declared: "TEXT NOT NULL"},
		{name: "elapsed_seconds", declared: "REAL"},
		{name: "state", declared: "TEXT NOT NULL"},
		{name: "why", declared: "TEXT"},
	}}
	// linked are the tables whose rows belong to a link, in the order of hashing.
	linked = []*table{gapTable, eventTable, commandTable, noteTable, endingTable}
)

// create is the SQL that makes the table and forbids changing its rows. The
// triggers stop a slip of the hand in a database browser; they prove nothing.
func (t *table) create() []string {
	var names, columns []string
	for i, c := range t.columns {
		columns = append(columns, c.name+" "+c.declared)
		if i < t.key {
			names = append(names, c.name)
		}
	}
	options := ""
	if t.key > 1 { // otherwise a rowid, which the key then is
		options = " WITHOUT ROWID"
	}
	return []string{
		fmt.Sprintf("CREATE TABLE %s (%s, PRIMARY KEY (%s))%s", t.name, strings.Join(columns, ", "), strings.Join(names, ", "), options),
		fmt.Sprintf("CREATE TRIGGER %[1]s_stays BEFORE UPDATE ON %[1]s BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END", t.name),
		fmt.Sprintf("CREATE TRIGGER %[1]s_remains BEFORE DELETE ON %[1]s BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END", t.name),
	}
}

func (t *table) insert() string {
	return fmt.Sprintf("INSERT INTO %s (%s) VALUES (?%s)", t.name, t.names(), strings.Repeat(",?", len(t.columns)-1))
}

func (t *table) names() string {
	var names []string
	for _, c := range t.columns {
		names = append(names, c.name)
	}
	return strings.Join(names, ", ")
}

// namesIn has NULL for the columns that may be NULL and that a file does not have yet.
func (t *table) namesIn(have map[string]bool) string {
	only := map[string]bool{}
	for _, c := range t.columns {
		only[c.name] = have[c.name] || strings.Contains(c.declared, "NOT NULL")
	}
	return t.light(only)
}

// light has NULL for all columns but some.
func (t *table) light(only map[string]bool) string {
	var names []string
	for _, c := range t.columns {
		name := c.name
		if !only[name] {
			name = "NULL AS " + name
		}
		names = append(names, name)
	}
	return strings.Join(names, ", ")
}

func (t *table) index(name string) int {
	for i, c := range t.columns {
		if c.name == name {
			return i
		}
	}
	panic("record: table " + t.name + " has no column " + name)
}

// A row of a table. A value is nil, int64, float64, string or []byte.
type row struct {
	table  *table
	values []any
}

// newRow makes a row of pairs of column name and value.
func newRow(t *table, pairs ...any) row {
	r := row{table: t, values: make([]any, len(t.columns))}
	for i := 0; i < len(pairs); i += 2 {
		r.set(pairs[i].(string), pairs[i+1])
	}
	return r
}

func (r row) set(name string, value any) {
	switch v := value.(type) {
	case nil, int64, string:
	case []byte:
		if len(v) == 0 {
			value = nil
		}
	case float64:
		switch { // what the file would make of it
		case math.IsNaN(v):
			value = nil
		case v == 0:
			value = 0.0
		}
	case int:
		value = int64(v)
	case bool:
		value = int64(0)
		if v {
			value = int64(1)
		}
	default:
		panic(fmt.Sprintf("record: a %T for column %s of %s", value, name, r.table.name))
	}
	r.values[r.table.index(name)] = value
}

// The readers of a row give zero for a value that is missing or of another type:
// only a damaged row has one.
func (r row) text(name string) string {
	v, _ := r.values[r.table.index(name)].(string)
	return v
}

func (r row) int(name string) int64 {
	v, _ := r.values[r.table.index(name)].(int64)
	return v
}

func (r row) float(name string) (float64, bool) {
	v, ok := r.values[r.table.index(name)].(float64)
	return v, ok
}

func (r row) blob(name string) []byte {
	v, _ := r.values[r.table.index(name)].([]byte)
	return v
}

// A Hash is the SHA-256 of a link and of everything before it.
type Hash [sha256.Size]byte

func (h Hash) String() string { return fmt.Sprintf("%x", h[:]) }

// genesis is what the chain of every batch begins with.
const genesis = "fumarium batch record 1\n"

// Type tags of the canonical encoding.
const (
	tagEnd byte = iota
	tagInteger
	tagReal
	tagText
	tagBlob
)

// canonical writes the row for hashing: the table's name, then for every column
// that is not NULL its name, the type of its value and the value, in the order of
// the table, then an end. Lengths stand before names, texts and blobs, so that no
// two rows share an encoding.
func (r row) canonical(h io.Writer) {
	short := func(s string) {
		h.Write([]byte{byte(len(s))})
		h.Write([]byte(s))
	}
	var number [9]byte
	word := func(tag byte, v uint64) {
		number[0] = tag
		binary.BigEndian.PutUint64(number[1:], v)
		h.Write(number[:])
	}
	short(r.table.name)
	for i, c := range r.table.columns {
		if c.hash || r.values[i] == nil {
			continue
		}
		short(c.name)
		switch v := r.values[i].(type) {
		case int64:
			word(tagInteger, uint64(v))
		case float64:
			word(tagReal, math.Float64bits(v))
		case string:
			word(tagText, uint64(len(v)))
			h.Write([]byte(v))
		case []byte:
			word(tagBlob, uint64(len(v)))
			h.Write(v)
		}
	}
	short("")
	h.Write([]byte{tagEnd})
}

// chain hashes rows behind before.
func chain(before []byte, rows []row) Hash {
	h := sha256.New()
	h.Write(before)
	for _, r := range rows {
		r.canonical(h)
	}
	var sum Hash
	h.Sum(sum[:0])
	return sum
}
