package sheet

import (
	"fmt"

	"fumarium/profile"
	"fumarium/profile/fish"
	"fumarium/profile/formula"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// fish says what the rules for fish ask besides the formula and the cooking, and what of
// it is shown.
func (s Sheet) fish(w *wall) {
	p := s.product
	if p.Species != profile.Fish {
		return
	}
	w.heading("THE FISH, ITS SALT AND ITS KEEPING")
	w.par("   ", fmt.Sprintf("The fish is judged as %s.", p.FishKind()))
	w.par("   ", fmt.Sprintf("Brine: %v or colder at the start; what takes longer than %s lies at %v or colder (%s). After dry salting it goes back to %v or colder at once (%s).",
		fish.BrinedAt, quantity.FormatDuration(fish.BrineShort), fish.ThenBrinedAt, fish.BrineSource, fish.ThenBrinedAt, fish.BrineSource))
	if p.Process == profile.ColdSmoked {
		w.par("   ", "In the chamber: "+fish.Ways()+", drying counted in.")
	}
	rules := proof.RulesOf(p, s.verdict.Where, 0)
	v := proof.Judge(&rules, &proof.Claim{}, false)
	for _, r := range []proof.Rule{proof.RawFish, proof.Keeping} {
		w.par("   "+pad(r.String(), 11), v[r].Answer.String()+": "+v[r].Why)
	}
	salt := formula.FishSaltOf(p)
	w.par("   ", fmt.Sprintf("Salt in the water of the finished loin, from an analysis: 100 × salt / (salt + water). At 65 %% of water, %s %% takes %s %% of salt. Write it into the file as fish: {loin: {salt: ..., water: ...}}.",
		fixed(float64(salt.Wanted)*100, 1), fixed(65*float64(salt.Wanted)/(1-float64(salt.Wanted)), 2)))
	w.par("   ", fmt.Sprintf("From the end of the smoking on it is kept at %v or colder, and its label says so (%s).", fish.StoredAt, fish.StorageSource))
}
