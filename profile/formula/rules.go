package formula

import (
	"fumarium/profile"
	"fumarium/profile/fish"
)

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

// named is fish that the texts name with the larger limit.
func named(s subject) bool { return s.oneOf(fish.Sablefish, fish.Salmon, fish.Shad) }

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
	effectPPM = profile.ProtectPPM
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
	// Nitrite is for the fish that these texts name, and for no other. They limit what is in
	// the finished fish; that no more than that goes in is own choice, the stricter reading.
	{us, "tuna, smoked and cured", NitriteAsSodium, Ingoing, GreenWeight, at(10), Bound{}, cfrFish + asMuch, "no date", Reckoned, func(s subject) bool { return s.oneOf(fish.Tuna) }},
	{us, "sablefish, salmon and shad, smoked and cured", NitriteAsSodium, Ingoing, GreenWeight, at(200), Bound{}, cfrFish + asMuch, "no date", Reckoned, named},
	{us, "chub, smoked", NitriteAsSodium, Ingoing, GreenWeight, at(200), at(100), cfrChub + asMuch, "no date", Reckoned, func(s subject) bool { return s.oneOf(fish.Chub) }},
	{us, "tuna, smoked and cured", NitriteAsSodium, Finished, TotalFormulation, at(10), Bound{}, cfrFish, "no date", Read, func(s subject) bool { return s.oneOf(fish.Tuna) }},
	{us, "sablefish, salmon and shad, smoked and cured", NitriteAsSodium, Finished, TotalFormulation, at(200), Bound{}, cfrFish, "no date", Read, named},
	{us, "chub, smoked, with 3.5 % salt in the water of its loin", NitriteAsSodium, Finished, TotalFormulation, at(200), at(100), cfrChub, "no date", Read, func(s subject) bool { return s.oneOf(fish.Chub) }},
	{us, "fish that 21 CFR 172.175 and 172.177 do not name", NitriteAsSodium, Ingoing, GreenWeight, at(0), Bound{}, cfrFish, "no date", Read, func(s subject) bool { return s.species == profile.Fish && !named(s) && !s.oneOf(fish.Tuna, fish.Chub) }},
	{us, "cured meat but bacon", NitriteAsSodium, Finished, TotalFormulation, at(200), Bound{}, cfrOther, "read 2026", Quoted, func(s subject) bool { return s.meat() && !s.bacon() }},
	{us, "bacon", NitrateSalts, Ingoing, GreenWeight, at(0), Bound{}, cfrBacon, "read 2026", Quoted, func(s subject) bool { return s.bacon() }},
	// 2 3/4 oz, 3 1/2 oz per 100 lb; 7 lb per 100 gal, of which 10 % are pumped and a gallon
	// weighs 10 lb.
	{us, chopped, NitrateSalts, Ingoing, GreenWeight, at(1718.75), Bound{}, cfrOther + ", 2 3/4 oz per 100 lb", "read 2026", Reckoned, minced},
	{us, pickle, NitrateSalts, Ingoing, GreenWeight, at(700), Bound{}, cfrOther + ", 7 lb per 100 gal, pumped at 10 %, 10 lb to the gallon", "read 2026", Reckoned, wet},
	{us, rubbed, NitrateSalts, Ingoing, GreenWeight, at(2187.5), Bound{}, cfrOther + ", 3 1/2 oz per 100 lb", "read 2026", Reckoned, dry},
	{us, "sablefish, salmon and shad, smoked and cured", NitrateAsSodium, Ingoing, GreenWeight, at(500), Bound{}, cfrNitrate + asMuch, "no date", Reckoned, named},
	{us, "cod roe", NitrateAsPotassium, Ingoing, GreenWeight, at(200), Bound{}, cfrNitrate + asMuch, "no date", Reckoned, func(s subject) bool { return s.oneOf(fish.CodRoe) }},
	{us, "sablefish, salmon and shad, smoked and cured", NitrateAsSodium, Finished, TotalFormulation, at(500), Bound{}, cfrNitrate, "no date", Read, named},
	{us, "cod roe", NitrateAsPotassium, Finished, TotalFormulation, at(200), Bound{}, cfrNitrate, "no date", Read, func(s subject) bool { return s.oneOf(fish.CodRoe) }},
	{us, "fish that 21 CFR 172.170 does not name", NitrateSalts, Ingoing, GreenWeight, at(0), Bound{}, cfrNitrate, "no date", Read, func(s subject) bool { return s.species == profile.Fish && !named(s) && !s.oneOf(fish.CodRoe) }},
	{us, "meat cured at home", NitrateSalts, Finished, TotalFormulation, at(500), Bound{}, cfrNitrate, "no date", Read, subject.meat},

	// The sum of all nitrite and nitrate counts, before smoking, cooking and fermenting.
	{ca, "bacon", BothAsSodiumNitrite, Ingoing, TotalFormulation, at(120), at(100), canadaManual, "no date", Quoted, func(s subject) bool { return s.meat() && s.bacon() }},
	{ca, "cured meat", BothAsSodiumNitrite, Ingoing, TotalFormulation, at(200), at(100), canadaManual, "no date", Quoted, subject.meat},
	{ca, "slow cured meat and dry sausage", NitrateAsPotassium, Ingoing, TotalFormulation, at(200), Bound{}, "list of permitted preservatives, copy", "no date", Quoted, slowCured},
	{ca, "other meat", NitrateAsPotassium, Ingoing, TotalFormulation, at(0), Bound{}, "list of permitted preservatives, copy: slow cured meat and dry sausage only", "no date", Quoted, subject.meat},

	// The European Union counts the ion. What it lists as traditional (08.3.4) has rows of
	// its own, 100 to 105 ppm or by what is left, and is not told apart here. That its
	// amounts are held against the green weight is own choice, the stricter reading.
	{eu, "meat products", NitriteIon, Ingoing, GreenWeight, at(80), Bound{}, "Regulation (EU) 2023/2108, 08.3.1 and 08.3.2", "from 9 October 2025", Quoted, subject.meat},
	{eu, "meat products, to the end of shelf life", NitriteIon, Residual, TotalFormulation, at(45), Bound{}, "Regulation (EU) 2023/2108", "from 9 October 2025", FromMemory, subject.meat},
	{eu, "meat products that are heated", NitrateIon, Ingoing, GreenWeight, at(0), Bound{}, "Regulation (EC) 1333/2008: nitrate only in what is not heated", "no date", FromMemory, func(s subject) bool { return s.meat() && s.heated }},
	{eu, "meat products that are not heated", NitrateIon, Residual, TotalFormulation, at(90), Bound{}, "Regulation (EU) 2023/2108; what exceeds it may be sold, and the operator looks for the cause", "from 9 October 2025", FromMemory, func(s subject) bool { return s.meat() && !s.heated }},

	{uk, "dry cured bacon", NitriteAsSodium, Residual, TotalFormulation, at(175), Bound{}, ukText, ukDate, Read, func(s subject) bool { return dry(s) && s.bacon() && !wet(s) }},
	{uk, "dry cured ham", NitriteAsSodium, Residual, TotalFormulation, at(100), Bound{}, ukText, ukDate, Read, func(s subject) bool { return dry(s) && !s.bacon() && !wet(s) }},
	{uk, "meat products", NitriteAsSodium, Ingoing, GreenWeight, at(150), Bound{}, ukText, ukDate, Read, func(s subject) bool { return s.meat() && (!dry(s) || wet(s)) }},
	{uk, "meat products that are heated", NitrateAsSodium, Ingoing, GreenWeight, at(0), Bound{}, ukText + ": nitrate only in what is not heated", ukDate, Read, func(s subject) bool { return s.meat() && s.heated }},
	{uk, "meat products that are not heated", NitrateAsSodium, Ingoing, GreenWeight, at(150), Bound{}, ukText, ukDate, Read, func(s subject) bool { return s.meat() && !s.heated }},

	{au, "processed meat", NitriteAsSodium, Ingoing, GreenWeight, at(125), Bound{}, auText, "no date", FromMemory, subject.meat},
	{au, "slow dried cured meat", NitrateAsSodium, Ingoing, GreenWeight, at(500), Bound{}, auText, "no date", FromMemory, func(s subject) bool { return s.meat() && !s.heated }},
}

const (
	ukText = "SI 2007/1778, schedule 1"
	ukDate = "2007; that it still holds is " + memory
	auText = "Australia New Zealand Food Standards Code, schedule 15"
)

// slowCured is meat that lies in its cure, and sausage that is dried instead of cooked.
func slowCured(s subject) bool {
	return s.meat() && !s.bacon() && !s.by(profile.Pumped) && (s.by(profile.DryRubbed) || s.by(profile.Immersed) || !s.heated)
}
