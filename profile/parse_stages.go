package profile

import (
	"fmt"
	"strings"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

func parseStages(v source.Value, s Species) []Stage {
	var stages []Stage
	r := stageReader{species: s, names: map[string]int{}}
	for i, item := range v.List(MaxStages) {
		m := item.Named(fmt.Sprintf("stage %d", i+1)).Map()
		stages = append(stages, r.stage(m))
	}
	return stages
}

// stageReader carries from stage to stage what later ones are held against.
type stageReader struct {
	species Species
	names   map[string]int // line of the stage of that name
	warmed  bool           // an earlier stage heated or smoked
	left    bool           // the product is out of the chamber

	setpointRead bool // this stage's chamber temperature is one
}

func (r *stageReader) stage(m *source.Map) Stage {
	st := Stage{Line: m.Line()}
	v := m.Need("name")
	if st.Name = v.Text(); st.Name != "" {
		if at := r.names[st.Name]; at != 0 {
			v.Fault(fmt.Sprintf("%q is the name of the stage in line %d", st.Name, at), "give every stage a name of its own")
		} else {
			r.names[st.Name] = st.Line
		}
	}

	chamber, heater := m.Take("chamber"), m.Take("heater")
	st.ChamberSetpoint, r.setpointRead = source.ReadIn(chamber, quantity.ParseTemperature, chamberRange)
	source.Choice(heater, offOnly)
	st.Heat = chamber.Present()
	switch {
	case chamber.Present() && heater.Present():
		m.FaultAt("heater", "the stage has a chamber temperature as well", "keep chamber: for a stage with heat, or heater: off for one without")
	case !chamber.Present() && !heater.Present():
		m.Fault("the stage says nothing about heat", "add chamber: and a temperature, or heater: off")
	}

	st.Ramp, _ = source.ReadIn(m.Take("ramp"), quantity.ParseRate, rampRange)
	if heater.Present() {
		m.FaultAt("ramp", "a stage without heat has no ramp", "remove it")
	}
	r.moisture(m, &st)
	st.Fan, _ = readSetting(m.Take("fan"), fanWords)
	st.Smoke, _ = source.Choice(m.Take("smoke"), onOff)
	st.Damper, st.HasDamper = readSetting(m.Take("damper"), damperWords)
	st.Ask = m.Take("ask").Text()
	st.Until = r.until(m.Need("until"), st)
	st.Within, _ = source.ReadIn(m.Take("within"), quantity.ParseDuration, stageRange)
	for _, c := range st.Until.Conditions {
		if c.Kind == After && !st.Until.Any && st.Within > 0 && st.Within <= c.After {
			m.FaultAt("within", fmt.Sprintf("the stage lasts %s at least, so the alarm would always sound", quantity.FormatDuration(c.After)), "write a longer time")
		}
	}
	r.place(m, &st)
	r.warmed = r.warmed || st.Heat || st.Smoke
	r.left = st.Place != Chamber
	m.Done()
	return st
}

// coolRoom is how far a stage that heats stays below what it may not exceed, so that heater
// and cooler never work against each other; own magnitude, no source.
const coolRoom quantity.Celsius = 3

// moisture reads what the air shall be held at, and how warm it may get.
func (r *stageReader) moisture(m *source.Map, st *Stage) {
	st.Humidity, st.HasHumidity = source.ReadIn(m.Take("humidity"), quantity.ParseRatio, fractionRange)
	st.WetBulb, st.HasWetBulb = source.ReadIn(m.Take("wet bulb"), quantity.ParseTemperature, chamberRange)
	st.Depression, st.HasDepression = source.ReadIn(m.Take("depression"), quantity.ParseTemperatureDifference, apartRange)
	st.NotAbove, st.HasNotAbove = source.ReadIn(m.Take("not above"), quantity.ParseTemperature, coldRange)
	one := "keep one of humidity, wet bulb and depression"
	switch {
	case st.HasHumidity && st.HasWetBulb, st.HasWetBulb && st.HasDepression:
		m.FaultAt("wet bulb", "the stage asks for the moisture of the air in another way as well", one)
	case st.HasHumidity && st.HasDepression:
		m.FaultAt("depression", "the stage asks for the moisture of the air in another way as well", one)
	case st.HasWetBulb && r.setpointRead && st.WetBulb > st.ChamberSetpoint:
		m.FaultAt("wet bulb", fmt.Sprintf("%v is above the chamber's %v, and no wet bulb is warmer than the air", st.WetBulb, st.ChamberSetpoint), "write a lower one")
	}
	if st.HasNotAbove && r.setpointRead && st.ChamberSetpoint > st.NotAbove-coolRoom {
		m.FaultAt("not above", fmt.Sprintf("the stage heats to %v, which leaves less than %v below %v", st.ChamberSetpoint, quantity.Kelvin(coolRoom), st.NotAbove), "write a higher one, or heat less")
	}
}

// place reads where the product is during the stage, or works it out.
func (r *stageReader) place(m *source.Map, st *Stage) {
	v := m.Take("place")
	said, known := source.Choice(v, places)
	waitsForCore := false
	for _, c := range st.Until.Conditions {
		waitsForCore = waitsForCore || c.Kind == CoreAtMost
	}
	switch {
	case known:
		st.Place = said
		if said != Chamber && (st.Heat || st.Smoke) {
			v.Fault("the stage heats or smokes the chamber", "remove place:, or end the heat and the smoke in an earlier stage")
		}
	case st.Heat || st.Smoke:
		st.Place = Chamber
	case waitsForCore:
		st.Place = IceWater
	case r.left:
		st.Place = Room
	default:
		st.Place = Chamber
	}
	for key, set := range map[string]bool{"humidity": st.HasHumidity, "wet bulb": st.HasWetBulb, "depression": st.HasDepression, "not above": st.HasNotAbove} {
		if set && st.Place != Chamber {
			m.FaultAt(key, "the product is not in the chamber during this stage", "remove it, or add place: chamber")
		}
	}
}

func (r *stageReader) until(v source.Value, st Stage) Until {
	m := v.Map()
	if !m.Has("any") {
		u := Until{Conditions: r.conditions(m, st)}
		m.Take("any")
		if m.Empty() {
			m.Fault("until: there is no condition", "add after, core, lethality, confirm or any")
		}
		m.Done()
		return u
	}
	u := Until{Any: true}
	seen := map[ConditionKind]bool{}
	for _, item := range m.Take("any").List(MaxConditions) {
		one := item.Map()
		got := r.conditions(one, st)
		one.Done()
		for _, c := range got {
			if c.Measured != NotMeasured {
				one.FaultAt(c.Measured.String(), "what is measured decides, and cannot stand beside another end", "write it under until without any")
			}
		}
		switch {
		case one.Empty():
			one.Fault("any: there is no condition in this item", "add after, core, lethality or confirm")
		case len(got) > 1:
			one.Fault("any: several conditions in one item", "give each an item of its own; conditions that must hold together cannot stand under any")
		case len(got) == 1 && seen[got[0].Kind]:
			one.Fault("any: this kind of condition is there already", "keep the one that comes first")
		case len(got) == 1:
			seen[got[0].Kind] = true
		}
		u.Conditions = append(u.Conditions, got...)
	}
	for _, key := range []string{"after", "core", "lethality", "confirm", SourTo.String(), DriedTo.String(), WaterActivity.String(), Eaten.String()} {
		m.Take(key)
		m.FaultAt(key, "any stands beside it", "move it into the list of any, or remove any")
	}
	m.Done()
	return u
}

// conditions reads the conditions of one mapping, in an order of their own.
func (r *stageReader) conditions(m *source.Map, st Stage) []Condition {
	var got []Condition
	if after, ok := source.ReadIn(m.Take("after"), quantity.ParseDuration, stageRange); ok {
		got = append(got, Condition{Kind: After, After: after})
	}
	v := m.Take("core")
	if core, ok := source.ReadIn(v, quantity.ParseTemperature, coreRange); ok {
		c := Condition{Kind: CoreAtLeast, Core: core}
		if !st.Heat {
			c.Kind = CoreAtMost
		}
		switch {
		case r.setpointRead && core >= st.ChamberSetpoint:
			v.Fault(fmt.Sprintf("%v cannot be reached in a chamber at %v", core, st.ChamberSetpoint), "set the chamber higher or the core lower")
		case !st.Heat && !st.Smoke && !r.warmed:
			v.Fault("a stage without heat waits for the core to fall, and nothing has warmed it yet", "heat in an earlier stage, or end this one with after")
		}
		got = append(got, c)
	}
	if l, ok := parseLethality(m.Take("lethality"), r.species); ok {
		got = append(got, Condition{Kind: LethalityAtLeast, Lethality: l})
	}
	if text := m.Take("confirm").Text(); text != "" {
		got = append(got, Condition{Kind: Confirmed, Confirm: text})
	}
	return append(got, measuredConditions(m)...)
}

// inDays writes a limit the way the file would: 7 d rather than 168 h.
func inDays(d time.Duration) string {
	const day = 24 * time.Hour
	if d > 0 && d%day == 0 {
		return fmt.Sprintf("%d d", d/day)
	}
	return quantity.FormatDuration(d)
}

// readSetting reads one of the words, or a percentage.
func readSetting(v source.Value, words []source.Word[quantity.Ratio]) (quantity.Ratio, bool) {
	v.Takes(source.Texts(words)...)
	return source.ReadIn(v, func(text string) (quantity.Ratio, error) {
		for _, w := range words {
			if w.Text == text {
				return w.Meaning, nil
			}
		}
		got, err := quantity.ParseRatio(text)
		if err != nil && !strings.ContainsAny(text[:1], "0123456789.+-") {
			err = &quantity.ParseError{Message: fmt.Sprintf("%q is not known", text),
				Remedy: fmt.Sprintf("use %s, %s or a percentage such as 25 %%", words[0].Text, words[1].Text)}
		}
		return got, err
	}, fractionRange)
}
