package report_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/chart"
	"fumarium/controller/history"
	"fumarium/controller/report"
	"fumarium/sensors"
)

// A batch that this program cannot replay is told without a verdict, and says why.
func TestABatchThatCannotBeReplayedHasNoVerdict(t *testing.T) {
	var h history.History
	h.Begin("b-1", nil, 0)
	s := &report.Source{
		ID: "b-1", World: "real", State: "complete", Elapsed: 9 * time.Hour, Course: &h, Record: "broken at link 4", NotReplayed: "decided otherwise",
		Product: report.File{Title: "Old ring"}, Gaps: []report.Gap{{FromSeconds: 3600, Seconds: 300, Known: true, Why: "power"}},
		Chart: chart.Figure{Title: "x", Panels: []chart.Panel{{Title: "Temperature", Unit: "°C", Height: 100, Series: []chart.Series{{Name: "core", Points: []chart.Point{{X: 0, Y: 1}, {X: 9, Y: 2}}}}}}},
	}
	r := report.Make(s)
	assert.Nil(t, r.Good)
	assert.Empty(t, r.Rules)
	assert.Equal(t, "not known: decided otherwise", r.Ending)
	for _, short := range []bool{false, true} {
		var page bytes.Buffer
		require.NoError(t, r.HTML(&page, short))
		for _, want := range []string{"Old ring", "not known: decided otherwise", `<p class="not-met">broken at link 4`, "Not recorded from 1:00:00 on, for 5 min: <bdi>power</bdi>", "the time of day was not known"} {
			assert.True(t, strings.Contains(page.String(), want), want)
		}
		assert.False(t, strings.Contains(page.String(), "Simulated"))
	}
	data, err := json.Marshal(r)
	require.NoError(t, err)
	assert.Contains(t, string(data), `"good":null`)
	assert.NotContains(t, string(data), `:null,"made_from"`, "lists are empty, not missing")
}

// What was not read is an empty cell; two probes never share a column.
func TestSeconds(t *testing.T) {
	c := &cabinet.Cabinet{
		Probes: []cabinet.Probe{
			{Name: "Upper rack!", Role: cabinet.ChamberProbe}, {Name: "core", Role: cabinet.CoreProbe}, {Name: "CORE", Role: cabinet.CoreProbe}, {Name: "Ä", Role: cabinet.EmberProbe},
		},
		Heater: cabinet.Relay{Fitted: true},
	}
	var in controller.Inputs
	in.Chamber[0], in.Core[1], in.Ember = sensors.At(81.25), sensors.At(-0.5), sensors.Fault(sensors.Open)
	var b strings.Builder
	s, err := report.NewSeconds(&b, c)
	require.NoError(t, err)
	require.NoError(t, s.Add(report.Moment{Elapsed: 1500 * time.Millisecond, In: &in, Out: controller.Outputs{On: controller.SetOf(controller.Heater)}}))
	require.NoError(t, s.Flush())
	assert.Equal(t, "elapsed_seconds,chamber_upper_rack_celsius,core_celsius,core_2_celsius,ember_celsius,heater_on\n1.5,81.25,,-0.5,,1\n", b.String())
}

// As many photographs as the page takes stand in it as they are; the next that fits does, too.
// One that lies elsewhere is told by its name and hash.
func TestPhotographsStandInThePageAsFarAsItTakesThem(t *testing.T) {
	var h history.History
	h.Begin("b-1", nil, 0)
	photo := func(name string, mib int, state string) report.Photo {
		p := report.Photo{Name: name, SHA256: "5a", State: state, Type: "image/jpeg"}
		if mib > 0 {
			p.Data = bytes.Repeat([]byte{0xff}, mib<<20)
		}
		return p
	}
	r := report.Make(&report.Source{ID: "b-1", Course: &h, Chart: chart.Figure{Title: "x", Panels: []chart.Panel{{Height: 100}}}, Photos: []report.Photo{
		photo("01.jpg", 4, "as taken in"), photo("02.jpg", 0, report.NotLookedAt), photo("03.jpg", 4, "as taken in"), photo("04.jpg", 4, "as taken in"),
		photo("05.jpg", 1, "as taken in"),
	}})
	r.Photos[2].Data = r.Photos[2].Data[1:] // a byte less than is left
	r.Photos[4].Data = r.Photos[4].Data[:1]
	r.Photos[3].Data = append(r.Photos[3].Data, 0, 0) // a byte more
	var page bytes.Buffer
	require.NoError(t, r.HTML(&page, false))
	var pictures []bool
	for _, figure := range strings.Split(page.String(), `<figure class="photo">`)[1:] {
		pictures = append(pictures, strings.HasPrefix(figure, `<img alt="" src="data:image/jpeg;base64,`))
	}
	assert.Equal(t, []bool{true, false, true, false, true}, pictures)
	assert.Equal(t, 1, strings.Count(page.String(), "Not shown here"))
	assert.Contains(t, page.String(), `<b class="not-met">`+report.NotLookedAt)
	assert.Equal(t, 5, strings.Count(page.String(), "SHA-256 5a"))
}
