package quantity

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// A ParseError says what is wrong with a quantity as written and, apart from
// that, what to write instead.
type ParseError struct {
	Message string
	Remedy  string
}

func (e *ParseError) Error() string {
	if e.Remedy == "" {
		return e.Message
	}
	return e.Message + "; " + e.Remedy
}

// maxTextBytes bounds what is worth reading as a quantity.
const maxTextBytes = 100

// longestDuration keeps every duration far from the end of time.Duration, which
// holds about 292 years.
const longestDuration = 100 * 365 * 24 * time.Hour

// What a spoon may hold, in g/mL: from dried leaves to more than solid salt
// (2.2 g/mL). Common practice, no source; it catches a slip of the pen.
const (
	lightest = 0.03
	densest  = 3.0
)

// A scale is one way to write a kind of quantity: the SI value is
// (number+shift)·times/per. Two whole numbers instead of one factor let 21 mm
// come out as the 0.021 that a programmer would write.
type scale struct {
	unit              string
	shift, times, per float64
	unlisted          bool // accepted, but not offered in messages
}

var (
	// 1 lb is 0.45359237 kg and 1 in is 25.4 mm exactly by the international yard
	// and pound agreement of 1959 (recalled from memory).
	masses = []scale{
		{unit: "g", times: 1, per: 1000}, {unit: "kg", times: 1, per: 1},
		{unit: "oz", times: poundKilograms, per: 16}, {unit: "lb", times: poundKilograms, per: 1},
		{unit: "lbs", times: poundKilograms, per: 1, unlisted: true},
	}
	// The US gallon is 231 cubic inches, 256 tablespoons and 768 teaspoons (NIST
	// Handbook 44, Appendix C, recalled from memory): 4.929 and 14.787 mL.
	spoons = []scale{
		{unit: "tsp", times: 231 * 16.387064, per: 768}, {unit: "tbsp", times: 231 * 16.387064, per: 256},
	}
	densities = []scale{{unit: "g/mL", times: 1, per: 1}, {unit: "g/ml", times: 1, per: 1, unlisted: true}}
	lengths   = []scale{
		{unit: "mm", times: 1, per: 1000}, {unit: "cm", times: 1, per: 100},
		{unit: "m", times: 1, per: 1}, {unit: "in", times: 25.4, per: 1000},
	}
	areas = []scale{
		{unit: "cm²", times: 1, per: 10_000}, {unit: "cm2", times: 1, per: 10_000, unlisted: true},
		{unit: "m²", times: 1, per: 1}, {unit: "m2", times: 1, per: 1, unlisted: true},
		{unit: "in²", times: 6.4516, per: 10_000}, {unit: "in2", times: 6.4516, per: 10_000, unlisted: true},
	}
	altitudes    = []scale{{unit: "m", times: 1, per: 1}, {unit: "ft", times: 0.3048, per: 1}}
	powers       = []scale{{unit: "W", times: 1, per: 1}, {unit: "kW", times: 1000, per: 1}}
	ratios       = []scale{{unit: "%", times: 1, per: 100}}
	temperatures = []scale{{unit: "°C", times: 1, per: 1}, {unit: "°F", shift: -32, times: 5, per: 9},
		{unit: "C", times: 1, per: 1, unlisted: true}, {unit: "F", shift: -32, times: 5, per: 9, unlisted: true}}
	differences = []scale{
		{unit: "K", times: 1, per: 1}, {unit: "°C", times: 1, per: 1}, {unit: "°F", times: 5, per: 9},
		{unit: "C", times: 1, per: 1, unlisted: true}, {unit: "F", times: 5, per: 9, unlisted: true},
	}
	rates = []scale{
		{unit: "°C/h", times: 1, per: 3600}, {unit: "°C/min", times: 1, per: 60},
		{unit: "K/h", times: 1, per: 3600}, {unit: "K/min", times: 1, per: 60},
		{unit: "°F/h", times: 5, per: 9 * 3600}, {unit: "°F/min", times: 5, per: 9 * 60},
		{unit: "C/h", times: 1, per: 3600, unlisted: true}, {unit: "F/h", times: 5, per: 9 * 3600, unlisted: true},
	}
	flows = []scale{
		{unit: "m³/h", times: 1, per: 3600}, {unit: "m3/h", times: 1, per: 3600, unlisted: true},
		{unit: "L/min", times: 1, per: 60_000}, {unit: "l/min", times: 1, per: 60_000, unlisted: true},
		{unit: "L/s", times: 1, per: 1000}, {unit: "l/s", times: 1, per: 1000, unlisted: true},
	}
	clock = []scale{
		{unit: "d", times: 86400, per: 1}, {unit: "h", times: 3600, per: 1}, {unit: "min", times: 60, per: 1},
		{unit: "m", times: 60, per: 1, unlisted: true}, {unit: "s", times: 1, per: 1},
	}
)

// ParseTemperature reads "68 °C" or "154 °F"; "154 F" is short for it.
func ParseTemperature(text string) (Celsius, error) {
	v, err := parse(text, temperatures, true)
	if err != nil {
		return 0, err
	}
	t := Celsius(v)
	// A millionth of a kelvin lets -459.67 °F through, which rounds either way.
	if t < AbsoluteZero-1e-6 {
		return 0, &ParseError{fmt.Sprintf("%s is below absolute zero, -273.15 °C", quote(text)), "write a temperature that exists"}
	}
	return t, nil
}

// ParseTemperatureDifference reads "0.4 K"; a difference may also be written in
// °C or °F.
func ParseTemperatureDifference(text string) (Kelvin, error) {
	v, err := parse(text, differences, true)
	return Kelvin(v), err
}

// ParseRate reads a rate of temperature change: "20 °C/h", "0.5 K/min", "36 °F/h".
func ParseRate(text string) (KelvinPerSecond, error) {
	v, err := parse(text, rates, true)
	return KelvinPerSecond(v), err
}

// ParseLength reads "21 mm", "2.1 cm", "0.5 m" or "1.5 in".
func ParseLength(text string) (Meters, error) {
	v, err := parse(text, lengths, false)
	return Meters(v), err
}

// ParseArea reads "16 cm²" or "16 cm2", "0.01 m²" or "2.5 in²".
func ParseArea(text string) (SquareMeters, error) {
	v, err := parse(text, areas, false)
	return SquareMeters(v), err
}

// ParseAltitude reads "420 m" or "1400 ft", below the sea "-5 m".
func ParseAltitude(text string) (Meters, error) {
	v, err := parse(text, altitudes, true)
	return Meters(v), err
}

// twoMasses is a mass in two units, the larger first, as sheets have it.
var twoMasses = regexp.MustCompile(`^([^ a-z]+) ?(kg|lbs?|oz|g) *([0-9].*)$`)

// ParseMass reads "12.5 g", "4 kg", "6 oz", "2 lb", "5 lbs" or "11 lb 4 oz".
func ParseMass(text string) (Kilograms, error) {
	if _, _, ok := spooned(text); ok {
		return 0, &ParseError{quote(text) + " is a volume", "weigh it and write the mass in g, kg, oz or lb"}
	}
	m := twoMasses.FindStringSubmatch(tidy(text))
	if m == nil || len(text) > maxTextBytes {
		v, err := parse(text, masses, false)
		return Kilograms(v), err
	}
	whole, err := parse(m[1]+" "+m[2], masses, false)
	if err != nil {
		return 0, err
	}
	part, err := parse(m[3], masses, false)
	if err != nil {
		return 0, err
	}
	if unit := strings.TrimLeft(m[3], "0123456789. "); !(strings.HasPrefix(m[2], "lb") && unit == "oz" || m[2] == "kg" && unit == "g") {
		return 0, &ParseError{fmt.Sprintf("%s has %s after %s", quote(text), unit, m[2]), "write one unit, or two as in 11 lb 4 oz or 1 kg 250 g"}
	}
	return Kilograms(whole + part), nil
}

// ParseMassOrSpoons reads a mass, or level spoons with the density of what is in
// them: "2 tsp at 1.2 g/mL", "1.5 tbsp at 0.5 g/mL". Spoons alone are refused: the
// same spoon holds twice as much fine salt as coarse.
func ParseMassOrSpoons(text string) (Kilograms, error) {
	amount, spoon, ok := spooned(text)
	if !ok {
		return ParseMass(text)
	}
	_, density, stated := strings.Cut(tidy(text), " at ")
	if !stated {
		return 0, &ParseError{quote(text) + " is a volume without a density",
			"weigh it and write g, or add the density, as in " + amount.text + " " + spoon.unit + " at 1.2 g/mL"}
	}
	if amount.value < 0 {
		return 0, &ParseError{quote(text) + " is negative", "write 0 " + spoon.unit + " or more"}
	}
	perMilliliter, err := parse(density, densities, false)
	if err != nil {
		return 0, err
	}
	if perMilliliter < lightest || perMilliliter > densest {
		return 0, &ParseError{fmt.Sprintf("%s has a density outside %g to %g g/mL", quote(text), lightest, densest), "weigh a spoonful and correct it"}
	}
	v := amount.value * spoon.times / spoon.per * perMilliliter / 1000
	if !Finite(v) {
		return 0, &ParseError{quote(text) + " is too large to reckon with", "write a smaller number"}
	}
	return Kilograms(v), nil
}

// spooned finds a number of spoons at the start of text.
func spooned(text string) (written, scale, bool) {
	n, rest, err := number(tidy(text), text)
	if err != nil {
		return written{}, scale{}, false
	}
	unit, _, _ := strings.Cut(rest, " ")
	at := slices.IndexFunc(spoons, func(s scale) bool { return s.unit == unit })
	if at < 0 {
		return written{}, scale{}, false
	}
	return n, spoons[at], true
}

// ParseRatio reads "60 %". It does not mind more than 100 %.
func ParseRatio(text string) (Ratio, error) {
	v, err := parse(text, ratios, false)
	return Ratio(v), err
}

// ParsePower reads "1500 W" or "1.5 kW".
func ParsePower(text string) (Watts, error) {
	v, err := parse(text, powers, false)
	return Watts(v), err
}

// ParseFlow reads a volume flow: "10 L/min", "0.2 L/s", "4 m³/h" or "4 m3/h".
func ParseFlow(text string) (CubicMetersPerSecond, error) {
	v, err := parse(text, flows, false)
	return CubicMetersPerSecond(v), err
}

// ParseNumber reads a number that has no unit, such as a log reduction.
func ParseNumber(text string) (float64, error) {
	v, rest, err := number(tidy(text), text)
	if err != nil {
		return 0, err
	}
	if rest != "" {
		return 0, &ParseError{fmt.Sprintf("%s has something after the number", quote(text)), "write the bare number " + v.text}
	}
	return v.value, nil
}

// ParseDuration reads "2 h 30 min", "45 min", "90 s" or "2 d", with or without
// the blanks; "m" is short for min. Larger units come first, each at most once.
func ParseDuration(text string) (time.Duration, error) {
	rest := tidy(text)
	if strings.HasPrefix(rest, "-") {
		return 0, &ParseError{fmt.Sprintf("%s is negative", quote(text)), "write a time of 0 s or more"}
	}
	if strings.LastIndexAny(rest, "+-") > 0 {
		return 0, &ParseError{fmt.Sprintf("%s has a sign inside", quote(text)), "write one time, as in 2 h 30 min"}
	}
	seconds, last := 0.0, -1
	for first := true; first || rest != ""; first = false {
		n, after, err := number(rest, text)
		if err != nil {
			return 0, err
		}
		end := strings.IndexFunc(after, func(r rune) bool { return r == ' ' || strings.ContainsRune(".,0123456789", r) })
		if end < 0 {
			end = len(after)
		}
		unit := after[:end]
		if strings.HasPrefix(unit, ":") {
			return 0, &ParseError{fmt.Sprintf("%s is written like a clock", quote(text)), "write hours and minutes as 2 h 30 min"}
		}
		at := slices.IndexFunc(clock, func(s scale) bool { return s.unit == unit })
		if at < 0 {
			return 0, unitError(text, n.text, unit, clock)
		}
		if last >= 0 && clock[at].times >= clock[last].times {
			return 0, &ParseError{fmt.Sprintf("%s has %s after %s", quote(text), clock[at].unit, clock[last].unit), "write each unit once, the larger first, as in 2 h 30 min"}
		}
		seconds, last = seconds+n.value*clock[at].times, at
		rest = strings.TrimLeft(after[end:], " ")
	}
	if seconds > longestDuration.Seconds() {
		return 0, &ParseError{fmt.Sprintf("%s is longer than a hundred years", quote(text)), "write a shorter time"}
	}
	return time.Duration(math.Round(seconds * float64(time.Second))), nil
}

// parse reads one number with one of the units.
func parse(text string, scales []scale, negative bool) (float64, error) {
	n, unit, err := number(tidy(text), text)
	if err != nil {
		return 0, err
	}
	at := slices.IndexFunc(scales, func(s scale) bool { return s.unit == unit })
	if at < 0 {
		return 0, unitError(text, n.text, unit, scales)
	}
	if n.value < 0 && !negative {
		return 0, &ParseError{fmt.Sprintf("%s is negative", quote(text)), fmt.Sprintf("write 0 %s or more", unit)}
	}
	v := (n.value + scales[at].shift) * scales[at].times / scales[at].per
	if !Finite(v) {
		return 0, &ParseError{fmt.Sprintf("%s is too large to reckon with", quote(text)), "write a smaller number"}
	}
	return v, nil
}

// written is a number with its text as it stood.
type written struct {
	value float64
	text  string
}

var (
	numberShape = regexp.MustCompile(`^[+-]?[0-9][0-9.,]*`)
	exponent    = regexp.MustCompile(`^[eE][+-]?[0-9]`)
	notANumber  = regexp.MustCompile(`^(?i)[+-]?\.?(nan|inf|infinity)([^a-z]|$)`)
)

// number reads the number at the start of rest and hands back what follows it.
// whole is the text that messages quote.
func number(rest, whole string) (written, string, error) {
	fault := func(message, remedy string, args ...any) (written, string, error) {
		return written{}, "", &ParseError{quote(whole) + " " + message, fmt.Sprintf(remedy, args...)}
	}
	if len(whole) > maxTextBytes {
		return fault("is too long for a quantity", "write a number and a unit")
	}
	if strings.TrimSpace(rest) == "" {
		return fault("is empty", "write a number and a unit")
	}
	if notANumber.MatchString(rest) {
		return fault("is not a finite number", "write a number")
	}
	text := numberShape.FindString(rest)
	if text == "" {
		if strings.HasPrefix(rest, ".") {
			return fault("starts with a point", "write 0%s", rest)
		}
		return fault("does not start with a number", "write a number and a unit")
	}
	tail := rest[len(text):]
	after := strings.TrimLeft(tail, " ")
	if comma := strings.IndexByte(text, ','); comma >= 0 {
		if strings.ContainsAny(text[comma+1:], ",.") || comma == len(text)-1 {
			return fault("has a comma in the number", "write the number with a point and without commas")
		}
		point := strings.Replace(text, ",", ".", 1)
		if len(text)-comma == 4 && text[comma-1] != '0' {
			return fault("has a comma in the number", "write %s, or %s if the comma was to part thousands", point+tail, strings.Replace(text, ",", "", 1)+tail)
		}
		return fault("has a decimal comma", "write %s", point+tail)
	}
	digits := strings.TrimLeft(text, "+-")
	if strings.Count(digits, ".") > 1 {
		return fault("has two points in the number", "write the number with one point")
	}
	if strings.HasSuffix(digits, ".") {
		return fault("has nothing after the point", "write %s", strings.TrimSuffix(text, ".")+tail)
	}
	if len(digits) > 1 && digits[0] == '0' && digits[1] != '.' {
		plain := strings.TrimLeft(digits, "0")
		if plain == "" || plain[0] == '.' {
			plain = "0" + plain
		}
		return fault("has a leading zero", "write %s", plain+tail)
	}
	if exponent.MatchString(after) {
		return fault("has an exponent", "write the number out in digits")
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !Finite(v) {
		return fault("is too large to reckon with", "write a smaller number")
	}
	return written{v + 0, text}, after, nil
}

// unitError tells a missing unit from an unknown one.
func unitError(whole, number, unit string, scales []scale) error {
	var good []string
	for _, s := range scales {
		if !s.unlisted {
			good = append(good, s.unit)
		}
	}
	if unit == "" {
		examples := make([]string, 0, 2)
		for _, u := range good[:min(2, len(good))] {
			examples = append(examples, number+" "+u)
		}
		if &scales[0] == &clock[0] {
			examples = []string{number + " h", number + " min"}
		}
		return &ParseError{"missing unit in " + quote(whole), "write " + strings.Join(examples, " or ")}
	}
	list := good[0]
	if len(good) > 1 {
		list = strings.Join(good[:len(good)-1], ", ") + " or " + good[len(good)-1]
	}
	return &ParseError{fmt.Sprintf("unknown unit %s in %s", quote(unit), quote(whole)), "write the number with " + list}
}

// tidy maps what keyboards and typesetting put in place of a blank, a minus or a
// degree sign to the plain one, and cuts blanks off both ends.
func tidy(text string) string {
	if len(text) > maxTextBytes {
		return text
	}
	return strings.Trim(lookalikes.Replace(text), " ")
}

var lookalikes = strings.NewReplacer(
	"\u00a0", " ", "\u2009", " ", "\u202f", " ", // no-break, thin and narrow blanks
	"\u2212", "-", // minus sign
	"\u2103", "°C", "\u2109", "°F", // one-character degree units
	"\u00ba", "°", "\u02da", "°", // ordinal indicator and ring above
)

// quote shows text in a message, cut to a readable length.
func quote(text string) string {
	const longest = 40
	if utf8.RuneCountInString(text) > longest {
		text = string([]rune(text)[:longest]) + "…"
	}
	return strconv.Quote(text)
}
