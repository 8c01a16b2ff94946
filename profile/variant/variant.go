// Package variant makes one product file of another by a few changes in words, such as
// "salt: 1.7 %" or "cook.chamber: 78 °C". All else stays as it is written. What differs it
// tells by comparing the products, not by what was asked for.
package variant

import (
	"errors"
	"fmt"
	"strings"

	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Of changes a product file and reads it again. A change is KEY: VALUE. The key is an
// ingredient, whose value is a mass or a percentage of the meat; or a stage, a dot, and a key
// of it or of its until; or any other path of keys with dots between.
func Of(file string, data []byte, changes []string) ([]byte, *profile.Product, error) {
	p, err := profile.ParseRecorded(file, data)
	if err != nil {
		return nil, nil, err
	}
	for _, change := range changes {
		key, value, ok := strings.Cut(change, ":")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		if !ok || key == "" || value == "" {
			return nil, nil, fmt.Errorf("%q is no change; write what and how, such as: salt: 1.7 %%", change)
		}
		changed, err := one(file, data, p, key, value)
		if err != nil {
			return nil, nil, fmt.Errorf("change %q: %w", change, err)
		}
		if p, err = profile.Parse(file, changed); err != nil {
			return nil, nil, fmt.Errorf("change %q: %w", change, err)
		}
		data = changed
	}
	return data, p, nil
}

// holders are where ingredients stand in a file.
var holders = [][]string{{"formula", "cut"}, {"formula", "cure"}, {"formula", "other"}, {"formula", "pickle", "items"}}

func one(file string, data []byte, p *profile.Product, key, value string) ([]byte, error) {
	for _, holder := range holders {
		wet := holder[1] == "pickle"
		mass, err := amount(p, value)
		changed, _, missing := source.Replace(file, data, mass, append(append([]string{}, holder...), key, "mass")...)
		switch {
		case errors.Is(missing, source.ErrNoKey):
			continue
		case missing != nil:
			return nil, missing
		case err != nil:
			return nil, err
		case wet && strings.HasSuffix(value, "%"):
			return nil, errors.New("a share of the meat says nothing of what is in a pickle; give its mass there")
		}
		return changed, nil
	}
	steps := strings.Split(key, ".")
	paths := [][]string{steps, append([]string{"stages"}, steps...)}
	if len(steps) == 2 {
		paths = append(paths, []string{"stages", steps[0], "until", steps[1]})
	}
	for _, path := range paths {
		changed, _, err := source.Replace(file, data, value, path...)
		if !errors.Is(err, source.ErrNoKey) {
			return changed, err
		}
	}
	var stages []string
	for _, s := range p.Stages {
		stages = append(stages, s.Name)
	}
	return nil, fmt.Errorf("%q stands nowhere in the file; name an ingredient, or a stage and its key such as %s.chamber (stages: %s)", key, stages[0], strings.Join(stages, ", "))
}

// amount is the mass that a value comes to, as a file has it.
func amount(p *profile.Product, value string) (string, error) {
	if !strings.HasSuffix(value, "%") {
		if _, err := quantity.ParseMass(value); err != nil {
			return value, err
		}
		return value, nil
	}
	share, err := quantity.ParseRatio(value)
	if err != nil {
		return value, err
	}
	if share > 1 {
		return value, fmt.Errorf("%v of the meat is more than the meat", share)
	}
	return quantity.Fixed(float64(share)*float64(p.Formula.MeatMass())*1000, 2) + " g", nil
}

// A Difference is one thing in which two products differ.
type Difference struct {
	What string `json:"what"`
	A    string `json:"a"` // empty where the product has none
	B    string `json:"b"`
}

func (d Difference) String() string {
	was, is := d.A, d.B
	if was == "" {
		was = "none"
	}
	if is == "" {
		is = "none"
	}
	return d.What + ": " + was + " → " + is
}

// Differences compares two products: what goes in, per kilogram of meat, the shape, the
// targets and the stages.
func Differences(a, b *profile.Product) []Difference {
	list := []Difference{}
	pairs := func(of string, a, b []pair) {
		in := map[string]string{}
		for _, p := range b {
			in[p.name] = p.value
		}
		for _, p := range a {
			if is := in[p.name]; is != p.value {
				list = append(list, Difference{of + p.name, p.value, is})
			}
			delete(in, p.name)
		}
		for _, p := range b {
			if is, only := in[p.name]; only {
				list = append(list, Difference{of + p.name, "", is})
			}
		}
	}
	pairs("", perKilogram(a.Formula), perKilogram(b.Formula))
	pairs("", whole(a), whole(b))
	stages := func(p *profile.Product) (names []pair) {
		for _, s := range p.Stages {
			names = append(names, pair{"stage " + s.Name, "there"})
		}
		return names
	}
	pairs("", stages(a), stages(b))
	for _, sa := range a.Stages {
		for _, sb := range b.Stages {
			if sa.Name == sb.Name {
				pairs("stage "+sa.Name+", ", keys(sa), keys(sb))
			}
		}
	}
	return list
}

type pair struct{ name, value string }

func perKilogram(f profile.Formula) (list []pair) {
	meat := f.MeatMass()
	if meat <= 0 {
		return nil
	}
	add := func(name string, m quantity.Kilograms) {
		list = append(list, pair{name, quantity.Fixed(float64(m/meat)*1000, 2) + " g to a kilogram of meat"})
	}
	for _, m := range f.Cut {
		add(m.Name, m.Mass)
	}
	for _, c := range f.AllCures() {
		add(c.Name, c.Mass)
		if c.Rest > 0 {
			list = append(list, pair{c.Name + ", rest", quantity.FormatDuration(c.Rest)})
		}
	}
	for _, i := range f.Pickle.Items {
		add(i.Name+" in the pickle", i.Mass)
	}
	for _, i := range f.Other {
		add(i.Name, i.Mass)
	}
	if f.Pickle.Uptake > 0 {
		list = append(list, pair{"uptake of the pickle", f.Pickle.Uptake.String()})
	}
	return list
}

func whole(p *profile.Product) []pair {
	s := p.Shape
	list := []pair{{"casing", s.Casing.String()}, {"thickness", (2 * s.HalfThickness()).String()}, {"process", p.Process.String()}, {"jurisdiction", p.Jurisdiction.String()}}
	if p.Targets.HasCore {
		list = append(list, pair{"core target", p.Targets.Core.String()})
	}
	if p.Targets.HasLethality {
		list = append(list, pair{"lethality target", fmt.Sprintf("%g log10", p.Targets.Lethality)})
	}
	return list
}

func keys(s profile.Stage) []pair {
	list := []pair{{"fan", s.Fan.String()}, {"smoke", map[bool]string{true: "on", false: "off"}[s.Smoke]}, {"place", s.Place.String()}, {"ends", s.Until.String()}, {"asks", s.Ask}}
	if s.Heat {
		list = append(list, pair{"chamber", s.ChamberSetpoint.String()})
	}
	if s.Ramp > 0 {
		list = append(list, pair{"ramp", s.Ramp.String()})
	}
	if s.HasHumidity {
		list = append(list, pair{"humidity", s.Humidity.String()})
	}
	if s.HasWetBulb {
		list = append(list, pair{"wet bulb", s.WetBulb.String()})
	}
	if s.HasDepression {
		list = append(list, pair{"depression", s.Depression.String()})
	}
	if s.HasNotAbove {
		list = append(list, pair{"not above", s.NotAbove.String()})
	}
	if s.HasDamper {
		list = append(list, pair{"damper", s.Damper.String()})
	}
	if s.Within > 0 {
		list = append(list, pair{"within", quantity.FormatDuration(s.Within)})
	}
	return list
}
