package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/profile/sheet"
	"fumarium/profile/weighed"
)

// newForm writes the make sheet as a form. A form that is there may be filled in.
func newForm(product, file string, meat quantity.Kilograms) error {
	p, err := findProduct(product)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(file, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if errors.Is(err, os.ErrExist) {
		return usage("%s is there already, and may be filled in; name another file", file)
	} else if err != nil {
		return couldNot(err)
	}
	return couldNot(errors.Join(weighed.WriteForm(f, p, meat), f.Close()))
}

// takenBy is what was weighed by a form that was filled in.
func takenBy(p *profile.Product, file string, where profile.Jurisdiction) (*weighed.Tally, string, error) {
	data, err := readFile(file)
	if err != nil {
		return nil, "", err
	}
	entries, err := weighed.ReadForm(file, data, p)
	if err != nil {
		return nil, "", couldNot(err)
	}
	t := weighed.Of(p, where, entries)
	return &t, string(data), nil
}

// takenSheet is `sheet --taken --json`.
type takenSheet struct {
	*weighed.Tally
	Bad     bool        `json:"bad"`
	Formula string      `json:"formula"` // the answer of the rule
	Why     string      `json:"why"`
	Sheet   sheet.Sheet `json:"as_weighed"`
}

func runTaken(product, file string, o sheet.Options, place profile.Jurisdiction, asJSON bool, w io.Writer) error {
	p, err := findProduct(product)
	if err != nil {
		return err
	}
	if o.Where == profile.NoJurisdiction {
		o.Where = p.Where(place)
	}
	t, _, err := takenBy(p, file, o.Where)
	if err != nil {
		return err
	}
	rules := proof.RulesOf(t.Product, o.Where, 0)
	rules.Where = o.Where
	v := proof.Judge(&rules, &proof.Claim{}, false)
	t.Amend(&v)
	_, bad := t.Bad()
	if asJSON {
		err = printJSON(w, takenSheet{t, bad, v[proof.Formula].Answer.String(), v[proof.Formula].Why, sheet.Make(t.Product, o)})
	} else {
		err = printTaken(w, t)
		fmt.Fprintf(w, "formula   %s: %s\n", v[proof.Formula].Answer, shown(v[proof.Formula].Why))
		if bad {
			fmt.Fprintln(w, cureRemedy)
		}
	}
	if err != nil {
		return couldNot(err)
	}
	if bad {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// printTaken lists what was weighed beside its sheet, and what is off.
func printTaken(w io.Writer, t *weighed.Tally) error {
	of := "the meat as the product has it"
	if t.OfMeat {
		of = fmt.Sprintf("the %v of meat that were weighed", quantity.Kilograms(t.MeatKg))
	}
	fmt.Fprintf(w, "held against the sheet for %s\n", of)
	table := newTable(w)
	fmt.Fprintln(table, "\tsheet\tweighed\tlots")
	for _, i := range t.Items {
		taken, mark := "not weighed", ""
		if i.TakenKg != nil {
			taken = quantity.Kilograms(*i.TakenKg).String()
		}
		if i.Off {
			mark = " OFF"
		}
		fmt.Fprintf(table, "%s\t%v\t%s%s\t%s\n", shown(i.Name), quantity.Kilograms(i.SheetKg), taken, mark, shown(lotsOf(i.Portions)))
	}
	fmt.Fprintf(table, "%s\t\t\t%s\n", weighed.Casing, shown(lotsOf(t.Casing)))
	if err := table.Flush(); err != nil {
		return err
	}
	for _, text := range t.Deviations {
		fmt.Fprintf(w, "DEVIATION %s\n", shown(text))
	}
	return nil
}

func lotsOf(list []weighed.Portion) string {
	if len(list) == 0 {
		return "not known"
	}
	return portions(list)
}
