package weighed

import (
	"fmt"
	"math"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// uptake says what the meat took up of its pickle, hung against as it went in, beside what
// the formula reckons with; nothing where the one or the other was not weighed, or the
// formula reckons with none. What runs out until it hangs is taken off, as it must be.
func (t *Tally) uptake(p *profile.Product) {
	f := &p.Formula.Pickle
	if len(f.Items) == 0 || f.LongCure || !(f.Uptake > 0) || t.HungKg == nil {
		return
	}
	before := t.MeatKg
	switch {
	case t.OfMeat:
	case t.RawKg != nil && *t.RawKg > 0:
		before = *t.RawKg
	default:
		return
	}
	share := quantity.Ratio(*t.HungKg/before - 1)
	t.Uptake = fmt.Sprintf("pickle: %v of meat hung with %v, %s %% taken up, and the formula reckons with %s %%",
		quantity.Kilograms(before), quantity.Kilograms(*t.HungKg), quantity.Fixed(float64(share)*100, 1), quantity.Fixed(float64(f.Uptake)*100, 1))
	if math.Abs(float64(share-f.Uptake)) <= tooFar*float64(f.Uptake) {
		return
	}
	t.Deviations = append(t.Deviations, t.Uptake+": salt and cure in it differ by as much")
	if share > 0 && f.Pump == 0 { // of two ways it is not known which gave more
		t.Product.Formula.Pickle.Uptake = share
		t.cured = true
	}
}
