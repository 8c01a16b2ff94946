package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"fumarium/controller/caution"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
)

// listedProduct is one product as `products --json` prints it.
type listedProduct struct {
	Name           string   `json:"name"`
	Product        string   `json:"product"`
	Source         string   `json:"source"`
	BatchKilograms float64  `json:"batch_kilograms"`
	Stages         []string `json:"stages"`
	TargetCelsius  *float64 `json:"target_core_celsius"`
	Own            bool     `json:"own"` // not shipped
}

func productsCommand() *cobra.Command {
	var asJSON bool
	var show, state string
	c := &cobra.Command{
		Use:   "products",
		Short: "List the products: your own and the shipped ones",
		Long: `Lists your own products and those that come with fumarium. Any of them can be
rehearsed and started by its name. To make one your own, print its file, change it,
and keep it:

  fumarium products --show marjoram-ring > mine.yaml
  fumarium rehearse mine.yaml
  fumarium products add mine.yaml

` + caution.Food,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			w := cmd.OutOrStdout()
			if show != "" && asJSON {
				return usage("--show prints the file as it is; leave out --json")
			}
			if show != "" {
				data, err := shownFile(state, show)
				if err != nil {
					return couldNot(err)
				}
				_, err = fmt.Fprintf(quantity.Raw(w), "%s\n%s", caution.Marked("# ", "# ", caution.Food), data)
				return couldNot(err)
			}
			entries, err := catalog.All()
			if err != nil {
				return couldNot(err)
			}
			list, bad, err := ownProducts(state)
			if err != nil {
				return couldNot(err)
			}
			for _, text := range bad {
				fmt.Fprintln(cmd.ErrOrStderr(), shown(text))
			}
			for _, e := range entries {
				list = append(list, listed(e.Key, e.Value))
			}
			if asJSON {
				return couldNot(printJSON(w, list))
			}
			t := newTable(w)
			fmt.Fprintln(t, "name\tproduct\tbatch\tcore target\tstages")
			for _, l := range list {
				target := quantity.Nothing
				if l.TargetCelsius != nil {
					target = quantity.Celsius(*l.TargetCelsius).String()
				}
				name := l.Product
				if l.Own {
					name = shown(name) + " (own)"
				}
				fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%d\n", l.Name, name, quantity.Kilograms(l.BatchKilograms), target, len(l.Stages))
			}
			fmt.Fprintln(t, "\nThe shipped ones come from the kitchen of an invented farm; each file says where its limits are from.")
			return couldNot(t.Flush())
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	c.Flags().StringVar(&show, "show", "", "print the file of the product with this `NAME`")
	c.Flags().StringVar(&state, "state", "", "`DIR` of the state, with your own products (default: "+stateHint+")")
	c.AddCommand(newCommand(), addCommand(), removeCommand())
	return c
}

func listed(key string, p *profile.Product) listedProduct {
	l := listedProduct{Name: key, Product: p.Name, Source: p.Source, BatchKilograms: float64(p.Formula.Mass()), Stages: []string{}}
	for _, s := range p.Stages {
		l.Stages = append(l.Stages, s.Name)
	}
	if p.Targets.HasCore {
		v := float64(p.Targets.Core)
		l.TargetCelsius = &v
	}
	return l
}
