package formula

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// FishSalt is the salt in the water of fish: what is wanted, what was measured of the
// finished loin, and what the recipe would give if all salt that is put on stayed. Only
// the measured decides.
type FishSalt struct {
	Measured       bool
	Loin, Recipe   quantity.Ratio
	Wanted         quantity.Ratio // for how it is packed; in air if the file does not say
	Packed         fish.Packing
	ByNitrite      bool // packed, and its nitrite allows for less salt
	wantedInVacuum quantity.Ratio
}

// Enough reports whether the salt that was measured is.
func (s FishSalt) Enough() bool {
	return s.Measured && float64(s.Loin) >= float64(s.Wanted)-percentSlack/100
}

// FishSaltOf reckons the salt in the water of a fish product.
func FishSaltOf(p *profile.Product) FishSalt {
	loin := p.Fish.Loin
	s := FishSalt{Measured: loin.Measured, Packed: p.Fish.Packed, Recipe: ShareOf(p.Formula).WaterSalt}
	s.Loin = fish.SaltInWater(loin.Salt, loin.Water)
	kind := subject{species: p.Species, fish: p.FishKind()}
	s.wantedInVacuum = fish.PackedPercent / 100.
	if named(kind) && loin.NitritePPM >= fish.CuredFromPPM && loin.NitritePPM <= fish.CuredToPPM {
		s.wantedInVacuum, s.ByNitrite = fish.CuredPercent/100., true
	}
	s.Wanted = fish.InAirPercent / 100.
	if s.Packed == fish.InVacuum {
		s.Wanted = s.wantedInVacuum
	}
	return s
}

// fishSalt says what the salt in the water of a fish is good for.
func (j *judging) fishSalt() {
	s := FishSaltOf(j.p)
	percent := func(r quantity.Ratio) string { return decimals(float64(r)*100, 2) + " %" }
	if s.Measured {
		if !s.Enough() {
			how := "in air"
			if s.Packed == fish.InVacuum {
				how = "vacuum packed"
			}
			j.find(source.Error, "loin-salt", fmt.Sprintf("the finished loin has %s of salt in its salt and water; smoked fish %s wants %s (%s)", percent(s.Loin), how, percent(s.Wanted), fish.SaltSource),
				j.saltier(s))
		}
		return
	}
	water := j.Total * quantity.Kilograms(j.Composition.Water)
	more := func(limit quantity.Ratio) string {
		return fmt.Sprintf("see that the fish takes up at least %s more salt, or that it dries further, and have the salt and water of the finished loin measured",
			tenths(water*quantity.Kilograms(limit/(1-limit))-j.f.SaltMass()))
	}
	const packed quantity.Ratio = fish.PackedPercent / 100.
	switch {
	case s.Recipe < fish.InAirPercent/100.:
		j.find(source.Warning, "water-salt", fmt.Sprintf("salt is %s of the salt and water of the raw fish; smoked fish wants %s, vacuum packed %s (%s)",
			percent(s.Recipe), percent(fish.InAirPercent/100.), percent(packed), fish.SaltSource), more(fish.InAirPercent/100.))
	case s.Packed == fish.InVacuum:
		j.find(source.Warning, "loin-open", fmt.Sprintf("vacuum packed smoked fish wants %s of salt in the salt and water of its loin (%s); the recipe shows the salt that is put on, %s of the raw fish, and not what is in the loin", percent(packed), fish.SaltSource, percent(s.Recipe)),
			"have the salt and the water of the finished loin measured and write fish: {loin: {salt: ..., water: ...}}, or pack: air")
	case s.Recipe < packed:
		j.find(source.Note, "water-salt", fmt.Sprintf("salt is %s of the salt and water of the raw fish: not enough for vacuum packing, which wants %s (%s)",
			percent(s.Recipe), percent(packed), fish.SaltSource), more(packed))
	}
}

// saltier says how much salt the loin would have to hold at its water.
func (j *judging) saltier(s FishSalt) string {
	need := s.Wanted / (1 - s.Wanted) * j.p.Fish.Loin.Water
	text := fmt.Sprintf("at %v water the loin wants %s %% of salt: brine it longer or dry it further, and measure again", j.p.Fish.Loin.Water, decimals(float64(need)*100, 2))
	if s.Packed == fish.InVacuum && s.Loin >= fish.InAirPercent/100. {
		text += "; or pack it in air, with pack: air"
	}
	return text
}
