// Package assess gives the verdict on the temperature log of a cooked product:
// was it cooked, did it come up fast enough, was it chilled fast enough. It holds
// a log against published rules and gives the arithmetic with each answer. It
// prints nothing, reads no file and takes no decision: for sale to others, a
// process authority and local rules decide.
//
// Whatever the log does not show does not count: pass means that everything was
// shown to be good.
package assess

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fumarium/profile"
	"fumarium/profile/deviation"
	"fumarium/profile/lethality"
	"fumarium/profile/logbook"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// A Humidity is how the surface of bare meat was kept moist while it cooked, by
// the options of the FSIS Cooking Guideline (2021). Heat kills less on a dry surface, and
// a core probe does not see it.
type Humidity uint8

// The ways. The zero value says nothing.
const (
	HumidityUnstated Humidity = iota
	Steam                     // option 1
	Sealed                    // option 2
	Humid                     // option 3
	HumidThroughout           // option 4
	Immersed                  // in water, in a sealed bag, or in direct heat: humidity does not matter
	Dry                       // none of them
	humidities
)

var humidityText = [humidities]struct{ word, meaning string }{
	HumidityUnstated: {"unstated", "not stated"},
	Steam:            {"steam", fmt.Sprintf("steam for %s, whichever is longer", lethality.Steamed.Span("the cook"))},
	Sealed:           {"sealed", fmt.Sprintf("dampers shut for %s, whichever is longer", lethality.Sealed.Span("the cook"))},
	Humid:            {"humid", fmt.Sprintf("at least %v humidity for %s, whichever is longer", lethality.Humid.Humidity, lethality.Humid.Span("the cook"))},
	HumidThroughout:  {"humid-throughout", fmt.Sprintf("at least %v humidity for the whole cook", lethality.Humid.Humidity)},
	Immersed:         {"immersed", "immersed, in a sealed bag or in direct heat, where humidity does not matter"},
	Dry:              {"dry", "no humidity kept"},
}

func (h Humidity) String() string {
	if h < humidities {
		return humidityText[h].word
	}
	return quantity.Unknown
}

// ParseHumidity reads one of the words for a Humidity.
func ParseHumidity(text string) (Humidity, error) {
	var words []string
	for h := Steam; h < humidities; h++ {
		if humidityText[h].word == text {
			return h, nil
		}
		words = append(words, humidityText[h].word)
	}
	return 0, fmt.Errorf("assess: %q is no way to keep humidity; write %s or %s", text, strings.Join(words[:len(words)-1], ", "), words[len(words)-1])
}

// Options are what the log cannot say. The zero value of each is the cautious one,
// but Species must be set.
type Options struct {
	Species     profile.Species
	PoultryInIt bool // red meat or game with poultry in it: held to the poultry standard
	Bird        lethality.Bird
	Lean        bool // poultry of at most lethality.LeanFat
	Cased       bool
	Humidity    Humidity
	// The cure counts as not stated unless the Has field is set.
	HasNitrite     bool
	NitritePPM     float64
	HasErythorbate bool
	ErythorbatePPM float64
	ProbeError     quantity.Kelvin // how far a probe may be wrong, either way
	// Own are kinetics to be met beside the published rule, never in its place.
	HasOwn bool
	Own    lethality.Kinetics
	// Cores are the headers of the columns to count; none means every core.
	Cores []string
	// LongestGap is the longest time between two rows that counts as seen; 0 takes
	// it from the log: twice its usual interval, at least 5 min, at most 30 min.
	LongestGap time.Duration
	// ServedHot is for food that was eaten before it was cold, as the maker says: no cooling
	// is asked for, and the log must show no more time below chilling.Hot than that allows.
	ServedHot bool
	// Where is the place by whose rules it is chilled; none is the United States.
	Where profile.Jurisdiction
	// Intact is muscle in one piece, not pumped and not tenderized.
	Intact bool
	// SaltPercent is the salt in the water of the finished product; 0 is not stated.
	SaltPercent float64
	// GrownLog10 is the growth of bacteria before this cook that a model predicts. A second
	// cook has to kill it as well.
	GrownLog10 float64
}

// Gaps: common practice, no source.
const (
	shortestGap = 5 * time.Minute
	longestGap  = 30 * time.Minute
)

func (o Options) check(log *logbook.Log) error {
	var faults []error
	refuse := func(format string, args ...any) { faults = append(faults, fmt.Errorf("assess: "+format, args...)) }
	switch o.Species {
	case profile.RedMeat, profile.Poultry, profile.Fish, profile.Game:
	case profile.Dairy:
		refuse("cheese is not cooked and has no lethality to assess; name another species")
	default:
		refuse("no species is given; name red meat, poultry, fish or game")
	}
	if !(o.ProbeError >= 0 && o.ProbeError <= 5) {
		refuse("a probe error of %v is not between 0 and 5 K; write how far the probe may be wrong", o.ProbeError)
	}
	if !(o.SaltPercent >= 0 && o.SaltPercent <= 30) {
		refuse("%g %% salt in the water of the product is not between 0 and 30 %%; write 100 × salt / (salt + water)", o.SaltPercent)
	}
	switch {
	case !(o.GrownLog10 >= 0 && o.GrownLog10 <= lethality.MostShown-lethality.PoultryLog10):
		refuse("%g log10 grown is not between 0 and %g; destroy what has grown more", o.GrownLog10, lethality.MostShown-lethality.PoultryLog10)
	case o.GrownLog10 > 0 && o.Species == profile.Fish:
		refuse("the rule for fish names no log reduction that growth could be added to")
	}
	ppm := func(what string, has bool, v float64) {
		if has && !(v >= 0 && v <= 5000) {
			refuse("%s of %g ppm is not between 0 and 5000 ppm; write the ingoing amount on the green weight of the meat", what, v)
		}
	}
	ppm("nitrite", o.HasNitrite, o.NitritePPM)
	ppm("erythorbate", o.HasErythorbate, o.ErythorbatePPM)
	if o.Humidity >= humidities {
		refuse("humidity %d is unknown; use ParseHumidity", o.Humidity)
	}
	if o.HasOwn {
		if _, err := lethality.NewCriterion("own kinetics", o.Own, o.ownRequired()); err != nil {
			faults = append(faults, err)
		}
	}
	if o.LongestGap < 0 || o.LongestGap > 6*time.Hour {
		refuse("a longest gap of %s is not between 0 and 6 h", o.LongestGap)
	}
	var cores []string
	for i := range log.Columns {
		cores = append(cores, log.Columns[i].Header)
	}
	for _, name := range o.Cores {
		if i := slices.Index(cores, name); i < 0 {
			refuse("%s has no temperature %q; it has %s", log.File, name, strings.Join(cores, ", "))
		} else if log.Columns[i].Count() == 0 {
			refuse("%s of %s was never read; choose another", name, log.File)
		}
	}
	return errors.Join(faults...)
}

// A Verdict is the answer. Its JSON is a contract.
type Verdict struct {
	Lethality []Lethality `json:"lethality"`
	ComeUp    ComeUp      `json:"come_up"`
	Surface   Surface     `json:"surface"`
	Cooling   []Cooling   `json:"cooling"`
	Warnings  Warnings    `json:"warnings"`
	Pass      bool        `json:"pass"`

	// Worksheet is what the guidance allows where a rule was not met or not shown.
	Worksheet  deviation.Sheet `json:"worksheet"`
	NotCovered []string        `json:"not_covered"`

	// Rules is the same in the words that a batch is judged in.
	Rules proof.Verdict `json:"-"`

	facts   facts
	options Options
}

// Warnings are findings that the contract writes as one line each.
type Warnings source.Findings

// MarshalJSON gives the lines.
func (w Warnings) MarshalJSON() ([]byte, error) { return json.Marshal(w.lines()) }

func (w Warnings) lines() []string {
	lines := make([]string, len(w))
	for i, f := range w {
		lines[i] = f.Error()
	}
	return lines
}

// Lethality is one criterion. What a criterion does not have is null: a table row
// has no z and D, a hold has no log10. For a row, FMinutes is the time at or above
// its temperature, ReferenceCelsius. Log10Capped says that more was counted than is
// shown.
type Lethality struct {
	Name             string   `json:"name"`
	FMinutes         *float64 `json:"f_minutes"`
	ReferenceCelsius *float64 `json:"reference_celsius"`
	ZKelvin          *float64 `json:"z_kelvin"`
	DMinutes         *float64 `json:"d_minutes"`
	Log10Reduction   *float64 `json:"log10_reduction"`
	Log10Capped      bool     `json:"log10_capped"`
	RequiredLog10    *float64 `json:"required_log10"`
	Pass             bool     `json:"pass"`

	source string
	log10  float64 // as counted
	needed float64 // minutes of a row
	scale  float64 // log10 that a whole row is worth
	of     string  // whose row it is
	role   role
}

// role is what a criterion decides.
type role uint8

const (
	needed     role = iota // must be met
	comparison             // decides nothing
)

// ComeUp is the time of the coldest core in lethality.ComeUpBand.
type ComeUp struct {
	Seconds      float64 `json:"seconds"`
	LimitSeconds float64 `json:"limit_seconds"`
	Pass         bool    `json:"pass"`
}

// Surface is whether the surface was moist enough for the heat to count there. Of that a
// log of cores shows nothing: it is as the maker states it, in the words of Humidity.
type Surface struct {
	Stated string `json:"stated"`
	Answer string `json:"answer"` // met, not met, not shown, does not apply
	Why    string `json:"why"`
}

// Cooling is one way to chill. It passes when its legs and its conditions do.
type Cooling struct {
	Option     string      `json:"option"`
	Legs       []Leg       `json:"legs"`
	Conditions []Condition `json:"conditions"`
	Pass       bool        `json:"pass"`

	source  string
	remarks []string
}

// Condition is what a way to chill asks for beside its legs.
type Condition struct {
	Text string `json:"text"`
	Why  string `json:"why"` // what shows it, or what is missing
	Pass bool   `json:"pass"`
}

// Leg is one limit. Seconds is null while the leg has not begun; for a leg that
// has not ended it is the time so far.
type Leg struct {
	FromCelsius  *float64 `json:"from_celsius"` // null is the end of the cook
	ToCelsius    float64  `json:"to_celsius"`
	Seconds      *float64 `json:"seconds"`
	LimitSeconds float64  `json:"limit_seconds"`
	Pass         bool     `json:"pass"`

	ended bool
}

// facts are what the text says beyond the contract.
type facts struct {
	describe  string
	cores     []string
	peak      quantity.Celsius // of the coldest core
	final     quantity.Celsius // of the hottest core
	seen      bool
	gap       time.Duration
	comeUp    lethality.ComeUp
	cooked    bool
	sealedRow bool // a row that steam and shut dampers count from was met
	cookedAt  time.Duration
	// The come-up took too long, or began before the log did.
	cameUpLate, cameInWarm bool
	chillFailed            bool          // none of the ways to chill could still be kept
	cooled                 time.Duration // of what was served hot: below chilling.Hot since it was cooked
}

// sample is one row of the log as the rules see it.
type sample struct {
	at               time.Duration
	line             int
	coldest, hottest quantity.Celsius
	known            bool // every core in use was read
}

// Assess judges a log. Its error is about the options only.
func Assess(log *logbook.Log, o Options) (Verdict, error) {
	if err := o.check(log); err != nil {
		return Verdict{}, err
	}
	v := Verdict{Lethality: []Lethality{}, Cooling: []Cooling{}, Warnings: Warnings{}, options: o}
	v.Warnings = append(v.Warnings, log.Warnings...)
	v.facts.gap = o.LongestGap
	if v.facts.gap == 0 {
		v.facts.gap = usualGap(log)
	}
	samples := v.samples(log)
	v.seams(log, samples)
	v.heat(samples)
	v.chill(samples)
	v.cool(samples)
	v.judge()
	v.Pass = v.Rules.Holds(proof.Cooked, proof.CameUp, proof.Surface, proof.Chilled)
	v.Worksheet, v.NotCovered = v.worksheet(samples), proof.Uncovered()
	return v, nil
}

var notOfALog = proof.Judgement{Answer: proof.NotShown, Why: "a log of temperatures does not show it"}

// judge says of each rule what the log has shown. Formula, record, the raw fish and its
// keeping are no business of a log of temperatures.
func (v *Verdict) judge() {
	answer := func(pass, broken bool, why string) proof.Judgement {
		switch {
		case !v.facts.seen:
			return proof.Judgement{Answer: proof.NotShown, Why: "no core was read"}
		case pass:
			return proof.Judgement{Answer: proof.Met, Why: why}
		case broken:
			return proof.Judgement{Answer: proof.NotMet, Why: why}
		}
		return proof.Judgement{Answer: proof.NotShown, Why: why + ", of which the log does not show all"}
	}
	v.Rules = proof.Verdict{
		proof.Cooked:   answer(v.cooked(), true, "by the criteria of its species"),
		proof.CameUp:   answer(v.ComeUp.Pass, v.facts.cameUpLate, "by the time of the coldest core in the band"),
		proof.Surface:  v.surface(),
		proof.Chilled:  answer(v.chilled(), v.facts.chillFailed, "by one of the ways to chill"),
		proof.Formula:  notOfALog,
		proof.Process:  {Answer: proof.DoesNotApply, Why: "what is assessed is cooked"},
		proof.Killed:   {Answer: proof.DoesNotApply, Why: "what is assessed is cooked"},
		proof.RawFish:  {Answer: proof.DoesNotApply, Why: "it is no fish"},
		proof.Keeping:  {Answer: proof.DoesNotApply, Why: "no rule on keeping it is held here"},
		proof.Recorded: {Answer: proof.NotShown, Why: "a log has no chain"},
	}
	if v.options.Species == profile.Fish {
		v.Rules[proof.RawFish], v.Rules[proof.Keeping] = notOfALog, notOfALog
	}
	v.Surface = Surface{v.options.Humidity.String(), v.Rules[proof.Surface].Answer.String(), v.Rules[proof.Surface].Why}
	if v.options.ServedHot {
		v.Rules[proof.Chilled] = v.servedHot()
	}
}

func (v *Verdict) warn(format string, args ...any) {
	v.Warnings = append(v.Warnings, source.Finding{Severity: source.Warning, Message: fmt.Sprintf(format, args...)})
}

// samples finds the coldest and the hottest core of each row. A core that was not
// read might have been either, so the row then counts as not seen.
func (v *Verdict) samples(log *logbook.Log) []sample {
	var cores []*logbook.Column
	var believed [][]bool
	for i := range log.Columns {
		c := &log.Columns[i]
		chosen := c.Core && len(v.options.Cores) == 0 || slices.Contains(v.options.Cores, c.Header)
		if chosen && c.Count() > 0 {
			cores, believed = append(cores, c), append(believed, v.believed(log, c))
			v.facts.cores = append(v.facts.cores, c.Header)
		}
	}
	samples := make([]sample, log.Rows())
	for row := range samples {
		s := sample{at: log.At(row), line: log.Line(row), known: true}
		for i, c := range cores {
			t, _ := c.Reading(row)
			s.known = s.known && believed[i][row]
			if i == 0 {
				s.coldest, s.hottest = t, t
			}
			s.coldest, s.hottest = min(s.coldest, t), max(s.hottest, t)
		}
		samples[row] = s
		if s.known {
			if !v.facts.seen || s.coldest > v.facts.peak {
				v.facts.peak = s.coldest
			}
			v.facts.seen, v.facts.final = true, s.hottest
		}
	}
	v.facts.describe = log.Describe()
	return samples
}

// usualGap is the gap beyond which a log that keeps its own rhythm has a hole.
func usualGap(log *logbook.Log) time.Duration {
	intervals := make([]time.Duration, 0, log.Rows()-1)
	for row := 1; row < log.Rows(); row++ {
		intervals = append(intervals, log.At(row)-log.At(row-1))
	}
	slices.Sort(intervals)
	return min(max(2*intervals[len(intervals)/2], shortestGap), longestGap)
}

// watched reports whether the time from row i-1 to row i was watched.
func (v *Verdict) watched(samples []sample, i int) bool {
	return samples[i].known && samples[i-1].known && samples[i].at-samples[i-1].at <= v.facts.gap
}

// seams looks for holes in the log.
func (v *Verdict) seams(log *logbook.Log, samples []sample) {
	gaps, gapLine, longest := 0, 0, time.Duration(0)
	for i := 1; i < len(samples); i++ {
		a, b := samples[i-1], samples[i]
		dt := b.at - a.at
		if dt > v.facts.gap {
			if gaps == 0 {
				gapLine = b.line
			}
			gaps, longest = gaps+1, max(longest, dt)
		}
	}
	if gaps > 0 {
		v.warn("%s:%d: %d gaps of more than %s, the longest %s, the first before this line: no heat is counted there, and the time counts against the come-up and the cooling",
			log.File, gapLine, gaps, quantity.FormatDuration(v.facts.gap), quantity.FormatDuration(longest))
	}
	if v.facts.gap > shortestGap {
		v.warn("the log is read as straight lines over up to %s between rows; readings each minute would say more", quantity.FormatDuration(v.facts.gap))
	}
	if v.options.ProbeError == 0 {
		v.warn("no probe error is stated: check the probes in ice water and in boiling water, and state it")
	}
}
