package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/label"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

// cureRemedy is what to do when a cure was not weighed as its sheet has it.
const cureRemedy = "STOP: nobody eats of this before it is judged. Mark it, and weigh what is left of the cure: too much nitrite is poison and heat does not take it away, too little protects nobody. If you cannot show what went in, throw it out; a process authority decides about food for others"

// facts keeps what people know of batches: on the record, and for the batch of now where
// its verdict is told.
type facts struct {
	records *record.Recorder
	place   profile.Jurisdiction
	now     func() time.Time
	latest  func() *snapshot.Snapshot
	show    func(batch string, t *weighed.Tally)

	mu sync.Mutex // one at a time, so that packs are counted
}

// keep implements web.Config.Keep.
func (f *facts) keep(ctx context.Context, o *web.Order) (web.Kept, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	b, err := f.records.Batch(ctx, o.Batch)
	if err != nil {
		return web.Kept{}, err
	}
	p, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		return web.Kept{}, err
	}
	switch o.Command {
	case web.Declare:
		return f.declare(ctx, b, p, o)
	case web.Rate:
		return f.rate(ctx, b, o)
	case web.Repeat:
		return f.repeat(ctx, b, p, o)
	case web.Decide:
		return f.decide(ctx, b, o)
	}
	return f.weigh(ctx, b, p, o)
}

func (f *facts) weigh(ctx context.Context, b *record.Batch, p *profile.Product, o *web.Order) (web.Kept, error) {
	before, err := f.records.Entries(ctx, b.ID)
	if err != nil {
		return web.Kept{}, err
	}
	list, err := said(p, f.tally(b, p, before), o)
	if err != nil {
		return web.Kept{}, err
	}
	added := record.EntriesOf(list, o.Who)
	if err := f.records.AddEntries(ctx, moment(f.now()), b.ID, added); err != nil {
		return web.Kept{}, err
	}
	t := f.tally(b, p, append(before, added...))
	if s := f.latest(); s != nil && s.BatchID == b.ID {
		f.show(b.ID, t)
	}
	kept := web.Kept{Told: []string{}, Deviations: append(t.Deviations, t.Heavier()...)}
	for _, e := range list {
		kept.Told = append(kept.Told, tellEntry(b.ID, t, e))
	}
	if _, kept.Bad = t.Bad(); kept.Bad {
		kept.Deviations = append(kept.Deviations, cureRemedy)
	}
	return kept, nil
}

// showAgain is for a batch that goes on: what was weighed before counts on.
func (f *facts) showAgain(ctx context.Context, b *record.Batch, p *profile.Product, where profile.Jurisdiction, log *slog.Logger) {
	entries, err := f.records.Entries(ctx, b.ID)
	if err != nil {
		log.Error("what was weighed for the batch could not be read; its report will tell", "err", err)
		return
	}
	if t := record.TallyOf(p, where, entries); t != nil {
		f.show(b.ID, t)
	}
}

func (f *facts) tally(b *record.Batch, p *profile.Product, entries []record.Entry) *weighed.Tally {
	where := p.Where(f.place)
	if s := f.latest(); s != nil && s.BatchID == b.ID {
		where = s.State.Where
	}
	if t := record.TallyOf(p, where, entries); t != nil {
		return t
	}
	t := weighed.Of(p, where, nil)
	return &t
}

// said reads the entries of an order.
func said(p *profile.Product, t *weighed.Tally, o *web.Order) ([]weighed.Entry, error) {
	if o.Form != "" {
		if o.What+o.Mass+o.Lot+o.Pack != "" {
			return nil, errors.New("weigh takes a form, or what with mass or lot, not both")
		}
		list, err := weighed.ReadForm("form", []byte(o.Form), p)
		if err == nil && len(list) == 0 {
			err = errors.New("form: nothing is filled in; write what was weighed into its third column, and lots into its fourth")
		}
		return list, err
	}
	name, err := weighed.Find(p, o.What)
	if err != nil {
		return nil, err
	}
	e, err := weighed.Read(name, strings.TrimSpace(o.Mass), o.Lot)
	if err != nil {
		return nil, err
	}
	switch {
	case name == weighed.Packed && o.Pack == "":
		e.Pack = t.NextPack()
	case name == weighed.Packed:
		if e.Pack, err = strconv.Atoi(o.Pack); err != nil || e.Pack < 1 || e.Pack > 999_999 {
			return nil, fmt.Errorf("pack %q is no number from 1 to 999999", o.Pack)
		}
	case o.Pack != "":
		return nil, fmt.Errorf("%s is not weighed by the pack; only packed is", name)
	}
	return []weighed.Entry{e}, nil
}

// tellEntry says what is on record of a thing, after an entry of it.
func tellEntry(batch string, t *weighed.Tally, e weighed.Entry) string {
	kg := func(v *float64) string {
		if v == nil {
			return "not weighed"
		}
		return quantity.Kilograms(*v).String()
	}
	switch e.What {
	case weighed.Raw:
		return "raw " + kg(t.RawKg)
	case weighed.Hung:
		return "hung " + kg(t.HungKg)
	case weighed.Cooked:
		return "cooked " + kg(t.CookedKg)
	case weighed.Packed:
		return fmt.Sprintf("pack %s %v; %d packs, %s", label.Code(batch, e.Pack), e.Mass, len(t.Packs), kg(t.PackedKg))
	case weighed.Casing:
		return "casing " + portions(t.Casing)
	}
	for _, i := range t.Items {
		if i.Name == e.What {
			text := fmt.Sprintf("%s %s", i.Name, kg(i.TakenKg))
			if i.TakenKg != nil {
				text += fmt.Sprintf(", sheet %v", quantity.Kilograms(i.SheetKg))
			}
			return text + "; " + portions(i.Portions)
		}
	}
	return e.What
}

// portions lists what was taken of which lots.
func portions(list []weighed.Portion) string {
	texts := []string{}
	for _, p := range list {
		text := "lot " + p.Lot
		if p.Lot == "" {
			text = "no lot"
		}
		if p.Kilograms != nil {
			text += " " + quantity.Kilograms(*p.Kilograms).String()
		}
		texts = append(texts, text)
	}
	if len(texts) == 0 {
		return "taken back"
	}
	return strings.Join(texts, ", ")
}

func weighCommand() *cobra.Command {
	var c client
	o := web.Order{Command: web.Weigh}
	form, pack := "", 0
	cmd := c.flags(&cobra.Command{
		Use: "weigh WHAT MASS", Short: "Keep what was weighed: an ingredient, or the batch raw, hung, cooked or packed",
		Long: `Keeps a weight on the record of a batch, under way or long over. WHAT is an
ingredient of the product by its name or a part of it, the casing, or the batch as a whole:
raw, hung, cooked, or packed, a pack at a time.

It is held against the make sheet for the meat that was weighed. A cure that is off by more
than a tenth, or a formula that breaks a limit as it was weighed, is said, ends with 1, and
makes the batch not good. So weigh the cure before it goes in: fumarium sheet PRODUCT
--taken FORM judges a form without a batch.

The same thing of the same lot weighed again takes the place of the weight before; another
lot of it is added. 0 g takes a lot or a pack back. What was said before stays on record.`,
		Example: `  fumarium weigh "pork shoulder" 4.21kg --lot P-0815
  fumarium weigh cure 12.1g --lot C-7
  fumarium weigh hung 5.48kg
  fumarium weigh packed 412g --batch 2026-11-28-1
  fumarium weigh --form ring.csv`,
		Args: cobra.MaximumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if form != "" {
				if len(args) > 0 || o.Lot != "" || pack != 0 {
					return usage("--form has the weights; leave the rest out")
				}
				data, err := readFile(form)
				if err != nil {
					return err
				}
				o.Form = string(data)
				return c.send(cmd.Context(), o, cmd.OutOrStdout())
			}
			if len(args) != 2 {
				return usage("say what was weighed and what it weighs, such as: fumarium weigh salt 75g; or fumarium lot for a lot alone")
			}
			if _, err := quantity.ParseMass(args[1]); err != nil {
				return usage("%w", err)
			}
			if o.What, o.Mass = args[0], args[1]; cmd.Flags().Changed("pack") {
				o.Pack = strconv.Itoa(pack)
			}
			return c.send(cmd.Context(), o, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&o.Batch, "batch", "", "`BATCH` (default: the one under way, or the last)")
	cmd.Flags().StringVar(&o.Lot, "lot", "", "`LOT` that it is of")
	cmd.Flags().IntVar(&pack, "pack", 0, "`NUMBER` of the pack that is weighed again (default: another)")
	cmd.Flags().StringVar(&form, "form", "", "`FILE` from sheet --form, filled in")
	return cmd
}

func lotCommand() *cobra.Command {
	var c client
	o := web.Order{Command: web.Weigh}
	cmd := c.flags(&cobra.Command{
		Use: "lot WHAT LOT", Short: "Keep of which lot an ingredient or the casing is",
		Long: `Keeps a lot on the record of a batch, under way or long over, without a weight. With the
weight, use fumarium weigh WHAT MASS --lot LOT. fumarium trace finds it again.`,
		Example: `  fumarium lot casing H-12
  fumarium lot salt S-3 --batch 2026-11-28-1`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.What, o.Lot = args[0], args[1]
			return c.send(cmd.Context(), o, cmd.OutOrStdout())
		},
	})
	cmd.Flags().StringVar(&o.Batch, "batch", "", "`BATCH` (default: the one under way, or the last)")
	return cmd
}
