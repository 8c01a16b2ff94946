package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"fumarium/profile"
	"fumarium/profile/lint"
	"fumarium/profile/portion"
	"fumarium/profile/quantity"
	"fumarium/profile/sheet"
	"fumarium/profile/source"
)

func sheetCommand() *cobra.Command {
	var meat, where, form, taken string
	var asJSON, total bool
	c := &cobra.Command{
		Use:   "sheet PRODUCT",
		Short: "Print the make sheet: what to weigh, the cure's verdict, the steps by hand",
		Long: `Scales a product's formula to the meat in hand and prints a sheet to hang on the
wall: what to weigh out, whether nitrite, erythorbate, salt, water, fat and binder
are within their limits, with the arithmetic, the steps by hand, the rest, and the
stages of the chamber.

The limits are those of the place that the product names (jurisdiction:), or else of
--jurisdiction: US, EU, UK, Canada or "Australia/New Zealand". The others are shown
beside it, and deploy/rules.md has all of them with their texts. --total-formulation
judges by those of Canada, whatever place the product names. A verdict here is an aid: for food that is sold, a process authority
and the local inspector decide.

--form FILE also writes the sheet as a form (CSV, for any spreadsheet): fill in what the
scale shows and the lots. --taken FILE reads it again before anything is mixed: what is off
the sheet for the meat that was weighed, and the formula as it was weighed against the same
limits. Then hand it in with fumarium start --taken FILE, or fumarium weigh --form FILE.

Exit status: 0 within the limits, 1 not, 2 usage, 3 a file could not be read.`,
		Example: `  fumarium sheet marjoram-ring --meat 5kg
  fumarium sheet my-sausage.yaml --meat "11 lb 4 oz" | lpr
  fumarium sheet marjoram-ring --meat 5kg --form ring.csv
  fumarium sheet marjoram-ring --taken ring.csv`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := sheet.Options{}
			if total {
				o.Where = profile.Canada
			}
			place, err := placeOf(where)
			if err != nil {
				return err
			}
			if meat != "" {
				if o.Meat, err = quantity.ParseMass(meat); err != nil {
					return usage("--meat %s: %w", meat, err)
				}
				if !(o.Meat >= portion.Least && o.Meat <= portion.Most) {
					return usage("--meat %s is outside %v to %v", meat, portion.Least, portion.Most)
				}
			}
			if taken != "" {
				return runTaken(args[0], taken, o, place, asJSON, cmd.OutOrStdout())
			}
			if form != "" {
				if err := newForm(args[0], form, o.Meat); err != nil {
					return err
				}
			}
			return runSheet(args[0], o, place, asJSON, cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&meat, "meat", "", "`MASS` of meat in hand, such as 5kg or \"11 lb 4 oz\" (default: as the product has it)")
	c.Flags().StringVar(&form, "form", "", "also write the sheet as a form to fill in, into a new `FILE` (CSV)")
	c.Flags().StringVar(&taken, "taken", "", "judge what was weighed by the form in `FILE`")
	c.MarkFlagsMutuallyExclusive("form", "taken")
	c.MarkFlagsMutuallyExclusive("meat", "taken")
	jurisdictionFlag(c, &where)
	defer c.MarkFlagsMutuallyExclusive("total-formulation", "jurisdiction")
	c.Flags().BoolVar(&total, "total-formulation", false, "judge by the rules of Canada, which reckon the cure on the whole batch, whatever place the product names")
	c.Flags().BoolVar(&asJSON, "json", false, "print the sheet as JSON")
	return c
}

func runSheet(product string, o sheet.Options, place profile.Jurisdiction, asJSON bool, w io.Writer) error {
	p, err := findProduct(product)
	if err != nil {
		return err
	}
	if o.Where == profile.NoJurisdiction {
		o.Where = p.Where(place)
	}
	s := sheet.Make(p, o)
	var grave source.Findings // beside the formula; no batch is started with them
	for _, f := range lint.Product(p, "", lint.Cabinet{Where: place}) {
		if f.Severity == source.Error {
			grave = append(grave, f)
		}
	}
	s.Findings = append(grave[:len(grave):len(grave)], s.Findings...)
	if asJSON {
		err = printJSON(w, s)
	} else {
		_, err = fmt.Fprint(quantity.Raw(w), s.TextIn(quantity.UnitsOf(w)))
		for _, f := range grave {
			fmt.Fprintf(w, "\nerror: %s\n", shown(f.Error()))
		}
	}
	if err != nil {
		return couldNot(err)
	}
	if !s.Pass() || hasErrors(s.Findings) {
		return &failure{exitBad, errSaid}
	}
	return nil
}
