package main

import (
	"bytes"
	"io"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/snapshot"
	"fumarium/profile"
	"fumarium/sim"
)

// A stage is changed with a reason, after what it would come to was rehearsed; the next one
// is as the file has it, and the record has who, what and why.
func TestAStageIsBentWhileItRuns(t *testing.T) {
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "10")
	code, _, said := d.client("adjust", "--chamber", "60 °C", "--reason", "late")
	assert.Equal(t, exitBad, code, said)
	assert.Contains(t, said, "no stage is under way")
	code, _, said = d.client("start", "marjoram-ring", "--stuffed", "13h")
	require.Equal(t, exitGood, code, said)

	code, out, said := d.client("adjust", "--time", "2 h", "--reason", "still wet to the touch")
	require.Equal(t, exitGood, code, said)
	for _, text := range []string{"stage     dry: lasts 2 h", "its end   about ", "finish    about ", "A rehearsal in the simulated cabinet", "adjust: done"} {
		assert.Contains(t, out, text)
	}
	assert.Equal(t, 7200.0, d.status().Change.Time.Now)
	for text, args := range map[string][]string{
		"hotter than the core":         {"adjust", "--chamber", "128 °C", "--reason", "late"},
		"outlast the end of its heat":  {"adjust", "--time", "9 h", "--reason", "late"},
		"needs --reason":               {"skip"},
		"needs one of chamber, core":   {"adjust", "--reason", "late"},
		"the product is still being":   {"skip", "--reason", "late"},
		"smoke:":                       {"adjust", "--smoke", "a little", "--reason", "late"},
		"this stage has none of what ": {"adjust", "--core", "60 °C", "--reason", "late"},
	} {
		code, _, said = d.client(args...)
		assert.NotEqual(t, exitGood, code, args)
		assert.Contains(t, said, text)
	}

	there := atTerminal
	t.Cleanup(func() { atTerminal = there })
	atTerminal = func(io.Reader, io.Writer) bool { return true }
	ask := func(answer string) (string, error) {
		root := command()
		var out bytes.Buffer
		root.SetIn(strings.NewReader(answer))
		root.SetOut(&out)
		root.SetErr(io.Discard)
		root.SetArgs([]string{"adjust", "--chamber", "130F", "--reason", "slow", "--server", d.url, "--state", d.state})
		err := root.ExecuteContext(t.Context())
		return out.String(), err
	}
	_, err := ask("no\n")
	assert.ErrorContains(t, err, "not changed")
	out, err = ask("yes\n")
	require.NoError(t, err)
	assert.Contains(t, out, "Type yes")
	assert.InDelta(t, 54.44, d.status().Change.Chamber.Now, 0.01)
	atTerminal = there

	code, _, said = d.client("stop")
	require.Equal(t, exitGood, code, said)
	batch := *d.status().Batch
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	code, out, said = call(t, "batches", batch, "--state", d.state, "--simulated")
	require.Equal(t, exitGood, code, said)
	assert.Contains(t, out, "still wet to the touch")
	assert.Contains(t, out, "stage dry changed by the person: lasts 2 h")
	code, out, said = call(t, "replay", batch, "--state", d.state, "--simulated")
	assert.Equal(t, exitGood, code, out+said)
}

// What was changed in a batch is changed in its rehearsal.
func TestTurnsOfABatch(t *testing.T) {
	var h history.History
	p := &profile.Product{Stages: make([]profile.Stage, 4)}
	h.Begin("b", p, 0)
	bend := controller.Bend{Parts: controller.BentChamber, Chamber: 50}
	h.Add(time.Time{}, 0, &controller.State{}, controller.Outputs{}, []controller.Event{
		{Kind: controller.StageBegan}, {Kind: controller.Bent, Bend: bend, For: 7},
		{Kind: controller.StageEnded, By: controller.EndedBySkip, For: 8}, {Kind: controller.StageBegan, Stage: 1},
		{Kind: controller.StageEnded, Stage: 1, By: controller.EndedBySkip, For: 9}, {Kind: controller.StageBegan, Stage: 3},
		{Kind: controller.StageEnded, Stage: 3, By: controller.EndedBySkip, For: 10}, {Kind: controller.BatchChanged, Batch: controller.Complete},
	})
	assert.Equal(t, []sim.Turn{
		{Clock: 7, Order: controller.Command{Kind: controller.Adjust, Bend: bend}},
		{Clock: 8, Order: controller.Command{Kind: controller.Skip}},
		{Stage: 1, Clock: 9, Order: controller.Command{Kind: controller.EndCooking}},
		{Stage: 3, Clock: 10, Order: controller.Command{Kind: controller.Skip}},
	}, turnsOf(&snapshot.Snapshot{Product: p, History: h}))
}
