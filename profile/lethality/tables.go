package lethality

import (
	"math"
	"time"

	"fumarium/profile/quantity"
)

// A Row of a table says that a product whose coldest point was at or above At for
// Hold has had the table's reduction.
type Row struct {
	At   quantity.Celsius
	Hold time.Duration
	Of   string // whose row it is, where a table has those of several
}

// AtOnce is how long a core must be seen at a temperature that the tables call instant
// or print as 0 s, which the poultry tables write as "<10.0 s": one reading is no proof.
const AtOnce = 10 * time.Second

const (
	guide2021  = "FSIS Cooking Guideline for Meat and Poultry Products (2021)"
	tables2005 = "FSIS Time-Temperature Tables for Cooking Ready-to-Eat Poultry Products (2005)"
	annex1999  = "FSIS Appendix A (1999, withdrawn)"
)

// fahrenheit writes a row as its table prints it. The °C that tables print beside
// are rounded oddly, so they are not used.
func fahrenheit(f float64, hold time.Duration) Row {
	return Row{At: quantity.FromFahrenheit(f), Hold: hold}
}

func minutes(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// These are the rows that could be confirmed; the published tables have more. A
// row that is not here only makes the judgement stricter.

// redMeat65 is the 6.5 log10 table for meat of the guideline of 2021 (Table 2), as its rows
// are printed in the edition of 1999, Appendix A. 158 °F and above is at once.
var redMeat65 = []Row{
	fahrenheit(130, minutes(112)), fahrenheit(131, minutes(89)), fahrenheit(133, minutes(56)), fahrenheit(134, minutes(45)),
	fahrenheit(136, minutes(28)), fahrenheit(138, minutes(18)), fahrenheit(139, minutes(15)), fahrenheit(140, minutes(12)),
	fahrenheit(142, minutes(8)), fahrenheit(144, minutes(5)), fahrenheit(145, minutes(4)),
	fahrenheit(147, 134*time.Second), fahrenheit(148, 107*time.Second), fahrenheit(150, 67*time.Second),
	fahrenheit(151, 54*time.Second), fahrenheit(153, 34*time.Second), fahrenheit(155, 22*time.Second),
	fahrenheit(157, 14*time.Second), RedMeatAtOnce.Row,
}

// Of poultry of 12 % fat, which also serves for fatter and unknown fat, all rows of the
// FSIS poultry tables of 2005, °F and seconds, as transcribed in two copies of one posting.
// The table prints "<10.0 s" for the last one.
var (
	chickenFat12 = poultryRows("chicken, 12 % fat", []float64{
		136, 81.4 * 60, 137, 65.5 * 60, 138, 52.9 * 60, 139, 43 * 60, 140, 35 * 60, 141, 28.7 * 60, 142, 23.5 * 60,
		143, 19.3 * 60, 144, 15.9 * 60, 145, 13 * 60, 146, 10.6 * 60, 147, 8.6 * 60, 148, 6.8 * 60, 149, 5.4 * 60,
		150, 4.2 * 60, 151, 3.1 * 60, 152, 2.3 * 60, 153, 1.6 * 60, 154, 1.1 * 60, 155, 54.4, 156, 43, 157, 34,
		158, 26.9, 159, 21.3, 160, 16.9, 161, 13.3, 162, 10.5, 163, AtOnce.Seconds(),
	})
	turkeyFat12 = poultryRows("turkey, 12 % fat", []float64{
		136, 70.8 * 60, 137, 58.5 * 60, 138, 48.5 * 60, 139, 40.4 * 60, 140, 33.7 * 60, 141, 28.2 * 60, 142, 23.7 * 60,
		143, 19.8 * 60, 144, 16.6 * 60, 145, 13.8 * 60, 146, 11.5 * 60, 147, 9.4 * 60, 148, 7.7 * 60, 149, 6.2 * 60,
		150, 4.9 * 60, 151, 3.8 * 60, 152, 2.8 * 60, 153, 2.1 * 60, 154, 1.6 * 60, 155, 1.3 * 60, 156, 1 * 60, 157, 50.4,
		158, 40.9, 159, 33.2, 160, 26.9, 161, 21.9, 162, 17.7, 163, 14.4, 164, 11.7, 165, AtOnce.Seconds(),
	})
	poultryFat12 = longest(chickenFat12, turkeyFat12)
)

// LeanFat is the fat at or below which a bird goes by the lean rows.
const LeanFat quantity.Ratio = 0.01

// The rows for 1 % fat: those above 136 °F as quoted from the tables of 2005 in Lopez-Alt,
// The Food Lab, p. 362, which prints that of turkey for 136 °F too; that of chicken is from
// the Canadian agency (CFIA), whose 57.8 °C it is.
var (
	chickenLean = poultryRows("chicken, 1 % fat", []float64{136, 63.3 * 60, 140, 25.2 * 60, 145, 8.4 * 60, 155, 44.2, 160, 13.7})
	turkeyLean  = poultryRows("turkey, 1 % fat", []float64{136, 64 * 60, 140, 28.1 * 60, 145, 10.5 * 60, 155, 1.2 * 60, 160, 25.6})
	poultryLean = longest(chickenLean, turkeyLean)
)

// poultryRows makes rows of pairs of °F and seconds.
func poultryRows(of string, pairs []float64) []Row {
	var table []Row
	for i := 0; i < len(pairs); i += 2 {
		row := fahrenheit(pairs[i], time.Duration(math.Round(pairs[i+1]*1e3))*time.Millisecond)
		row.Of = of
		table = append(table, row)
	}
	return table
}

// longest has at each temperature the row that takes longer. A table that has ended is at
// once from there on.
func longest(a, b []Row) []Row {
	if len(a) > len(b) {
		a, b = b, a
	}
	table := append([]Row(nil), b...)
	for i, row := range a {
		if row.Hold > table[i].Hold {
			table[i] = row
		}
	}
	return table
}

// trichinae is the heating table of the former 9 CFR 318.10(c), withdrawn in 2018
// (83 FR 25302) and still a sound check for wild game.
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

// floorOfMeat is the lowest row of the red-meat table.
var floorOfMeat = quantity.FromFahrenheit(130)

const table2 = guide2021 + ", Table 2, 6.5 log10; rows as printed in " + annex1999

var (
	redMeat = rows(Criterion{Name: "red meat, table row", Source: table2,
		Required: MeatLog10, Kinetics: RedMeat, Integrates: true, Floor: floorOfMeat}, redMeat65)
	redMeatIntegral = &Criterion{Name: "red meat, integrated", Source: "Scott and Weddig 1998 in the AMI worksheet",
		Required: MeatLog10, Kinetics: RedMeat, Integrates: true, Floor: floorOfMeat}
	stricter = &Criterion{Name: "stricter set, 25 % fat", Source: "Juneja 2003, Salmonella in ground beef of 25 % fat, in the AMI worksheet",
		Required: MeatLog10, Kinetics: FattyBeef, Integrates: true, Floor: floorOfMeat}
	game = rows(Criterion{Name: "game, table row", Source: table2 + "; its rows meet former 9 CFR 318.10(c) (trichinae, withdrawn) as well",
		Required: MeatLog10, Kinetics: RedMeat, Integrates: true, Floor: floorOfMeat}, redMeat65)
	trichinaeTable = rows(Criterion{Name: "trichinae, table row", Source: "former 9 CFR 318.10(c), withdrawn 2018"}, trichinae)
	fishHold       = rows(Criterion{Name: "fish, continuous hold", Source: "Maine ch. 359 s. 2; New York 262.5; AFDO 1991", Continuous: true}, smokedFish)
)

// Bird says which of the poultry tables counts.
type Bird uint8

// AnyBird is another bird, several kinds together, or not known which: the longer of the
// two tables counts (FSIS Cooking Guideline, 2021).
const (
	AnyBird Bird = iota
	Chicken
	Turkey
	birds
)

var birdText = [birds]string{"poultry", "chicken", "turkey"}

func (b Bird) String() string {
	if b < birds {
		return birdText[b]
	}
	return quantity.Unknown
}

// poultryTables are by bird, then by whether it is lean.
var poultryTables = func() (t [birds][2]*Criterion) {
	rowsOf := [birds][2][]Row{AnyBird: {poultryFat12, poultryLean}, Chicken: {chickenFat12, chickenLean}, Turkey: {turkeyFat12, turkeyLean}}
	of := [birds]string{"the longer of chicken and turkey", "chicken", "turkey"}
	for b := range birds {
		t[b] = [2]*Criterion{
			rows(Criterion{Name: birdText[b] + ", table row", Source: guide2021 + "; rows of " + tables2005 + ", " + of[b] + ", 12 % fat", Required: PoultryLog10}, rowsOf[b][0]),
			rows(Criterion{Name: "lean " + birdText[b] + ", table row", Source: guide2021 + "; rows of " + tables2005 + ", " + of[b] + ", 1 % fat, as quoted", Required: PoultryLog10}, rowsOf[b][1]),
		}
	}
	return t
}()

// RedMeatCriterion goes by the rows of the red-meat table, for red meat without any
// poultry in it. It tells the integral of RedMeat from the table's lowest row on.
func RedMeatCriterion() *Criterion { return redMeat }

// RedMeatIntegral is that integral as a criterion, to hold beside RedMeatCriterion. The
// printed times are rounded: 136 °F for 28 min meets its row and falls 0.3 % short of it.
func RedMeatIntegral() *Criterion { return redMeatIntegral }

// StricterCriterion integrates FattyBeef, to hold beside RedMeatCriterion.
func StricterCriterion() *Criterion { return stricter }

// GameCriterion goes by the same rows for game: each of them meets a row of the trichinae
// table, too.
func GameCriterion() *Criterion { return game }

// TrichinaeCriterion is the trichinae table alone; it has no log10.
func TrichinaeCriterion() *Criterion { return trichinaeTable }

// PoultryCriterion goes by a table, never by one z: that of chicken rises from 10.6 to
// 11.9 °F between 136 and 144 °F, that of turkey from 12.1 to 13.2. A hold between two rows
// counts at the lower one. Lean is for meat of at most LeanFat.
func PoultryCriterion(bird Bird, lean bool) *Criterion {
	if bird >= birds {
		bird = AnyBird
	}
	if lean {
		return poultryTables[bird][1]
	}
	return poultryTables[bird][0]
}

// FishCriterion asks for 145 °F throughout for 30 min without a break; it has no
// log10.
func FishCriterion() *Criterion { return fishHold }
