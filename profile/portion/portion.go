// Package portion rewrites a product file for another mass of meat: the masses of its
// formula change in proportion, and not a byte besides. What comes out is a product file
// like any other, so that what is weighed, rehearsed, started and recorded is one thing.
package portion

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
)

// The meat that a file is rewritten for; common practice, no source.
const (
	Least quantity.Kilograms = 0.1
	Most  quantity.Kilograms = 500
)

// digits are those that a mass is written with: it is then off by 1 in 20,000 at most, less
// than any scale in a kitchen tells.
const digits = 5

// mass is one in a file: the key, what stands between, and the quantity up to the end of
// the line, the next key or the bracket.
var mass = regexp.MustCompile(`(\bmass:[ \t]+)("[^"\n]*"|'[^'\n]*'|[^,}#\n]*[^,}#\s])`)

// ParseMeat reads a mass of meat in hand.
func ParseMeat(text string) (quantity.Kilograms, error) {
	meat, err := quantity.ParseMass(text)
	if err != nil {
		return 0, err
	}
	if !(meat >= Least && meat <= Most) {
		return 0, fmt.Errorf("%v of meat is outside %v to %v", meat, Least, Most)
	}
	return meat, nil
}

// File is the file of a product for another mass of meat. It fails where the file says its
// masses in a way that is not understood here: then nothing is changed in silence.
func File(name string, data []byte, meat quantity.Kilograms) (*profile.Product, []byte, error) {
	p, err := profile.Parse(name, data)
	if err != nil {
		return nil, nil, err
	}
	green := p.Formula.MeatMass()
	if !(green > 0) || !(meat >= Least && meat <= Most) {
		return nil, nil, fmt.Errorf("%s cannot be made for %v of meat", p.Name, meat)
	}
	if meat == green {
		return p, data, nil
	}
	by := float64(meat / green)
	var unread error
	lines := strings.SplitAfter(string(data), "\n")
	for i, line := range lines {
		said, comment := cutComment(line)
		said = mass.ReplaceAllStringFunc(said, func(found string) string {
			part := mass.FindStringSubmatch(found)
			kg, err := quantity.ParseMassOrSpoons(strings.Trim(part[2], `"'`))
			if err != nil {
				unread = errors.Join(unread, err)
				return found
			}
			return part[1] + text(float64(kg)*by)
		})
		lines[i] = said + comment
	}
	if unread != nil {
		return nil, nil, fmt.Errorf("%s cannot be made for %v of meat: %w; change its masses in the file", p.Name, meat, unread)
	}
	changed := []byte(strings.Join(lines, ""))
	scaled, err := profile.Parse(name, changed)
	if err != nil {
		return nil, nil, fmt.Errorf("for %v of meat: %w", meat, err)
	}
	if err := same(scaled.Formula, formula.Scale(p.Formula, meat)); err != nil {
		return nil, nil, fmt.Errorf("%s cannot be made for %v of meat: %w; change its masses in the file", p.Name, meat, err)
	}
	return scaled, changed, nil
}

// cutComment parts a line from its comment, which begins with a # after white space.
func cutComment(line string) (said, comment string) {
	quoted := rune(0)
	before := ' '
	for i, r := range line {
		switch {
		case quoted != 0:
			if r == quoted {
				quoted = 0
			}
		case r == '#' && (before == ' ' || before == '\t'):
			return line[:i], line[i:]
		case (r == '"' || r == '\'') && strings.ContainsRune(" \t{[,:", before):
			quoted = r
		}
		before = r
	}
	return line, ""
}

// text writes a mass as a scale shows it.
func text(kg float64) string {
	v, unit := kg, " kg"
	if kg < 1 {
		v, unit = kg*1000, " g"
	}
	return strconv.FormatFloat(round(v), 'f', -1, 64) + unit
}

func round(v float64) float64 {
	if v == 0 {
		return 0
	}
	times := math.Pow(10, float64(digits)-1-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*times) / times
}

// same reports where two formulas differ by more than the rounding.
func same(got, want profile.Formula) error {
	const slack = 2e-4
	near := func(a, b quantity.Kilograms) bool {
		return math.Abs(float64(a-b)) <= slack*math.Max(math.Abs(float64(b)), 1e-9)
	}
	masses := func(f profile.Formula) (all []quantity.Kilograms) {
		for _, m := range f.Cut {
			all = append(all, m.Mass)
		}
		for _, c := range f.AllCures() {
			all = append(all, c.Mass)
		}
		for _, i := range append(f.Other[:len(f.Other):len(f.Other)], f.Pickle.Items...) {
			all = append(all, i.Mass)
		}
		return all
	}
	a, b := masses(got), masses(want)
	if len(a) != len(b) {
		return errors.New("it would have other ingredients")
	}
	for i := range a {
		if !near(a[i], b[i]) {
			return fmt.Errorf("%v would become %v instead of %v", b[i]/want.MeatMass()*got.MeatMass(), a[i], b[i])
		}
	}
	return nil
}
