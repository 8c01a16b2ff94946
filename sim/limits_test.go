package sim

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each doubt moves the rehearsal, the two ends apart from each other, and leaves the setup
// as it was; what is squeezed out more weighs less.
func TestLimitsTellWhatADoubtComesTo(t *testing.T) {
	long(t)
	s := Setup{Product: product(t, "hayloft-chicken"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 1, Answer: Brisk}
	was := *s.Cabinet
	calls := 0
	l, err := Limits(context.Background(), s, func(done, all int) {
		calls++
		assert.Equal(t, calls, done)
		assert.Equal(t, 1+2*10, all)
	})
	require.NoError(t, err)
	assert.Equal(t, was.Rehearsal.Leak, s.Cabinet.Rehearsal.Leak)
	assert.Equal(t, was.Rehearsal.PastTray, s.Cabinet.Rehearsal.PastTray)
	require.Len(t, l.Limits, 10)
	for _, limit := range l.Limits {
		require.Len(t, limit.Ends, 2)
		low, high := limit.Ends[0], limit.Ends[1]
		t.Logf("%-52s %.2f h, %.1f %% to %.2f h, %.1f %%", limit.What, low.HotSeconds/3600, low.YieldPercent, high.HotSeconds/3600, high.YieldPercent)
		assert.False(t, low.HotSeconds == high.HotSeconds && low.YieldPercent == high.YieldPercent, limit.What)
	}
	assert.Greater(t, l.Limits[1].Ends[0].YieldPercent, l.Limits[1].Ends[1].YieldPercent, "more juice leaves less")
	assert.Greater(t, l.Limits[2].Ends[0].HotSeconds, l.Limits[2].Ends[1].HotSeconds, "what drips need not evaporate")
	assert.Equal(t, rehearse(t, s).Stages[3].EndSeconds, l.Plain.HotSeconds)
	assert.NotEmpty(t, l.Unmodelled)
}
