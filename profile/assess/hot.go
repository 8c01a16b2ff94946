package assess

import (
	"fmt"
	"time"

	"fumarium/profile/chilling"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// cool counts for what is served hot how long the coldest core was colder than it may be since
// it was cooked. Time that nobody saw counts.
func (v *Verdict) cool(samples []sample) {
	hot := chilling.Hot.From + quantity.Celsius(v.options.ProbeError)
	for i := 1; i < len(samples) && v.options.ServedHot && v.facts.cooked; i++ {
		a, b := samples[i-1], samples[i]
		dt := b.at - a.at
		switch {
		case b.at <= v.facts.cookedAt:
		case !v.watched(samples, i) || a.coldest < hot && b.coldest < hot:
			v.facts.cooled += dt
		case a.coldest < hot || b.coldest < hot:
			part := float64(hot-min(a.coldest, b.coldest)) / float64(max(a.coldest, b.coldest)-min(a.coldest, b.coldest))
			v.facts.cooled += time.Duration(part * float64(dt))
		}
	}
}

// servedHot says whether what was eaten before it was cold had not been cold for too long.
func (v *Verdict) servedHot() proof.Judgement {
	why := fmt.Sprintf("eaten, as stated and not measured; %s of %s below %v since it was cooked (%s)", span(v.facts.cooled.Round(time.Second)), span(chilling.Hot.Limit), chilling.Hot.From, chilling.Hot.Source)
	switch {
	case !v.facts.cooked:
		return proof.Judgement{Answer: proof.NotShown, Why: "it is not cooked"}
	case v.facts.cooled > chilling.Hot.Limit:
		return proof.Judgement{Answer: proof.NotMet, Why: why}
	}
	return proof.Judgement{Answer: proof.Met, Why: why}
}
