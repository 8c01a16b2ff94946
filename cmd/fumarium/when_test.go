package main

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // a machine need not have it

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestPastAndComingTime(t *testing.T) {
	zone := time.FixedZone("here", 2*3600)
	now := time.Date(2026, 11, 25, 14, 0, 0, 0, zone) // a Wednesday
	for _, c := range []struct {
		text         string
		past, coming string // RFC 3339 minutes, or empty for an error
	}{
		{"18:30", "2026-11-24T18:30", "2026-11-25T18:30"},
		{"09:15", "2026-11-25T09:15", "2026-11-26T09:15"},
		{"9:15", "2026-11-25T09:15", "2026-11-26T09:15"},
		{"14:00", "2026-11-25T14:00", "2026-11-26T14:00"},
		{"today 09:15", "2026-11-25T09:15", ""},
		{"Today 18:30", "", "2026-11-25T18:30"},
		{"tomorrow 18:00", "", "2026-11-26T18:00"},
		{"tomorrow 09:00", "", "2026-11-26T09:00"},
		{"yesterday 18:00", "2026-11-24T18:00", ""},
		{"saturday 18:00", "2026-11-21T18:00", "2026-11-28T18:00"},
		{"sat 18:00", "2026-11-21T18:00", "2026-11-28T18:00"},
		{" Sat.  18:00 ", "2026-11-21T18:00", "2026-11-28T18:00"},
		{"tues 18:00", "2026-11-24T18:00", "2026-12-01T18:00"},
		{"wed 18:00", "2026-11-18T18:00", "2026-11-25T18:00"},
		{"wednesday 09:00", "2026-11-25T09:00", "2026-12-02T09:00"},
		{"2026-11-24 18:30", "2026-11-24T18:30", ""},
		{"2026-11-24T18:30", "2026-11-24T18:30", ""},
		{"2026-11-28 12:00", "", "2026-11-28T12:00"},
		{"2026-11-24T18:30:00+02:00", "2026-11-24T18:30", ""},
		{"2026-11-24T17:30:00+01:00", "2026-11-24T18:30", ""},
		{"14h", "2026-11-25T00:00", ""},
		{"2 h 30 min", "2026-11-25T11:30", ""},
		{"", "", ""}, {"tomorrow", "", ""}, {"25:00", "", ""}, {"24:00", "", ""}, {"18:60", "", ""}, {"18", "", ""}, {"-18:00", "", ""},
		{"sat", "", ""}, {"sa 18:00", "", ""}, {"saturn 18:00", "", ""}, {"sat sun 18:00", "", ""}, {"18:00 sat", "", ""},
		{"2026-02-30 12:00", "", ""}, {"t18:00", "", ""}, {"noon", "", ""},
	} {
		for i, read := range []func(string, time.Time) (time.Time, error){pastTime, comingTime} {
			want := []string{c.past, c.coming}[i]
			at, err := read(c.text, now)
			if want == "" {
				assert.Error(t, err, "%q %d", c.text, i)
				continue
			}
			if assert.NoError(t, err, c.text) {
				assert.Equal(t, want, at.Format("2006-01-02T15:04"), c.text)
			}
		}
	}
	_, err := comingTime("whenever", now)
	require.Error(t, err)
	for _, form := range strings.Split(strings.NewReplacer(" or ", ", ", `"`, "").Replace(timeForms), ", ")[:4] {
		assert.Contains(t, strings.ReplaceAll(err.Error(), `"`, ""), form)
		_, err := comingTime(form, now)
		assert.NoError(t, err, "a form that messages offer")
	}
}

// Europe/Berlin in 2026: 29 March 02:00 to 03:00, 25 October 03:00 back to 02:00.
func TestTimesWhereTheClocksChange(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	on := func(text string) time.Time {
		at, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return at.In(berlin)
	}
	for _, c := range []struct{ now, text, past, coming string }{
		// The next day has 23 hours, and the last one 25: the clock counts, not the hours.
		{"2026-03-28T18:00:00+01:00", "tomorrow 18:00", "", "2026-03-29T18:00:00+02:00"},
		{"2026-03-29T18:00:00+02:00", "17:00", "2026-03-29T17:00:00+02:00", "2026-03-30T17:00:00+02:00"},
		{"2026-03-29T10:00:00+02:00", "yesterday 18:00", "2026-03-28T18:00:00+01:00", ""},
		{"2026-10-25T10:00:00+01:00", "18:00", "2026-10-24T18:00:00+02:00", "2026-10-25T18:00:00+01:00"},
		{"2026-10-24T18:00:00+02:00", "sun 18:00", "2026-10-18T18:00:00+02:00", "2026-10-25T18:00:00+01:00"},
		// Half past two does not come on 29 March.
		{"2026-03-29T10:00:00+02:00", "02:30", "no 02:30 on 29 March 2026", "2026-03-30T02:30:00+02:00"},
		{"2026-03-29T01:00:00+01:00", "02:30", "2026-03-28T02:30:00+01:00", "no 02:30 on 29 March 2026"},
		{"2026-03-28T12:00:00+01:00", "sun 02:30", "2026-03-22T02:30:00+01:00", "clocks go forward"},
		{"2026-03-28T12:00:00+01:00", "2026-03-29 02:30", "", "clocks go forward"},
		// And comes twice on 25 October: who says that it was then means the later, who
		// wants it by then the earlier, as far as they are on the right side of now.
		{"2026-10-25T10:00:00+01:00", "02:30", "2026-10-25T02:30:00+01:00", "2026-10-26T02:30:00+01:00"},
		{"2026-10-24T12:00:00+02:00", "sun 02:30", "2026-10-18T02:30:00+02:00", "2026-10-25T02:30:00+02:00"},
		{"2026-10-25T02:10:00+01:00", "02:30", "2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"},
		{"2026-10-25T10:00:00+01:00", "2026-10-25 02:30", "2026-10-25T02:30:00+01:00", ""},
	} {
		for i, read := range []func(string, time.Time) (time.Time, error){pastTime, comingTime} {
			want := []string{c.past, c.coming}[i]
			at, err := read(c.text, on(c.now))
			switch {
			case want == "":
				assert.Error(t, err, c)
			case want[0] != '2':
				assert.ErrorContains(t, err, want, c)
			case assert.NoError(t, err, c):
				assert.Equal(t, want, at.Format(time.RFC3339), c)
			}
		}
	}
}

// A time of day is the nearest such time on its side of now, in every zone.
func TestTheNearestTime(t *testing.T) {
	var zones []*time.Location
	for _, name := range []string{"UTC", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "America/Santiago", "Africa/Cairo"} {
		zone, err := time.LoadLocation(name)
		require.NoError(t, err)
		zones = append(zones, zone)
	}
	rapid.Check(t, func(t *rapid.T) {
		now := time.Unix(rapid.Int64Range(1.6e9, 2.1e9).Draw(t, "now"), 0).In(rapid.SampledFrom(zones).Draw(t, "zone"))
		text := time.Unix(60*rapid.Int64Range(0, 1439).Draw(t, "clock"), 0).UTC().Format("15:04")
		for s, read := range map[side]func(string, time.Time) (time.Time, error){past: pastTime, coming: comingTime} {
			at, err := read(text, now)
			if err != nil {
				if !strings.Contains(err.Error(), "clocks go forward") {
					t.Fatal(err)
				}
				continue
			}
			if at.Format("15:04:05") != text+":00" || !s.of(at, now) {
				t.Fatalf("%s at %v is %v", text, now, at)
			}
			for between := now.Truncate(time.Minute); ; between = between.Add(time.Duration(s) * time.Minute) {
				if d := between.Sub(at); d == 0 || (s == coming) == (d > 0) {
					break
				}
				if between.Format("15:04") == text && s.of(between, now) {
					t.Fatalf("%s at %v is %v, but %v is nearer", text, now, at, between)
				}
			}
		}
	})
}
