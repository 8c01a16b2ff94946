package lethality

import (
	"fmt"
	"time"

	"fumarium/profile/quantity"
)

// Every published limit on heating that is more than a row of a table stands here,
// once, with its source. Lint, the step, the assessment and the report read it from
// here. Those on cooling stand in package chilling, those on what goes into the meat in
// package formula.

// Log10 reductions that FSIS asks for.
const (
	MeatLog10    = 6.5
	PoultryLog10 = 7.0 // any product with poultry in it, however little
)

// A Limit is a core temperature, how long it must be kept, and who says so.
type Limit struct {
	Row
	Source string
}

const foodCode = "Food Code 3-401.11"

// Guide2021 is how a finding names the guideline of 2021.
const Guide2021 = "FSIS Cooking Guideline 2021"

var (
	// RedMeatAtOnce needs no dwell: the last row of the red-meat table, which is read in
	// the guideline of 2021 (note 14) and in its edition of 1999.
	RedMeatAtOnce = Limit{fahrenheit(158, AtOnce), Guide2021}
	// GameAtOnce is wild game by its core alone.
	GameAtOnce = Limit{fahrenheit(165, AtOnce), foodCode}
	// PoultryUncured is poultry that was neither cured nor smoked.
	PoultryUncured = Limit{fahrenheit(165, 15*time.Second), foodCode}
	// PoultryCured is the row of turkey of 12 % fat, the longest at this temperature; lean
	// chicken has 13.7 s. An older flat rule accepts the temperature alone, which is what
	// a cured bird is held to.
	PoultryCured = Limit{fahrenheit(160, 26900*time.Millisecond), Guide2021}
	// SmokedFish is kept without a break.
	SmokedFish = Limit{fahrenheit(145, 30*time.Minute), "Maine ch. 359; AFDO 1991"}
)

// A Band limits the time that food may spend between two temperatures.
type Band struct {
	From, To quantity.Celsius
	Limit    time.Duration
	Source   string
}

// ComeUpBand is what ComeUpWithin widens: 50 to 130 °F in 6 h.
var ComeUpBand = Band{quantity.FromFahrenheit(50), quantity.FromFahrenheit(130), 6 * time.Hour, Guide2021}

// ComeUpStart is how warm a core may be when it is first seen: from it on the tables of
// degree-hours count the growth of Staphylococcus aureus (FSIS-GD-2023-0002, 60 °F). How a
// warmer one got there was not seen.
var ComeUpStart = quantity.FromFahrenheit(60)

// RawUncured is raw product without nitrite in a warm chamber: 40 to 140 °F and two
// hours, written in whole °C; FSIS, "Danger Zone" (title from memory).
var RawUncured = Band{4, 60, 2 * time.Hour, "FSIS, Danger Zone, two hours"}

// A Surface is a way to keep the surface of bare meat moist while it cooks, of the
// humidity options of the guideline of 2021. Heat kills less on a dry surface, and a
// core probe does not see it.
type Surface struct {
	Humidity quantity.Ratio   // of the air, at least; 0 where steam or shut dampers see to it
	Share    float64          // of the cooking time
	Least    time.Duration    // and at least so long
	Core     quantity.Celsius // that must be reached; 0 where none is named
	Source   string
}

var (
	Steamed = Surface{0, 1. / 2, time.Hour, quantity.FromFahrenheit(145), Guide2021 + ", humidity option 1"}
	Sealed  = Surface{0, 1. / 2, time.Hour, quantity.FromFahrenheit(145), Guide2021 + ", humidity option 2"} // dampers shut
	Humid   = Surface{0.90, 1. / 4, time.Hour, 0, Guide2021 + ", humidity option 3"}                         // over the whole cook: option 4
)

// ShortCook is the time below which only humidity throughout counts (FSIS guideline of 2021,
// Table 1).
const ShortCook = time.Hour

// Time is how long the surface must be kept moist in a cook of such a length.
func (s Surface) Time(cook time.Duration) time.Duration {
	return max(s.Least, time.Duration(s.Share*float64(cook)))
}

// Span says the time in words: "half of the cook or 1 h".
func (s Surface) Span(cook string) string {
	share := "half"
	if s.Share == Humid.Share {
		share = "a quarter"
	}
	return fmt.Sprintf("%s of %s or %s", share, cook, quantity.FormatDuration(s.Least))
}
