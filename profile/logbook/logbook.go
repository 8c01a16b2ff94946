// Package logbook reads the temperature log of any data logger from CSV. It says
// exactly where a file is wrong, and it never guesses: what could be read in two
// ways is refused, and what was not read stays not read. It judges nothing.
//
// The first line names the columns. One is the time: "time" in RFC 3339, or local
// with a zone that the caller names, or "elapsed_seconds", "elapsed_minutes" or
// "elapsed_hours". Temperatures end in "_celsius" or "_fahrenheit", or in °C or °F
// with or without brackets. Every temperature column counts as a core unless its
// first word says that it is something around the product (chamber, oven, pit, air
// and the like, see Around): taking one thing too many for a core can only make a
// verdict stricter, because the coldest and the hottest core count.
//
// Cells are separated by commas, semicolons or tabs. A decimal comma is read where
// it can't be mistaken for a separator, and then throughout.
package logbook

import (
	"fmt"
	"slices"
	"time"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

// Limits on what is read at all: a log of one reading a second for a week of four
// probes is some 20 MB.
const (
	MaxBytes   = 32 << 20
	MaxRows    = 1_000_000
	MaxColumns = 32
	maxFaults  = 20
)

// What a probe can have read. Beyond it lie the numbers by which loggers say that
// a probe is missing, such as -127 or 3276.7. Common practice, no source.
const (
	coldest quantity.Celsius = -60
	hottest quantity.Celsius = 400
	// hottestCore is beyond what moist food can reach; a core that reads more is
	// Fahrenheit under the name of Celsius, or a probe that lies in the chamber.
	hottestCore quantity.Celsius = 110
)

// Around lists the first words of columns that are not cores.
func Around() []string { return slices.Clone(around) }

// A Column is one temperature of the log.
type Column struct {
	Header string // as the file writes it, without blanks around
	Core   bool
	Place  int // of the column in the file; 1 is the first

	fahrenheit bool
	reading    []quantity.Celsius // one for each row
	read       []uint8            // one bit for each row
	count      int
}

// A Log is what a file holds.
type Log struct {
	File     string
	Columns  []Column
	Ignored  []string        // columns that are neither a time nor a temperature
	Started  time.Time       // of the first row; zero when the file has elapsed time
	Warnings source.Findings // what looks wrong although the log can be used

	at   []time.Duration // since the first row; never decreases
	line []int32
}

// Rows is how many rows there are.
func (l *Log) Rows() int { return len(l.at) }

// At is the time of a row since the first.
func (l *Log) At(row int) time.Duration { return l.at[row] }

// Line is where a row stands in the file.
func (l *Log) Line(row int) int { return int(l.line[row]) }

// Reading is what a column read, and false when it was not read.
func (c *Column) Reading(row int) (quantity.Celsius, bool) {
	if c.read[row/8]&(1<<(row%8)) == 0 {
		return 0, false
	}
	return c.reading[row], true
}

// Count is how many rows of the column were read.
func (c *Column) Count() int { return c.count }

func (c *Column) add(t quantity.Celsius, ok bool) {
	row := len(c.reading)
	if row%8 == 0 {
		c.read = append(c.read, 0)
	}
	if ok {
		c.read[row/8] |= 1 << (row % 8)
		c.count++
	} else {
		t = 0
	}
	c.reading = append(c.reading, t)
}

// Describe says what the log holds in one line.
func (l *Log) Describe() string {
	cores := 0
	for i := range l.Columns {
		if l.Columns[i].Core {
			cores++
		}
	}
	return fmt.Sprintf("%s: %d rows over %s, %d of %d temperatures are cores", l.File, l.Rows(),
		quantity.FormatDuration(l.at[len(l.at)-1]), cores, len(l.Columns))
}
