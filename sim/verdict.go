package sim

import (
	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// unmeasured takes back what only a measurement shows: the simulated person says yes to
// whatever is asked.
func (r *Result) unmeasured(p *profile.Product) {
	if _, _, sour := p.MeasuredBy(profile.SourTo); sour && r.Verdict[proof.Process].Answer == proof.Met {
		r.Verdict[proof.Process].Why += "; the pH is the simulated person's word, and no rehearsal shows when it is there"
	}
	if _, _, hot := p.MeasuredBy(profile.Eaten); hot && r.Verdict[proof.Chilled].Answer == proof.Met {
		r.Verdict[proof.Chilled].Why += ", the simulated one"
	}
	if _, _, dry := p.MeasuredBy(profile.WaterActivity); dry && r.Verdict[proof.Keeping].Answer == proof.Met {
		r.Verdict[proof.Keeping] = proof.Judgement{Answer: proof.NotShown, Why: "in a rehearsal nobody measures the water activity; " + r.Verdict[proof.Keeping].Why + ", simulated"}
	}
}

// Begins says where the leg's time begins, in °C.
func (l LegResult) Begins() string {
	if l.FromCelsius == nil {
		return "end of the cook"
	}
	return quantity.Fixed(*l.FromCelsius, 1)
}

// judge holds what the controller has counted against the product's rules. A
// verdict that needs a core nobody measured is bad, not absent.
func (r *Result) judge(p *profile.Product, s *controller.State) {
	rules := s.Rules(p)
	r.Verdict = s.Verdict(&rules, true)
	r.unmeasured(p)
	pass := func(rule proof.Rule) *bool {
		if r.Verdict[rule].Answer == proof.DoesNotApply {
			return nil
		}
		met := r.Verdict[rule].Answer == proof.Met
		return &met
	}
	r.Lethality.Pass, r.ComeUp.Pass, r.Chill.Pass = pass(proof.Cooked), pass(proof.CameUp), pass(proof.Chilled)
	r.Surface = SurfaceResult{pass(proof.Surface), r.Verdict[proof.Surface].Why}
	if log10, required, counted := proof.Counts(&rules, &s.Claim); counted {
		shown, capped := lethality.Shown(log10)
		shown = round(shown)
		r.Lethality.Log10Reduction, r.Lethality.RequiredLog10, r.Lethality.Log10Capped = &shown, &required, capped
	}
	if rules.ComesUp {
		if s.ComeUp.Begun {
			v := s.ComeUp.Time.Seconds()
			r.ComeUp.Seconds, r.Lethality.ComeUpSeconds = &v, &v
		}
		limit := proof.ComeUp.Limit.Seconds()
		r.ComeUp.LimitSeconds = &limit
	}
	if rules.ServedHot {
		r.Chill.Rule = profile.ServedHot.String()
	}
	if rules.Chill != nil {
		rule := rules.Chilling()
		r.Chill.Rule = rule.Name
		for _, leg := range rule.Legs(s.Chill) {
			r.Chill.Legs = append(r.Chill.Legs, LegResult{
				FromCelsius: quantity.OrNull(round(float64(leg.From)), !leg.FromEnd), ToCelsius: round(float64(leg.To)),
				Seconds: leg.Took.Seconds(), LimitSeconds: leg.Within.Seconds(), Pass: leg.Pass,
			})
		}
	}
}
