package lethality

import "fumarium/profile/quantity"

// MostShown is the largest log reduction that is shown to people or programs. A
// long cook counts into the thousands; beyond this the figure is arithmetic on a
// straight line that nobody has measured so far down, and no claim. Nothing asks
// for more.
const MostShown = 20.0

// Shown caps a log reduction, and reports whether it did.
func Shown(log10 float64) (float64, bool) { return min(log10, MostShown), log10 > MostShown }

// Text writes what Shown gave, without the unit.
func Text(shown float64, capped bool, digits int) string {
	if capped {
		return "more than " + quantity.Fixed(shown, 0)
	}
	return quantity.Fixed(shown, digits)
}
