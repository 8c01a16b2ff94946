package lethality

import (
	"time"

	"fumarium/profile/quantity"
)

// A Row of a table says that a product whose coldest point was at or above At for
// Hold has had the table's reduction.
type Row struct {
	At   quantity.Celsius
	Hold time.Duration
}

// AtOnce is how long a core must be seen at a temperature that the tables call instant
// or print as 0 s, which the poultry tables write as "<10.0 s": one reading is no proof.
const AtOnce = 10 * time.Second

const (
	guide2021  = "FSIS Cooking Guideline for Meat and Poultry Products (2021)"
	tables2005 = "FSIS Time-Temperature Tables for Cooking Ready-to-Eat Poultry Products (2005)"
	annex1999  = "FSIS Appendix A, Compliance Guidelines for Meeting Lethality Performance Standards (1999)"
)

// fahrenheit writes a row as its table prints it. The °C that tables print beside
// are rounded oddly, so they are not used.
func fahrenheit(f float64, hold time.Duration) Row {
	return Row{At: quantity.FromFahrenheit(f), Hold: hold}
}

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// These are the rows that could be confirmed; the published tables have more. A
// row that is not here only makes the judgement stricter.

// redMeat65 and redMeat70 are the 6.5 and 7.0 log10 columns of the red-meat table
// of FSIS Appendix A (1999). 158 °F and above is at once.
var redMeat65 = []Row{
	fahrenheit(130, minutes(112)), fahrenheit(131, minutes(89)), fahrenheit(133, minutes(56)), fahrenheit(134, minutes(45)),
	fahrenheit(136, minutes(28)), fahrenheit(138, minutes(18)), fahrenheit(139, minutes(15)), fahrenheit(140, minutes(12)),
	fahrenheit(142, minutes(8)), fahrenheit(144, minutes(5)), fahrenheit(145, minutes(4)),
	fahrenheit(147, 134*time.Second), fahrenheit(148, 107*time.Second), fahrenheit(150, 67*time.Second),
	fahrenheit(151, 54*time.Second), fahrenheit(153, 34*time.Second), fahrenheit(155, 22*time.Second),
	fahrenheit(157, 14*time.Second), RedMeatAtOnce.Row,
}

var redMeat70 = []Row{
	fahrenheit(130, minutes(121)), fahrenheit(131, minutes(97)), fahrenheit(133, minutes(62)), fahrenheit(134, minutes(47)),
	fahrenheit(136, minutes(32)), fahrenheit(138, minutes(19)), fahrenheit(139, minutes(15)), fahrenheit(140, minutes(12)),
	fahrenheit(142, minutes(8)), fahrenheit(144, minutes(5)), fahrenheit(145, minutes(4)),
	fahrenheit(147, 144*time.Second), fahrenheit(148, 115*time.Second), fahrenheit(150, 72*time.Second),
	fahrenheit(151, 58*time.Second), fahrenheit(153, 37*time.Second), fahrenheit(155, 23*time.Second),
	fahrenheit(157, 15*time.Second), RedMeatAtOnce.Row,
}

// poultryFat12 has rows of the 12 % fat columns of the FSIS poultry tables of 2005,
// which also serve for fatter and unknown fat: the longer of chicken and turkey, which
// is chicken up to 140 °F and turkey at 142 and 144 °F.
var poultryFat12 = []Row{
	fahrenheit(136, minutes(81.4)), fahrenheit(137, minutes(65.5)), fahrenheit(139, minutes(43)), fahrenheit(140, minutes(35)),
	fahrenheit(142, minutes(23.7)), fahrenheit(144, minutes(16.6)),
	PoultryCured.Row, PoultryUncured.Row,
}

// The lean columns (1 % fat) of the FSIS poultry tables of 2005 as quoted in Lopez-Alt,
// The Food Lab, p. 362.
var (
	chickenLean = []Row{
		fahrenheit(140, minutes(25.2)), fahrenheit(145, minutes(8.4)),
		fahrenheit(155, 44200*time.Millisecond), fahrenheit(160, 13700*time.Millisecond),
	}
	turkeyLean = []Row{
		fahrenheit(140, minutes(28.1)), fahrenheit(145, minutes(10.5)),
		fahrenheit(155, minutes(1.2)), fahrenheit(160, 25600*time.Millisecond),
	}
)

// trichinae is the heating table of the former 9 CFR 318.10(c), withdrawn in 2018
// (83 FR 25307) and still a sound check for wild game.
var trichinae = []Row{
	fahrenheit(120, 21*time.Hour), fahrenheit(122, minutes(570)), fahrenheit(126, 2*time.Hour), fahrenheit(128, time.Hour),
	fahrenheit(132, minutes(15)), fahrenheit(134, minutes(6)), fahrenheit(138, minutes(2)), fahrenheit(142, minutes(1)),
	fahrenheit(144, AtOnce),
}

// smokedFish is hot-smoked fish: Maine ch. 359 s. 2, New York 262.5, AFDO (1991).
var smokedFish = []Row{SmokedFish.Row}

// FattyBeef is Salmonella in ground beef of 25 % fat: Tref 140 °F, z 14.5 °F, D
// 4.72 min (Juneja 2003, as listed in the AMI worksheet). Of the published sets it
// is the one to hold beside RedMeat: the same organism, so that the same 6.5 log10
// means the same, and a fat level that sausage has. Above 52.2 °C it always claims
// less than RedMeat, about a third to a half of it.
var FattyBeef = Kinetics{
	Reference: 60,           // 140 °F
	Z:         14.5 * 5 / 9, // 14.5 °F
	D:         283200 * time.Millisecond,
}

func rows(c Criterion, table []Row) *Criterion {
	c.count = copy(c.rows[:], table)
	return &c
}

// pair is a criterion for a product without and with poultry in it.
type pair [2]*Criterion

func (p pair) of(poultryInIt bool) *Criterion {
	if poultryInIt {
		return p[1]
	}
	return p[0]
}

func both(make func(poultryInIt bool) *Criterion) pair { return pair{make(false), make(true)} }

var (
	redMeatIntegral = both(func(poultry bool) *Criterion {
		return &Criterion{Name: "red meat, integrated", Source: "Scott and Weddig 1998 in the AMI worksheet; " + annex1999,
			Required: RequiredLog10(poultry), Kinetics: RedMeat, Integrates: true}
	})
	redMeatTable = pair{
		rows(Criterion{Name: "red meat, table row", Source: annex1999 + ", 6.5 log10 column", Required: meatLog10}, redMeat65),
		rows(Criterion{Name: "red meat, table row", Source: annex1999 + ", 7.0 log10 column", Required: poultryLog10}, redMeat70),
	}
	stricter = both(func(poultry bool) *Criterion {
		return &Criterion{Name: "stricter set, 25 % fat", Source: "Juneja 2003, Salmonella in ground beef of 25 % fat, in the AMI worksheet",
			Required: RequiredLog10(poultry), Kinetics: FattyBeef, Integrates: true}
	})
	game = both(func(poultry bool) *Criterion {
		return rows(Criterion{Name: "game, integrated and trichinae", Source: annex1999 + "; former 9 CFR 318.10(c)",
			Required: RequiredLog10(poultry), Kinetics: RedMeat, Integrates: true}, trichinae)
	})
	trichinaeTable = rows(Criterion{Name: "trichinae, table row", Source: "former 9 CFR 318.10(c), withdrawn 2018"}, trichinae)
	poultryTables  = [...]*Criterion{
		FatUnknown: rows(Criterion{Name: "poultry, table row", Source: tables2005 + ", 12 % fat; " + guide2021 + "; " + foodCode,
			Required: poultryLog10}, poultryFat12),
		LeanChicken: rows(Criterion{Name: "lean chicken, table row", Source: tables2005 + ", lean chicken, as quoted", Required: poultryLog10}, chickenLean),
		LeanTurkey:  rows(Criterion{Name: "lean turkey, table row", Source: tables2005 + ", lean turkey, as quoted", Required: poultryLog10}, turkeyLean),
	}
	fishHold = rows(Criterion{Name: "fish, continuous hold", Source: "Maine ch. 359 s. 2; New York 262.5; AFDO 1991", Continuous: true}, smokedFish)
)

// PoultryKind picks the column of the poultry tables.
type PoultryKind uint8

// FatUnknown is what to use unless the bird is known to be lean and skinless.
const (
	FatUnknown PoultryKind = iota
	LeanChicken
	LeanTurkey
)

// RedMeatCriterion integrates RedMeat: 6.5 log10, 7 with poultry in the product.
func RedMeatCriterion(poultryInIt bool) *Criterion { return redMeatIntegral.of(poultryInIt) }

// RedMeatTableCriterion goes by the rows of the red-meat table, for a log whose
// planned endpoint was missed or that was planned by a row. The printed times are
// rounded: 136 °F for 28 min meets its row and falls 0.3 % short of the integral.
func RedMeatTableCriterion(poultryInIt bool) *Criterion { return redMeatTable.of(poultryInIt) }

// StricterCriterion integrates FattyBeef, to hold beside RedMeatCriterion.
func StricterCriterion(poultryInIt bool) *Criterion { return stricter.of(poultryInIt) }

// GameCriterion asks for the red-meat integral and for the trichinae table.
func GameCriterion(poultryInIt bool) *Criterion { return game.of(poultryInIt) }

// TrichinaeCriterion is the trichinae table alone; it has no log10.
func TrichinaeCriterion() *Criterion { return trichinaeTable }

// PoultryCriterion goes by a table, never by one z: the z between neighbouring
// rows of the 12 % column rises from 10.6 to 13 °F. A hold between two rows counts
// at the lower one. An unknown kind is FatUnknown.
func PoultryCriterion(kind PoultryKind) *Criterion {
	if int(kind) >= len(poultryTables) {
		kind = FatUnknown
	}
	return poultryTables[kind]
}

// FishCriterion asks for 145 °F throughout for 30 min without a break; it has no
// log10.
func FishCriterion() *Criterion { return fishHold }
