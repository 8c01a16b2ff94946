package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/controller/web"
)

// fakeDaemon is one that shows a status and keeps what it is sent.
func fakeDaemon(t *testing.T, s web.Status) (url string, orders *[]web.Order) {
	t.Helper()
	t.Setenv("FUMARIUM_TOKEN", "a token of the test")
	orders = &[]web.Order{}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			_ = json.NewEncoder(w).Encode(s)
			return
		}
		var o web.Order
		if err := json.NewDecoder(r.Body).Decode(&o); err != nil {
			t.Error(err)
		}
		*orders = append(*orders, o)
		_ = json.NewEncoder(w).Encode(web.Accepted{State: "running"})
	}))
	t.Cleanup(server.Close)
	return server.URL, orders
}

// The question goes along with its answer: the one that was shown, or the one named.
func TestConfirmSendsTheQuestion(t *testing.T) {
	url, orders := fakeDaemon(t, web.Status{Prompt: &web.Prompt{Question: "2-ask", Text: "Light the generator"}})
	status, out, _ := call(t, "confirm", "--server", url)
	assert.Equal(t, exitGood, status)
	assert.True(t, strings.HasPrefix(out, "Light the generator\n"), out)
	status, out, _ = call(t, "confirm", "1-ask", "--server", url)
	assert.Equal(t, exitGood, status)
	assert.NotContains(t, out, "Light", "not what it answers")
	assert.Equal(t, []web.Order{{Command: "confirm", Question: "2-ask"}, {Command: "confirm", Question: "1-ask"}}, *orders)
	status, _, errText := call(t, "confirm", "Light the generator", "--server", url)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errText, "fumarium status names the one that waits")
	_, out, _ = call(t, "status", "--server", url)
	assert.Contains(t, out, "then: fumarium confirm 2-ask)")
	require.Len(t, *orders, 2)

	url, orders = fakeDaemon(t, web.Status{})
	status, _, errText = call(t, "confirm", "--server", url)
	assert.Equal(t, exitBad, status)
	assert.Contains(t, errText, "nothing waits for a confirmation")
	assert.Empty(t, *orders)
}

// What is claimed is printed before it is sent, and stands in the help.
func TestMendedSaysWhatItClaims(t *testing.T) {
	_, help, _ := call(t, "mended", "--help")
	url, orders := fakeDaemon(t, web.Status{})
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		*orders = nil
		status, out, errText := call(t, "mended", e.Name, "--server", url)
		if e.Mended == "" {
			assert.Equal(t, exitUsage, status, e.Name)
			assert.Contains(t, errText, "needs nobody's word")
			assert.NotContains(t, help, "  "+e.Name+" ")
			assert.Empty(t, *orders)
			continue
		}
		assert.Equal(t, exitGood, status, errText)
		assert.True(t, strings.HasPrefix(out, e.Name+": "+e.Mended+".\n"), out)
		assert.Regexp(t, `(?m)^  `+e.Name+` +`+e.Mended+`$`, help)
		assert.Equal(t, []web.Order{{Command: "mended", Alarm: e.Name}}, *orders)
		assert.Contains(t, e.DoAnywhere(), "mended "+e.Name, "what to do says how to say it")
	}
	status, _, errText := call(t, "mended", "--server", url)
	assert.Equal(t, exitUsage, status)
	assert.NotEmpty(t, errText)
	status, _, errText = call(t, "mended", "boredom", "--server", url)
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errText, `no alarm is called "boredom"`)
}

// Acknowledged, an alarm that waits for a word says so.
func TestAcknowledgeSaysWhatIsLeftToSay(t *testing.T) {
	url, orders := fakeDaemon(t, web.Status{Alarms: []web.Alarm{{Code: "core-out", Mended: trip.CoreOut.Entry().Mended}, {Code: "door-open"}}})
	_, out, _ := call(t, "acknowledge", "core-out", "--server", url)
	assert.Contains(t, out, "fumarium mended core-out")
	_, out, _ = call(t, "acknowledge", "door-open", "--server", url)
	assert.NotContains(t, out, "mended")
	assert.Equal(t, []web.Order{{Command: "acknowledge", Alarm: "core-out"}, {Command: "acknowledge", Alarm: "door-open"}}, *orders)
}

// Whatever the controller takes can be said on the command line, by the same name.
func TestEveryCommandIsOnTheCommandLine(t *testing.T) {
	have := map[string]bool{}
	for _, c := range clientCommands() {
		have[c.Name()] = true
	}
	for _, k := range controller.Commands() {
		assert.True(t, have[k.String()], k)
	}
	assert.True(t, have[web.Note])
}
