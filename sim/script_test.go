package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/outlook"
	"fumarium/profile/catalog"
	"fumarium/profile/proof"
)

// A rehearsal makes the changes of a batch where the batch made them, and what was cut short
// shows in its verdict.
func TestARehearsalFollowsAScript(t *testing.T) {
	long(t)
	entry, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	boxes, err := shipped.All()
	require.NoError(t, err)
	rehearse := func(turns ...Turn) (*Result, *Trace, *Script) {
		script, trace := NewScript(turns), &Trace{}
		result, err := Rehearse(context.Background(), Setup{Product: entry.Value, Cabinet: boxes[0].Value, Seed: 1, Answer: Brisk, Excused: true, Operator: script}, trace, nil)
		require.NoError(t, err)
		return result, trace, script
	}
	plain, _, script := rehearse(Turn{Stage: 0, Clock: 10 * time.Minute})
	require.True(t, plain.AsPlanned(), plain.Reason)
	_, looked := script.Last()
	assert.True(t, looked, "a turn without an order only looks")

	longer, trace, _ := rehearse(Turn{Stage: 0, Clock: 10 * time.Minute, Order: controller.Command{Kind: controller.Adjust, Bend: controller.Bend{Parts: controller.BentTime, Time: 100 * time.Minute}}})
	assert.True(t, longer.AsPlanned())
	assert.InDelta(t, 50*60, longer.Stages[0].EndSeconds-plain.Stages[0].EndSeconds, 5*60)
	assert.NotEmpty(t, trace.History.Events())

	cut, trace, script := rehearse(
		Turn{Stage: 0, Clock: 5 * time.Minute, Order: controller.Command{Kind: controller.EndCooking}},
		Turn{Stage: 1, Clock: 5 * time.Minute, Order: controller.Command{Kind: controller.Skip}})
	assert.Equal(t, controller.Complete.String(), cut.Outcome)
	assert.Equal(t, proof.NotMet, cut.Verdict[proof.Cooked].Answer)
	_, made := script.Last()
	assert.False(t, made, "that stage was passed over")
	run, whole := outlook.RunOf(&trace.History, entry.Value)
	require.True(t, whole)
	assert.Zero(t, run[1].Seconds)
	assert.Positive(t, run[len(run)-1].Seconds)

	cook := len(entry.Value.Stages) - 3
	_, _, script = rehearse(Turn{Stage: cook, Clock: 99 * time.Hour, HasCore: true, Core: 50, Order: controller.Command{Kind: controller.EndCooking}})
	_, made = script.Last()
	assert.True(t, made, "by its core, however long that took")
}
