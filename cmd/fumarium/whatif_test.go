package main

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/web"
)

// What another chamber comes to is said beside what there is without; what is outside of
// what core and cabinet leave is not rehearsed.
func TestWhatIfBeforeTheStart(t *testing.T) {
	t.Parallel()
	ask := func(want int, args ...string) *web.Supposed {
		t.Helper()
		code, out, said := call(t, append([]string{"whatif", "marjoram-ring", "--hang", "8:00", "--runs", "10", "--json"}, args...)...)
		require.Equal(t, want, code, out+said)
		e := &web.Supposed{}
		require.NoError(t, json.Unmarshal([]byte(out), e))
		return e
	}
	hotter := ask(exitGood, "--chamber", "+5K")
	assert.Equal(t, "chamber 85 °C", hotter.Change)
	assert.Greater(t, hotter.Now.Middle.Sub(hotter.Then.Middle), 5*time.Minute)

	// A night that begins after the batch is over changes nothing.
	after := ask(exitGood, "--room", "-8K", "--from", hotter.Now.Latest.Add(72*time.Hour).Format(time.RFC3339))
	assert.Contains(t, after.Change, "room -8.0 K, from ")
	assert.Equal(t, after.Now, after.Then)

	// One that begins with the drying costs time where the walls are heavy.
	cold := ask(exitGood, "--cabinet", "masonry-walk-in", "--room", "-20K", "--from", "8:01")
	assert.Greater(t, cold.Then.Middle.Sub(cold.Now.Middle), time.Minute)

	soon := ask(exitGood, "--ready", hotter.Now.Latest.Add(-10*time.Minute).Format(time.RFC3339))
	require.NotNil(t, soon.Chamber)
	assert.Greater(t, *soon.Chamber, 80.0)
	assert.LessOrEqual(t, *soon.Chamber, 90.0)
	assert.True(t, *soon.Reached)
	code, out, said := call(t, "whatif", "marjoram-ring", "--hang", "8:00", "--runs", "10", "--room", "-8K", "--ready", "18:00")
	assert.Equal(t, exitUsage, code, out+said)
	code, out, _ = call(t, "whatif", "marjoram-ring", "--hang", "8:00", "--runs", "10", "--ready", hotter.Now.Latest.Add(time.Hour).Format(time.RFC3339))
	assert.Equal(t, exitGood, code)
	assert.Contains(t, out, "Nothing must change.\nor hung   ")

	for want, args := range map[string][]string{
		"what would be otherwise":   nil,
		"what must change":          {"--ready", "18:00", "--room", "-8K"},
		"outside 76 °C to ":         {"--chamber", "-8K"},
		"no night brings that":      {"--room", "-60K"},
		"--from is of --damper":     {"--chamber", "+5K", "--from", "22:00"},
		"more than open":            {"--damper", "150%"},
		"too few to know the ninth": {"--chamber", "+5K", "--runs", "3"},
	} {
		code, out, said := call(t, append([]string{"whatif", "marjoram-ring"}, args...)...)
		assert.Equal(t, exitUsage, code, out)
		assert.Contains(t, said, want)
	}
	code, _, said = call(t, "whatif", "--chamber", "+5K", "--server", "http://127.0.0.1:1", "--state", t.TempDir())
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, said, "no daemon answers")
}
