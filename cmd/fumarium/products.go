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
}

func productsCommand() *cobra.Command {
	var asJSON bool
	var show string
	c := &cobra.Command{
		Use:   "products",
		Short: "List the shipped products",
		Long: `Lists the products that come with fumarium. Any of them can be rehearsed and
started by its name. To make one your own, print its file, change it and check it:

  fumarium products --show marjoram-ring > mine.yaml
  fumarium check mine.yaml
  fumarium rehearse mine.yaml

` + caution.Food,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			w := cmd.OutOrStdout()
			if show != "" && asJSON {
				return usage("--show prints the file as it is; leave out --json")
			}
			if show != "" {
				entry, err := catalog.Find(show)
				if err != nil {
					return couldNot(err)
				}
				_, err = fmt.Fprintf(quantity.Raw(w), "%s\n%s", caution.Marked("# ", "# ", caution.Food), entry.Data)
				return couldNot(err)
			}
			entries, err := catalog.All()
			if err != nil {
				return couldNot(err)
			}
			list := make([]listedProduct, len(entries))
			for i, e := range entries {
				list[i] = listed(e.Key, e.Value)
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
				fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%d\n", l.Name, l.Product, quantity.Kilograms(l.BatchKilograms), target, len(l.Stages))
			}
			fmt.Fprintln(t, "\nAll come from the kitchen of an invented farm; each file says where its limits are from.")
			return couldNot(t.Flush())
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	c.Flags().StringVar(&show, "show", "", "print the file of the product with this `NAME`")
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
