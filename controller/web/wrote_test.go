package web_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/trip"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/assistant"
	"fumarium/profile/catalog"
)

// worded are the products whose words are the program's: those that come with it, those
// that the assistant writes, one of each kind, meat and fat, and that of an experiment.
func worded(t *testing.T) (all []*profile.Product) {
	t.Helper()
	entries, err := catalog.All()
	require.NoError(t, err)
	for _, e := range entries {
		p, err := profile.Parse(e.File, e.Data)
		require.NoError(t, err)
		all = append(all, p)
	}
	for _, kind := range assistant.Kinds {
		for _, meat := range assistant.OffersFor(assistant.Choice{Kind: kind}).Meats {
			for _, fat := range assistant.OffersFor(assistant.Choice{Kind: kind, Meat: meat.Key}).Fats {
				all = append(all, written(t, assistant.Choice{Name: "Mine", Kind: kind, Meat: meat.Key, Fat: fat.Key, Mass: "3 kg"}))
			}
		}
	}
	c := *cooking().Cabinet
	c.Limits.ChamberHigh, c.Fan.Fitted = 115, true
	p, _, err := controller.Experiment(&c, 20)
	require.NoError(t, err)
	return append(all, p)
}

// written is what the assistant writes with the first of each choice that is left.
func written(t *testing.T, c assistant.Choice) *profile.Product {
	t.Helper()
	for _, choose := range []struct {
		field *string
		of    func(assistant.Offers) []assistant.Offer
	}{
		{&c.Place, func(o assistant.Offers) []assistant.Offer { return o.Places }}, {&c.Percent, func(o assistant.Offers) []assistant.Offer { return o.Percents }},
		{&c.Casing, func(o assistant.Offers) []assistant.Offer { return o.Casings }}, {&c.Cure, func(o assistant.Offers) []assistant.Offer { return o.Cures }},
		{&c.Core, func(o assistant.Offers) []assistant.Offer { return o.Cores }},
	} {
		if offers := choose.of(assistant.OffersFor(c)); len(offers) > 0 {
			*choose.field = offers[len(offers)-1].Key
		}
	}
	file, err := assistant.Write(c)
	require.NoError(t, err, c)
	p, err := profile.Parse("mine.yaml", []byte(file))
	require.NoError(t, err, file)
	return p
}

// What stands in product files that nobody wrote by hand has its German, whole, and nothing
// has that stands in none of them.
func TestWhatShippedProductsSayHasItsGerman(t *testing.T) {
	german, stands := texts(t)["written de"], map[string]bool{}
	say := func(of, text string) {
		if text == "" {
			return
		}
		key := numbers.ReplaceAllString(text, "#")
		stands[key] = true
		assert.NotEmpty(t, german[key], "%s: no German in texts.json, under \"written de\", for %q", of, key)
		assert.Equal(t, strings.Count(key, "#"), strings.Count(german[key], "#"), key)
	}
	for _, p := range worded(t) {
		for _, stage := range p.Stages {
			say(p.Name, stage.Name)
			say(p.Name, stage.Ask)
			for _, c := range stage.Until.Conditions {
				say(p.Name, c.Confirm)
			}
		}
		for _, meat := range p.Formula.Cut {
			say(p.Name, meat.Name)
		}
		for _, cure := range append(p.Formula.Cures, p.Formula.Cure) {
			say(p.Name, cure.Name)
		}
		for _, other := range append(p.Formula.Pickle.Items, p.Formula.Other...) {
			say(p.Name, other.Name)
		}
	}
	for key := range german {
		assert.True(t, stands[key], "no product says: %s", key)
	}
	for _, c := range controller.Commands() {
		assert.Contains(t, texts(t)["de"], "command."+c.String())
	}
}

// everyLine is each line that the log can hold of a batch of p, in which a person has named a
// stage and ordered what nobody can translate.
func everyLine(p *profile.Product) (all []web.Event) {
	s := cooking()
	s.Product = p
	h := &s.History
	line := func() {
		shown := web.NewStatus(s, noon).Events
		all = append(all, shown[len(shown)-1])
	}
	add := func(e controller.Event) {
		*h = history.History{}
		h.Begin("2026-11-29-1", p, 0)
		h.Add(noon, time.Minute, &s.State, controller.Outputs{}, []controller.Event{e})
		line()
	}
	say := func(text string) {
		h.Say(noon, 0, text, trip.Later)
		line()
	}
	for b := range controller.BatchStates {
		add(controller.Event{Kind: controller.BatchChanged, Batch: b})
	}
	for by := controller.EndedByTime; by <= controller.EndedByAbsence+1; by++ {
		add(controller.Event{Kind: controller.StageEnded, By: by})
		add(controller.Event{Kind: controller.Abandoned, By: by})
	}
	for _, kind := range []controller.EventKind{controller.StageBegan, controller.Asked, controller.Answered} {
		for stage := range p.Stages {
			add(controller.Event{Kind: kind, Stage: stage})
		}
	}
	add(controller.Event{Kind: controller.Bent, Bend: controller.Bend{Parts: controller.BentChamber | controller.BentCore | controller.BentTime | controller.BentSmoke, Chamber: 80, Core: 72, Time: 2 * time.Hour, Smoke: 0.25}})
	add(controller.Event{Kind: controller.Bent, Bend: controller.Bend{Parts: controller.BentSmoke}})
	for c := trip.None + 1; c < trip.Count; c++ {
		for _, kind := range []controller.EventKind{controller.AlarmRaised, controller.AlarmReturned} {
			add(controller.Event{Kind: kind, Alarm: c, Here: controller.PartsOf(s.Cabinet)})
		}
		if c.Entry().Trips {
			add(controller.Event{Kind: controller.Tripped, Alarm: c})
			add(controller.Event{Kind: controller.TripReset, Alarm: c})
		}
	}
	for r := controller.Refusal(1); r.String() != "refused"; r++ {
		add(controller.Event{Kind: controller.Refused, Command: controller.Restart, Why: r})
	}
	for away := range controller.AwayByPerson + 2 {
		add(controller.Event{Kind: controller.WasAway, Away: away, For: 90 * time.Second})
	}
	add(controller.Event{Kind: controller.Parted, Probe: 2, For: 75 * time.Second})
	say(history.Excused("it is the feast of the village"))
	for _, c := range controller.Commands() {
		say(history.Because(c.String(), "the wind has turned: we need it"))
		say("the simulated person answers: " + c.String())
	}
	for _, text := range controller.Unshown(s.Cabinet, &s.State) {
		say(text)
	}
	return all
}

// Every line of the log comes out in German, but for what a person wrote; what was learned
// does as well.
func TestTheLogInGerman(t *testing.T) {
	p := *cooking().Product
	p.Stages = append([]profile.Stage{{Name: "over the old wood", Ask: "Hang it where the light is"}}, p.Stages...)
	for i := range p.Stages[1:] {
		p.Stages[1+i].Ask = "See that the smoke generator is out and shut the damper"
	}
	lines := everyLine(&p)
	t.Logf("%d lines", len(lines))
	list, err := json.Marshal(lines)
	require.NoError(t, err)
	learned, err := json.Marshal([]string{
		"fan on: rises by 1.2 K/min at full heat (1.1 to 1.3), answers after 31 s (22 to 40); the fit leaves 0.12 K of 30 K, readings scatter by 0.04 K; took 2 h 10 min",
		"fan off: nothing learned: 12 of 4000 steps were late: relieve the computer and repeat it",
		"fan off: nothing learned: it was broken off in rest: the door was opened, or its switch could not be read",
		"nothing learned: the experiment ended before anything was heated",
		"/etc/fumarium/cabinet.yaml holds it; what it was is kept as /etc/fumarium/cabinet.yaml.before-20261129T150000Z, and is taken back by copying that over it",
		"shed is a shipped cabinet without a file of yours: nothing was written, and the daemon goes on by what it has; fumarium learned 2026-11-29-1 --write FILE makes a file of it",
		"the cabinet file was not changed: permission denied; who may write it says: fumarium learned 2026-11-29-1 --write FILE, and starts the daemon again",
	})
	require.NoError(t, err)
	ctx := browser(t)
	server := behind(t, handler(accepting(idle())))
	do(t, ctx, chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "keep({language: 'de'}); dress()")
	const english = `/\b(the|is|are|and|of|with|without|for|not|has|than|takes|write|stage|alarm|trip|begins|ends|because|batch|person|refused)\b/`
	assert.Empty(t, read(t, ctx, string(list)+`.map(e => [e.text, logged(e)]).filter(([, german]) => `+english+`.test(german.replace(/over the old wood|Hang it where the light is|it is the feast of the village|the wind has turned: we need it|"[^"]*"/gi, '').replace(/Alarm|Person|\([^()]*\)/g, ''))).map(x => x.join('\n\t')).join('\n')`))
	assert.Equal(t, "true", read(t, ctx, string(list)+`.every(e => !logged(e).includes('§')
		&& ['over the old wood', 'Hang it where the light is', 'it is the feast of the village', 'the wind has turned: we need it'].every(own => !e.text.includes(own) || logged(e).includes(own)))`), "what a person wrote stays")
	assert.Empty(t, read(t, ctx, string(learned)+`.filter(x => tongue(x) !== 'de').map(x => x + '\n\t' + said(x)).join('\n')`))
	// So does what is off the make sheet, on the page that weighs.
	do(t, ctx, chromedp.Navigate(server.URL+"/weigh?batch=none"))
	until(t, ctx, "typeof deviation === 'function'")
	for text, want := range map[string]string{
		"CURE cure no. 1: 150 g weighed, and the sheet for 4 kg of meat has 9.6 g: 15.63 times as much":     "PÖKELSTOFF Pökelsalz Nr. 1: 150 g gewogen, und das Blatt für 4 kg Fleisch hat 9.6 g: das 15.63-fache",
		"my own mix: 1.2 kg weighed, and the sheet as the product file has it has 1 kg: 1.20 times as much": "my own mix: 1.2 kg gewogen, und das Blatt nach der Erzeugnisdatei hat 1 kg: das 1.20-fache",
		"hung weighs more than raw, 101.2 % of it: weigh both again":                                        "Gehängt wiegt mehr als Roh, 101.2 % davon: beides noch einmal wiegen",
	} {
		asked, err := json.Marshal(text)
		require.NoError(t, err)
		assert.Equal(t, want, read(t, ctx, "deviation("+string(asked)+").replaceAll('\u00a0', ' ')"))
	}
	do(t, ctx, chromedp.Navigate(server.URL))
	until(t, ctx, "status !== null")
	do2(t, ctx, "keep({language: 'en'}); dress()")
	assert.Equal(t, "true", read(t, ctx, string(list)+`.every(e => logged(e).replaceAll('\u00a0', ' ') === bare(e.text))`), "English is the record's own words")
}
