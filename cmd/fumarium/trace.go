package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/record"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

// traced is `trace --json`.
type traced struct {
	Code    string        `json:"code"`
	Batches []tracedBatch `json:"batches"` // that took of the lot, or that the pack is of
	Pack    *weighed.Pack `json:"pack"`
	Lots    []tracedLot   `json:"lots"` // of the batch; empty for a lot
	Head    string        `json:"head"` // what the record says of the head on a label; empty for a code without
	changed bool
}

type tracedBatch struct {
	Batch   string      `json:"batch"`
	Product string      `json:"product"`
	Started time.Time   `json:"started"`
	Uses    []tracedLot `json:"uses"` // of the lot
}

type tracedLot struct {
	What      string   `json:"what"`
	Lot       string   `json:"lot"` // empty is not known
	Kilograms *float64 `json:"kg"`
}

func traceCommand() *cobra.Command {
	var a archive
	return a.flags(&cobra.Command{
		Use: "trace CODE", Short: "Follow a pack to its lots, or a lot to every batch that has it", Args: cobra.ExactArgs(1),
		Long: `CODE is what stands on a pack, BATCH/NUMBER, or what its square says, or a batch: then it
lists of which lots the batch is, and names what it is made of without one; by the square
also whether the record was changed since the label was made. Or it is a lot: then it lists every
batch that has it, as what and how much. Only what somebody put on the record is known here:
see fumarium weigh and fumarium lot.

Exit status: 0 found; 1 nothing is on record of that code, or it was changed; 2 usage; 3 the record could not
be read.`,
		Example: `  fumarium trace 2026-11-28-1/3
  fumarium trace P-0815`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runTrace(cmd.Context(), r, strings.TrimSpace(args[0]), a.json, cmd.OutOrStdout())
		},
	})
}

func runTrace(ctx context.Context, r *record.Reader, code string, asJSON bool, w io.Writer) error {
	t, err := trace(ctx, r, code)
	if err != nil {
		return err
	}
	if asJSON {
		err = printJSON(w, t)
	} else {
		err = t.print(w)
	}
	if err != nil {
		return couldNot(err)
	}
	if t.changed {
		return &failure{exitBad, errSaid}
	}
	if len(t.Batches) == 0 {
		return &failure{exitBad, fmt.Errorf("nothing on this record has the code %q: no pack, no batch, no lot", code)}
	}
	return nil
}

func trace(ctx context.Context, r *record.Reader, code string) (*traced, error) {
	t := &traced{Code: code, Batches: []tracedBatch{}, Lots: []tracedLot{}}
	uses, err := r.Uses(ctx, code)
	if err != nil {
		return nil, couldNot(err)
	}
	if len(uses) > 0 {
		t.ofLot(uses)
		return t, nil
	}
	code, head, _ := strings.Cut(code, " sha256:") // as a label's square says it
	id, number, isPack := strings.Cut(code, "/")
	b, err := r.Batch(ctx, id)
	if errors.Is(err, record.ErrNoBatch) || err == nil && b.ID != id {
		return t, nil // a code is whole
	} else if err != nil {
		return nil, couldNot(err)
	}
	tally, err := tallyOf(ctx, r, b)
	if err != nil {
		return nil, err
	}
	if isPack {
		n, err := strconv.Atoi(number)
		for _, p := range tally.Packs {
			if err == nil && p.Number == n {
				t.Pack = &p
			}
		}
		if t.Pack == nil {
			return t, nil
		}
	}
	t.Batches = append(t.Batches, tracedBatch{b.ID, b.Product, b.Started, []tracedLot{}})
	if head != "" {
		if err := t.since(ctx, r, b.ID, head); err != nil {
			return nil, couldNot(err)
		}
	}
	for _, i := range tally.Items {
		t.has(i.Name, i.Portions)
	}
	t.has(weighed.Casing, tally.Casing)
	return t, nil
}

// since says whether the record is the one that a label was made of.
func (t *traced) since(ctx context.Context, r *record.Reader, id, head string) error {
	whole, err := r.Verify(ctx, id)
	if err != nil {
		return err
	}
	had, err := r.HadHead(ctx, id, head)
	switch {
	case err != nil:
		return err
	case !whole.Whole:
		t.changed, t.Head = true, "the record is "+whole.String()
	case !had:
		t.changed, t.Head = true, "the record never had the head of this label: it was written anew since, or the label is of another"
	default:
		t.Head = "nothing on record from before the label was changed since"
	}
	return nil
}

// has adds the lots of one thing, or that none is known.
func (t *traced) has(what string, list []weighed.Portion) {
	if len(list) == 0 {
		list = []weighed.Portion{{}}
	}
	for _, p := range list {
		t.Lots = append(t.Lots, tracedLot{what, p.Lot, p.Kilograms})
	}
}

// ofLot lists the batches of the uses. What was taken back since is not in them.
func (t *traced) ofLot(uses []record.Use) {
	for _, use := range uses {
		found := tracedBatch{use.Batch, use.Product, use.Started, []tracedLot{}}
		list := record.WeighedOf(use.Entries)
		taken := weighed.Portions(list)
		for _, e := range list { // in the order in which they were named
			for _, p := range taken[e.What] {
				if strings.EqualFold(p.Lot, t.Code) {
					found.Uses = append(found.Uses, tracedLot{e.What, p.Lot, p.Kilograms})
				}
			}
			delete(taken, e.What)
		}
		if len(found.Uses) > 0 {
			t.Batches = append(t.Batches, found)
		}
	}
}

func (t *traced) print(w io.Writer) error {
	mass := func(kg *float64) string {
		if kg == nil {
			return "not weighed"
		}
		return quantity.Kilograms(*kg).String()
	}
	table := newTable(w)
	for _, b := range t.Batches {
		fmt.Fprintf(table, "%s\t%s\t%s\n", shown(b.Batch), b.Started.Format("2006-01-02 15:04"), shown(b.Product))
		for _, u := range b.Uses {
			fmt.Fprintf(table, "  %s\tlot %s\t%s\n", shown(u.What), shown(u.Lot), mass(u.Kilograms))
		}
	}
	if t.Pack != nil {
		fmt.Fprintf(table, "  pack %d\t%v\t\n", t.Pack.Number, quantity.Kilograms(t.Pack.Kilograms))
	}
	for _, l := range t.Lots {
		lot := "lot " + l.Lot
		if l.Lot == "" {
			lot = "NO LOT ON RECORD"
		}
		fmt.Fprintf(table, "  %s\t%s\t%s\n", shown(l.What), shown(lot), mass(l.Kilograms))
	}
	if t.Head != "" {
		fmt.Fprintf(table, "record: %s\n", shown(t.Head))
	}
	return table.Flush()
}

// tallyOf is what was weighed for a batch, by the rules of the place that its product names.
func tallyOf(ctx context.Context, r *record.Reader, b *record.Batch) (*weighed.Tally, error) {
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		return nil, couldNot(err)
	}
	entries, err := r.Entries(ctx, b.ID)
	if err != nil {
		return nil, couldNot(err)
	}
	t := weighed.Of(p, p.Where(profile.NoJurisdiction), record.WeighedOf(entries))
	return &t, nil
}
