package main

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/record"
)

// A board without a clock chip wakes up in 1970; a note written then must not claim
// that the time of day was known.
func TestANoteSaysWhetherTheClockWasSet(t *testing.T) {
	for wall, set := range map[time.Time]bool{
		time.Unix(90, 0): false, time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC): true,
	} {
		var got record.Moment
		note := notes(func(_ context.Context, m record.Moment, batch string, n record.Note) error {
			got = m
			assert.Equal(t, "2026-03-14-1", batch)
			assert.Equal(t, record.Note{Who: "operator from 192.0.2.7", Text: "smells of juniper", Mark: "4/5"}, n)
			return nil
		}, func() time.Time { return wall })
		require.NoError(t, note(t.Context(), "operator from 192.0.2.7", "2026-03-14-1", "smells of juniper", "4/5"))
		assert.Equal(t, record.Moment{Wall: wall, ClockSet: set, Synced: here.clock.Synced()}, got)
	}
}
