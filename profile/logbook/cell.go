package logbook

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fumarium/profile/quantity"
)

// clock reads the time of a row as time since the first row.
func (rd *reader) clock(cell string) (time.Duration, bool) {
	text := strings.TrimSpace(cell)
	refuse := func(message, remedy string) (time.Duration, bool) {
		line, column := rd.place(rd.time)
		rd.fault(line, column, message, remedy)
		return 0, false
	}
	var at time.Duration
	switch {
	case text == "":
		return refuse("this row has no time", "write its time or remove the row")
	case rd.unit == 0:
		t, message, remedy := moment(text, rd.options.Zone)
		if message != "" {
			return refuse(message, remedy)
		}
		if len(rd.log.at) == 0 {
			rd.firstTime, rd.log.Started = t, t
		}
		at = t.Sub(rd.firstTime)
	default:
		v, ok := rd.number(rd.time, text)
		if !ok {
			return 0, false
		}
		seconds := v * rd.unit.Seconds()
		if seconds < 0 || seconds > longest.Seconds() {
			return refuse(fmt.Sprintf("the elapsed time %s is not between 0 and a year", clip(text)), "check the unit in the name of the column")
		}
		at = time.Duration(math.Round(seconds*1e6)) * time.Microsecond
		if len(rd.log.at) == 0 {
			rd.first = at
		}
		at -= rd.first
	}
	if len(rd.log.at) == 0 {
		return 0, true
	}
	last := len(rd.log.at) - 1
	switch before := rd.log.at[last]; {
	case at > longest || at < -longest: // first: a difference of centuries saturates
		return refuse("this row is more than a year from the first", "check the times, and cut the log to one batch")
	case at < before:
		return refuse(fmt.Sprintf("the time goes back by %s from line %d", quantity.FormatDuration(before-at), rd.log.line[last]),
			"put the rows in order; a clock that was set meanwhile needs a column of elapsed time")
	case at == before:
		rd.seen(&rd.repeats, rd.time, fmt.Sprintf("the time is that of line %d", rd.log.line[last]))
	}
	return at, true
}

// local are the ways to write a local time that cannot be read in two ways: the year
// first, or the day first with points.
var local = []string{
	"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04",
	"2.1.2006 15:04:05", "2.1.2006 15:04",
}

// moment reads a time with its zone, or a local one of the zone that was named.
func moment(text string, zone *time.Location) (t time.Time, message, remedy string) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, "", ""
	}
	const example = "write date, T, time and zone, as in 2026-01-31T14:05:00+01:00, or name the column elapsed_seconds"
	for _, layout := range local {
		t, err := time.Parse(layout, text)
		switch {
		case err != nil:
			continue
		case zone == nil:
			return t, fmt.Sprintf("%s is a local time, and no zone is named", clip(text)), "name the zone of the logger, as in --zone Europe/Berlin or --zone +01:00"
		}
		// A wall clock shows a time twice when it is set back, and not at all what it skips.
		in := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, zone)
		for _, other := range []time.Duration{-time.Hour, time.Hour} {
			if in.Add(other).Format(layout) == in.Format(layout) {
				return t, fmt.Sprintf("the clocks of %v showed %s twice", zone, clip(text)), "name the offset that the logger kept, as in --zone +01:00"
			}
		}
		if in.Format(layout) != t.Format(layout) {
			return t, fmt.Sprintf("the clocks of %v never showed %s", zone, clip(text)), "name the offset that the logger kept, as in --zone +01:00"
		}
		return in, "", ""
	}
	if strings.Contains(text, "/") {
		return t, fmt.Sprintf("%s may have the day first or the month", clip(text)), "save the times with the year first, as in 2026-01-31 14:05:00"
	}
	return t, fmt.Sprintf("%s is no time with date and zone", clip(text)), example
}

// temperature reads one cell. Nothing readable is not read; it is never 0.
func (rd *reader) temperature(c *Column, i int, cell string) (quantity.Celsius, bool) {
	text := strings.TrimSpace(cell)
	if slices.Contains(unread, strings.ToLower(text)) {
		return 0, false
	}
	switch strings.ToLower(strings.TrimLeft(text, "+-")) {
	case "inf", "infinity":
		rd.seen(&rd.infinite, i, clip(text))
		return 0, false
	}
	v, ok := rd.number(i, text)
	if !ok {
		return 0, false
	}
	t := quantity.Celsius(v)
	if c.fahrenheit {
		t = quantity.FromFahrenheit(v)
	}
	switch {
	case t < coldest || t > hottest:
		rd.seen(&rd.absurd, i, clip(text))
		return 0, false
	case c.Core && t > hottestCore:
		remedy := "if the probe lay in the chamber, empty its cells for that time or let the column's name begin with chamber"
		if !c.fahrenheit {
			remedy = "if these are degrees Fahrenheit, let the column's name end in _fahrenheit; " + remedy
		}
		line, column := rd.place(i)
		rd.fault(line, column, fmt.Sprintf("%s reads %s, that is %v; the core of moist food cannot be hotter than %v", clip(c.Header), clip(text), t, hottestCore), remedy)
		return 0, false
	}
	return t, true
}

// number reads a plain decimal number. The sign of its decimals must be the same
// throughout the file, and a comma counts only where it separates no cells.
func (rd *reader) number(i int, text string) (float64, bool) {
	refuse := func(message, remedy string) (float64, bool) {
		line, column := rd.place(i)
		rd.fault(line, column, message, remedy)
		return 0, false
	}
	digits := 0
	var sign rune
	for at, r := range text {
		switch {
		case r >= '0' && r <= '9':
			digits++
		case (r == '-' || r == '+') && at == 0:
		case (r == '.' || r == ',') && sign == 0:
			sign = r
		default:
			return refuse(fmt.Sprintf("%s is not a plain number", clip(text)), "write digits with at most one decimal sign, the unit in the name of the column")
		}
	}
	switch {
	case digits == 0 || len(text) > 40:
		return refuse(fmt.Sprintf("%s is not a plain number", clip(text)), "write digits with at most one decimal sign, or leave the cell empty")
	case sign == ',' && rd.csv.Comma == ',':
		return refuse(fmt.Sprintf("%s has a comma in a file whose cells are separated by commas", clip(text)), "write a decimal point, or save the file with semicolons between the cells")
	case sign != 0 && rd.decimal != 0 && sign != rd.decimal:
		return refuse(fmt.Sprintf("%s has the decimal sign %q, line %d has %q", clip(text), sign, rd.decimalLine, rd.decimal), "use one decimal sign throughout, and none for thousands")
	case sign != 0 && rd.decimal == 0:
		rd.decimal = sign
		rd.decimalLine, _ = rd.csv.FieldPos(0)
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || !quantity.Finite(v) {
		return refuse(fmt.Sprintf("%s is not a plain number", clip(text)), "write digits with at most one decimal sign")
	}
	return v, true
}
