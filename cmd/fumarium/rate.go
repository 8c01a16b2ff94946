package main

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/controller/record"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/variant"
)

// The traits that a batch is usually marked for. Who cares for another takes it.
const usualTraits = "looks, bite, smoke, salt, texture"

// mostTrait bounds the name of a trait and what is said of it, in bytes; common practice, no
// source.
const (
	mostTrait = 40
	mostWhy   = 400
)

func (f *facts) rate(ctx context.Context, b *record.Batch, o *web.Order) (web.Kept, error) {
	trait, why := strings.ToLower(strings.Join(strings.Fields(o.What), " ")), strings.TrimSpace(o.Text)
	if trait == "" || len(trait) > mostTrait || len(why) > mostWhy {
		return web.Kept{}, fmt.Errorf("rate needs a trait of at most %d bytes, such as one of %s, and takes %d bytes of words", mostTrait, usualTraits, mostWhy)
	}
	mark, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(o.Mark), "/5"), 64)
	if err != nil || !(mark >= 1 && mark <= 5) || mark*2 != math.Trunc(mark*2) {
		return web.Kept{}, fmt.Errorf("%s: the mark %q is none of 1 to 5, by halves", trait, o.Mark)
	}
	e := record.Entry{Who: o.Who, Kind: record.Rated, Subject: trait, Value: mark, HasValue: true, Text: why}
	if err := f.records.AddEntries(ctx, moment(f.now()), b.ID, []record.Entry{e}); err != nil {
		return web.Kept{}, err
	}
	return web.Kept{Told: []string{fmt.Sprintf("%s %s of 5", trait, quantity.Fixed(mark, 1))}}, nil
}

// repeat puts on record which batch this one was made like. What differs is worked out from
// the files that both were made by, whatever was asked for.
func (f *facts) repeat(ctx context.Context, b *record.Batch, p *profile.Product, o *web.Order) (web.Kept, error) {
	like, err := f.records.Batch(ctx, o.What)
	if err != nil {
		return web.Kept{}, err
	}
	if like.ID == b.ID {
		return web.Kept{}, fmt.Errorf("%s is this batch itself", like.ID)
	}
	was, err := profile.ParseRecorded(like.ProductName, like.ProductFile)
	if err != nil {
		return web.Kept{}, err
	}
	var texts []string
	for _, d := range variant.Differences(was, p) {
		texts = append(texts, d.String())
	}
	text := "no difference"
	if len(texts) > 0 {
		text = strings.Join(texts, "; ")
	}
	e := record.Entry{Who: o.Who, Kind: record.Repeats, Subject: like.ID, Text: cut(text, mostDifference)}
	if err := f.records.AddEntries(ctx, moment(f.now()), b.ID, []record.Entry{e}); err != nil {
		return web.Kept{}, err
	}
	return web.Kept{Told: append([]string{"made like " + like.ID}, strings.Split(e.Text, "; ")...)}, nil
}

// mostDifference bounds what is kept of a difference in words; both files are on record.
const mostDifference = 4000

func cut(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + " …"
}

func rateCommand() *cobra.Command {
	var c client
	o := web.Order{Command: web.Rate}
	cmd := c.flags(&cobra.Command{
		Use: "rate TRAIT MARK", Short: "Mark a batch out of five: " + usualTraits + ", or a trait of your own",
		Long: `Keeps a mark from 1 to 5, by halves, for one trait of a batch that is under way or long over.
The last mark of a trait counts. The report, fumarium compare and fumarium batches --of
PRODUCT show them.`,
		Example: `  fumarium rate smoke 4
  fumarium rate bite 2.5 --why "skins a little tough" --batch 2026-11-28-1`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.What, o.Mark = args[0], args[1]
			return c.send(cmd.Context(), o, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&o.Batch, "batch", "", "`BATCH` (default: the one under way, or the last)")
	cmd.Flags().StringVar(&o.Text, "why", "", "`TEXT` beside the mark")
	return cmd
}
