package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/report/recorded"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

func compareCommand() *cobra.Command {
	var a archive
	into := ""
	c := a.flags(&cobra.Command{
		Use: "compare A B", Short: "Compare two recorded batches: recipe, course, verdict, yield and marks", Args: cobra.ExactArgs(2),
		Long: `Says in what two batches differ: what they were made by, what could be shown of each, how
long they took, what was weighed, and the marks that they got. --into also draws both curves
over each other, in a page to read and print, A-and-B.html.

Both are replayed for it. Exit status: 0 compared; 2 usage; 3 the record could not be read.`,
		Example: `  fumarium compare 2026-11-21-1 2026-11-28-1
  fumarium compare 2026-11-21-1 2026-11-28-1 --into .`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			var sources [2]*report.Source
			for i, id := range args {
				b, err := r.Batch(cmd.Context(), id)
				if err != nil {
					return couldNot(err)
				}
				if sources[i], err = recorded.Source(cmd.Context(), r, b); err != nil {
					return couldNot(err)
				}
			}
			told := report.Compare(sources[0], sources[1])
			switch {
			case a.json:
				err = printJSON(cmd.OutOrStdout(), told)
			case into != "":
				err = writeWhole(cmd.OutOrStdout(), into, told.A+"-and-"+told.B+".html", told.HTML)
			default:
				_, err = fmt.Fprint(cmd.OutOrStdout(), shownLines(told.Text()))
			}
			return couldNot(err)
		},
	})
	c.Flags().StringVar(&into, "into", "", "write a page with both curves into `FOLDER`")
	return c
}

// madeBatches is one batch in the history of a product.
type madeBatches struct {
	Batch    string     `json:"batch"`
	Started  time.Time  `json:"started"`
	State    string     `json:"state"`
	Elapsed  float64    `json:"elapsed_seconds"`
	Yield    *float64   `json:"yield"` // cooked or packed, whichever is known, of the first weight
	YieldOf  string     `json:"yield_of,omitempty"`
	Marks    []markedAs `json:"marks"`
	Like     string     `json:"made_like,omitempty"`
	Changed  string     `json:"difference,omitempty"`
	Weighing string     `json:"deviation,omitempty"` // of the weights, where they speak against it
}

type markedAs struct {
	Trait string  `json:"trait"`
	Mark  float64 `json:"mark"`
}

// productHistory lists the batches of one product, the latest first.
func productHistory(ctx context.Context, r *record.Reader, product string, asJSON bool, w io.Writer) error {
	batches, err := r.List(ctx)
	if err != nil {
		return couldNot(err)
	}
	list := []madeBatches{}
	parsed := map[string]*profile.Product{} // by their files, which are the same for years
	for _, b := range batches {
		file := strings.TrimSuffix(b.ProductName, ".yaml")
		if !strings.EqualFold(b.Product, product) && !strings.EqualFold(file, strings.TrimSuffix(product, ".yaml")) {
			continue
		}
		m, err := historyOf(ctx, r, b, parsed)
		if err != nil {
			return err
		}
		list = append(list, *m)
	}
	if asJSON {
		return couldNot(printJSON(w, list))
	}
	if len(list) == 0 {
		return usage("no batch on this record is of %q; see fumarium batches for their products", product)
	}
	t := newTable(w)
	fmt.Fprintln(t, "batch\tstarted\tlasted\tended\tyield\tmarks\tmade like")
	for _, m := range list {
		state, yield, marks, like := m.State, "", []string{}, m.Like
		if state == "" {
			state = "not ended"
		}
		if m.Weighing != "" {
			state += ", NOT AS ITS SHEET"
		}
		if m.Yield != nil {
			yield = quantity.Fixed(*m.Yield*100, 1) + " % " + m.YieldOf
		}
		for _, mark := range m.Marks {
			marks = append(marks, mark.Trait+" "+quantity.Fixed(mark.Mark, 1))
		}
		if m.Changed != "" {
			like += ": " + m.Changed
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", shown(m.Batch), m.Started.Format("2006-01-02"), quantity.FormatDuration(seconds(m.Elapsed).Round(time.Minute)), shown(state),
			shown(yield), shown(strings.Join(marks, ", ")), shown(cut(like, 200)))
	}
	return couldNot(t.Flush())
}

func historyOf(ctx context.Context, r *record.Reader, b *record.Batch, parsed map[string]*profile.Product) (*madeBatches, error) {
	m := &madeBatches{Batch: b.ID, Started: b.Started, State: b.State, Elapsed: b.Elapsed.Seconds(), Marks: []markedAs{}}
	entries, err := r.Entries(ctx, b.ID)
	if err != nil {
		return nil, couldNot(err)
	}
	for _, e := range entries {
		switch e.Kind {
		case record.Rated:
			m.Marks = slices.DeleteFunc(m.Marks, func(k markedAs) bool { return k.Trait == e.Subject })
			m.Marks = append(m.Marks, markedAs{e.Subject, e.Value})
		case record.Repeats:
			m.Like, m.Changed = e.Subject, e.Text
		}
	}
	if len(record.WeighedOf(entries)) == 0 {
		return m, nil
	}
	if b, err = r.Batch(ctx, b.ID); err != nil { // with its files
		return nil, couldNot(err)
	}
	p := parsed[string(b.ProductFile)]
	if p == nil {
		if p, err = profile.ParseRecorded(b.ProductName, b.ProductFile); err != nil {
			return nil, couldNot(err)
		}
		parsed[string(b.ProductFile)] = p
	}
	tally := weighed.Of(p, p.Where(profile.NoJurisdiction), record.WeighedOf(entries))
	m.Weighing, _ = tally.Bad()
	if yields := tally.Yields(); len(yields) > 0 {
		last := yields[len(yields)-1]
		m.Yield, m.YieldOf = &last.Ratio, last.What+" of "+last.Of
	}
	return m, nil
}
