package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A rehearsal that is told what the batch has been through goes through the same: the hand
// steps are answered when they were, a hold lasts as long as it did, and the door lets the
// heat out.
func TestARehearsalGoesThroughThePast(t *testing.T) {
	long(t)
	s := Setup{Product: product(t, "marjoram-ring"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1, Answer: Brisk}
	plain := rehearse(t, s)
	require.Equal(t, "complete", plain.Outcome)
	cook := plain.Stages[2]
	at := time.Duration(cook.StartSeconds+cook.EndSeconds) / 2 * time.Second
	s.Past = &Past{Until: at}
	for _, p := range plain.Prompts {
		s.Past.Answered = append(s.Past.Answered, time.Duration(p.AtSeconds+p.AfterSeconds)*time.Second)
	}
	same := rehearse(t, s)
	assert.InDelta(t, cook.EndSeconds, same.Stages[2].EndSeconds, 60, "a past of nothing else changes nothing")
	s.Past.Held = []Interval{{at - time.Hour, at - time.Minute}}
	held := rehearse(t, s)
	assert.Equal(t, "complete", held.Outcome, held.Reason)
	assert.Greater(t, held.Stages[2].EndSeconds, same.Stages[2].EndSeconds+30*60)
	s.Past.Held, s.Past.Door = nil, []Interval{{at - 20*time.Minute, at - 10*time.Minute}}
	door := rehearse(t, s)
	assert.Greater(t, door.Stages[2].EndSeconds, same.Stages[2].EndSeconds+60)
	late := *s.Past
	late.Door, late.Answered = nil, append([]time.Duration(nil), late.Answered...)
	late.Answered[0] += time.Hour
	s.Past = &late
	assert.InDelta(t, plain.Stages[0].EndSeconds+3600, rehearse(t, s).Stages[0].EndSeconds, 180, "it waits as long as the batch did")
}
