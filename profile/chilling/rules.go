package chilling

import (
	"fmt"
	"time"

	"fumarium/profile/quantity"
)

// The limits are those of FSIS Appendix B (revised 2021; read in its edition of 1999, which
// is withdrawn, where the newer one could not be) and of the Food Code, converted exactly
// from °F; of the Canadian agency; and of SCARM report 80 for Australia, New Zealand and the
// United Kingdom. Which of them holds where, the room of the product knows.

// Source is how a finding names the guideline.
const Source = "FSIS Appendix B 2021"

// Texts of other places.
const (
	// Scarm is read in its own text; the total of 12.5 h for cured product is also that of
	// Gaze et al. 1998.
	Scarm = "SCARM report 80, also quoted in a book on meat refrigeration, table 16.2"
	// Canadian is the page on cooling heat processed meat products.
	Canadian = "CFIA, preventive control recommendations for cooling heat processed meat products"
	// CanadianManual was read in copies of its text, which name no edition.
	CanadianManual = "CFIA Meat Hygiene Manual of Procedures, ch. 4, as quoted"
)

const appendixB = "FSIS Appendix B (revised 2021), option %d; limits as printed in its edition of 1999, withdrawn"

func fahrenheit(from, to float64, within time.Duration) Limit {
	return Limit{From: quantity.FromFahrenheit(from), To: quantity.FromFahrenheit(to), Within: within}
}

func celsius(from, to quantity.Celsius, within time.Duration) Limit {
	return Limit{From: from, To: to, Within: within}
}

func fromEnd(to quantity.Celsius, within time.Duration) Limit {
	return Limit{FromEnd: true, To: to, Within: within}
}

var (
	uncured = &Rule{
		Name: "option 1", Source: fmt.Sprintf(appendixB, 1),
		Limits: []Limit{fahrenheit(130, 80, 90*time.Minute), fahrenheit(80, 40, 5*time.Hour)},
	}
	// 120 to 55 °F in 6 h, of which 120 to 80 °F in 1 h.
	older = &Rule{
		Name: "option 2", Source: "FSIS Appendix B (1999, withdrawn), option 2",
		Limits:      []Limit{fahrenheit(120, 80, time.Hour), fahrenheit(120, 55, 6*time.Hour)},
		StartWithin: 90 * time.Minute, OnTo: quantity.FromFahrenheit(40),
		Remarks: []string{
			"older data, not preferred; more than 1 h from 48.9 to 26.7 °C (120 to 80 °F) makes it doubtful and is failed here (a limit of the 2021 revision, recalled from memory)",
		},
	}
	cured = &Rule{
		Name: "option 3, cured", Source: fmt.Sprintf(appendixB, 3),
		Limits:     []Limit{fahrenheit(130, 80, 5*time.Hour), fahrenheit(80, 45, 10*time.Hour)},
		NitritePPM: 100, ErythorbatePPM: 250,
	}
	retail = &Rule{
		Name: "retail", Source: "Food Code 3-501.14(A)",
		Limits: []Limit{fahrenheit(135, 70, 2*time.Hour), fahrenheit(135, 41, 6*time.Hour)},
		Remarks: []string{
			"the six hours are in all; some places count 4 h from 21.1 to 5 °C (70 to 41 °F) instead (California, 3 CCR 910.15)",
		},
	}
	canadaCured = &Rule{
		Name: "Canada, cured", Source: Canadian, Limits: cured.Limits, NitritePPM: 100,
	}
	canadaIntact = &Rule{
		Name: "Canada, intact muscle", Source: CanadianManual, Intact: true,
		Limits: []Limit{celsius(50, 20, 2*time.Hour), fromEnd(4, 7*time.Hour+30*time.Minute)},
	}
	scarmCured = &Rule{
		Name: "SCARM, cured", Source: Scarm, NitritePPM: 100, SaltPercent: 2.5,
		Limits: []Limit{fromEnd(50, 3*time.Hour+15*time.Minute), celsius(50, 12, 7*time.Hour+30*time.Minute), celsius(12, 5, time.Hour+45*time.Minute)},
	}
	scarmUncured = &Rule{
		Name: "SCARM, uncured", Source: Scarm,
		Limits: []Limit{fromEnd(50, 2*time.Hour+30*time.Minute), celsius(50, 12, 6*time.Hour), celsius(12, 5, time.Hour+36*time.Minute)},
	}
)

// Uncured is option 1, for any cooked product: 130 to 80 °F in 1.5 h, then to 40 °F
// in 5 h.
func Uncured() *Rule { return uncured }

// Cured is option 3, for at least 100 ppm of ingoing nitrite: 130 to 80 °F in 5 h,
// then to 45 °F in 10 h. One university sheet of 1999 prints 40 °F; the guideline
// and the Canadian agency say 45 °F.
func Cured() *Rule { return cured }

// Retail is the Food Code: 135 to 70 °F in 2 h, and to 41 °F in 6 h in all.
func Retail() *Rule { return retail }

// Rules are those of the United States, in the order in which they are worth trying.
// Option 4, for brined product, is left out: its figures could not be confirmed.
func Rules() []*Rule { return []*Rule{uncured, older, cured, retail} }

// CanadaCured has the legs of option 3, without its erythorbate.
func CanadaCured() *Rule { return canadaCured }

// CanadaIntact is for muscle in one piece: 50 to 20 °C in 2 h, and 4 °C within 7.5 h of the
// begin of cooling.
func CanadaIntact() *Rule { return canadaIntact }

// ScarmCured is for 2.5 % salt in the water and 100 ppm of ingoing nitrite: to 50 °C in
// 3.25 h, to 12 °C in 7.5 h more, to 5 °C in 1.75 h more.
func ScarmCured() *Rule { return scarmCured }

// ScarmUncured is for everything else: to 50 °C in 2.5 h, to 12 °C in 6 h more, to 5 °C in
// 1 h 36 min more.
func ScarmUncured() *Rule { return scarmUncured }

// Hot is for food that is eaten before it is cold: it is kept at From or above, and eaten
// within Limit of all the time that it was colder. The Food Code's zone of danger ends at
// From; two hours in such a zone are what FSIS allows a consumer.
var Hot = struct {
	From   quantity.Celsius
	Limit  time.Duration
	Source string
}{quantity.FromFahrenheit(135), 2 * time.Hour, "Food Code, danger zone of 5 to 57.2 °C (41 to 135 °F); FSIS, two hours in the danger zone"}
