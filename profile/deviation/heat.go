package deviation

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fumarium/profile/chilling"
	"fumarium/profile/growth"
	"fumarium/profile/lethality"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// A set is published kinetics that an authority might go by.
type set struct {
	name   string
	source string
	lethality.Kinetics
}

// sets are those of the worksheet of the American Meat Institute Foundation (August 2010),
// which lists them with their sources. They are of meat: none is for poultry.
var sets = []set{
	{"Salmonella, meat patty", "Scott and Weddig 1998", lethality.RedMeat},
	{"Salmonella, ground beef of 25 % fat", "Juneja 2003", lethality.FattyBeef},
	{"E. coli O157:H7, lean ground beef", "Line et al. 1991", kinetics(145, 8.3, 0.30)},
	{"E. coli O157:H7, ground beef of 25 % fat", "Juneja 2003", kinetics(140, 11.4, 3.39)},
	{"L. monocytogenes, lean ground beef", "Fain et al. 1991", kinetics(145, 9.3, 0.6)},
	{"L. monocytogenes, ground beef of 25 % fat", "Juneja 2003", kinetics(140, 12, 4.1)},
	{"L. monocytogenes, hot dogs", "as in the worksheet's own example", kinetics(144, 10.8, 3.3)},
}

func kinetics(fahrenheit, z, minutes float64) lethality.Kinetics {
	return lethality.Kinetics{Reference: quantity.FromFahrenheit(fahrenheit), Z: quantity.Kelvin(z * 5 / 9), D: time.Duration(minutes * float64(time.Minute))}
}

// fastest is where Staphylococcus aureus grows fastest, 90 to 120 °F, and above which none
// is assumed (FSIS Cooking Guideline 2021).
var fastest = struct{ From, To quantity.Celsius }{quantity.FromFahrenheit(90), quantity.FromFahrenheit(120)}

// work is a batch with what its course comes to.
type work struct {
	*Batch
	seen     bool
	count    lethality.Count // by its criterion
	cookedAt int             // sample at which it was cooked, or -1
	hottest  int             // last of the hottest samples
	peak     quantity.Celsius
	comeUp   lethality.ComeUp // until it was cooked, the way down of a cook that was not as well
	rise     time.Duration    // of it, until the coldest core was hottest
	fast     time.Duration    // where S. aureus grows fastest, until it was cooked
	unseen   time.Duration    // of the come-up
}

func newWork(b *Batch) *work {
	w := &work{Batch: b, cookedAt: -1, hottest: -1}
	e := quantity.Celsius(b.CoreError)
	rule := lethality.ComeUpWithin(b.CoreError)
	top := -1
	for i, s := range b.Course {
		if s.Known && (top < 0 || s.Coldest >= w.peak) {
			w.peak, top = s.Coldest, i
		}
		if s.Known && (w.hottest < 0 || s.Hottest >= b.Course[w.hottest].Hottest) {
			w.hottest = i
		}
	}
	for i, s := range b.Course {
		if s.Known && !w.seen {
			w.seen, w.comeUp = true, rule.Add(w.comeUp, s.Coldest, s.Coldest, 0)
		}
		if i == 0 || b.Criterion == nil {
			continue
		}
		a, dt := b.Course[i-1], s.At-b.Course[i-1].At
		if !(a.Known && s.Known && s.Watched) {
			w.count = b.Criterion.Gap(w.count)
			if w.cookedAt < 0 && w.seen {
				w.comeUp, w.unseen = rule.Gap(w.comeUp, dt), w.unseen+dt
			}
			continue
		}
		w.count = b.Criterion.Add(w.count, a.Coldest-e, s.Coldest-e, dt)
		if w.cookedAt < 0 {
			w.comeUp = rule.Add(w.comeUp, a.Coldest, s.Coldest, dt)
			if middle := (a.Coldest + s.Coldest) / 2; middle >= fastest.From-e && middle <= fastest.To+e {
				w.fast += dt
			}
			if b.Criterion.Met(w.count) {
				w.cookedAt = i
			}
			if i <= top {
				w.rise = w.comeUp.Time
			}
		}
	}
	return w
}

// integrals gives the log10 of each set over the course, counted from the floor on.
func (w *work) integrals(floor quantity.Celsius) []float64 {
	logs := make([]float64, len(sets))
	for k := range sets {
		c := lethality.Criterion{Kinetics: sets[k].Kinetics, Integrates: true, Required: 1, Floor: floor, ProbeError: w.CoreError}
		var n lethality.Count
		for i := 1; i < len(w.Course); i++ {
			if a, s := w.Course[i-1], w.Course[i]; a.Known && s.Known && s.Watched {
				n = c.Add(n, a.Coldest, s.Coldest, s.At-a.At)
			}
		}
		logs[k] = c.Integral(n)
	}
	return logs
}

// nearRows are how many rows of a table are worth telling.
const nearRows = 4

// cooked is a missed endpoint.
func (w *work) cooked() []Step {
	if w.Criterion == nil {
		return []Step{{"name a process: a core or a lethality to reach, or process: not ready to eat with a label that says so", []string{}, own}}
	}
	if !w.seen {
		return append([]Step{{"show the cook by another record, with `fumarium assess`", []string{"no core was seen"}, own}}, test(), destroy("neither shows it"))
	}
	if w.Fish { // of which the guideline says that its tables should not be used
		return []Step{{"take the longest stay without a break", w.nearest(), w.Criterion.Source},
			{"cook it again, all of it, to the same hold without a break; what histamine there is stays", []string{}, w.Criterion.Source + "; not for the tables of meat: " + guide + ", p. 11"},
			destroy("it is not shown")}
	}
	steps := []Step{{"take another row of the same table, by the total time at or above it", w.nearest(), deviates1 + "; " + w.Criterion.Source}}
	steps = append(steps, w.integral())
	if w.Verdict[proof.CameUp].Answer == proof.NotMet {
		steps = append(steps, Step{"leave it to a process authority: with a long come-up besides, growth of C. perfringens and C. botulinum counts as well", []string{}, guide + ", pp. 66-80: deviations 1 and 3 together"})
	}
	return append(steps, w.recook(), test(), destroy("none of it is shown"))
}

func (w *work) nearest() []string {
	type near struct {
		text string
		part float64
	}
	var rows []near
	for i, r := range w.Criterion.Rows() {
		had := w.Criterion.Held(w.count, i)
		if had == 0 {
			continue
		}
		word := "short by " + span(r.Hold-had)
		if had >= r.Hold {
			word = "met"
		}
		rows = append(rows, near{fmt.Sprintf("%s: %s of %s, %s", Both(r.At), span(had), span(r.Hold), word), float64(had) / float64(r.Hold)})
	}
	slices.SortStableFunc(rows, func(a, b near) int {
		if a.part > b.part {
			return -1
		}
		return 1
	})
	found := []string{}
	for _, r := range rows[:min(nearRows, len(rows))] {
		found = append(found, r.text)
	}
	if len(found) == 0 {
		lowest := w.Criterion.Rows()
		if len(lowest) > 0 {
			found = append(found, fmt.Sprintf("none was reached: the coldest core came to %s, and the lowest row is %s", Both(w.peak), Both(lowest[0].At)))
		}
	}
	return found
}

// integral is F over D by each set that may fit.
func (w *work) integral() Step {
	s := Step{Do: "have a process authority judge the integral, come-up and come-down with it, by a D and z that fit the product; the surface must have been moist", Found: []string{}, Source: deviates1 + "; constants as listed by the AMI Foundation, Process Lethality Determination, 2010"}
	if w.Poultry {
		s.Found = append(s.Found, "no set for this kind is known here: those of meat claim far too much for poultry")
		return s
	}
	floor := quantity.FromFahrenheit(130)
	for i, log10 := range w.integrals(floor) {
		shown, capped := lethality.Shown(log10)
		k := sets[i]
		s.Found = append(s.Found, fmt.Sprintf("%s (%s; D %s min at %s, z %s K): F / D = %s log10 from %s on; the table stands for %g", k.name, k.source,
			quantity.Fixed(k.D.Minutes(), 3), Both(k.Reference), quantity.Fixed(float64(k.Z), 2), lethality.Text(shown, capped, 1), Both(floor), w.Criterion.Required))
	}
	return s
}

// grown are the growths for which a second cook is worked out. The guideline's own example
// has 3.0 log10 grown, which makes 9.5 of 6.5.
var grown = []float64{0, 1, 2, 3}

// recook is a second cook, which has to kill what has grown as well. A row is held so much
// longer as the target is higher.
func (w *work) recook() Step {
	s := Step{Do: "cook it again, all of it, with its surface moist and its come-up in time, both times", Source: deviates1 + "; the target plus the growth as in deviation 3"}
	if w.Criterion.Required > 0 {
		row := w.recookRow()
		growths := grown
		if w.HasGrown {
			growths = []float64{w.Grown}
		}
		second := func(g float64) string {
			return fmt.Sprintf("%s log10, as %s at %s", upward(w.Criterion.Required+g),
				span(time.Duration(float64(row.Hold)*(w.Criterion.Required+g)/w.Criterion.Required)), Both(row.At+quantity.Celsius(w.CoreError)))
		}
		for _, g := range growths {
			s.Found = append(s.Found, fmt.Sprintf("for %g log10 grown: %s", g, second(g)))
		}
		switch bound := math.Ceil(w.grownAtMost()*10-1e-9) / 10; {
		case w.HasGrown || !w.seen:
		case w.Criterion.Required+bound > lethality.MostShown:
			s.Found = append(s.Found, fmt.Sprintf("at most %s log10 have grown by the cores: no second cook is worked out for so much", upward(bound)))
		default:
			s.Found = append(s.Found, fmt.Sprintf("for the %s log10 that can have grown by the cores at most: %s; the surface has a course of its own", upward(bound), second(bound)))
		}
	}
	if w.seen && !w.HasGrown && w.atMost(0, w.heated(), growth.StaphylococcusAureus) >= 3 {
		s.Found = append(s.Found, "S. aureus can have grown by 3 log10: no second cook destroys its toxins, for which it is tested first")
	}
	if w.CoreError > 0 {
		s.Found = append(s.Found, fmt.Sprintf("%v for the probe are in that temperature", w.CoreError))
	}
	switch left := proof.ComeUp.Limit - w.comeUp.Time; {
	case w.cookedAt >= 0:
		s.Found = append(s.Found, "the first cook met a row, so the come-up begins anew: "+span(proof.ComeUp.Limit))
	case left > 0:
		s.Found = append(s.Found, fmt.Sprintf("the first come-up counts, %s so far, and so does the time on the way down: at most %s are left", span(w.comeUp.Time), span(left)))
	default:
		s.Found = append(s.Found, "the come-up is used up: only after the growth was modelled")
	}
	return s
}

// recookRow is the hottest row that is not at once: a hold that can be lengthened.
func (w *work) recookRow() lethality.Row {
	rows := w.Criterion.Rows()
	row := rows[0]
	for _, r := range rows {
		if r.Hold >= time.Minute {
			row = r
		}
	}
	return row
}

// cameUp is a long come-up, or one that nobody saw.
func (w *work) cameUp() []Step {
	if !w.seen {
		return []Step{{"show it by another record, with `fumarium assess`", []string{"no core was seen"}, own}, destroy("there is none")}
	}
	band := lethality.ComeUpBand
	steps := []Step{{"for whole hams, briskets and the like alone: the come-up may be left out, at the maker's risk", []string{"not for sausage, nor for anything ground, pumped, tumbled or rolled"}, guide + ", p. 48, gap 6"}}
	found := []string{
		fmt.Sprintf("from %s to %s on the way up: %s of %s; until it was cooked, with the way down of a cook that was not: %s", Both(band.From), Both(band.To), span(w.rise), span(band.Limit), span(w.comeUp.Time)),
		fmt.Sprintf("of the latter from %s to %s, where Staphylococcus aureus grows fastest: %s", Both(fastest.From), Both(fastest.To), span(w.fast)),
	}
	if w.unseen > 0 {
		found = append(found, fmt.Sprintf("of the latter nobody saw %s, which counts in full; a record of that time may take it off", span(w.unseen)))
	}
	found = append(found, w.inputs(), w.most(0, w.heated(), growth.StaphylococcusAureus, growth.Salmonella))
	steps = append(steps, Step{"model the growth of S. aureus and of what is not a spore over all heatings, core and surface: Therm 2.0 (10 to 43 °C, a reading each 30 min) or DMRI Staphtox 1.0; ComBase is not validated for it", found, deviates3},
		Step{"by the model", []string{"at most 1 log10 of growth and S. aureus below 3 log10: it may go on", "more than 1 log10: cook it again for the target plus the growth, or test it",
			"S. aureus of 3 log10 and more: test for the enterotoxins A to E; no heat destroys them, and a test for the live bacterium is worthless"}, deviates3})
	if w.Criterion != nil {
		steps = append(steps, w.recook())
	}
	return append(steps, destroy("either is not shown"))
}

// inputs are what a model asks for.
func (w *work) inputs() string {
	if !w.HasCure {
		return "the model's unknowns are pH 6.1, 1.8 % salt, no nitrite, 78 % water"
	}
	return fmt.Sprintf("to enter: %s ppm ingoing nitrite by the formula, salt, water and pH of the product; unknown is pH 6.1, 1.8 %% salt, no nitrite, 78 %% water", quantity.Fixed(w.NitritePPM, 0))
}

// chilled is a slow chill, or one that was not seen to its end.
func (w *work) chilled() []Step {
	if !w.seen {
		return []Step{{"show it by another record, with `fumarium assess`", []string{"no core was seen"}, own}, destroy("there is none")}
	}
	if w.ServedHot {
		return servedHot()
	}
	begin := w.hottest
	if w.cookedAt >= 0 && w.cookedAt < begin {
		begin = w.cookedAt
	}
	found, sources := []string{}, []string{}
	for _, published := range w.Chills {
		found, sources = append(found, w.byAnother(published, begin)), append(sources, published.Source)
	}
	steps := []Step{}
	if end := lastSeen(w.Course); end > chilling.Uncured().End() && w.Verdict[proof.Chilled].Answer == proof.NotShown {
		steps = append(steps, Step{"chill it on without delay and follow the core; another logger's record of the rest is judged by `fumarium assess`", []string{"the hottest core was last seen at " + Both(end)}, own})
	}
	steps = append(steps, Step{"judge it by another way to chill whose conditions it meets", found, strings.Join(sources, "; ")})
	model := append([]string{w.inputs()}, w.spores(begin)...)
	return append(steps,
		Step{"model the growth of Clostridium perfringens over the whole chill: ComBase Perfringens Predictor or the USDA cooling models; at most 1 log10, and none of C. botulinum", model, stable},
		Step{"do not cook it again for this unless an authority says so", []string{"toxin that was made stays, and spores live through every cook"}, own},
		destroy("it is not shown"))
}

// lastSeen is the last that was seen of the hottest core.
func lastSeen(c Course) quantity.Celsius {
	for i := len(c) - 1; i >= 0; i-- {
		if c[i].Known {
			return c[i].Hottest
		}
	}
	return 0
}

// byAnother holds the course against one way to chill.
func (w *work) byAnother(published *chilling.Rule, begin int) string {
	rule := published.Allowing(w.CoreError)
	s := w.Course.Chilled(rule, begin)
	text := rule.Name + ":"
	for i, l := range rule.Legs(s) {
		if i > 0 {
			text += ","
		}
		took := "not begun, allowed are"
		if l.Begun {
			took = "in " + span(l.Took)
			if !l.Ended {
				took += " so far"
			}
			took += " of"
		}
		text += fmt.Sprintf(" %s to %s %s %s", l.Begins(Both), Both(l.To), took, span(l.Within))
	}
	switch reason, ok := rule.AllowsNitrite(w.NitritePPM, w.HasCure); {
	case !rule.Pass(s) && rule.Failed(s):
		return text + ": not kept"
	case !rule.Pass(s):
		return text + ": not shown"
	case !ok:
		return text + ": kept, but " + reason
	case rule.Intact && !w.Intact:
		return text + ": kept, but it is for muscle in one piece, not pumped and not tenderized, and nothing says that this is"
	case !rule.AllowsSalt(w.SaltPercent):
		return text + fmt.Sprintf(": kept, but it asks for %g %% salt in the water of the product, and nothing shows that", rule.SaltPercent)
	case rule.ErythorbatePPM > 0 && w.ErythorbatePPM == 0:
		return text + ": kept, but it asks for erythorbate or ascorbate"
	case rule.StartWithin > 0 || rule.OnTo > 0:
		return text + fmt.Sprintf(": kept, if the chill was under way within %s of the end of the cook and went on to %s", span(rule.StartWithin), Both(rule.OnTo))
	}
	return text + ": kept"
}
