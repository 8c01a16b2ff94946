package quantity

import (
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Units are those in which figures are shown to a person. The zero value is °C and kg.
// It is handed down from whoever asked for them; nothing here remembers it.
//
// Inside, and in JSON, everything stays SI. The rules of rounding:
//
//   - Two figures that differ in °C, written to a tenth, differ in °F in the same order:
//     a tenth of a degree Fahrenheit is finer than one of a degree Celsius. So no figure in
//     °F reaches a limit that it does not reach in °C.
//   - A tenth of a °C that stands for a multiple of 5 °F is written as that: published
//     limits are such, and 54.4 °C is 130 °F, not 129.9 °F, which would ask for less.
//   - What was measured and must not be less than a limit is rounded down (AtLeast),
//     what must not be more is rounded up (AtMost): 129.96 °F is shown as 129.9 °F.
//   - A limit in a text is rounded to its strict side: "at least 67.8 °C" up to 154.1 °F,
//     "at most 3.3 °C" down to 37.9 °F. Whoever keeps to the figure keeps to the limit.
//   - The verdict is worked out from the unrounded value, never from what is shown.
type Units struct {
	Fahrenheit bool // temperatures, differences and rates
	Pounds     bool // masses, in lb and oz
}

// ParseUnits reads the units that a person asks for: "F", "lb", "F,lb", "°C, kg".
func ParseUnits(text string) (Units, error) {
	var u Units
	bad := func(message string) (Units, error) {
		return Units{}, &ParseError{message, "write C or F, kg or lb, or one of each as in F,lb"}
	}
	heat, mass := 0, 0
	for _, word := range strings.FieldsFunc(tidy(text), func(r rune) bool { return r == ',' || r == ' ' }) {
		switch word {
		case "C", "°C":
			heat++
		case "F", "°F":
			u.Fahrenheit = true
			heat++
		case "kg":
			mass++
		case "lb":
			u.Pounds = true
			mass++
		default:
			return bad("there are no units " + quote(word))
		}
	}
	switch {
	case heat+mass == 0:
		return bad("no units are named")
	case heat > 1 || mass > 1:
		return bad(quote(text) + " names two units for the same")
	}
	return u, nil
}

func (u Units) String() string {
	text := "C,"
	if u.Fahrenheit {
		text = "F,"
	}
	if u.Pounds {
		return text + "lb"
	}
	return text + "kg"
}

// Temperature shows t to the nearest tenth, as Celsius does.
func (u Units) Temperature(t Celsius) string {
	if !u.Fahrenheit {
		return t.String()
	}
	return trim(t.Fahrenheit(), 1) + " °F"
}

// AtLeast shows a measured temperature that more of would be better of: in °F rounded
// down.
func (u Units) AtLeast(t Celsius) string {
	if !u.Fahrenheit {
		return Fixed(float64(t), 1) + " °C"
	}
	return Fixed(math.Floor(t.Fahrenheit()*10+speck)/10, 1) + " °F"
}

// AtMost shows a measured temperature that less of would be better of: in °F rounded up.
func (u Units) AtMost(t Celsius) string {
	if !u.Fahrenheit {
		return Fixed(float64(t), 1) + " °C"
	}
	return Fixed(math.Ceil(t.Fahrenheit()*10-speck)/10, 1) + " °F"
}

// speck is more than the conversion loses to binary fractions and less than any probe
// tells: 130 °F read as such is shown as 130.0 °F, not 129.9 °F.
const speck = 1e-6

// Difference shows a difference of temperatures.
func (u Units) Difference(d Kelvin) string {
	if !u.Fahrenheit {
		return d.String()
	}
	return trim(float64(d)*9/5, 2) + " °F"
}

// Rate shows a rate of temperature change.
func (u Units) Rate(r KelvinPerSecond) string {
	if !u.Fahrenheit {
		return r.String()
	}
	return trim(float64(r)*3600*9/5, 1) + " °F/h"
}

// Mass shows a mass: from a pound on in lb and oz to a tenth, below in oz, the finer the
// less it is, so that a curing salt can be weighed to better than one percent.
func (u Units) Mass(m Kilograms) string {
	if !u.Pounds {
		return m.String()
	}
	ounces := float64(m) / poundKilograms * 16
	switch size := math.Abs(ounces); {
	case size < 0.9995:
		return trim(ounces, 3) + " oz"
	case size < 15.995:
		return trim(ounces, 2) + " oz"
	}
	sign := ""
	if ounces < 0 {
		sign, ounces = "-", -ounces
	}
	tenths := math.Round(ounces * 10) // 1e12 kg and more stay exact enough to print
	pounds := math.Floor(tenths / 160)
	if rest := tenths - pounds*160; rest > 0 {
		return sign + trim(pounds, 0) + " lb " + trim(rest/10, 1) + " oz"
	}
	return sign + trim(pounds, 0) + " lb"
}

// poundKilograms is one pound, exactly (see masses).
const poundKilograms = 0.45359237

// figures is one or more numbers that share a unit: "54.4 °C", "50 to 130 °F", "12.5 g";
// and after it, in brackets, the same in °F, where a text gives both.
var figures = regexp.MustCompile(`([-−]?\d+(?:\.\d+)?(?:(?: to | / | and | or | - |–)[-−]?\d+(?:\.\d+)?)*)[ \x{a0}]?(°C/h|°C/min|K/h|K/min|°C|K|kg|g)`)

// both is a temperature in both units, in which the °F is written from the unrounded one.
var both = regexp.MustCompile(`^ \(([-−]?\d+(?:\.\d+)?(?: to [-−]?\d+(?:\.\d+)?)?) °F\)`)

var oneNumber = regexp.MustCompile(`[-−]?\d+(?:\.\d+)?`)

// Text shows a finished text of this program in these units. What stands in quotation
// marks is somebody's word, and stays.
func (u Units) Text(text string) string {
	if u == (Units{}) || text == "" {
		return text
	}
	var b strings.Builder
	done := 0
	for _, at := range figures.FindAllStringSubmatchIndex(text, -1) {
		if !standsAlone(text, at[0], at[1]) || quoted(text, at[0]) {
			continue
		}
		end := at[1]
		shown, ok := "", false
		if unit := text[at[4]:at[5]]; unit == "°C" && u.Fahrenheit {
			if pair := both.FindStringSubmatch(text[end:]); pair != nil {
				shown, ok, end = pair[1]+" °F", true, end+len(pair[0])
			}
		}
		if !ok {
			shown, ok = u.figures(text[at[2]:at[3]], text[at[4]:at[5]], strict(text[:at[0]], text[end:]))
		}
		if ok {
			b.WriteString(text[done:at[0]])
			b.WriteString(shown)
			done = end
		}
	}
	b.WriteString(text[done:])
	return b.String()
}

// standsAlone reports whether a figure is one: no part of a word, a date, a flag or a
// unit that is none of ours, such as g/mL or W/K.
func standsAlone(text string, from, to int) bool {
	before, _ := utf8.DecodeLastRuneInString(text[:from])
	after, _ := utf8.DecodeRuneInString(text[to:])
	if from > 0 && (unicode.IsLetter(before) || unicode.IsDigit(before) || strings.ContainsRune(".,:=@_#/-+", before)) {
		return false
	}
	return to == len(text) || !(unicode.IsLetter(after) || unicode.IsDigit(after) || strings.ContainsRune("/·²³°_", after))
}

// quoted reports whether the place lies between quotation marks of its line.
func quoted(text string, at int) bool {
	line := text[strings.LastIndexByte(text[:at], '\n')+1 : at]
	return strings.Count(line, `"`)%2 == 1
}

// What a limit says of its side, before its figure and after it.
var (
	floorBefore = regexp.MustCompile(`(?:at least|not under|not below|reaches) $`)
	capBefore   = regexp.MustCompile(`(?:at most|at or below|below|under|limit|not over|not above|falls to|up to) $`)
	floorAfter  = regexp.MustCompile(`^ or (?:more|hotter|warmer|higher|above)\b`)
	capAfter    = regexp.MustCompile(`^ or (?:less|colder|cooler|lower|below)\b`)
)

// strict is how a figure between these texts is rounded: a floor up, a cap down, and
// whatever is neither to the nearest.
func strict(before, after string) func(float64) float64 {
	before = before[max(0, len(before)-16):]
	switch {
	case floorBefore.MatchString(before), floorAfter.MatchString(after):
		return func(v float64) float64 { return math.Ceil(v - speck) }
	case capBefore.MatchString(before), capAfter.MatchString(after):
		return func(v float64) float64 { return math.Floor(v + speck) }
	}
	return math.Round
}

// figures shows numbers of one unit, unless it is one that stays. round is for
// temperatures.
func (u Units) figures(numbers, unit string, round func(float64) float64) (string, bool) {
	mass := unit == "kg" || unit == "g"
	if mass && !u.Pounds || !mass && !u.Fahrenheit {
		return "", false
	}
	shown := oneNumber.ReplaceAllStringFunc(numbers, func(number string) string {
		v, err := strconv.ParseFloat(strings.ReplaceAll(number, "−", "-"), 64)
		if err != nil { // too large for a number; nothing honest can be said
			return number
		}
		_, decimals, _ := strings.Cut(number, ".")
		digits := max(1, len(decimals))
		switch unit {
		case "kg":
			return u.Mass(Kilograms(v))
		case "g":
			return u.Mass(Kilograms(v / 1000))
		case "°C":
			return fahrenheitText(v, decimals, round)
		}
		if len(decimals) > 0 {
			return Fixed(v*9/5, digits)
		}
		return trim(v*9/5, digits)
	})
	return shown + strings.NewReplacer("kg", "", "g", "", "°C", " °F", "K", " °F").Replace(unit), true
}

// fahrenheitText is a number of °C, written with these decimals, in °F.
func fahrenheitText(celsius float64, decimals string, round func(float64) float64) string {
	f := Celsius(celsius).Fahrenheit()
	digits := max(1, len(decimals))
	half := 0.9 * math.Pow(10, -float64(digits)) // of the last digit, in °F
	if limit := math.Round(f/5) * 5; math.Abs(f-limit) <= half+speck {
		f = limit
	}
	tens := math.Pow(10, float64(digits))
	f = round(f*tens) / tens
	if strings.HasSuffix(decimals, "0") {
		return Fixed(f, digits)
	}
	return trim(f, digits)
}

// A Writer shows in some units what is written to it as finished text, a whole line or
// more at a time.
type Writer struct {
	units Units
	w     io.Writer
}

// Writer returns w itself for °C and kg, and else a Writer before it.
func (u Units) Writer(w io.Writer) io.Writer {
	if u == (Units{}) {
		return w
	}
	return &Writer{u, w}
}

// Write claims all of p or what the writer behind it says.
func (w *Writer) Write(p []byte) (int, error) {
	if _, err := io.WriteString(w.w, w.units.Text(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// UnitsOf are the units that w shows figures in.
func UnitsOf(w io.Writer) Units {
	if w, ok := w.(*Writer); ok {
		return w.units
	}
	return Units{}
}

// Raw is the writer behind w that changes nothing: for a file as it is, and for a
// message about what a person wrote.
func Raw(w io.Writer) io.Writer {
	if w, ok := w.(*Writer); ok {
		return w.w
	}
	return w
}
