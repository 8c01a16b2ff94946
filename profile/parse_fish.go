package profile

import (
	"fmt"
	"strings"
	"time"

	"fumarium/profile/fish"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

var (
	packings = []source.Word[fish.Packing]{{Text: "air", Meaning: fish.InAir}, {Text: "vacuum", Meaning: fish.InVacuum}}
	// without freezing
	safeguards = []source.Word[fish.Safeguard]{{Text: "farmed on pellets", Meaning: fish.Farmed}, {Text: "exempt tuna", Meaning: fish.ExemptTuna}, {Text: "rinsed roe", Meaning: fish.RinsedRoe}}

	freezerRange = source.Range[quantity.Celsius]{Low: -80, High: 0, Text: quantity.Celsius.String}
	frozenRange  = source.Range[time.Duration]{Low: 0, High: 2 * 365 * 24 * time.Hour, Above: true, Text: inDays}
	storeRange   = source.Range[quantity.Celsius]{Low: -40, High: fish.StoredAt, Text: quantity.Celsius.String,
		Why: "smoked fish is kept at 38 °F or colder (" + fish.StorageSource + ")"}
	histamineRange = source.Range[float64]{Low: 0, High: fish.Decomposed, Text: ppmText,
		Why: "from there on it counts as spoilt, and no heat destroys it: throw it away (" + fish.HistamineSource + ")"}
	loinNitriteRange = source.Range[float64]{Low: 0, High: 10000, Text: ppmText}
)

func ppmText(v float64) string { return fmt.Sprintf("%g ppm", v) }

// parsePPM reads "15 ppm" or "15 mg/kg", which are the same.
func parsePPM(text string) (float64, error) {
	for _, unit := range []string{"ppm", "mg/kg"} {
		if number, ok := strings.CutSuffix(strings.TrimSpace(text), unit); ok {
			return quantity.ParseNumber(strings.TrimSpace(number))
		}
	}
	return 0, &quantity.ParseError{Message: fmt.Sprintf("%q has no unit", text), Remedy: "write it in ppm or mg/kg, such as 15 ppm"}
}

// parseFish reads what the rules for fish hang on.
func parseFish(v source.Value, s Species) FishFacts {
	var f FishFacts
	if !v.Present() {
		return f
	}
	m := v.Map()
	if s != Fish {
		v.Fault("the product is no fish", "remove it, or write species: fish")
	}
	var words []source.Word[fish.Kind]
	for _, k := range fish.Kinds() {
		words = append(words, source.Word[fish.Kind]{Text: k.String(), Meaning: k})
	}
	f.Kind, _ = source.Choice(m.Take("kind"), words)
	f.parasites(m)
	loin := m.Take("loin")
	if lm := loin.Map(); lm != nil {
		f.Loin.Salt, _ = source.ReadIn(lm.Need("salt"), quantity.ParseRatio, uptakeRange)
		f.Loin.Water, _ = source.ReadIn(lm.Need("water"), quantity.ParseRatio, uptakeRange)
		f.Loin.NitritePPM, _ = source.ReadIn(lm.Take("nitrite"), parsePPM, loinNitriteRange)
		f.Loin.Measured = true
		if f.Loin.Salt+f.Loin.Water > 1+1e-9 {
			lm.FaultAt("salt", fmt.Sprintf("salt and water add up to %v of the loin", f.Loin.Salt+f.Loin.Water), "write both as they were measured, in percent of the finished loin")
		}
		lm.Done()
	}
	f.Packed, _ = source.Choice(m.Take("pack"), packings)
	f.Keep, f.HasKeep = source.ReadIn(m.Take("keep"), quantity.ParseTemperature, storeRange)
	f.Histamine, f.HasHistamine = source.ReadIn(m.Take("histamine"), parsePPM, histamineRange)
	m.Done()
	return f
}

// parasites reads the safeguard: a word, or how it was frozen.
func (f *FishFacts) parasites(m *source.Map) {
	v := m.Take("parasites")
	if v.Present() && !v.IsMap() {
		f.Parasites, _ = source.Choice(v, safeguards)
		if f.Parasites == fish.ExemptTuna && f.Kind != fish.Tuna {
			v.Fault(fmt.Sprintf("the fish is not named as tuna but as %s", f.Kind), "write kind: tuna if it is one of the six species of tuna that need no freezing, or how it was frozen")
		}
		return
	}
	pm := v.Map()
	if pm == nil {
		return
	}
	var to, held bool
	f.Freezing.To, to = source.ReadIn(pm.Need("frozen"), quantity.ParseTemperature, freezerRange)
	kept := pm.Take("then")
	if f.Freezing.Kept, held = source.ReadIn(kept, quantity.ParseTemperature, freezerRange); !kept.Present() {
		f.Freezing.Kept, held = f.Freezing.To, to
	}
	var timed bool
	f.Freezing.For, timed = source.ReadIn(pm.Need("for"), quantity.ParseDuration, frozenRange)
	f.Parasites = fish.Frozen
	if to && held && timed && !f.Freezing.Kills() {
		pm.FaultAt("for", fmt.Sprintf("%v for %s kills no parasite for certain", f.Freezing.Kept, quantity.FormatDuration(f.Freezing.For)),
			"freeze it "+fish.FreezingWays+" ("+fish.ParasiteSource+")")
	}
	pm.Done()
}

// refuseWarm refuses a process that the file contradicts: fish that is smoked cold.
func (p *Product) refuseWarm(process source.Value, targets *source.Map, stages source.Value) {
	if p.Process != ColdSmoked {
		return
	}
	if p.Species != Fish {
		process.Fault("only fish is smoked cold to be eaten as it is here", "write process: not ready to eat, or process: fermented and dried")
		return
	}
	for _, key := range []string{"core", "lethality"} {
		if targets.Has(key) {
			targets.FaultAt(key, "fish that is smoked cold is raw and claims none", "remove it, or write process: cooked")
		}
	}
	for i, item := range stages.List(MaxStages) {
		if i < len(p.Stages) && p.Stages[i].Heat && p.Stages[i].ChamberSetpoint > fish.ColdSmoked.Chamber {
			item.Map().FaultAt("chamber", fmt.Sprintf("%v is too warm to smoke fish cold, the limit is %v", p.Stages[i].ChamberSetpoint, fish.ColdSmoked.Chamber),
				"keep the chamber "+fish.Ways()+", or cook it with process: cooked")
		}
	}
}
