package formula

import "fumarium/profile"

const (
	us = profile.UnitedStates
	eu = profile.EuropeanUnion
	uk = profile.UnitedKingdom
	ca = profile.Canada
	au = profile.AustraliaNewZealand
)

const (
	chopped = "minced meat"
	pickle  = "meat pumped or laid into a pickle"
	rubbed  = "dry cured meat"
)

func minced(s subject) bool { return s.meat() && s.by(profile.Comminuted) }
func wet(s subject) bool    { return s.meat() && (s.by(profile.Pumped) || s.by(profile.Immersed)) }
func dry(s subject) bool    { return s.meat() && s.by(profile.DryRubbed) }

// baconBy is bacon by that method, with its rind or without.
func baconBy(rind profile.Class, methods ...profile.CureMethod) func(subject) bool {
	return func(s subject) bool {
		for _, m := range methods {
			if s.meat() && s.class == rind && s.by(m) {
				return true
			}
		}
		return false
	}
}

// Floors: the handbook's page 12 wants 120 ppm in anything cured that is kept cold, and
// says that 40 ppm still has some effect. Immersed and dry cured bacon "shall not exceed"
// its limit, so that less is no breach; the first has no other floor than that effect.
const (
	floorPPM  = 120
	effectPPM = 40
)

// Rules are the limits on nitrite and nitrate of every place that is known here, each
// with its text. Within a place and a kind of limit the first that covers a product holds,
// so that the stricter stands first; meat that is cured in two ways is held to the
// stricter of them (own choice). Products that no smokehouse makes, such as what is
// sterilised in its can, are left out.
var Rules = []Rule{
	// Bacon: pumped or massaged "shall be used at 120 ppm", no more and no less; immersed
	// and dry cured "shall not exceed". 148 and 246 ppm of potassium nitrite are the same
	// as 120 and 200 of sodium nitrite.
	{us, "bacon, pumped", NitriteAsSodium, Ingoing, GreenWeight, at(120), at(120), cfrBacon, "read 2026", Quoted, baconBy(profile.Bacon, profile.Pumped)},
	{us, "bacon with its rind (10 % less), pumped", NitriteAsSodium, Ingoing, GreenWeight, at(120 * rindOn), at(120 * rindOn), cfrBacon, "read 2026", Quoted, baconBy(profile.RindOnBacon, profile.Pumped)},
	{us, "bacon, immersed", NitriteAsSodium, Ingoing, GreenWeight, at(120), at(effectPPM), cfrBacon, "read 2026", Quoted, baconBy(profile.Bacon, profile.Immersed, profile.Comminuted)},
	{us, "bacon with its rind (10 % less), immersed", NitriteAsSodium, Ingoing, GreenWeight, at(120 * rindOn), at(effectPPM), cfrBacon, "read 2026", Quoted, baconBy(profile.RindOnBacon, profile.Immersed, profile.Comminuted)},
	{us, "bacon, dry cured", NitriteAsSodium, Ingoing, GreenWeight, at(200), at(floorPPM), cfrBacon, "read 2026", Quoted, baconBy(profile.Bacon, profile.DryRubbed)},
	{us, "bacon with its rind (10 % less), dry cured", NitriteAsSodium, Ingoing, GreenWeight, at(200 * rindOn), at(floorPPM * rindOn), cfrBacon, "read 2026", Quoted, baconBy(profile.RindOnBacon, profile.DryRubbed)},
	{us, "comminuted cure", NitriteSalts, Ingoing, GreenWeight, at(156), at(floorPPM), handbook, "1995", Read, minced},
	{us, "pumped or immersed cure", NitriteSalts, Ingoing, GreenWeight, at(200), at(floorPPM), handbook, "1995", Read, wet},
	{us, "dry rubbed cure", NitriteSalts, Ingoing, GreenWeight, at(625), at(floorPPM), handbook, "1995", Read, dry},
	{us, "smoked fish", NitriteSalts, Ingoing, GreenWeight, at(200), Bound{}, "21 CFR 172.175", "read 2026", Read, func(s subject) bool { return s.species == profile.Fish }},
	{us, "cured meat but bacon", NitriteAsSodium, Finished, TotalFormulation, at(200), Bound{}, cfrOther, "read 2026", Quoted, func(s subject) bool { return s.meat() && !s.bacon() }},
	{us, "bacon", NitrateSalts, Ingoing, GreenWeight, at(0), Bound{}, cfrBacon, "read 2026", Quoted, func(s subject) bool { return s.bacon() }},
	// 2 3/4 oz, 3 1/2 oz per 100 lb; 7 lb per 100 gal, of which 10 % are pumped and a gallon
	// weighs 10 lb.
	{us, chopped, NitrateSalts, Ingoing, GreenWeight, at(1718.75), Bound{}, cfrOther + ", 2 3/4 oz per 100 lb", "read 2026", Reckoned, minced},
	{us, pickle, NitrateSalts, Ingoing, GreenWeight, at(700), Bound{}, cfrOther + ", 7 lb per 100 gal, pumped at 10 %, 10 lb to the gallon", "read 2026", Reckoned, wet},
	{us, rubbed, NitrateSalts, Ingoing, GreenWeight, at(2187.5), Bound{}, cfrOther + ", 3 1/2 oz per 100 lb", "read 2026", Reckoned, dry},
	{us, "smoked fish", NitrateSalts, Ingoing, GreenWeight, at(500), Bound{}, "21 CFR 172.170", "read 2026", Read, func(s subject) bool { return s.species == profile.Fish }},
	{us, "meat cured at home", NitrateSalts, Finished, TotalFormulation, at(500), Bound{}, "21 CFR 172.170", "read 2026", Read, subject.meat},

	// The sum of all nitrite and nitrate counts, before smoking, cooking and fermenting.
	{ca, "bacon, on the total formulation", BothAsSodiumNitrite, Ingoing, TotalFormulation, at(120), at(100), canadaManual, "no date", Quoted, func(s subject) bool { return s.meat() && s.bacon() }},
	{ca, "cured meat, on the total formulation", BothAsSodiumNitrite, Ingoing, TotalFormulation, at(200), at(100), canadaManual, "no date", Quoted, subject.meat},
	{ca, "slow cured meat and dry sausage", NitrateAsPotassium, Ingoing, TotalFormulation, at(200), Bound{}, "list of permitted preservatives, copy", "no date", Quoted, slowCured},
	{ca, "other meat", NitrateAsPotassium, Ingoing, TotalFormulation, at(0), Bound{}, "list of permitted preservatives, copy: slow cured meat and dry sausage only", "no date", Quoted, subject.meat},
}

// slowCured is meat that lies in its cure, and sausage that is dried instead of cooked.
func slowCured(s subject) bool {
	return s.meat() && !s.bacon() && !s.by(profile.Pumped) && (s.by(profile.DryRubbed) || s.by(profile.Immersed) || !s.cooked)
}
