package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Width is how many characters a line of the text has at most.
const Width = 80

// Text is the sheet for the wall.
func (s Sheet) Text() string { return s.TextIn(quantity.Units{}) }

// TextIn is the sheet with its figures in these units. They are brought into them before
// lines are cut and columns measured.
func (s Sheet) TextIn(u quantity.Units) string {
	w := &wall{shown: u}
	s.head(w)
	s.weighOut(w)
	s.checks(w)
	s.byHand(w)
	s.rest(w)
	s.fish(w)
	s.fermented(w)
	s.chamber(w)
	s.elsewhere(w)
	s.cautions(w)
	return w.b.String()
}

// A wall is text of Width columns under way.
type wall struct {
	b       strings.Builder
	section int
	shown   quantity.Units
}

func (w *wall) line(text string) { w.b.WriteString(strings.TrimRight(text, " ") + "\n") }

func (w *wall) heading(text string) {
	w.section++
	w.line("")
	w.line(fmt.Sprintf("%d. %s", w.section, text))
}

// par writes text with first before its first line and as many blanks before the
// others.
func (w *wall) par(first, text string) {
	indent := utf8.RuneCountInString(first)
	for i, l := range wrap(w.shown.Text(text), Width-indent) {
		if i > 0 {
			first = strings.Repeat(" ", indent)
		}
		w.line(first + l)
	}
}

// units are what wrap keeps on one line with the number before it.
var units = []string{"g", "kg", "oz", "lb", "mm", "ppm", "%", "°C", "°F", "K", "h", "min", "s", "log10"}

// wrap cuts text into lines of at most width characters, at blanks where it can,
// but not between a number and its unit.
func wrap(text string, width int) []string {
	var words []string
	for _, word := range strings.Fields(text) {
		last := len(words) - 1
		if last >= 0 && endsInDigit(words[last]) && slices.Contains(units, strings.TrimRight(word, ",;:.)")) {
			words[last] += " " + word
			continue
		}
		words = append(words, word)
	}
	var lines []string
	line := ""
	for _, word := range words {
		for utf8.RuneCountInString(word) > width {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			cut := []rune(word)
			lines, word = append(lines, string(cut[:width])), string(cut[width:])
		}
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

func endsInDigit(s string) bool { return s[len(s)-1] >= '0' && s[len(s)-1] <= '9' }

// pad fills text up to width; left puts the blanks before it.
func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text)))
}

func left(text string, width int) string {
	return strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text))) + text
}

func (s Sheet) head(w *wall) {
	rule := strings.Repeat("=", Width)
	w.line(rule)
	w.par("MAKE SHEET  ", s.product.Name)
	amounts := fmt.Sprintf("%s of %s, %s in all", metric(quantity.Kilograms(s.Meat), false), s.flesh(), metric(quantity.Kilograms(s.Total), false))
	if s.verdict.Cured {
		amounts += fmt.Sprintf("; by the rules of %s; parts per million on the %s", s.verdict.Where, s.verdict.Basis)
	}
	w.par("            ", amounts)
	errors := s.count(source.Error)
	switch {
	case errors > 0:
		w.par("CHECK       ", fmt.Sprintf("DO NOT MAKE IT AS IT STANDS: %s, see section 2", plural(errors, "error")))
	case !s.verdict.Shown():
		w.par("CHECK       ", "no limit is broken, but not all that is asked can be shown: see section 2")
	case s.count(source.Warning) > 0:
		w.par("CHECK       ", fmt.Sprintf("within the limits, with %s, see section 2", plural(s.count(source.Warning), "warning")))
	case !s.limited():
		w.par("CHECK       ", "no limit that is held here is set on such a formula")
	default:
		w.par("CHECK       ", "the formula is within the limits it was held against")
	}
	w.line(rule)
}

// limited reports whether the formula was held against any limit at all.
func (s Sheet) limited() bool {
	v := s.verdict
	return v.Cured || v.Accelerated || v.Class != profile.NoClass || s.product.Species == profile.Fish
}

// flesh is what the green weight is of.
func (s Sheet) flesh() string {
	switch s.product.Species {
	case profile.Fish:
		return "fish"
	case profile.Dairy:
		return "cheese"
	}
	return "meat"
}

func (s Sheet) count(severity source.Severity) int {
	n := 0
	for _, f := range s.verdict.Findings {
		if f.Severity == severity {
			n++
		}
	}
	return n
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func (s Sheet) weighOut(w *wall) {
	f := s.product.Formula
	w.heading("WEIGH OUT")
	row := func(name string, m quantity.Kilograms, fine bool) {
		ofMeat := ""
		if s.Meat > 0 {
			ofMeat = fixed(float64(m)/s.Meat*100, 2) + " %"
		}
		lines := wrap(name, 36)
		weigh, also := metric(m, fine), imperial(m)
		if w.shown.Pounds {
			weigh = ""
		}
		w.line("   [ ] " + pad(lines[0], 36) + left(weigh, 11) + left(also, 15) + left(ofMeat, 10))
		for _, l := range lines[1:] {
			w.line("       " + l)
		}
	}
	weigh, also := "weigh", "that is"
	if w.shown.Pounds {
		weigh, also = "", weigh
	}
	w.line(pad("", 7) + pad("", 36) + left(weigh, 11) + left(also, 15) + left("of "+s.flesh(), 10))
	for _, m := range f.Cut {
		row(m.Name, m.Mass, false)
	}
	if f.PickleMass() > 0 {
		w.line("       into the pickle:")
	}
	inPickle := func(c profile.Cure) bool { return f.PickleMass() > 0 && c.Wet() }
	cures := func(wet bool) (found bool) {
		for _, c := range f.AllCures() {
			if inPickle(c) == wet {
				row(fmt.Sprintf("%s (%s)", c.Name, curing(c)), c.Mass, true)
				found = true
			}
		}
		return found
	}
	cures(f.PickleMass() > 0)
	fine := func(i profile.Ingredient) bool { return i.As == profile.Accelerator || i.As == profile.AscorbicAcid }
	for _, i := range f.Pickle.Items {
		row(i.Name, i.Mass, fine(i))
	}
	rubbed := slices.ContainsFunc(f.AllCures(), func(c profile.Cure) bool { return !c.Wet() })
	if f.PickleMass() > 0 && (rubbed || len(f.Other) > 0) {
		w.line("       onto the meat:")
		cures(false)
	}
	for _, i := range f.Other {
		row(i.Name, i.Mass, fine(i))
	}
}

// curing says what of the curing salts is in a cure.
func curing(c profile.Cure) string {
	var all []string
	for _, part := range []struct {
		share quantity.Ratio
		of    string
	}{{c.Nitrite, "nitrite"}, {c.PotassiumNitrite, "potassium nitrite"}, {c.Nitrate, "nitrate"}, {c.PotassiumNitrate, "potassium nitrate"}} {
		if part.share > 0 {
			all = append(all, strength(part.share)+" "+part.of)
		}
	}
	return strings.Join(all, ", ")
}

// metric writes kilograms from one on and grams below; fine is for cure and
// accelerator, which want about one part in two hundred.
func metric(m quantity.Kilograms, fine bool) string {
	switch {
	case m >= 1:
		return fixed(float64(m), 3) + " kg"
	case fine && m < 0.001:
		return fixed(float64(m)*1000, 3) + " g"
	case fine && m < 0.1:
		return fixed(float64(m)*1000, 2) + " g"
	}
	return fixed(float64(m)*1000, 1) + " g"
}

// imperial writes pounds and ounces. The avoirdupois ounce is 28.349523125 g by the
// agreement of 1959 (recalled from memory).
func imperial(m quantity.Kilograms) string {
	ounces := float64(m) * 1000 / 28.349523125
	if ounces < 15.995 {
		digits := 2
		if ounces < 1 {
			digits = 3
		}
		return fmt.Sprintf("%.*f oz", digits, ounces)
	}
	tenths := math.Round(ounces * 10)
	pounds := math.Floor(tenths / 160)
	return fmt.Sprintf("%.0f lb %4.1f oz", pounds, (tenths-160*pounds)/10)
}

func (s Sheet) checks(w *wall) {
	w.heading("CURE AND FORMULA")
	v := s.verdict
	as := ""
	if v.Class != profile.NoClass {
		as = ", as " + v.Class.String()
	}
	one := func(c formula.Check) {
		name := c.Name
		if c.When != formula.Ingoing {
			name += " left"
		}
		word := "PASS"
		switch {
		case !c.Pass:
			word = "FAIL"
		case !c.Shown:
			word = "OPEN"
		}
		limits := ""
		if c.Limit.Set {
			limits = fmt.Sprintf("at most %s", ppm(c.Limit.PPM))
			if c.Limit.PPM == 0 {
				limits = "none is allowed"
			}
		}
		if c.Floor.Set {
			limits += fmt.Sprintf(", at least %s", ppm(c.Floor.PPM))
			if c.Floor == c.Limit {
				limits = "exactly " + ppm(c.Limit.PPM)
			}
		}
		w.line(fmt.Sprintf("   %s  %s %s   %s", word, pad(name, 12), left(ppm(c.PPM), 11), limits))
		if c.Pass && c.Shown && c.Limit.Set && c.PPM > c.Limit.PPM {
			w.par("         ", "above the limit by rounding only: up to "+ppm(formula.SlackPPM)+" too much passes")
		}
		for _, a := range c.Arithmetic {
			w.par("         ", a)
		}
		w.par("         ", "limit for: "+c.Basis)
		switch {
		case !c.Shown:
			w.par("         ", "NOT SHOWN: "+c.Why)
		case c.Why != "":
			w.par("         ", c.Why)
		}
	}
	if v.Cured {
		one(v.Nitrite)
		for _, c := range v.More {
			one(c)
		}
	} else {
		w.par("   ", "There is no nitrite or nitrate in this formula.")
	}
	if v.Cured || v.Accelerated {
		one(v.Accelerator)
	}
	w.line("")
	if len(v.Sums) > 0 {
		w.par("   ", "Shares of the raw batch"+as+":")
	}
	for _, sum := range v.Sums {
		w.par("   "+pad(sum.Name, 23)+left(fixed(float64(sum.Ratio)*100, 2)+" %", 8)+"   ", sum.Arithmetic)
	}
	c := v.Composition
	w.par("   ", fmt.Sprintf("In all: water %s, protein %s, fat %s, carbohydrate %s, ash with salt %s.",
		percent(c.Water), percent(c.Protein), percent(c.Fat), percent(c.Carbohydrate), percent(c.Ash)))
	for _, f := range v.Findings {
		w.line("")
		text := f.Message
		if f.Remedy != "" {
			text += ". WHAT TO DO: " + f.Remedy
		}
		w.par("   "+pad(strings.ToUpper(f.Severity.String()), 9), text+".")
	}
}

func ppm(v float64) string { return fixed(v, 1) + " ppm" }

func percent(r quantity.Ratio) string { return fixed(float64(r)*100, 1) + " %" }

// fixed writes v with so many decimals. A hair is added before rounding, so that a
// half with its last bit missing goes up as it does by hand.
func fixed(v float64, digits int) string {
	scale := math.Pow(10, float64(digits))
	return strconv.FormatFloat(math.Round(v*scale*(1+1e-12))/scale, 'f', digits, 64)
}

// strength writes the nitrite in a cure, which wants its second decimal.
func strength(r quantity.Ratio) string {
	return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.3f", float64(r)*100), "0"), ".") + " %"
}

func (s Sheet) rest(w *wall) {
	w.heading("REST BEFORE THE CHAMBER")
	least, why := s.product.Rest()
	if least <= 0 {
		w.par("   ", "None: "+why+".")
		return
	}
	w.par("   ", fmt.Sprintf("At least %s at 2 to %v before anything is heated: %s. The batch is refused before that unless a reason is given, and the reason is kept.",
		long(least), coldMeat, why))
	s.middle(w, least)
	w.line("")
	w.line("   done on ______________ at ____:____     hang from ______________ at ____:____")
}

// long adds the days to a time of two days and more.
func long(d time.Duration) string {
	text := quantity.FormatDuration(d)
	if d >= 48*time.Hour {
		text += fmt.Sprintf(" (%s days)", trim(d.Hours()/24))
	}
	return text
}

func trim(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0") }

func (s Sheet) chamber(w *wall) {
	w.heading("IN THE CHAMBER AND AFTER")
	const name, where, smoke, fan, damper = 14, 12, 7, 7, 8
	w.line("   " + pad("stage", name+3) + pad("where", where) + pad("smoke", smoke) + pad("fan", fan) + pad("damper", damper) + "ends when")
	column := 3 + name + 3 + where + smoke + fan + damper
	for i, st := range s.product.Stages {
		place := st.Place.String()
		fanWord, damperWord, smokeWord := "-", "-", "-"
		if st.Place == profile.Chamber {
			place = "no heat"
			fanWord, smokeWord = setting(st.Fan, "off", "full"), "off"
			if st.Smoke {
				smokeWord = "ON"
			}
			if st.HasDamper {
				damperWord = setting(st.Damper, "shut", "open")
			}
		}
		if st.Heat {
			place = w.shown.Temperature(st.ChamberSetpoint)
		}
		names, ends := wrap(st.Name, name), wrap(w.shown.Text(until(st.Until)), Width-column)
		for n := range max(len(names), len(ends)) {
			number, cells := "   ", pad("", where+smoke+fan+damper)
			if n == 0 {
				number = fmt.Sprintf("%2d ", i+1)
				cells = pad(place, where) + pad(smokeWord, smoke) + pad(fanWord, fan) + pad(damperWord, damper)
			}
			w.line("   " + number + pad(at(names, n), name) + cells + at(ends, n))
		}
		if st.Ask != "" {
			w.par("      first: ", st.Ask)
		}
		for _, c := range st.Until.Conditions {
			if c.Kind == profile.Confirmed {
				w.par("      then confirm: ", c.Confirm)
			}
		}
		var more []string
		if st.Ramp > 0 {
			more = append(more, "rises by at most "+st.Ramp.String())
		}
		more = append(more, st.AirWords()...)
		if st.Within > 0 {
			more = append(more, "alarm after "+quantity.FormatDuration(st.Within))
		}
		if len(more) > 0 {
			w.par("      ", strings.Join(more, "; "))
		}
	}
}

func at(lines []string, n int) string {
	if n < len(lines) {
		return lines[n]
	}
	return ""
}

func setting(r quantity.Ratio, zero, one string) string {
	switch r {
	case 0:
		return zero
	case 1:
		return one
	}
	return r.String()
}

// until says when a stage ends; what the person confirms stands on a line of its own.
func until(u profile.Until) string {
	var all []string
	for _, c := range u.Conditions {
		if c.Kind == profile.Confirmed {
			all = append(all, "confirmed")
			continue
		}
		all = append(all, c.String())
	}
	if u.Any {
		return strings.Join(all, " or ")
	}
	return strings.Join(all, " and ")
}

func (s Sheet) cautions(w *wall) {
	w.heading("CAUTIONS")
	say := func(text string) { w.par("   - ", text) }
	if s.verdict.Cured {
		say("Cure is weighed, never guessed and never taken by the spoon. Too little does not protect, too much poisons.")
		say("Curing salt is poison in quantity, coloured or not. Keep it in a marked tin of its own, away from table salt, and out of the reach of children. If anyone may have eaten too much, call a doctor or the poison service at once.")
	}
	if s.product.Species != profile.Dairy {
		say(fmt.Sprintf("Raw meat and fish stay at or below %v except while they are worked. Clean hands, boards and machines before and after.", coldMeat))
	}
	say("Smoke and gas kill: air the room. Don't leave a burning generator alone, and keep an extinguisher at hand.")
	say("This sheet is an aid. It is as right as the figures in the product file and the scale. Limits are those named above; local rules may be stricter. For sale to others a process authority and the local inspector decide.")
}
