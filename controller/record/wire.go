package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"unicode/utf8"
)

// A Link is one link of a chain, or with number 0 the header, as it travels: Rows are the
// bytes that its hash is over, so whoever gets it can check it without this program's
// tables. FORMAT.md describes them.
type Link struct {
	Batch  string // its id
	Number int64
	Hash   Hash
	Rows   []byte
}

// Follows reports whether the link is whole behind the one of that hash. The header is
// behind none.
func (l *Link) Follows(before *Hash) bool {
	h := sha256.New()
	if before == nil {
		h.Write([]byte(genesis))
	} else {
		h.Write(before[:])
	}
	h.Write(l.Rows)
	return bytes.Equal(h.Sum(nil), l.Hash[:])
}

// A Head is the end of a batch's chain: how many links there are, the header counted, and
// the hash of the last.
type Head struct {
	Batch string
	Links int64
	Hash  Hash
}

// MostLink bounds the rows of one link in bytes: a header holds two files. Common practice,
// no source.
const MostLink = 4 << 20

// wireMagic begins what travels.
const wireMagic = "fumarium links 1\n"

// WriteLinks writes links as they travel.
func WriteLinks(w io.Writer, links []Link) error {
	b := []byte(wireMagic)
	for i := range links {
		l := &links[i]
		if len(l.Batch) > math.MaxUint8 || len(l.Rows) > MostLink {
			return fmt.Errorf("record: link %d of batch %s is too long to travel", l.Number, l.Batch)
		}
		b = append(append(b, byte(len(l.Batch))), l.Batch...)
		b = binary.BigEndian.AppendUint64(b, uint64(l.Number))
		b = append(b, l.Hash[:]...)
		b = append(binary.BigEndian.AppendUint32(b, uint32(len(l.Rows))), l.Rows...)
		if _, err := w.Write(b); err != nil {
			return err
		}
		b = b[:0]
	}
	_, err := w.Write(b)
	return err
}

// ErrTorn is the error of links that ended in the middle.
var ErrTorn = errors.New("it ends in the middle")

// ReadLinks reads all links up to the end. What ends in the middle gives none.
func ReadLinks(data []byte) (links []Link, err error) {
	rest, ok := bytes.CutPrefix(data, []byte(wireMagic))
	if !ok {
		return nil, errors.New("it does not begin as links do, or is of another version; use the newer program on both sides")
	}
	take := func(n int) (part []byte) {
		if n > len(rest) {
			err = ErrTorn
			return make([]byte, min(n, sha256.Size))
		}
		part, rest = rest[:n:n], rest[n:]
		return part
	}
	for len(rest) > 0 && err == nil {
		var l Link
		l.Batch = string(take(int(take(1)[0])))
		l.Number = int64(binary.BigEndian.Uint64(take(8)))
		copy(l.Hash[:], take(sha256.Size))
		n := binary.BigEndian.Uint32(take(4))
		if n > MostLink {
			return nil, fmt.Errorf("a link of %d bytes is longer than %d", n, MostLink)
		}
		l.Rows = take(int(n))
		if l.Number < 0 || !utf8.ValidString(l.Batch) {
			return nil, errors.New("a link has no number or no batch that can be")
		}
		links = append(links, l)
	}
	if err != nil {
		return nil, err
	}
	return links, nil
}

// Heads gives the ends of all chains, oldest batch first. It looks at one link a batch.
func (r *Reader) Heads(ctx context.Context) (all []Head, err error) {
	err = r.reading(ctx, func(q querier) error {
		rows, err := q.QueryContext(ctx, `SELECT b.id, b.hash, l.number, l.hash FROM batch b LEFT JOIN link l
			ON l.batch = b.number AND l.number = (SELECT max(number) FROM link WHERE batch = b.number) ORDER BY b.number`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			h := Head{Links: 1}
			var header, last []byte
			var number *int64
			if err := rows.Scan(&h.Batch, &header, &number, &last); err != nil {
				return err
			}
			copy(h.Hash[:], header)
			if number != nil {
				h.Links = *number + 1
				copy(h.Hash[:], last)
			}
			all = append(all, h)
		}
		return rows.Err()
	})
	return all, err
}

// HashOf gives the hash that a link of a batch has on record, that of the header by 0.
func (r *Reader) HashOf(ctx context.Context, id string, number int64) (h Hash, found bool, err error) {
	err = r.reading(ctx, func(q querier) error {
		rows, err := query(ctx, q, batchTable, "id = ?", id)
		if err != nil || len(rows) == 0 {
			return err
		}
		if number > 0 {
			if rows, err = query(ctx, q, linkTable, "batch = ? AND number = ?", rows[0].int("number"), number); err != nil || len(rows) == 0 {
				return err
			}
		}
		found = copy(h[:], rows[0].blob("hash")) == len(h)
		return nil
	})
	return h, found, err
}

// LinksFrom gives links of a batch as they travel, from that number on: at least one where
// there is one, and others while all of them stay below most bytes.
func (r *Reader) LinksFrom(ctx context.Context, id string, number int64, most int) (links []Link, err error) {
	err = r.reading(ctx, func(q querier) error {
		header, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		add := func(n int64, rows []row) bool {
			l := Link{Batch: header.text("id"), Number: n, Rows: canonicalOf(rows)}
			copy(l.Hash[:], rows[0].blob("hash"))
			most -= len(l.Rows)
			if len(links) > 0 && most < 0 {
				return false
			}
			links = append(links, l)
			return most > 0
		}
		if number == 0 && !add(0, []row{header}) {
			return nil
		}
		errEnough := errors.New("enough")
		err = each(ctx, q, linkTable, "batch = ? AND number >= ?", []any{header.int("number"), max(number, 1)}, func(link row) error {
			rows := []row{link}
			for _, t := range linked {
				more, err := query(ctx, q, t, "batch = ? AND link = ?", header.int("number"), link.int("number"))
				if err != nil {
					return err
				}
				rows = append(rows, more...)
			}
			if !add(link.int("number"), rows) {
				return errEnough
			}
			return nil
		})
		if errors.Is(err, errEnough) {
			err = nil
		}
		return err
	})
	return links, err
}

func canonicalOf(rows []row) []byte {
	var b bytes.Buffer
	for _, r := range rows {
		r.canonical(&b)
	}
	return b.Bytes()
}

// ErrNewColumn is the error of a row with a column that this program does not know.
var ErrNewColumn = fmt.Errorf("it has a column that this program does not know: %w", ErrNewer)

// rowsOf reads canonical bytes back. What it gives has exactly those bytes.
func rowsOf(data []byte) (rows []row, err error) {
	rest, unknown := data, error(nil)
	errForm := errors.New("its rows are not in the form that is hashed")
	take := func(n uint64) (part []byte) {
		if n > uint64(len(rest)) {
			err = errForm
			return make([]byte, min(n, 8))
		}
		part, rest = rest[:n:n], rest[n:]
		return part
	}
	name := func() string { return string(take(uint64(take(1)[0]))) }
	for len(rest) > 0 && err == nil {
		title := name()
		i := slices.IndexFunc(append([]*table{batchTable, linkTable}, linked...), func(t *table) bool { return t.name == title })
		if i < 0 {
			return nil, errForm
		}
		r := newRow(append([]*table{batchTable, linkTable}, linked...)[i])
		for err == nil {
			named := name()
			tag := take(1)[0]
			if named == "" {
				if tag != tagEnd {
					err = errForm
				}
				break
			}
			word := binary.BigEndian.Uint64(take(8))
			var v any
			switch tag {
			case tagInteger:
				v = int64(word)
			case tagReal:
				v = math.Float64frombits(word)
			case tagText:
				v = string(take(word))
			case tagBlob:
				v = take(word)
			default:
				err = errForm
			}
			at := slices.IndexFunc(r.table.columns, func(c column) bool { return c.name == named && !c.hash })
			if at < 0 {
				unknown = ErrNewColumn
				continue
			}
			r.values[at] = v
		}
		rows = append(rows, r)
	}
	switch {
	case err != nil:
		return nil, err
	case unknown != nil:
		return nil, unknown
	case !bytes.Equal(canonicalOf(rows), data): // an order, a column twice
		return nil, errForm
	}
	return rows, nil
}

// ParseHash reads a hash as it is printed.
func ParseHash(text string) (h Hash, err error) {
	data, err := hex.DecodeString(text)
	if err != nil || len(data) != len(h) {
		return h, fmt.Errorf("record: %q is no hash of %d hex digits", text, 2*len(h))
	}
	return Hash(data), nil
}
