package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fumarium/profile/quantity"
)

// timeForms is what the options that take a time say of it.
const timeForms = `18:30, "tomorrow 18:30", "sat 18:30", "2026-11-28 18:30" or RFC 3339`

// A side of now.
type side int

const (
	past   side = -1
	coming side = 1
)

// of reports whether t is on this side of now; now itself counts as past.
func (s side) of(t, now time.Time) bool { return t.After(now) == (s == coming) }

// pastTime reads when something happened. Without a date it is the last such time; a
// duration is so long ago.
func pastTime(text string, now time.Time) (time.Time, error) {
	if ago, err := quantity.ParseDuration(text); err == nil {
		return now.Add(-ago), nil
	}
	return when(text, now, past)
}

// comingTime reads when something shall be. Without a date it is the next such time.
func comingTime(text string, now time.Time) (time.Time, error) { return when(text, now, coming) }

// when reads a time on one side of now, in the zone of now unless it says another.
func when(text string, now time.Time, s side) (time.Time, error) {
	found, err := time.Parse(time.RFC3339, text)
	if err == nil {
		if s.of(found, now) {
			return found.In(now.Location()), nil
		}
		return time.Time{}, wrongSide(text, s)
	}
	days, clock, err := readDays(text, now, s)
	if err != nil {
		return time.Time{}, err
	}
	for _, day := range days {
		shown := day.Add(clock)
		at := at(shown, now.Location())
		if len(at) == 0 && s.of(onClock(shown, now.Location()), now) {
			return time.Time{}, fmt.Errorf("%s: there is no %s on %s, the clocks go forward over it; write another time",
				text, clockText(clock), day.Format("2 January 2006"))
		}
		at = slices.DeleteFunc(at, func(t time.Time) bool { return !s.of(t, now) })
		switch {
		case len(at) == 0:
		case s == past:
			return at[len(at)-1], nil // of two such times the later: nothing is claimed to be older than it is
		default:
			return at[0], nil // of two the earlier: nothing gets ready too late
		}
	}
	return time.Time{}, wrongSide(text, s)
}

func wrongSide(text string, s side) error {
	if s == past {
		return fmt.Errorf("%s lies ahead; check the date and the zone", text)
	}
	return fmt.Errorf("%s has passed; give a time to come", text)
}

// readDays reads the time of day, and the days that may be meant, the likelier first.
// Days are midnights in UTC, whatever zone they are meant in: there every day has one.
func readDays(text string, now time.Time, s side) (days []time.Time, clock time.Duration, err error) {
	bad := fmt.Errorf("%q is no time; write "+timeForms, text)
	words := strings.Fields(strings.ToLower(text))
	if len(words) == 1 {
		words = strings.Split(words[0], "t") // 2026-11-28T18:30
	}
	if len(words) < 1 || len(words) > 2 {
		return nil, 0, bad
	}
	hours, err := time.Parse("15:04", words[len(words)-1])
	if err != nil {
		return nil, 0, bad
	}
	clock = time.Duration(hours.Hour())*time.Hour + time.Duration(hours.Minute())*time.Minute
	y, m, d := now.Date()
	offset := func(days int) time.Time { return time.Date(y, m, d+days, 0, 0, 0, 0, time.UTC) }
	if len(words) == 1 {
		return []time.Time{offset(0), offset(int(s))}, clock, nil
	}
	switch words[0] {
	case "today":
		return []time.Time{offset(0)}, clock, nil
	case "tomorrow":
		return []time.Time{offset(1)}, clock, nil
	case "yesterday":
		return []time.Time{offset(-1)}, clock, nil
	}
	if date, err := time.Parse(time.DateOnly, words[0]); err == nil {
		return []time.Time{date}, clock, nil
	}
	weekday, err := readWeekday(words[0])
	if err != nil {
		return nil, 0, bad
	}
	for n := range 8 { // today counts twice: now, and a week away
		if day := offset(n * int(s)); day.Weekday() == weekday {
			days = append(days, day)
		}
	}
	return days, clock, nil
}

// readWeekday reads a weekday by its first three letters or more.
func readWeekday(word string) (time.Weekday, error) {
	word = strings.TrimSuffix(word, ".")
	for d := time.Sunday; d <= time.Saturday; d++ {
		if len(word) >= 3 && strings.HasPrefix(strings.ToLower(d.String()), word) {
			return d, nil
		}
	}
	return 0, errors.New("no weekday")
}

// onClock is the moment at which the clocks of a zone show what those of UTC show at
// t, or one within the jump when they never do.
func onClock(t time.Time, zone *time.Location) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, zone)
}

// at gives all moments at which the clocks of a zone show what those of UTC show at
// t, in order: one as a rule, none where they go forward over it, two where they go
// back.
func at(shown time.Time, zone *time.Location) []time.Time {
	var all []time.Time
	for _, near := range []time.Duration{-24 * time.Hour, 24 * time.Hour} { // the offsets before and after any change
		_, offset := shown.Add(near).In(zone).Zone()
		t := shown.Add(-time.Duration(offset) * time.Second).In(zone)
		if t.Format(time.DateTime) == shown.Format(time.DateTime) && !slices.ContainsFunc(all, t.Equal) {
			all = append(all, t)
		}
	}
	slices.SortFunc(all, time.Time.Compare)
	return all
}

func clockText(d time.Duration) string {
	return fmt.Sprintf("%02d:%02d", d/time.Hour, d%time.Hour/time.Minute)
}
