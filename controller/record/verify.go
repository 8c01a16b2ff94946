package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
)

// A Verdict says whether the chain of a batch holds.
type Verdict struct {
	Whole bool
	Links int64 // that hold, counted from the start
	Head  Hash  // of the last link that holds
	// Broken is the first link that does not hold; 0 is the header. It means nothing
	// while Whole.
	Broken int64
	Why    string
}

func (v Verdict) String() string {
	if v.Whole {
		return fmt.Sprintf("whole: %d links, head %s", v.Links, v.Head)
	}
	return fmt.Sprintf("broken at link %d: %s", v.Broken, v.Why)
}

// Verify computes the chain of a batch anew and names the first link that does not
// hold. A file that cannot be read there counts as broken. FORMAT.md says what a
// chain that holds proves, and what it does not: compare Head with one that was
// kept elsewhere.
func (r *Reader) Verify(ctx context.Context, id string) (Verdict, error) {
	var v Verdict
	err := r.reading(ctx, func(q querier) error {
		header, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		v, err = verify(ctx, q, header)
		if err != nil && isDamaged(err) {
			v.Whole, v.Why, err = false, "it cannot be read: "+err.Error(), nil
		}
		return err
	})
	return v, err
}

func verify(ctx context.Context, q querier, header row) (Verdict, error) {
	v, err := newVerifier(ctx, q, header)
	if err != nil || v.verdict.Why != "" {
		return v.verdict, err
	}
	err = each(ctx, q, linkTable, "batch = ?", []any{header.int("number")}, v.link)
	if errors.Is(err, errBroken) {
		return v.verdict, nil
	}
	if err == nil {
		v.end()
	}
	return v.verdict, err
}

var errBroken = errors.New("broken")

// A verifier follows a chain link by link.
type verifier struct {
	verdict   Verdict
	belonging map[int64][]row
	rows      map[*table][]row
}

// newVerifier checks the header and reads what belongs to the links.
func newVerifier(ctx context.Context, q querier, header row) (*verifier, error) {
	v := &verifier{belonging: map[int64][]row{}, rows: map[*table][]row{}}
	sum := chain([]byte(genesis), []row{header})
	if !bytes.Equal(header.blob("hash"), sum[:]) {
		v.verdict.Why = "the header was changed"
		return v, nil
	}
	v.verdict.Head = sum
	if why, err := follows(ctx, q, header); why != "" || err != nil {
		v.verdict.Why = why
		return v, err
	}
	v.verdict.Broken = 1
	for _, t := range linked {
		rows, err := query(ctx, q, t, "batch = ?", header.int("number"))
		if err != nil {
			return v, err
		}
		v.rows[t] = rows
		for _, row := range rows {
			link := row.int("link")
			v.belonging[link] = append(v.belonging[link], row)
		}
	}
	return v, nil
}

// all are the rows of a table that belong to the batch.
func (v *verifier) all(t *table) []row { return v.rows[t] }

func (v *verifier) link(link row) error {
	n := link.int("number")
	if v.verdict.Why != "" {
		return errBroken
	}
	if n != v.verdict.Broken {
		v.verdict.Why = fmt.Sprintf("it is missing; the next is link %d", n)
		return errBroken
	}
	sum := chain(v.verdict.Head[:], append([]row{link}, v.belonging[n]...))
	if !bytes.Equal(link.blob("hash"), sum[:]) {
		v.verdict.Why = "it, or a row that belongs to it, was changed, taken out or put in"
		return errBroken
	}
	delete(v.belonging, n)
	v.verdict.Head, v.verdict.Links, v.verdict.Broken = sum, n, n+1
	return nil
}

// end says that there is no more link.
func (v *verifier) end() {
	if v.verdict.Why != "" {
		return
	}
	for n, rows := range v.belonging {
		v.verdict.Broken, v.verdict.Why = n, fmt.Sprintf("rows of the table %s name it and it does not exist", rows[0].table.name)
		return
	}
	v.verdict.Whole, v.verdict.Broken = true, 0
}

// follows reports why a batch does not follow the batch that its header names as the
// one before it.
func follows(ctx context.Context, q querier, header row) (why string, err error) {
	previous := header.text("previous")
	if previous == "" {
		return "", nil
	}
	rows, err := query(ctx, q, batchTable, "id = ?", previous)
	if err != nil {
		return "", err
	}
	hash := header.blob("previous_hash")
	if len(rows) == 0 && isExtract(ctx, q) {
		return "", nil // it holds some batches only, and says which
	}
	if len(rows) == 0 || rows[0].int("number") != header.int("number")-1 {
		return fmt.Sprintf("the batch before it, %s, was taken out", previous), nil
	}
	if bytes.Equal(rows[0].blob("hash"), hash) {
		return "", nil
	}
	var n int64
	err = q.QueryRowContext(ctx, "SELECT count(*) FROM link WHERE batch = ? AND hash = ?", rows[0].int("number"), hash).Scan(&n)
	if err == nil && n == 0 {
		why = fmt.Sprintf("the batch before it, %s, is not the one that it followed", previous)
	}
	return why, err
}

// HadHead reports whether a batch's chain once ended in that hash, as printed: that of a link
// or of the header. Together with a chain that holds it shows that nothing from before then
// was changed since.
func (r *Reader) HadHead(ctx context.Context, id, head string) (bool, error) {
	had := false
	err := r.reading(ctx, func(q querier) error {
		b, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		if had = fmt.Sprintf("%x", b.blob("hash")) == head; had {
			return nil
		}
		n := 0
		err = q.QueryRowContext(ctx, "SELECT count(*) FROM link WHERE batch = ? AND lower(hex(hash)) = ?", b.int("number"), head).Scan(&n)
		had = n > 0
		return err
	})
	return had, err
}
