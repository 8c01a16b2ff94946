package formula

import (
	"fmt"

	"fumarium/profile/ferment"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// fermentedSalt holds the salt of fermented sausage against what Canada asks. Of the other
// places none is known here, and there it is advice.
func (j *judging) fermentedSalt() {
	if j.Where == ca && !j.Cured {
		j.find(source.Error, "ferment-uncured", fmt.Sprintf("there is no nitrite in it; against Clostridium botulinum fermented sausage wants %d ppm of nitrite and nitrate, besides its salt (%s)", ferment.LeastCurePPM, ferment.LeastSaltSource),
			"cure it")
	}
	salt := quantity.Ratio(0)
	if j.Total > 0 {
		salt = quantity.Ratio(j.f.SaltMass() / j.Total)
	}
	if float64(salt) >= float64(ferment.LeastSalt)-percentSlack/100 {
		return
	}
	severity := source.Warning
	if j.Where == ca {
		severity = source.Error
	}
	need := j.Total * quantity.Kilograms(ferment.LeastSalt)
	j.find(severity, "ferment-salt", fmt.Sprintf("salt is %s %% of the raw batch; against Clostridium botulinum fermented sausage wants %v, besides its nitrite (%s)",
		decimals(float64(salt)*100, 2), ferment.LeastSalt, ferment.LeastSaltSource), fmt.Sprintf("put in at least %s more salt", tenths((need-j.f.SaltMass())/quantity.Kilograms(1-ferment.LeastSalt))))
}
