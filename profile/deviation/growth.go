package deviation

import (
	"fmt"
	"math"
	"strings"
	"time"

	"fumarium/profile/chilling"
	"fumarium/profile/growth"
	"fumarium/profile/quantity"
)

// What is published of the growth of Clostridium perfringens in cooling meat, and what can be
// concluded from it without a model. What a model for the product predicts is for that
// model; a bound from above, for a second cook, is worked out by the fastest growth.
//
// Juneja, Novak, Marks and Gombas 2001 (abstract): cured beef, cooled from 51 to 11 °C in 8 h
// in a straight line of the logarithm of the temperature, grew to 3.17 times, at the upper 95
// % to 8.50 times. Growth only adds up: a batch that was nowhere longer at a temperature
// than that grew no more. The converse says nothing: with more time the first hours of lag
// are spent as well, so that twice the time may be more than twice the growth.
//
// Juneja et al. 2006 (abstract): it grows in cured pork between 13.5 and 50.6 °C.
//
// Glass et al. (abstract): uncured turkey of pH 5.8 to 6.6 and 1.2 to 1.8 % salt, 48.9 to 26.7
// °C in 1 h, on to 12.8 °C in 5 h and to 4.4 °C in 5 h: below 1 log10. With 2 h in the
// first leg only below pH 5.8 with 1.8 % salt.
const (
	curedGrew  = 3.17
	curedUpper = 8.50

	curedFrom, curedTo quantity.Celsius = 51, 11
	curedWithin                         = 8 * time.Hour
)

var grows = struct{ From, To quantity.Celsius }{50.6, 13.5}

var turkey = chilling.Rule{Name: "Glass et al.", Limits: []chilling.Limit{
	{From: quantity.FromFahrenheit(120), To: quantity.FromFahrenheit(80), Within: time.Hour},
	{From: quantity.FromFahrenheit(80), To: quantity.FromFahrenheit(55), Within: 5 * time.Hour},
	{From: quantity.FromFahrenheit(55), To: quantity.FromFahrenheit(40), Within: 5 * time.Hour},
}}

// Chilled follows the hottest core of a course by one way to chill, from a sample on. A way
// that counts from the end of the cook counts from the last of the hottest samples, if
// nothing had cooled before.
func (c Course) Chilled(rule *chilling.Rule, begin int) chilling.State {
	var s chilling.State
	from := c.endOfCook(rule, begin)
	for i := begin; i < len(c); i++ {
		b := c[i]
		switch {
		case i == begin || !(c[i-1].Known && b.Known && b.Watched):
			if i > begin {
				s = rule.Gap(s, b.At-c[i-1].At)
			}
			if b.Known {
				s = rule.Add(s, b.Hottest, b.Hottest, 0)
			}
		default:
			s = rule.Add(s, c[i-1].Hottest, b.Hottest, b.At-c[i-1].At)
		}
		if i == from {
			s = rule.Begin(s)
		}
	}
	return s
}

// endOfCook is the sample at which the cook ended: the last of the hottest, or begin, where
// the product had cooled to the end of the first leg before that or was not seen.
func (c Course) endOfCook(rule *chilling.Rule, begin int) int {
	end := begin
	for i := begin; i < len(c); i++ {
		if c[i].Known && (!c[end].Known || c[i].Hottest >= c[end].Hottest) {
			end = i
		}
	}
	for i := begin; i < end; i++ {
		if !c[i].Known || !c[i+1].Watched || c[i].Hottest <= rule.Limits[0].To {
			return begin
		}
	}
	return end
}

// stays is how long the hottest core was in each kelvin from the first temperature to the
// second, the bins lowest first, and for how long nobody saw it.
func (w *work) stays(begin int, to, from quantity.Celsius) (bins []time.Duration, unseen time.Duration) {
	e := quantity.Celsius(w.CoreError)
	bins = make([]time.Duration, int(math.Ceil(float64(from-to))))
	for i := begin + 1; i < len(w.Course); i++ {
		a, b := w.Course[i-1], w.Course[i]
		dt := b.At - a.At
		if !(a.Known && b.Known && b.Watched) {
			unseen += dt
			continue
		}
		for k := range bins {
			low := to + quantity.Celsius(k)
			bins[k] += within(a.Hottest, b.Hottest, low-e, min(low+1, from)+e, dt)
		}
	}
	return bins, unseen
}

// within is how much of dt a straight line spends between two temperatures.
func within(a, b, low, high quantity.Celsius, dt time.Duration) time.Duration {
	first, last := min(a, b), max(a, b)
	switch {
	case last < low || first > high:
		return 0
	case first == last:
		return dt
	}
	part := float64(min(last, high)-max(first, low)) / float64(last-first)
	return time.Duration(part * float64(dt))
}

// published is how long the cooling of cured beef stayed between two temperatures.
func published(low, high quantity.Celsius) time.Duration {
	return time.Duration(float64(curedWithin) * math.Log(float64(high/low)) / math.Log(float64(curedFrom/curedTo)))
}

// spores says what this batch's own chill comes to by what is published.
func (w *work) spores(begin int) []string {
	bins, unseen := w.stays(begin, grows.To, grows.From)
	var all time.Duration
	for _, b := range bins {
		all += b
	}
	last := lastSeen(w.Course)
	found := []string{fmt.Sprintf("from %s to %s, where it grows in cured pork (Juneja et al. 2006, abstract): %s by the hottest core", Both(grows.From), Both(grows.To), span(all))}
	if unseen > 0 {
		found[0] += fmt.Sprintf(", and %s that nobody saw", span(unseen))
	}
	if last > grows.To {
		found[0] += fmt.Sprintf(", and it was last seen at %s", Both(last))
	}
	if first := w.Course[begin].Hottest; first < curedFrom {
		found[0] += fmt.Sprintf(", and it was seen from %s on only", Both(first))
	}
	none := w.most(begin, len(w.Course)-1, growth.ClostridiumPerfringens)
	if last > growth.ClostridiumPerfringens.Min {
		none = fmt.Sprintf("until it was last seen, at %s, and not after it: ", Both(last)) + none
	}
	whole := unseen == 0 && last <= grows.To && w.Course[begin].Hottest >= curedFrom
	cured := w.HasCure && w.NitritePPM >= chilling.Cured().NitritePPM
	switch {
	case !whole:
		return append(found, "what is published bounds only a chill that was seen as a whole", none)
	case cured:
		return append(found, w.asCuredBeef(begin), none)
	}
	if rule := turkey.Allowing(w.CoreError); rule.Pass(w.Course.Chilled(rule, begin)) {
		found = append(found, "it kept the legs of a published chill of uncured turkey, 48.9 to 26.7 °C in 1 h, to 12.8 °C in 5 h and to 4.4 °C in 5 h, after which there was less than 1 log10 at pH 5.8 to 6.6 with 1.2 to 1.8 % salt (Glass et al., abstract): a bound for such a product, for an authority to judge")
	} else {
		found = append(found, "slower than a published chill of uncured turkey; 48.9 to 26.7 °C in 2 h kept to 1 log10 only below pH 5.8 with 1.8 % salt (Glass et al., abstract): just over the limit is not shown to be safe")
	}
	return append(found, none)
}

// atMost is how far an organism can have grown at the cores and between them from one sample
// to another, in log10. What nobody saw counts as spent at its best temperature.
func (w *work) atMost(from, to int, o growth.Organism) (log10 float64) {
	e := quantity.Celsius(w.CoreError)
	for i := from + 1; i <= to; i++ {
		a, b := w.Course[i-1], w.Course[i]
		rate := o.Fastest()
		if a.Known && b.Known && b.Watched {
			rate = 0
			// A long step is a slope: in pieces of a kelvin the bound stays near to it.
			pieces := math.Ceil(max(1, math.Abs(float64(b.Hottest-a.Hottest)), math.Abs(float64(b.Coldest-a.Coldest))))
			at := func(x, y quantity.Celsius, k float64) quantity.Celsius {
				return x + (y-x)*quantity.Celsius(k/pieces)
			}
			for k := range int(pieces) {
				low := min(at(a.Coldest, b.Coldest, float64(k)), at(a.Coldest, b.Coldest, float64(k+1)))
				high := max(at(a.Hottest, b.Hottest, float64(k)), at(a.Hottest, b.Hottest, float64(k+1)))
				rate += o.Between(low-e, high+e) / pieces
			}
		}
		log10 += rate * (b.At - a.At).Hours()
	}
	return log10
}

// grownAtMost is the most of all organisms that a second cook must kill.
func (w *work) grownAtMost() float64 {
	return max(w.atMost(0, w.heated(), growth.Salmonella), w.atMost(0, w.heated(), growth.StaphylococcusAureus))
}

// heated is the sample at which it was cooked, or the last.
func (w *work) heated() int {
	if w.cookedAt >= 0 {
		return w.cookedAt
	}
	return len(w.Course) - 1
}

// most says it.
func (w *work) most(from, to int, organisms ...growth.Organism) string {
	var each []string
	for _, o := range organisms {
		each = append(each, fmt.Sprintf("%s log10 of %s", upward(w.atMost(from, to, o)), o.Name))
	}
	return fmt.Sprintf("grown by the cores at most %s: the fastest in print at each temperature (Rosso et al. 1993; constants from memory), nothing slows it, and what nobody saw counts in full. "+
		"A bound for what a second cook must kill, not a prediction to release by; the surface has a course of its own", strings.Join(each, " and "))
}

// upward rounds growth up to a tenth.
func upward(log10 float64) string { return quantity.Fixed(math.Ceil(log10*10-1e-9)/10, 1) }

// asCuredBeef holds the chill, kelvin by kelvin, against the published one of cured beef.
func (w *work) asCuredBeef(begin int) string {
	bins, _ := w.stays(begin, curedTo, curedFrom)
	worst, where := 0.0, curedTo
	for k, stay := range bins {
		low := curedTo + quantity.Celsius(k)
		if ratio := float64(stay) / float64(published(low, low+1)); ratio > worst {
			worst, where = ratio, low
		}
	}
	const course = "a published chill of cured beef from 51 to 11 °C in 8 h, in a straight line of the logarithm of the temperature, which came to 0.50 log10, at the upper 95 % to 0.93 (Juneja et al. 2001, abstract)"
	if worst <= 1 {
		return fmt.Sprintf("its hottest core was nowhere longer at a temperature than in %s: no more than that is to be expected of such a product, for an authority to judge", course)
	}
	return fmt.Sprintf("slower than in %s: near %s it stayed %s times as long, so that this bounds nothing", course, Both(where), quantity.Fixed(worst, 1))
}

func servedHot() []Step {
	return []Step{
		{"eat it at once, or throw it away, if it was never below " + Both(chilling.Hot.From) + " for longer than " + span(chilling.Hot.Limit), []string{}, chilling.Hot.Source},
		{"chill what is left over by a rule, from the moment at which it was cooked, with a record of it", []string{"`fumarium assess` judges such a record"}, chilling.Source},
		destroy("it was colder for longer, or nobody knows"),
	}
}

// warm is what hung uncured in the warm.
func warm() []Step {
	return []Step{
		{"leave it to a process authority: without nitrite Clostridium botulinum and Staphylococcus aureus can grow in warm smoke", []string{"no heat destroys the toxin of the second"}, deviates3},
		{"test it for the toxins of Staphylococcus aureus, A to E", []string{"a test for the living bacteria does not do: the toxin outlives them"}, deviates3},
		destroy("neither is done"),
	}
}
