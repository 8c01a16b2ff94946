package profile

import (
	"fmt"
	"slices"
	"strconv"

	"fumarium/profile/ferment"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Ranges of what is measured; but for the pH, common practice, no source.
var (
	pHRange = source.Range[float64]{Low: 3.5, High: ferment.SourAt, Text: number,
		Why: "above it Staphylococcus aureus still grows (" + ferment.FSIS.Source + ")"}
	weightRange   = source.Range[quantity.Ratio]{Low: 0.3, High: 1, Text: quantity.Ratio.String}
	activityRange = source.Range[float64]{Low: 0.5, High: 0.97, Text: number}
)

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// String is the key of the file.
func (m Measured) String() string {
	return [...]string{"", "pH", "weight", "water activity", "eaten"}[m]
}

// measuredConditions reads what a person measures: each is a question of its own.
func measuredConditions(m *source.Map) []Condition {
	var got []Condition
	if v, ok := source.ReadIn(m.Take(SourTo.String()), quantity.ParseNumber, pHRange); ok {
		got = append(got, Condition{Kind: Confirmed, Measured: SourTo, AtMost: v,
			Confirm: fmt.Sprintf("Measure the pH in the middle of three sausages with a calibrated meter and write it down: none is above %s", number(v))})
	}
	if v, ok := source.ReadIn(m.Take(DriedTo.String()), quantity.ParseRatio, weightRange); ok {
		got = append(got, Condition{Kind: Confirmed, Measured: DriedTo, AtMost: float64(v),
			Confirm: fmt.Sprintf("Weigh the marked sausages and write it down: none is above %v of what it weighed when it was hung", v)})
	}
	if v, ok := source.ReadIn(m.Take(WaterActivity.String()), quantity.ParseNumber, activityRange); ok {
		got = append(got, Condition{Kind: Confirmed, Measured: WaterActivity, AtMost: v,
			Confirm: fmt.Sprintf("Have the water activity of three sausages measured and write it down: none is above %s", number(v))})
	}
	if text := m.Take(Eaten.String()).Text(); text != "" {
		got = append(got, Condition{Kind: Confirmed, Measured: Eaten, Confirm: text})
	}
	return got
}

// MeasuredBy is the stage that waits for such a measurement, the last one if there are
// several, with what it may be at most; false without one.
func (p *Product) MeasuredBy(what Measured) (stage int, most float64, ok bool) {
	for i := len(p.Stages) - 1; i >= 0; i-- {
		for _, c := range p.Stages[i].Until.Conditions {
			if c.Measured == what {
				return i, c.AtMost, true
			}
		}
	}
	return 0, 0, false
}

// refuseUnsour refuses a file that contradicts its process: sausage that is fermented and
// dried.
func (p *Product) refuseUnsour(process, pack source.Value, targets *source.Map, stages source.Value) {
	items := stages.List(MaxStages)
	if last := len(p.Stages) - 1; last >= 0 && len(items) == len(p.Stages) {
		for _, c := range p.Stages[last].Until.Conditions {
			if c.Measured != NotMeasured && c.Measured != Eaten {
				items[last].Map().FaultAt("until", "the last stage waits for "+c.Measured.String()+", and nothing would show that it came", "add a stage after it, such as one in the cold room that ends with confirm")
			}
		}
	}
	if p.Process != FermentedAndDried {
		pack.Fault("only the rules on sausage that is fermented and dried ask for it here", "remove it; for fish it stands under fish:")
		return
	}
	if p.Species == Fish || p.Species == Dairy {
		process.Fault("the rules are for sausage of meat", "write the species of the meat, or another process")
		return
	}
	for _, key := range []string{"core", "lethality"} {
		if targets.Has(key) {
			targets.FaultAt(key, "what is fermented and dried is not cooked and claims none", "remove it, or write process: cooked")
		}
	}
	at, _, sour := p.MeasuredBy(SourTo)
	switch {
	case !sour:
		process.Fault("no stage waits for the pH, without which nothing is shown", fmt.Sprintf("add pH: %s to the until of the fermenting stage", number(ferment.SourAt)))
	case p.Formula.Cure.Method != NoCure && p.Formula.Cure.Method != Comminuted:
		process.Fault("the rules are for minced meat, and the cure is not comminuted", "write method: comminuted, or another process")
	case slices.ContainsFunc(p.Stages[:at+1], func(s Stage) bool { return s.Place != Chamber }) && len(items) == len(p.Stages):
		items[at].Map().FaultAt("until", "until the pH is measured the sausage must hang in the chamber, whose warmth is counted", "remove place: from the stages up to this one")
	}
}
