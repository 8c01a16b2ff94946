package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestPastAndComingTime(t *testing.T) {
	zone := time.FixedZone("here", 2*3600)
	now := time.Date(2026, 11, 25, 14, 0, 0, 0, zone)
	cases := []struct {
		text         string
		past, coming string // RFC 3339 minutes, or empty for an error
	}{
		{"18:30", "2026-11-24T18:30", "2026-11-25T18:30"},
		{"09:15", "2026-11-25T09:15", "2026-11-26T09:15"},
		{"2026-11-24 18:30", "2026-11-24T18:30", ""},
		{"2026-11-28 12:00", "", "2026-11-28T12:00"},
		{"2026-11-24T18:30:00+02:00", "2026-11-24T18:30", ""},
		{"14h", "2026-11-25T00:00", ""},
		{"tomorrow", "", ""},
		{"25:00", "", ""},
	}
	for _, c := range cases {
		for want, read := range map[string]func(string, time.Time) (time.Time, error){c.past: pastTime, c.coming: comingTime} {
			at, err := read(c.text, now)
			if want == "" {
				assert.Error(t, err, c.text)
				continue
			}
			assert.NoError(t, err, c.text)
			assert.Equal(t, want, at.In(zone).Format("2006-01-02T15:04"), c.text)
		}
	}
}
