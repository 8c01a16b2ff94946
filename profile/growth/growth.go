// Package growth bounds from above how far bacteria can have grown in food that was warm:
// what a second cook must kill as well. It predicts no growth that a batch could be released
// by. Every figure errs to more: there is no lag, no salt, nitrite, acid or competitor slows
// it, and the fastest doubling is one that was published for a rich medium at its best
// temperature.
//
// The course over the temperature is the cardinal temperature model of Rosso, Lobry and
// Flandrois, "An unexpected correlation between cardinal temperatures of microbial growth
// highlighted by a new model", J. Theor. Biol. 162 (1993), 447-463; the formula is from
// memory, and so are all figures of the organisms.
package growth

import (
	"math"
	"time"

	"fumarium/profile/quantity"
)

// An Organism is one kind of bacterium with the temperatures between which it grows, the one
// at which it is fastest, and how long it takes to double there.
type Organism struct {
	Name              string
	Min, Optimum, Max quantity.Celsius
	Doubling          time.Duration
}

// The limits of growth are those of the FDA's fish guide, appendix 4, table A-1 (from
// memory), widened where others print a wider one; the doublings are rounded down from the
// shortest in print (from memory: 7.1 min for C. perfringens in ground beef at 41 °C, about
// 18 min for Salmonella and 17 min for S. aureus in broth).
var (
	ClostridiumPerfringens = Organism{Name: "Clostridium perfringens", Min: 10, Optimum: 45, Max: 52, Doubling: 7 * time.Minute}
	Salmonella             = Organism{Name: "Salmonella", Min: 5, Optimum: 40, Max: 48, Doubling: 16 * time.Minute}
	StaphylococcusAureus   = Organism{Name: "Staphylococcus aureus", Min: 6, Optimum: 40, Max: 50, Doubling: 15 * time.Minute}
)

// Fastest is the growth at the best temperature, in log10 an hour.
func (o Organism) Fastest() float64 { return math.Log10(2) / o.Doubling.Hours() }

// Rate is the growth at a temperature, in log10 an hour: nothing outside of Min to Max.
func (o Organism) Rate(t quantity.Celsius) float64 {
	if t <= o.Min || t >= o.Max {
		return 0
	}
	low, best, high := float64(t-o.Min), float64(o.Optimum-o.Min), float64(t-o.Optimum)
	part := float64(t-o.Max) * low * low / (best * (best*high - float64(o.Optimum-o.Max)*float64(o.Optimum+o.Min-2*t)))
	return part * o.Fastest()
}

// Between is the fastest growth at any temperature from low to high, in log10 an hour.
func (o Organism) Between(low, high quantity.Celsius) float64 {
	if low <= o.Optimum && o.Optimum <= high {
		return o.Fastest()
	}
	return max(o.Rate(low), o.Rate(high)) // it has one peak
}
