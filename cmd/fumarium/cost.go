package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/daybook"
	"fumarium/controller"
	"fumarium/controller/record"
	"fumarium/controller/report/recorded"
	"fumarium/profile/quantity"
	"fumarium/profile/weighed"
)

// cost is `cost --json`: what a batch cost as far as prices and weights are known.
type cost struct {
	Batch    string     `json:"batch"`
	Items    []costItem `json:"items"`
	Heater   costHeater `json:"heater"`
	Total    float64    `json:"total"`     // of what has a price
	Missing  []string   `json:"no_price"`  // so that the total is too low
	YieldKg  *float64   `json:"yield_kg"`  // packed, or cooked; null is not weighed
	YieldOf  string     `json:"yield_of"`  // which of both
	PerKg    *float64   `json:"per_kg"`    // null while the yield is not known
	Estimate []string   `json:"estimates"` // what was not weighed, or not metered
}

type costItem struct {
	Name  string   `json:"name"`
	Kg    float64  `json:"kg"`
	Taken bool     `json:"weighed"` // otherwise as the sheet has it
	Price *float64 `json:"price_per_kg"`
	Cost  *float64 `json:"cost"`
}

type costHeater struct {
	Seconds float64  `json:"on_seconds"`
	KWh     float64  `json:"kwh"` // by the power in the cabinet file
	Cost    *float64 `json:"cost"`
}

func costCommand() *cobra.Command {
	var a archive
	c := a.flags(&cobra.Command{
		Use: "cost BATCH", Short: "What a batch cost, and a kilogram of it by the weighed yield", Args: cobra.ExactArgs(1),
		Long: `Multiplies what was weighed, or what the sheet has where nobody weighed, with the prices that
were set, and the time that the heater was on with its power in the cabinet file. What has no
price is named: then the sum is too low. Fans, generator, casing and work are in no sum. A
kilogram costs by what was packed, or cooked; where neither was weighed it is not known.`,
		Example: `  fumarium cost price "pork shoulder" 6.90
  fumarium cost price energy 0.32
  fumarium cost 2026-11-28-1`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, book, err := openWithBook(&a)
			if err != nil {
				return err
			}
			defer r.Close()
			told, err := costOf(cmd.Context(), r, args[0], book)
			if err != nil {
				return couldNot(err)
			}
			if a.json {
				return couldNot(printJSON(cmd.OutOrStdout(), told))
			}
			return couldNot(told.print(cmd.OutOrStdout()))
		},
	})
	c.AddCommand(priceCommand())
	return c
}

func priceCommand() *cobra.Command {
	state := ""
	c := &cobra.Command{
		Use: "price WHAT PRICE", Short: "Set what a kilogram of an ingredient costs, or a kilowatt-hour of energy", Args: cobra.ExactArgs(2),
		Long:    "WHAT is an ingredient by the name that products give it, or " + daybook.Energy + ". The last price counts, for\nbatches of before, too. It is a number in your own currency.",
		Example: "  fumarium cost price salt 0.90\n  fumarium cost price energy 0.32",
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := parsePrice(args[1])
			if err != nil {
				return err
			}
			return entered(cmd, state, daybook.Line{Kind: daybook.Price, What: args[0], Price: v})
		},
	}
	return stateFlag(c, &state)
}

func costOf(ctx context.Context, r *record.Reader, id string, book []daybook.Line) (*cost, error) {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return nil, err
	}
	tally, err := tallyOf(ctx, r, b)
	if err != nil {
		return nil, err
	}
	told, missing, err := recorded.Tell(ctx, r, b, nil)
	if err != nil {
		return nil, err
	}
	c := &cost{Batch: b.ID, Items: []costItem{}, Missing: []string{}, Estimate: []string{}}
	for _, i := range tally.Items {
		item := costItem{Name: i.Name, Kg: i.SheetKg}
		if i.TakenKg != nil {
			item.Kg, item.Taken = *i.TakenKg, true
		} else {
			c.Estimate = append(c.Estimate, i.Name+" was not weighed: as the sheet has it")
		}
		if price, ok := daybook.PriceOf(book, i.Name); ok {
			sum := price * item.Kg
			item.Price, item.Cost = &price, &sum
			c.Total += sum
		} else {
			c.Missing = append(c.Missing, i.Name)
		}
		c.Items = append(c.Items, item)
	}
	if c.Heater.Seconds, err = heaterOn(ctx, r, b.ID); err != nil {
		return nil, err
	}
	if told.Result == nil {
		c.Estimate = append(c.Estimate, "the power of the heater is not known: "+missing)
	} else {
		c.Heater.KWh = c.Heater.Seconds / 3600 * float64(told.Result.Cabinet.Heater.Power) / 1000
		c.Estimate = append(c.Estimate, "energy of the heater by its time on and its power in the cabinet file, not metered")
	}
	if price, ok := daybook.PriceOf(book, daybook.Energy); ok && told.Result != nil {
		sum := price * c.Heater.KWh
		c.Heater.Cost = &sum
		c.Total += sum
	} else {
		c.Missing = append(c.Missing, daybook.Energy)
	}
	c.YieldKg, c.YieldOf = tally.PackedKg, weighed.Packed
	if c.YieldKg == nil {
		c.YieldKg, c.YieldOf = tally.CookedKg, weighed.Cooked
	}
	if c.YieldKg == nil || *c.YieldKg <= 0 {
		c.YieldKg, c.YieldOf = nil, ""
	} else {
		per := c.Total / *c.YieldKg
		c.PerKg = &per
	}
	return c, nil
}

// heaterOn is for how long the heater was on, step by step: the curve keeps too little of a
// batch that was recorded in few links.
func heaterOn(ctx context.Context, r *record.Reader, id string) (seconds float64, err error) {
	on, since := false, time.Duration(0)
	err = r.Steps(ctx, id, func(s record.Step) error {
		if on && !s.In.PowerLost {
			seconds += (s.Elapsed - since).Seconds()
		}
		on, since = s.Out.On.Has(controller.Heater), s.Elapsed
		return nil
	})
	return seconds, err
}

func (c *cost) print(w io.Writer) error {
	money := func(v *float64) string {
		if v == nil {
			return "no price"
		}
		return quantity.Fixed(*v, 2)
	}
	table := newTable(w)
	fmt.Fprintln(table, "\tmass\tper kg\tcost")
	for _, i := range c.Items {
		fmt.Fprintf(table, "%s\t%v\t%s\t%s\n", shown(i.Name), quantity.Kilograms(i.Kg), money(i.Price), money(i.Cost))
	}
	fmt.Fprintf(table, "heater\t%s kWh\t\t%s\n", quantity.Fixed(c.Heater.KWh, 1), money(c.Heater.Cost))
	fmt.Fprintf(table, "in all\t\t\t%s\n", quantity.Fixed(c.Total, 2))
	if c.PerKg == nil {
		fmt.Fprintln(table, "a kilogram\t\t\tnot known: nothing packed or cooked was weighed")
	} else {
		fmt.Fprintf(table, "a kilogram %s\t%v\t\t%s\n", c.YieldOf, quantity.Kilograms(*c.YieldKg), quantity.Fixed(*c.PerKg, 2))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	if len(c.Missing) > 0 {
		fmt.Fprintf(w, "TOO LOW   without a price: %s\n", shown(strings.Join(c.Missing, ", ")))
	}
	for _, text := range c.Estimate {
		fmt.Fprintf(w, "estimate  %s\n", shown(text))
	}
	return nil
}

// stocked is one ingredient of one lot, as `stock --json` lists them.
type stocked struct {
	What     string   `json:"what"`
	Lot      string   `json:"lot"`
	BoughtKg *float64 `json:"bought_kg"` // null: nobody said
	UsedKg   float64  `json:"used_kg"`   // as weighed
	Unknown  bool     `json:"also_unweighed"`
	LeftKg   *float64 `json:"left_kg"`
	Batches  int      `json:"batches"`
}

// openWithBook opens the record, and the book of prices and purchases beside it.
func openWithBook(a *archive) (*record.Reader, []daybook.Line, error) {
	dir, err := stateDir(a.state)
	if err != nil {
		return nil, nil, couldNot(err)
	}
	book, err := daybook.In(dir)
	if err != nil {
		return nil, nil, couldNot(err)
	}
	r, err := a.open()
	return r, book, err
}

func stockCommand() *cobra.Command {
	var a archive
	c := a.flags(&cobra.Command{
		Use: "stock", Short: "What is left of each lot, as far as weights and the book know", Args: cobra.NoArgs,
		Long: `Lists every lot that was weighed into a batch or said to be bought, with what went in by the
record. What is left is known only of a lot that somebody said to have bought, and only if
every use of it was weighed; nobody has looked into the larder.`,
		Example: `  fumarium stock
  fumarium stock bought "pork shoulder" P-0815 12kg`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			r, book, err := openWithBook(&a)
			if err != nil {
				return err
			}
			defer r.Close()
			list, err := stockOf(cmd.Context(), r, book)
			if err != nil {
				return couldNot(err)
			}
			w := cmd.OutOrStdout()
			if a.json {
				return couldNot(printJSON(w, list))
			}
			table := newTable(w)
			fmt.Fprintln(table, "what\tlot\tbought\tused\tleft\tbatches")
			mass := func(kg *float64) string {
				if kg == nil {
					return "not known"
				}
				return quantity.Kilograms(*kg).String()
			}
			for _, s := range list {
				used := quantity.Kilograms(s.UsedKg).String()
				if s.Unknown {
					used += " and more"
				}
				fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%d\n", shown(s.What), shown(s.Lot), mass(s.BoughtKg), used, mass(s.LeftKg), s.Batches)
			}
			return couldNot(table.Flush())
		},
	})
	c.AddCommand(boughtCommand())
	return c
}

func boughtCommand() *cobra.Command {
	state := ""
	c := &cobra.Command{
		Use: "bought WHAT LOT MASS", Short: "Say what was bought of a lot", Args: cobra.ExactArgs(3),
		Example: "  fumarium stock bought \"pork shoulder\" P-0815 12kg",
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := quantity.ParseMass(args[2])
			if err != nil || !(m > 0 && m <= 100_000) {
				return usage("%q is no mass; write it like 12kg", args[2])
			}
			return entered(cmd, state, daybook.Line{Kind: daybook.Bought, What: args[0], Lot: strings.TrimSpace(args[1]), Kg: float64(m)})
		},
	}
	return stateFlag(c, &state)
}

func stockOf(ctx context.Context, r *record.Reader, book []daybook.Line) ([]stocked, error) {
	list := []stocked{}
	of := func(what, lot string) *stocked {
		i := slices.IndexFunc(list, func(s stocked) bool { return strings.EqualFold(s.What, what) && strings.EqualFold(s.Lot, lot) })
		if i < 0 {
			i, list = len(list), append(list, stocked{What: what, Lot: lot})
		}
		return &list[i]
	}
	for _, l := range book {
		if l.Kind == daybook.Bought {
			s := of(l.What, l.Lot)
			sum := l.Kg
			if s.BoughtKg != nil {
				sum += *s.BoughtKg
			}
			s.BoughtKg = &sum
		}
	}
	uses, err := r.Lots(ctx)
	if err != nil {
		return nil, err
	}
	for _, use := range uses {
		for what, portions := range weighed.Portions(record.WeighedOf(use.Entries)) {
			for _, p := range portions {
				if p.Lot == "" {
					continue
				}
				s := of(what, p.Lot)
				s.Batches++
				if p.Kilograms == nil {
					s.Unknown = true
				} else {
					s.UsedKg += *p.Kilograms
				}
			}
		}
	}
	for i := range list {
		if s := &list[i]; s.BoughtKg != nil && !s.Unknown {
			left := *s.BoughtKg - s.UsedKg
			s.LeftKg = &left
		}
	}
	slices.SortFunc(list, func(a, b stocked) int { return cmp.Or(strings.Compare(a.What, b.What), strings.Compare(a.Lot, b.Lot)) })
	return list, nil
}
