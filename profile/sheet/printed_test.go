package sheet

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"fumarium/profile/quantity"
)

// What the sheet prints can be typed in again and says the same.
func TestPrintedMassesCanBeReadAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := quantity.Kilograms(rapid.Float64Range(0, 0.6).Draw(t, "mass"))
		if rapid.Bool().Draw(t, "large") {
			m = quantity.Kilograms(rapid.Float64Range(0, 1000).Draw(t, "large mass"))
		}
		const ounce = 0.028349523125
		for _, c := range []struct {
			text string
			half float64 // kg, of the last digit
		}{
			{metric(m, false), 0.5e-3}, {metric(m, true), 0.5e-3}, {imperial(m), 0.05 * ounce}, {m.String(), 0.5e-3},
		} {
			if m < 1 && c.half == 0.5e-3 {
				c.half = 0.05e-3
			}
			got, err := quantity.ParseMass(c.text)
			if err != nil {
				t.Fatalf("%q: %v", c.text, err)
			}
			if d := math.Abs(float64(got - m)); d > c.half*1.000001+1e-9*float64(m) {
				t.Fatalf("%v is printed as %q and read as %v", float64(m), c.text, float64(got))
			}
			if imperial(got) != c.text && c.text == imperial(m) {
				t.Fatalf("%q is printed again as %q", c.text, imperial(got))
			}
		}
		r := quantity.Ratio(rapid.Float64Range(0, 1).Draw(t, "ratio"))
		got, err := quantity.ParseRatio(strength(r))
		if err != nil || math.Abs(float64(got-r)) > 0.5e-5*1.000001 {
			t.Fatalf("%v is printed as %q and read as %v: %v", float64(r), strength(r), float64(got), err)
		}
	})
}
