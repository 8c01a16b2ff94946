package assess

import (
	"fmt"
	"strings"
	"time"

	"fumarium/profile/deviation"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// Text is the verdict for people: the maker who cooked and the inspector who was
// not there.
func (v Verdict) Text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	word := func(pass bool, yes, no string) string {
		if pass {
			return yes
		}
		return no
	}
	line("%s", word(v.Pass, "PASS: cooked, come up in time and "+word(v.options.ServedHot, "served hot", "chilled in time"),
		"NOT SHOWN TO BE SAFE: "+v.wanting()))
	line("")
	line("log        %s", v.facts.describe)
	line("cores      %s; the coldest counts while heating, the hottest while cooling", strings.Join(v.facts.cores, ", "))
	kind := v.options.Species.String()
	if v.options.Bird != lethality.AnyBird {
		kind = v.options.Bird.String()
	}
	line("species    %s%s%s", kind, word(v.options.PoultryInIt, ", with poultry in it", ""), word(v.options.Lean, fmt.Sprintf(", at most %v fat", lethality.LeanFat), ""))
	if v.facts.seen {
		line("peak       the coldest core reached %s", deviation.Both(v.facts.peak))
	}
	if v.options.ProbeError > 0 {
		line("probes     may be wrong by %v: every limit is moved by that to the strict side", v.options.ProbeError)
	}
	line("")
	line("LETHALITY  %s", word(v.cooked(), "reached", "not reached"))
	for _, l := range v.Lethality {
		note := ""
		if l.role == comparison {
			note = "; for comparison, decides nothing"
		}
		line("  %s: %s%s", l.Name, word(l.Pass, "met", "not met"), note)
		line("    %s", l.arithmetic())
		line("    source: %s", l.source)
	}

	line("")
	line("SURFACE    %s", v.Surface.Answer)
	line("  %s", v.Surface.Why)

	line("")
	line("COME-UP    %s", word(v.ComeUp.Pass, "in time", "not shown in time"))
	band := lethality.ComeUpBand
	line("  coldest core from %s to %s °C (%s to %s °F): %s%s of at most %s", quantity.Fixed(float64(band.From), 1), quantity.Fixed(float64(band.To), 1),
		quantity.Fixed(band.From.Fahrenheit(), 0), quantity.Fixed(band.To.Fahrenheit(), 0),
		span(seconds(v.ComeUp.Seconds)), word(v.facts.comeUp.Done, "", " so far"), span(seconds(v.ComeUp.LimitSeconds)))

	line("")
	switch {
	case v.options.ServedHot:
		line("COOLING    served hot: %s", v.Rules[proof.Chilled].Answer)
		line("  %s", v.Rules[proof.Chilled].Why)
	default:
		line("COOLING    %s", word(v.chilled(), "in time", "not shown in time"))
		for _, c := range v.Cooling {
			line("  %s: %s", c.Option, word(c.Pass, "kept", "not kept"))
			for _, l := range c.Legs {
				took := "not begun"
				if l.Seconds != nil {
					took = span(seconds(*l.Seconds)) + word(l.ended, "", " so far")
				}
				from := "the end of the cook"
				if l.FromCelsius != nil {
					from = deviation.Both(quantity.Celsius(*l.FromCelsius))
				}
				line("    %s to %s: %s of at most %s, %s", from, deviation.Both(quantity.Celsius(l.ToCelsius)), took, span(seconds(l.LimitSeconds)), word(l.Pass, "kept", "not kept"))
			}
			for _, asked := range c.Conditions {
				line("    %s: %s, %s", asked.Text, asked.Why, word(asked.Pass, "kept", "not kept"))
			}
			for _, remark := range c.remarks {
				line("    %s", remark)
			}
			line("    source: %s", c.source)
		}
	}

	if len(v.Warnings) > 0 {
		line("")
		line("WARNINGS")
		for _, w := range v.Warnings.lines() {
			line("  - %s", w)
		}
	}
	if len(v.Worksheet) > 0 {
		line("")
		b.WriteString(v.Worksheet.Text())
	}
	line("")
	line("NOT COVERED, whatever the verdict")
	for _, what := range v.NotCovered {
		line("  - %s", what)
	}
	line("")
	line("This is an aid to judgement. It sees what the probes saw and nothing of the meat, its handling or its")
	line("storage. For sale to others a process authority and the local rules decide. When in doubt, throw it out.")
	return b.String()
}

// wanting names what was not shown.
func (v *Verdict) wanting() string {
	var parts []string
	if !v.cooked() {
		parts = append(parts, "lethality")
	}
	if !v.Rules.Holds(proof.Surface) {
		parts = append(parts, "a moist surface")
	}
	if !v.ComeUp.Pass {
		parts = append(parts, "come-up")
	}
	if !v.Rules.Holds(proof.Chilled) {
		parts = append(parts, "cooling")
	}
	return strings.Join(parts, ", ")
}

// arithmetic is how the figure comes about, in one line.
func (l Lethality) arithmetic() string {
	f, reference := 0.0, 0.0
	if l.FMinutes != nil && l.ReferenceCelsius != nil {
		f, reference = *l.FMinutes, *l.ReferenceCelsius
	}
	switch {
	case l.ZKelvin != nil && l.DMinutes != nil: // the integral
		return fmt.Sprintf("F %.2f min at %s with z %v; F / D = %.2f / %.3f = %s log10, %.1f needed",
			f, deviation.Both(quantity.Celsius(reference)), quantity.Kelvin(*l.ZKelvin), f, *l.DMinutes, lethality.Text(*l.Log10Reduction, l.Log10Capped, 2), *l.RequiredLog10)
	case l.Log10Reduction != nil:
		return fmt.Sprintf("best row %s%s: %.1f of %.1f min; %.1f × %.2f = %s log10%s", deviation.Both(quantity.Celsius(reference)), of(l.of), f, l.needed,
			l.scale, l.log10/l.scale, lethality.Text(*l.Log10Reduction, l.Log10Capped, 2), l.asked())
	}
	return fmt.Sprintf("best row %s: %.1f of %.1f min", deviation.Both(quantity.Celsius(reference)), f, l.needed)
}

// asked is what is required where something has grown that must be killed as well.
func (l Lethality) asked() string {
	if *l.RequiredLog10 == l.scale {
		return ""
	}
	return fmt.Sprintf(", %.1f needed with what has grown", *l.RequiredLog10)
}

func of(bird string) string {
	if bird == "" {
		return ""
	}
	return ", " + bird
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
