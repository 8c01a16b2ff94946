package main

import (
	"fmt"
	"time"

	"fumarium/profile/quantity"
)

// clockTime reads a time of day, or a date and a time, in the zone of now, or an
// RFC 3339 time.
func clockTime(text string, now time.Time) (at time.Time, dated bool, err error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, true, nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, text, now.Location()); err == nil {
			return t, true, nil
		}
	}
	t, err := time.ParseInLocation("15:04", text, now.Location())
	if err != nil {
		return time.Time{}, false, fmt.Errorf("%q is no time; write 18:30, 2026-11-25 18:30 or 2026-11-25T18:30:00+01:00", text)
	}
	y, m, d := now.Date()
	return time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, now.Location()), false, nil
}

// pastTime reads when something happened. A bare time of day is the last one that
// has passed; a duration is so long ago.
func pastTime(text string, now time.Time) (time.Time, error) {
	if ago, err := quantity.ParseDuration(text); err == nil {
		return now.Add(-ago), nil
	}
	at, dated, err := clockTime(text, now)
	if err != nil {
		return at, err
	}
	if !dated && at.After(now) {
		at = at.AddDate(0, 0, -1)
	}
	if at.After(now) {
		return at, fmt.Errorf("%s lies ahead; check the date and the zone", text)
	}
	return at, nil
}

// comingTime reads when something shall be. A bare time of day is the next one.
func comingTime(text string, now time.Time) (time.Time, error) {
	at, dated, err := clockTime(text, now)
	if err != nil {
		return at, err
	}
	if !dated && !at.After(now) {
		at = at.AddDate(0, 0, 1)
	}
	if !at.After(now) {
		return at, fmt.Errorf("%s has passed; give a time to come", text)
	}
	return at, nil
}
