package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

func TestDriftIsOfOneProductInOneCabinetAndRoom(t *testing.T) {
	c := &cabinet.Cabinet{Name: "box", Learned: cabinet.Learned{FanOff: cabinet.Response{Gain: 200}}}
	of := heldOf(c)
	// Figures scatter by a hundredth or two about the ratio.
	figures := func(of string, n int, ratio float64, room quantity.Celsius) (all []HeldFigure) {
		for i := range n {
			all = append(all, HeldFigure{Of: of, Ratio: ratio * (1 + 0.01*float64(i%3)), Room: room})
		}
		return all
	}
	join := func(lists ...[]HeldFigure) (all []HeldFigure) {
		for _, l := range lists {
			all = append(all, l...)
		}
		return all
	}
	ring, ham := of+"ring", of+"ham"
	for what, one := range map[string]struct {
		all  []HeldFigure
		want Drift
	}{
		"none":                     {nil, Drift{}},
		"too few":                  {figures(ring, 9, 1, 15), Drift{}},
		"the same":                 {figures(ring, 10, 1, 15), Drift{Ratio: 1}},
		"more":                     {join(figures(ring, 5, 1, 15), figures(ring, 5, 1.3, 15)), Drift{1.3, true}},
		"less":                     {join(figures(ring, 5, 1, 15), figures(ring, 5, 0.8, 15)), Drift{0.8, true}},
		"within a seventh":         {join(figures(ring, 5, 1, 15), figures(ring, 5, 1.14, 15)), Drift{Ratio: 1.14}},
		"two of five":              {join(figures(ring, 8, 1, 15), figures(ring, 2, 1.3, 15)), Drift{Ratio: 1.01}},
		"another season":           {join(figures(ring, 5, 1, 5), figures(ring, 5, 1.3, 25)), Drift{}},
		"the season of the year":   {join(figures(ring, 5, 1, 5), figures(ring, 5, 1.3, 25), figures(ring, 5, 1, 5)), Drift{Ratio: 1}},
		"other products":           {join(figures(ring, 5, 1, 15), figures(ham, 5, 1.3, 15)), Drift{}},
		"the latest of enough":     {join(figures(ham, 10, 1, 15), figures(ring, 5, 1, 15), figures(ring, 5, 1.3, 15), figures(ham, 1, 1, 15)), Drift{Ratio: 1}},
		"of which there is enough": {join(figures(ring, 5, 1, 15), figures(ring, 5, 1.3, 15), figures(ham, 3, 1, 15)), Drift{1.3, true}},
		"another cabinet":          {join(figures("other/ring", 5, 1, 15), figures("other/ring", 5, 1.3, 15)), Drift{}},
		"scattered":                {[]HeldFigure{{ring, 1, 15}, {ring, 1.4, 15}, {ring, 1, 15}, {ring, 1.4, 15}, {ring, 1, 15}, {ring, 1.4, 15}, {ring, 1, 15}, {ring, 1.4, 15}, {ring, 1, 15}, {ring, 1.4, 15}}, Drift{Ratio: 1.4}},
	} {
		got := DriftOf(c, one.all)
		assert.InDelta(t, one.want.Ratio, got.Ratio, 0.015, what)
		assert.Equal(t, one.want.Beyond, got.Beyond, what)
	}
	p := &profile.Product{Name: "Ring", Stages: []profile.Stage{{Heat: true, ChamberSetpoint: 62.5, Damper: 0.25, Smoke: true}, {Name: "chill"}}}
	assert.Equal(t, "\"box\" learned 200 K 0s 0s 0s, 0 K 0s 0s 0s; 0 W of 0 K, smoke 0 W; ambient 0 °C false; vent 0 m² 0 m³/s 0 m\n\"Ring\"; 62.5 °C fan 0 damper 0.25 smoke true", of+heldIn(p))
	anew := *c
	anew.Learned.FanOff.Gain = 200.1
	assert.Equal(t, Drift{}, DriftOf(&anew, join(figures(ring, 5, 1, 15), figures(ring, 5, 1.3, 15))), "it has learned anew")
	assert.Equal(t, Drift{}, DriftOf(&cabinet.Cabinet{Name: "box"}, figures("", 10, 1, 15)), "it has never learned")
}
