package proof

import (
	"fmt"
	"time"

	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/quantity"
)

// A Moisture is what was measured of the air around the product from loading until it had
// its lethality. The shares of the humidity options count over all of that time, drying and
// smoking included (FSIS Cooking Guideline 2021, p. 25).
type Moisture struct {
	Cook  time.Duration `record:"cook"`  // in the chamber, measured or not
	Seen  time.Duration `record:"seen"`  // of it with a wet bulb that can be gone by
	Humid time.Duration `record:"humid"` // of that at the humidity of options 3 and 4
	Moist time.Duration `record:"moist"` // with shut damper or humidifier, and as moist as that should keep it
}

// Air is what is known of the air around the product over one step.
type Air struct {
	Loaded   bool // the product hangs in the chamber
	Seen     bool // the chamber was read
	Chamber  quantity.Celsius
	Passed   int    // how many stages are over
	Skipped  uint32 // those of which a person ended before their time, a bit for each
	Measured bool
	Humidity quantity.Ratio
	Kept     bool // the damper is shut, or the humidifier is on
}

// moistEnough is what the guideline believes to be held in an oven that is shut or given
// steam (p. 27). Options 1 and 2 name no figure; air that is measured to be drier is no sign
// of either. Own rule.
const moistEnough = 0.30

// moisten counts a step until the product is cooked, and for fish that is smoked cold how
// warm it hangs.
func (c *Claim) moisten(r *Rules, a Air, dt time.Duration) {
	if a.Loaded && r.Product != nil && r.Product.Process == profile.ColdSmoked {
		c.Smoking = c.Smoking.Add(a.Chamber, a.Seen, dt)
	}
	c.dry(r, a, dt)
	if !a.Loaded || r.Criterion == nil || r.Criterion.Met(c.Heat) {
		return
	}
	m := &c.Surface
	m.Cook += dt
	if !a.Measured {
		return
	}
	m.Seen += dt
	if a.Humidity >= lethality.Humid.Humidity {
		m.Humid += dt
	}
	if a.Kept && a.Humidity >= moistEnough {
		m.Moist += dt
	}
}

// surface finds the humidity option that was shown, if any.
func surface(r *Rules, c *Claim) Judgement {
	p := r.Product
	switch {
	case r.Criterion == nil:
		return uncooked(p)
	case p.Species == profile.Fish:
		return Judgement{DoesNotApply, "the rule for fish names no humidity"}
	case p.Shape.Casing != profile.NoCasing && p.Shape.Casing != profile.NetCasing:
		return Judgement{DoesNotApply, "a casing (" + p.Shape.Casing.String() + ") keeps the surface moist"}
	}
	m := &c.Surface
	of := func(d time.Duration) string {
		return fmt.Sprintf("%s of %s from loading to lethality", quantity.FormatDuration(d.Round(time.Second)), quantity.FormatDuration(m.Cook.Round(time.Second)))
	}
	humid, moist := lethality.Humid.Time(m.Cook), lethality.Sealed.Time(m.Cook)
	hot := r.Criterion.MetAt(c.Heat, lethality.Sealed.Core)
	switch {
	case !r.Criterion.Met(c.Heat):
		return Judgement{NotShown, "it has not had its lethality, so the shares cannot be reckoned"}
	case m.Cook > 0 && m.Humid == m.Cook:
		return Judgement{Met, fmt.Sprintf("option 4: at least %v humidity for %s", lethality.Humid.Humidity, of(m.Humid))}
	case m.Cook >= lethality.ShortCook && m.Humid >= humid:
		return Judgement{Met, fmt.Sprintf("option 3: at least %v humidity for %s; %s is asked", lethality.Humid.Humidity, of(m.Humid), quantity.FormatDuration(humid))}
	case m.Cook >= lethality.ShortCook && m.Moist >= moist && hot:
		return Judgement{Met, fmt.Sprintf("options 1 and 2: steam or shut dampers, and at least %v humidity, for %s; %s is asked", quantity.Ratio(moistEnough), of(m.Moist), quantity.FormatDuration(moist))}
	}
	const show = "a wet bulb, a casing or immersion would show it"
	if m.Seen == 0 {
		return Judgement{NotShown, "the humidity at the bare surface was not measured; " + show}
	}
	why := fmt.Sprintf("at least %v humidity for %s, and %s is asked; steam or shut dampers with at least %v for %s, and %s is asked",
		lethality.Humid.Humidity, quantity.FormatDuration(m.Humid.Round(time.Second)), quantity.FormatDuration(humid.Round(time.Second)),
		quantity.Ratio(moistEnough), quantity.FormatDuration(m.Moist.Round(time.Second)), quantity.FormatDuration(moist.Round(time.Second)))
	switch {
	case m.Cook < lethality.ShortCook:
		why = fmt.Sprintf("in a cook of less than %s only %v humidity throughout counts, and it was for %s", quantity.FormatDuration(lethality.ShortCook), lethality.Humid.Humidity, of(m.Humid))
	case m.Moist >= moist && !hot:
		why = fmt.Sprintf("steam or shut dampers count from a row of %v on, and none was met", lethality.Sealed.Core)
	}
	if m.Seen < m.Cook {
		return Judgement{NotShown, fmt.Sprintf("the humidity was measured for %s: %s; %s", of(m.Seen), why, show)}
	}
	return Judgement{NotMet, "measured throughout: " + why}
}
