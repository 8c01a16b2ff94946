// Package report tells one recorded batch to the person who made it, to whoever eats of
// it and to an inspector: what was made from what, what could be shown of each rule and
// by which figures, how it went, who did what, and whether the record is whole. It works
// on what others have read and replayed; it opens no file, and it judges nothing itself:
// figures, limits and sources are those of the rooms that own them.
package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/chart"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/profile/chilling"
	"fumarium/profile/deviation"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/profile/sheet"
	"fumarium/profile/weighed"
)

// A Source is a batch as it was read from the record.
type Source struct {
	ID, World, Program string
	Started, Ended     time.Time // Ended is zero while it is under way
	ClockSet           bool      // the time of day was known at the start
	State, Why         string    // how it ended; empty while it has not
	Elapsed            time.Duration
	Product, Cabinet   File
	Course             *history.History
	Chart              chart.Figure
	Commands           []Command
	Notes              []Note
	Marks              []Mark
	Declared           []Declared
	Like               *Like // nil is made like none
	Decisions          []Decision
	Photos             []Photo
	Gaps               []Gap
	Whole              bool   // the chain of the record holds
	Record             string // what was found of it, in words
	// Replayed is nil where this program does not get the recorded decisions again, and
	// NotReplayed then says why.
	Replayed    *Replayed
	NotReplayed string
}

// Replayed is what only a replay knows.
type Replayed struct {
	Product *profile.Product
	Cabinet *cabinet.Cabinet
	Final   *controller.State
	Verdict proof.Verdict // with what is to be said of the record
	Cores   deviation.Course
	Weighed *weighed.Tally // nil is nothing
	Good    bool
	Ending  string // the same in words
}

// A File is one that the batch was made by.
type File struct {
	Title  string `json:"title"` // the name that it gives itself
	Name   string `json:"file"`
	SHA256 string `json:"sha256"`
}

// A Command is what a person or the program ordered.
type Command struct {
	ElapsedSeconds float64   `json:"elapsed_seconds"`
	Time           time.Time `json:"time"`
	Command        string    `json:"command"`
	Alarm          string    `json:"alarm,omitempty"`
	Who            string    `json:"who"`
	Reason         string    `json:"reason,omitempty"`
	Refused        string    `json:"refused,omitempty"`
}

// A Note is what a person wrote to the batch.
type Note struct {
	Time  time.Time `json:"time"`
	Who   string    `json:"who"`
	Text  string    `json:"text"`
	Mark  string    `json:"mark,omitempty"`
	Photo string    `json:"photo,omitempty"`
}

// NotLookedAt is the state of a photograph whose file lies elsewhere.
const NotLookedAt = "not looked at here"

// A Photo is a photograph beside the record, by its name and hash. State says how the file
// stands against them; Data is nil where it is not as it was.
type Photo struct {
	Time   time.Time `json:"time"`
	Who    string    `json:"who"`
	Name   string    `json:"name"`
	SHA256 string    `json:"sha256"`
	Text   string    `json:"text,omitempty"`
	State  string    `json:"state"`
	Type   string    `json:"type"`
	Data   []byte    `json:"-"`
}

// A Mark is the last one out of five for one trait.
type Mark struct {
	Trait string  `json:"trait"`
	Of5   float64 `json:"mark"`
	Who   string  `json:"who"`
	Text  string  `json:"text,omitempty"`
}

// Declared is what the maker said for the label.
type Declared struct {
	What string `json:"what"`
	Text string `json:"text"`
	Who  string `json:"who"`
}

// A Decision is what a person decided of a rule, or of the Whole batch, or that they Read its
// record; Text is the decision, or who read it.
type Decision struct {
	Time time.Time `json:"time"`
	What string    `json:"what"`
	Text string    `json:"text"`
	Who  string    `json:"who"`
}

// What a decision may be of besides the rules.
const (
	Whole = "batch"
	Read  = "read"
)

// Like is another batch that this one was made like, and what was made otherwise.
type Like struct {
	Batch      string `json:"batch"`
	Difference string `json:"difference"`
}

// A Gap is time of which nothing was recorded.
type Gap struct {
	FromSeconds float64 `json:"from_seconds"`
	Seconds     float64 `json:"seconds"`
	Known       bool    `json:"known"` // otherwise it was that long at the least
	Why         string  `json:"why"`
}

// A Report is the whole of it. It marshals to the keys of `report --json`.
type Report struct {
	ID             string     `json:"batch"`
	World          string     `json:"world"`
	Program        string     `json:"recorded_by"`
	Product        File       `json:"product"`
	Cabinet        File       `json:"cabinet"`
	Started        time.Time  `json:"started"`
	Ended          *time.Time `json:"ended"`
	ClockSet       bool       `json:"clock_set"`
	State          string     `json:"state"` // empty while it has not ended
	Why            string     `json:"why,omitempty"`
	ElapsedSeconds float64    `json:"elapsed_seconds"`
	Good           *bool      `json:"good"` // null is not known
	Ending         string     `json:"ending"`

	Rules      []Rule           `json:"rules"`
	Worksheet  []deviation.Case `json:"worksheet"`
	NotCovered []string         `json:"not_covered"`
	Made       *Made            `json:"made_from"` // null where the product is none for this program
	Weighed    *Weighed         `json:"weighed"`   // null where nothing is on record
	Stages     []Stage          `json:"stages"`
	Probes     []Probe          `json:"probes"`
	CoreError  quantity.Kelvin  `json:"core_error_kelvin"`
	Events     []Event          `json:"events"`
	Commands   []Command        `json:"commands"`
	Notes      []Note           `json:"notes"`
	Marks      []Mark           `json:"marks"`
	Declared   []Declared       `json:"declared"`
	Like       *Like            `json:"made_like"`
	Decisions  []Decision       `json:"decisions"`
	Photos     []Photo          `json:"photos"`
	Gaps       []Gap            `json:"gaps"`
	Whole      bool             `json:"record_whole"`
	Record     string           `json:"record"`
	NotKept    []string         `json:"not_recorded"` // what a report should say and no record holds

	chart chart.Figure
}

// A Rule is what can be said of one rule, with what was measured for it.
type Rule struct {
	Rule     string    `json:"rule"`
	Answer   string    `json:"answer"`
	Why      string    `json:"why"`
	Measures []Measure `json:"measures"`
}

// A Measure is one limit beside its figure.
type Measure struct {
	What   string `json:"what"`
	Limit  string `json:"limit"`
	Figure string `json:"figure"`
	Source string `json:"source"`
}

// Made is what it was made from: as it was weighed, and what was not weighed as the product
// file has it.
type Made struct {
	Items         []sheet.Item `json:"items"`
	TotalKg       float64      `json:"total_kg"`
	SaltPercent   float64      `json:"salt_percent"`
	FatPercent    float64      `json:"fat_percent"`
	WaterPercent  float64      `json:"added_water_percent"`
	Jurisdiction  string       `json:"jurisdiction"`
	Casing, Shape string       `json:"-"`
}

// Weighed is what people weighed, with the yields that follow from it.
type Weighed struct {
	*weighed.Tally
	Yields  []weighed.Yield `json:"yields"`
	Heavier []string        `json:"heavier"` // weights that cannot be
}

// A Stage is one as it went.
type Stage struct {
	Name         string  `json:"name"`
	StartSeconds float64 `json:"start_seconds"`
	EndSeconds   float64 `json:"end_seconds"` // so far, if it is not over
	Over         bool    `json:"over"`
	EndedBy      string  `json:"ended_by"`
	Steps        []Hand  `json:"hand_steps"`
}

// A Hand step is one that a person had to confirm.
type Hand struct {
	Text            string  `json:"text"`
	AskedSeconds    float64 `json:"asked_seconds"`
	AnsweredSeconds float64 `json:"answered_seconds"`
	Done            bool    `json:"done"`
}

// A Probe is one of the cabinet with how far it may be wrong, and by what.
type Probe struct {
	Name        string          `json:"name"`
	Role        string          `json:"role"`
	Chip        string          `json:"chip"`
	Calibrated  string          `json:"calibrated"` // the day; empty is never
	ErrorKelvin quantity.Kelvin `json:"error_kelvin"`
	Why         string          `json:"why"`
}

// An Event is one thing that happened.
type Event struct {
	ElapsedSeconds float64   `json:"elapsed_seconds"`
	Time           time.Time `json:"time"`
	Kind           string    `json:"kind"`
	Alarm          string    `json:"alarm,omitempty"`
	Priority       string    `json:"priority,omitempty"`
	Text           string    `json:"text"`
}

// notKept is what belongs into a report and does not stand in this record.
func notKept(t *weighed.Tally, s *Source) (list []string) {
	none := t == nil
	var lots, weights, moments []string
	if !none {
		for _, i := range t.Items {
			if i.TakenKg == nil {
				weights = append(weights, i.Name)
			}
			if !slices.ContainsFunc(i.Portions, func(p weighed.Portion) bool { return p.Lot != "" }) {
				lots = append(lots, i.Name)
			}
		}
		if len(t.Casing) == 0 {
			lots = append(lots, "the "+weighed.Casing)
		}
		for _, m := range []struct {
			name string
			kg   *float64
		}{{weighed.Raw, t.RawKg}, {weighed.Hung, t.HungKg}, {weighed.Cooked, t.CookedKg}, {weighed.Packed, t.PackedKg}} {
			if m.kg == nil {
				moments = append(moments, m.name)
			}
		}
	}
	tell := func(what, all string, missing []string) {
		switch {
		case none:
			list = append(list, all)
		case len(missing) > 0:
			list = append(list, what+strings.Join(missing, ", "))
		}
	}
	tell("the lots of ", "lots of the ingredients, the cure and the casing", lots)
	tell("what was weighed of ", "weights as taken, raw, hung, cooked and packed, and so the yield by scale", weights)
	if !none {
		tell("the batch on the scale: ", "", moments)
	}
	if len(s.Declared) == 0 {
		list = append(list, "the label that went on the packs")
	}
	if !slices.ContainsFunc(s.Decisions, func(d Decision) bool { return d.What == Read }) {
		list = append(list, "who read this record")
	}
	return list
}

// Make puts the report together.
func Make(s *Source) *Report {
	r := &Report{
		ID: s.ID, World: s.World, Program: s.Program, Product: s.Product, Cabinet: s.Cabinet,
		Started: s.Started, ClockSet: s.ClockSet, State: s.State, Why: s.Why, ElapsedSeconds: s.Elapsed.Seconds(),
		Rules: []Rule{}, Worksheet: []deviation.Case{}, NotCovered: proof.Uncovered(), Stages: []Stage{}, Probes: []Probe{}, Events: []Event{},
		Commands: slices.Concat([]Command{}, s.Commands), Notes: slices.Concat([]Note{}, s.Notes), Marks: slices.Concat([]Mark{}, s.Marks), Declared: slices.Concat([]Declared{}, s.Declared), Like: s.Like, Decisions: slices.Concat([]Decision{}, s.Decisions), Photos: slices.Concat([]Photo{}, s.Photos), Gaps: slices.Concat([]Gap{}, s.Gaps),
		Whole: s.Whole, Record: s.Record, NotKept: notKept(nil, s), chart: s.Chart,
	}
	if !s.Ended.IsZero() {
		r.Ended = &s.Ended
	}
	r.tellCourse(s.Course)
	if s.Replayed == nil {
		r.Ending = "not known: " + s.NotReplayed
		return r
	}
	r.judge(s)
	return r
}

func (r *Report) tellCourse(h *history.History) {
	for _, stage := range h.Stages() {
		end := stage.Ended
		if !stage.Over {
			end = h.Elapsed()
		}
		t := Stage{Name: stage.Name, StartSeconds: stage.Began.Seconds(), EndSeconds: end.Seconds(), Over: stage.Over, EndedBy: stage.By.String(), Steps: []Hand{}}
		for _, w := range stage.Waits {
			t.Steps = append(t.Steps, Hand{w.Prompt, w.Asked.Seconds(), w.Answered.Seconds(), w.Done})
		}
		r.Stages = append(r.Stages, t)
	}
	events := h.BatchEvents()
	for i := range events {
		e := &events[i]
		t := Event{ElapsedSeconds: e.Elapsed.Seconds(), Time: e.Wall, Kind: history.KindName(e.Kind), Alarm: e.Alarm.String(), Text: e.Text()}
		if e.Priority != 0 {
			t.Priority = e.Priority.String()
		}
		r.Events = append(r.Events, t)
	}
}

func (r *Report) judge(s *Source) {
	known := s.Replayed
	over := s.State != ""
	if over {
		r.Good, r.Ending = &known.Good, known.Ending
	}
	verdict := known.Verdict
	r.CoreError = known.Final.CoreError
	r.NotKept = notKept(known.Weighed, s)
	made := known.Product // as it was weighed, where it was
	if t := known.Weighed; t != nil {
		made, r.Weighed = t.Product, &Weighed{t, t.Yields(), append([]string{}, t.Heavier()...)}
	}
	rules := known.Final.Rules(known.Product).MadeAs(made)
	asMade := sheet.Make(made, sheet.Options{Where: rules.Where})
	for rule, j := range verdict {
		r.Rules = append(r.Rules, Rule{proof.Rule(rule).String(), j.Answer.String(), j.Why, measures(proof.Rule(rule), j.Answer, &rules, &known.Final.Claim, &asMade)})
	}
	if over {
		r.Worksheet = slices.Concat(r.Worksheet, deviation.Work(deviation.Of(&rules, verdict, known.Cores)))
	}
	shape := known.Product.Shape
	r.Made = &Made{
		Items: asMade.Items, TotalKg: asMade.Total, SaltPercent: asMade.SaltPercent, FatPercent: asMade.FatPercent, WaterPercent: asMade.AddedWaterPercent,
		Jurisdiction: asMade.Jurisdiction, Casing: shape.Casing.String(), Shape: size(shape),
	}
	for i := range known.Cabinet.Probes {
		p := &known.Cabinet.Probes[i]
		t := Probe{Name: p.Name, Role: p.Role.String(), Chip: string(p.Chip)}
		if !p.Calibrated.IsZero() {
			t.Calibrated = p.Calibrated.Format(time.DateOnly)
		}
		if p.Role == cabinet.CoreProbe {
			t.ErrorKelvin, t.Why = p.Accuracy()
		}
		r.Probes = append(r.Probes, t)
	}
}

func size(s profile.Shape) string {
	switch s.Form {
	case profile.Slab:
		return fmt.Sprintf("%v thick", s.Thickness)
	}
	return fmt.Sprintf("%v across", s.Diameter)
}

// measures are the figures of the rules that are held against figures. Each limit is moved
// by what the probe may be wrong, as it was when it decided.
func measures(rule proof.Rule, a proof.Answer, r *proof.Rules, c *proof.Claim, made *sheet.Sheet) []Measure {
	list := []Measure{}
	if a == proof.DoesNotApply {
		return list
	}
	switch rule {
	case proof.Cooked:
		k := r.Criterion
		if k == nil {
			break
		}
		if log10, required, ok := proof.Counts(r, c); ok {
			shown, capped := lethality.Shown(log10)
			list = append(list, Measure{k.Name, fmt.Sprintf("%g log10", required), lethality.Text(shown, capped, 1) + " log10", k.Source})
		}
		if row, held, ok := k.Best(c.Heat); ok {
			at := row.At + quantity.Celsius(r.CoreError)
			list = append(list, Measure{"nearest row of the table, coldest core", fmt.Sprintf("%s for %s", deviation.Both(at), quantity.FormatDuration(row.Hold)), quantity.FormatDuration(held.Round(time.Second)), k.Source})
		}
	case proof.CameUp:
		band := lethality.ComeUpWithin(r.CoreError)
		list = append(list, Measure{
			fmt.Sprintf("coldest core from %s to %s", deviation.Both(band.From), deviation.Both(band.To)), "at most " + quantity.FormatDuration(band.Limit),
			quantity.FormatDuration(c.ComeUp.Time.Round(time.Second)), lethality.ComeUpBand.Source,
		})
	case proof.Chilled:
		if r.ServedHot {
			list = append(list, Measure{"coldest core below " + deviation.Both(chilling.Hot.From+quantity.Celsius(r.CoreError)) + " since it was cooked, until eaten",
				"at most " + quantity.FormatDuration(chilling.Hot.Limit), quantity.FormatDuration(c.Cooled.Round(time.Second)), chilling.Hot.Source})
		}
		if r.Chill == nil {
			break
		}
		rule := r.Chilling()
		for _, leg := range rule.Legs(c.Chill) {
			list = append(list, Measure{fmt.Sprintf("hottest core from %s to %s", leg.Begins(deviation.Both), deviation.Both(leg.To)), "at most " + quantity.FormatDuration(leg.Within), took(leg), rule.Source})
		}
	case proof.Process:
		if b := lethality.RawUncured; r.Uncured {
			list = append(list, Measure{fmt.Sprintf("core from %s to %s, in a chamber that was no hotter", deviation.Both(b.From), deviation.Both(b.To)),
				"at most " + quantity.FormatDuration(b.Limit), quantity.FormatDuration(c.Warm.Round(time.Second)), b.Source})
		}
	case proof.Surface:
		list = append(list, Measure{"humidity at the surface, until it is cooked", lethality.Humid.Humidity.String() + " for a quarter of the time, and more ways", quantity.FormatDuration(c.Surface.Humid.Round(time.Second)) + " of " + quantity.FormatDuration(c.Surface.Cook.Round(time.Second)), lethality.Humid.Source})
	case proof.Formula:
		for _, check := range slices.Concat(one(made.Nitrite), one(made.Erythorbate), made.More) {
			var limit []string
			if check.Floor != nil {
				limit = append(limit, fmt.Sprintf("at least %.0f ppm", *check.Floor))
			}
			if check.Limit != nil {
				limit = append(limit, fmt.Sprintf("at most %.0f ppm", *check.Limit))
			}
			if len(limit) > 0 {
				list = append(list, Measure{check.Name + " " + check.When, strings.Join(limit, ", "), fmt.Sprintf("%.0f ppm", check.PPM), check.Basis})
			}
		}
	}
	return list
}

func one(c *sheet.Check) []sheet.Check {
	if c == nil {
		return nil
	}
	return []sheet.Check{*c}
}

func took(leg chilling.Leg) string {
	switch {
	case !leg.Begun:
		return "not seen"
	case !leg.Ended:
		return quantity.FormatDuration(leg.Took.Round(time.Second)) + " so far"
	}
	return quantity.FormatDuration(leg.Took.Round(time.Second))
}

// Lasted is how long the stage took, so far if it is not over.
func (s Stage) Lasted() float64 { return s.EndSeconds - s.StartSeconds }
