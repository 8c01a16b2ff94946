package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/controller/label"
	"fumarium/controller/record"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/proof"
)

func (f *facts) declare(ctx context.Context, b *record.Batch, p *profile.Product, o *web.Order) (web.Kept, error) {
	text, err := label.Check(label.Fact(o.What), o.Text, p)
	if err != nil {
		return web.Kept{}, err
	}
	e := record.Entry{Who: o.Who, Kind: record.Declared, Subject: o.What, Text: text}
	if err := f.records.AddEntries(ctx, moment(f.now()), b.ID, []record.Entry{e}); err != nil {
		return web.Kept{}, err
	}
	return web.Kept{Told: []string{o.What + " " + text}}, nil
}

func declareCommand() *cobra.Command {
	var c client
	o := web.Order{Command: web.Declare}
	cmd := c.flags(&cobra.Command{
		Use: "declare WHAT TEXT", Short: "Keep what the maker says for the label: use-by, storage, packed-on, maker, allergen",
		Long: `Keeps on the record of a batch, under way or long over, what only its maker can say:

  use-by      a date such as 2026-12-20. No program knows how long your food keeps: it takes
              tests, or a rule of the place for this product, packing and store.
  storage     how it is to be kept, such as "at 4 °C or colder, 2 days once opened"
  packed-on   the day, such as 2026-11-29
  maker       name and address
  allergen    an ingredient and what is in it, such as "mustard seed: mustard"; for mixtures,
              whose names do not tell

The last word counts; all of them stay on the record.`,
		Example: `  fumarium declare use-by 2026-12-20
  fumarium declare storage "at 4 °C or colder" --batch 2026-11-28-1
  fumarium declare allergen "spice mix: celery, mustard"`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.What, o.Text = args[0], args[1]
			return c.send(cmd.Context(), o, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&o.Batch, "batch", "", "`BATCH` (default: the one under way, or the last)")
	return cmd
}

func labelCommand() *cobra.Command {
	var a archive
	into, pack := "", 0
	c := a.flags(&cobra.Command{
		Use: "label BATCH", Short: "Print the labels of a batch's packs, to be cut apart", Args: cobra.ExactArgs(1),
		Long: `Prints a label for each pack that was weighed (fumarium weigh packed): ingredients in
order of mass as they were weighed in, allergens in capitals, weight, what the maker
declared (fumarium declare), and the code that fumarium trace takes, also as a square for a
telephone, with the head of the record. --into writes them as a page to print, BATCH-label.html.

What nobody declared stays blank: there is no date of its own in it, ever. Allergens are
known by the words in the names of the ingredients and by what was declared; a mixture whose
name does not tell wants a word of yours. Who sells food answers for its label.

A batch that is not over, or not good, gets a tag to hold it instead.

Exit status: 0 labels; 1 tags to hold it; 2 usage; 3 the record could not be read.`,
		Example: `  fumarium label 2026-11-28-1
  fumarium label 2026-11-28-1 --pack 3 --into .`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if pack < 0 {
				return usage("--pack %d is no number of a pack; they count from 1", pack)
			}
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runLabel(cmd.Context(), r, args[0], pack, into, a.json, cmd.OutOrStdout())
		},
	})
	c.Flags().IntVar(&pack, "pack", 0, "`NUMBER` of the one pack (default: all)")
	c.Flags().StringVar(&into, "into", "", "write a page to print into `FOLDER`")
	return c
}

func runLabel(ctx context.Context, r *record.Reader, id string, pack int, into string, asJSON bool, w io.Writer) error {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return couldNot(err)
	}
	source, err := labelSource(ctx, r, b)
	if err != nil {
		return err
	}
	source.Only = pack
	l, err := label.Make(source)
	if err != nil {
		return couldNot(err)
	}
	switch {
	case asJSON:
		err = printJSON(w, l)
	case into != "":
		err = writeWhole(w, into, b.ID+"-label.html", l.HTML)
	default:
		for i, p := range l.Packs {
			if i > 0 {
				fmt.Fprintln(w)
			}
			fmt.Fprint(w, shownLines(l.Text(p)))
		}
	}
	if err == nil && !asJSON && l.Hold == "" && len(l.Missing) > 0 {
		fmt.Fprintf(w, "\nleft blank, since nobody said: %s\n", strings.Join(l.Missing, ", "))
	}
	if err != nil {
		return couldNot(err)
	}
	if l.Hold != "" {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// labelSource reads what a label is made of. The verdict is that of a replay: a label on bad
// food is worse than a late one.
func labelSource(ctx context.Context, r *record.Reader, b *record.Batch) (*label.Source, error) {
	entries, err := r.Entries(ctx, b.ID)
	if err != nil {
		return nil, couldNot(err)
	}
	whole, err := r.Verify(ctx, b.ID)
	if err != nil {
		return nil, couldNot(err)
	}
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		return nil, couldNot(err)
	}
	s := &label.Source{Batch: b.ID, World: string(b.World), Head: whole.Head.String(), Over: b.State != "", Product: p, Declared: declaredBy(entries)}
	good, ending, err := endingOf(ctx, r, b)
	if err != nil {
		return nil, couldNot(err)
	}
	s.Tally = record.TallyOf(p, p.Where(profile.NoJurisdiction), entries)
	s.Good, s.Ending = good != nil && *good && whole.Whole, ending
	if !whole.Whole {
		s.Ending = proof.Recorded.String() + " " + whole.String()
	}
	return s, nil
}

func declaredBy(entries []record.Entry) (d label.Declared) {
	for _, e := range entries {
		if e.Kind == record.Declared {
			d.Add(label.Fact(e.Subject), e.Text)
		}
	}
	return d
}
