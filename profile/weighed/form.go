package weighed

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
)

// header is the first line of a form.
var header = []string{"what", "sheet", "weighed", "lot"}

// mostForm bounds a form, in bytes: some hundred lines are a few thousand.
const mostForm = 64 << 10

// WriteForm writes the make sheet as a form to fill in: what was weighed, and of which lot.
// Meat of zero takes the amounts as the product has them.
func WriteForm(w io.Writer, p *profile.Product, meat quantity.Kilograms) error {
	f := apart(p.Formula)
	if meat > 0 {
		f = apart(formula.Scale(f, meat))
	}
	out := csv.NewWriter(w)
	rows := [][]string{header}
	for _, s := range slots(&f) {
		rows = append(rows, []string{s.name, s.mass.String(), "", ""})
	}
	rows = append(rows, []string{Casing, "", "", ""}, []string{Raw, "", "", ""}, []string{Hung, "", "", ""})
	if err := out.WriteAll(rows); err != nil {
		return err
	}
	return out.Error()
}

// ReadForm reads a form that was filled in. Lines with neither weight nor lot say nothing.
// A line may stand again, for another lot of the same.
func ReadForm(file string, data []byte, p *profile.Product) ([]Entry, error) {
	if len(data) > mostForm {
		return nil, fmt.Errorf("%s: a form has at most %d bytes and this has %d; is it the right file?", file, mostForm, len(data))
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	in := csv.NewReader(bytes.NewReader(data))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	first, _, _ := bytes.Cut(data, []byte("\n"))
	if bytes.Contains(first, []byte(";")) { // as spreadsheets write it where a comma is decimal
		in.Comma = ';'
	}
	var entries []Entry
	for n := 0; ; n++ {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			if n == 0 {
				return nil, fmt.Errorf("%s: it is empty; write one with fumarium sheet PRODUCT --form FILE", file)
			}
			return entries, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w; write it as CSV", file, err)
		}
		line, _ := in.FieldPos(0)
		if n == 0 {
			if !strings.EqualFold(strings.Join(row, ","), strings.Join(header, ",")) {
				return nil, fmt.Errorf("%s:%d: the first line is %q; a form begins with %q", file, line, strings.Join(row, ","), strings.Join(header, ","))
			}
			continue
		}
		e, filled, err := readLine(row, p)
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", file, line, err)
		}
		if filled {
			entries = append(entries, e)
		}
	}
}

func readLine(row []string, p *profile.Product) (e Entry, filled bool, err error) {
	if len(row) != len(header) {
		return e, false, fmt.Errorf("%d columns, and a form has %d: %s; put what has a comma into quotes", len(row), len(header), strings.Join(header, ", "))
	}
	mass, lot := strings.TrimSpace(row[2]), strings.TrimSpace(row[3])
	if mass == "" && lot == "" {
		return e, false, nil
	}
	e.What, err = Find(p, row[0])
	if err == nil {
		e, err = Read(e.What, mass, lot)
	}
	return e, true, err
}

// The most that one weight and one lot may be; common practice, no source.
const (
	mostMass = quantity.Kilograms(1000)
	mostLot  = 80
)

// Read makes an entry of what a person said of a thing by its whole name: a mass, a lot, or
// both.
func Read(name, mass, lot string) (e Entry, err error) {
	e = Entry{What: name, Lot: strings.TrimSpace(lot)}
	switch {
	case mass == "" && e.Lot == "":
		return e, fmt.Errorf("%s: say what it weighs, such as 3.5kg, or its lot", name)
	case len(e.Lot) > mostLot:
		return e, fmt.Errorf("%s: the lot has %d bytes, and may have %d; shorten it", name, len(e.Lot), mostLot)
	case mass == "":
		if name == Raw || name == Hung || name == Cooked || name == Packed {
			return e, fmt.Errorf("%s is a weight of the batch, and has no lot; say what it weighs", name)
		}
		return e, nil
	case e.Lot != "" && (name == Raw || name == Hung || name == Cooked || name == Packed):
		return e, fmt.Errorf("%s is a weight of the batch, and has no lot; name an ingredient or the %s", name, Casing)
	}
	if e.Mass, err = quantity.ParseMass(mass); err != nil {
		return e, fmt.Errorf("%s: %w", name, err)
	}
	e.Known = true
	if !(e.Mass >= 0 && e.Mass <= mostMass) {
		return e, fmt.Errorf("%s: %v is outside 0 to %v; check the unit", name, e.Mass, mostMass)
	}
	return e, nil
}
