package logbook

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fumarium/profile/source"
)

// around are the first words of columns that are not cores: what is around the product,
// heats it, or is wished for.
var around = []string{
	"chamber", "ambient", "air", "wet", "dry", "room", "bath", "setpoint",
	"cabinet", "ember", "exhaust", "fire", "firebox", "grill", "heater", "kiln", "oven", "outside", "pit", "set", "smoker", "stack", "target",
}

// unitEnds are the ways in which the name of a temperature ends with its unit.
var unitEnds = []struct {
	text       string
	fahrenheit bool
}{
	{"_celsius", false}, {"_fahrenheit", true},
	{"(°c)", false}, {"(°f)", true}, {"[°c]", false}, {"[°f]", true}, {" °c", false}, {" °f", true},
}

// unitOf cuts the unit off the name of a temperature, in small letters.
func unitOf(name string) (base string, fahrenheit, ok bool) {
	for _, e := range unitEnds {
		if base, ok := strings.CutSuffix(name, e.text); ok {
			return strings.TrimSpace(base), e.fahrenheit, true
		}
	}
	return name, false, false
}

// Options are what a file does not say of itself. The zero Options read what needs none.
type Options struct {
	// Zone is that of local times; nil refuses them.
	Zone *time.Location
	// Names gives columns the name that they should have had, by the one in the file. One
	// that the file does not have is a fault.
	Names map[string]string
}

// unread are the ways in which loggers write that there was no reading.
var unread = []string{"", "-", "--", "---", "nan", "n/a", "na", "null", "none"}

// units of elapsed time.
var elapsed = map[string]time.Duration{
	"elapsed_seconds": time.Second, "elapsed_minutes": time.Minute, "elapsed_hours": time.Hour,
}

// longest keeps elapsed times far from the end of time.Duration. Nobody smokes for
// a year.
const longest = 366 * 24 * time.Hour

// Read reads one log. Its error is a source.Findings unless r itself fails. file is
// only for messages.
func Read(file string, r io.Reader) (*Log, error) { return ReadWith(file, r, Options{}) }

// ReadWith reads one log with what the file does not say of itself.
func ReadWith(file string, r io.Reader, o Options) (*Log, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("logbook: %s: %w", file, err)
	}
	rd := &reader{log: &Log{File: file}, options: o}
	if len(data) > MaxBytes {
		return nil, rd.only(1, 1, fmt.Sprintf("the file has more than %d MiB", MaxBytes>>20), "check that this is the right file, or cut it to one batch")
	}
	if bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) {
		return nil, rd.only(1, 1, "the file is UTF-16", "save it as UTF-8 text")
	}
	rd.data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if f := rd.text(); f != nil {
		return nil, f
	}
	rd.csv = csv.NewReader(bytes.NewReader(rd.data))
	rd.csv.FieldsPerRecord = -1 // counted here, to say what is likely wrong
	rd.csv.ReuseRecord = true
	if !rd.header() {
		return nil, rd.faults
	}
	rd.rows()
	if len(rd.faults) > 0 {
		return nil, rd.faults
	}
	rd.remarks()
	return rd.log, nil
}

type reader struct {
	options Options

	log    *Log
	data   []byte
	csv    *csv.Reader
	faults source.Findings

	fields    int           // of the header
	time      int           // index of the column with the time
	unit      time.Duration // of elapsed time; 0 for RFC 3339
	column    []int         // index into log.Columns for each field, or -1
	first     time.Duration // elapsed time of the first row
	firstTime time.Time

	decimal     rune // the decimal sign that the file uses; 0 before the first
	decimalLine int
	repeats     remark
	infinite    remark
	absurd      remark
}

// remark is something seen many times that is worth one warning.
type remark struct {
	count        int
	line, column int
	text         string
}

func (rd *reader) seen(m *remark, i int, text string) {
	if m.count == 0 {
		m.line, m.column = rd.place(i)
		m.text = text
	}
	m.count++
}

// fault reports one thing that makes the log unusable. Columns come in characters.
func (rd *reader) fault(line, column int, message, remedy string) {
	if len(rd.faults) >= maxFaults {
		return
	}
	f := source.Finding{File: rd.log.File, Line: line, Column: column, Message: message, Remedy: remedy}
	if len(rd.data) <= source.MaxBytes { // larger files are too slow to cut into lines for each
		f.Excerpt = source.Excerpt(rd.data, line, column)
	}
	rd.faults = append(rd.faults, f)
}

func (rd *reader) only(line, column int, message, remedy string) source.Findings {
	rd.fault(line, column, message, remedy)
	return rd.faults
}

func (rd *reader) warn(line, column int, message, remedy string) {
	rd.log.Warnings = append(rd.log.Warnings, source.Finding{File: rd.log.File, Line: max(line, 1), Column: max(column, 1), Severity: source.Warning, Message: message, Remedy: remedy})
}

// text finds what no text file has, and line ends that the CSV reader would miss.
func (rd *reader) text() source.Findings {
	if len(bytes.TrimSpace(rd.data)) == 0 {
		return rd.only(1, 1, "the file is empty", "name a log with a header and rows")
	}
	line, column := 1, 1
	for i := 0; i < len(rd.data); {
		r, size := utf8.DecodeRune(rd.data[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			return rd.only(line, column, fmt.Sprintf("the byte 0x%02x is not UTF-8 text", rd.data[i]), "save the file as UTF-8 text")
		case r == '\r' && (i+1 >= len(rd.data) || rd.data[i+1] != '\n'):
			return rd.only(line, column, "a line ends with a bare carriage return", "save the file with ordinary line ends")
		case r == '\u0085' || r == '\u2028' || r == '\u2029' || r < ' ' && r != '\t' && r != '\r' && r != '\n' || r == 0x7f:
			return rd.only(line, column, fmt.Sprintf("the character 0x%02x is not text", r), "check that this is the right file, and save it as UTF-8 text")
		}
		i += size
		column++
		if r == '\n' {
			line, column = line+1, 1
		}
	}
	return nil
}

// header reads the names of the columns.
func (rd *reader) header() bool {
	start := bytes.TrimLeft(rd.data, "\r\n")
	top, _, _ := bytes.Cut(start, []byte("\n"))
	for _, separator := range ";\t" {
		if bytes.ContainsRune(top, separator) {
			rd.csv.Comma = separator
			break
		}
	}
	record, err := rd.csv.Read()
	if err != nil {
		rd.broken(err)
		return false
	}
	line, _ := rd.csv.FieldPos(0)
	rd.fields, rd.time = len(record), -1
	names, renamed := map[string]int{}, map[string]bool{}
	for i, cell := range record {
		_, column := rd.place(i)
		header := strings.TrimSpace(cell)
		if to, ok := rd.options.Names[header]; ok {
			renamed[header], header = true, to
		}
		name := strings.ToLower(header)
		rd.column = append(rd.column, -1)
		if name == "" {
			continue
		}
		if names[name] > 0 {
			rd.fault(line, column, fmt.Sprintf("the column %s is there twice, first as column %d", clip(header), names[name]), "give each column a name of its own")
			continue
		}
		names[name] = i + 1
		unit, isElapsed := elapsed[name]
		base, isFahrenheit, isTemperature := unitOf(name)
		if r, bad := hidden(header); bad && isTemperature { // it is printed with the verdict
			rd.fault(line, column, fmt.Sprintf("the name of column %d, %s, holds the invisible character %U", i+1, clip(header), r), "remove it")
			continue
		}
		switch {
		case name == "time" || isElapsed:
			if rd.time >= 0 {
				rd.fault(line, column, fmt.Sprintf("%s is a second column with the time", clip(header)), "keep one of them; rename the other, and it is ignored")
			}
			rd.time, rd.unit = i, unit
		case isTemperature:
			if len(rd.log.Columns) == MaxColumns {
				rd.fault(line, column, fmt.Sprintf("there are more than %d temperatures", MaxColumns), "leave out those that do not matter")
				return false
			}
			rd.column[i] = len(rd.log.Columns)
			rd.log.Columns = append(rd.log.Columns, Column{Header: header, Core: isCore(base), Place: i + 1, fahrenheit: isFahrenheit})
		default:
			rd.log.Ignored = append(rd.log.Ignored, clip(header))
		}
	}
	for _, from := range slices.Sorted(maps.Keys(rd.options.Names)) {
		if !renamed[from] {
			rd.fault(line, 1, fmt.Sprintf("there is no column %s to rename", clip(from)), "write the name as the file's first line has it")
		}
	}
	const example = "elapsed_minutes,core_celsius,chamber_celsius"
	if rd.time < 0 {
		rd.fault(line, 1, "no column has the time; the first line must name the columns",
			"name one time, elapsed_seconds, elapsed_minutes or elapsed_hours, as in "+example+", or rename one on the command line")
	}
	cores := slices.ContainsFunc(rd.log.Columns, func(c Column) bool { return c.Core })
	if !cores {
		rd.fault(line, 1, "no column has the temperature of a core", "end its name in _celsius or _fahrenheit, as in "+example+", or rename one on the command line")
	}
	return len(rd.faults) == 0
}

// hidden finds the first character that would not show.
func hidden(text string) (rune, bool) {
	for _, r := range text {
		if !unicode.IsPrint(r) && !unicode.Is(unicode.Zs, r) {
			return r, true
		}
	}
	return 0, false
}

// isCore reports whether a temperature is one of the product.
func isCore(name string) bool {
	first := strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) })
	return len(first) == 0 || !slices.Contains(around, first[0])
}

// place is where field i of the record stands, in lines and characters.
func (rd *reader) place(i int) (line, column int) {
	line, at := rd.csv.FieldPos(i)
	// Characters differ from bytes only in lines that are not plain ASCII, and a
	// quoted cell starts before its text.
	start := int(rd.csv.InputOffset())
	begin := bytes.LastIndexByte(rd.data[:max(0, start-1)], '\n') + 1
	if end := begin + at - 1; end <= len(rd.data) && end >= begin {
		return line, utf8.RuneCount(rd.data[begin:end]) + 1
	}
	return line, at
}

// broken reports what the CSV reader could not read.
func (rd *reader) broken(err error) {
	var bad *csv.ParseError
	if !errors.As(err, &bad) {
		rd.fault(1, 1, "the file has no rows", "name a log with a header and rows")
		return
	}
	rd.fault(bad.Line, max(bad.Column, 1), "a quotation mark is out of place", "write the cell without quotation marks, or put the whole cell into a pair of them")
}

// rows reads everything below the header.
func (rd *reader) rows() {
	for len(rd.faults) < maxFaults {
		record, err := rd.csv.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			rd.broken(err)
			return
		}
		if !slices.ContainsFunc(record, func(cell string) bool { return strings.TrimSpace(cell) != "" }) {
			continue // a line of separators only
		}
		if len(rd.log.at) == MaxRows {
			line, _ := rd.csv.FieldPos(0)
			rd.fault(line, 1, fmt.Sprintf("there are more than %d rows", MaxRows), "cut the log to one batch, or thin it to a reading every few seconds")
			return
		}
		rd.row(record)
	}
	if len(rd.faults) > 0 {
		return
	}
	if !slices.ContainsFunc(rd.log.Columns, func(c Column) bool { return c.Core && c.count > 0 }) {
		rd.fault(1, 1, "no core was read in any row", "name a log with readings")
		return
	}
	if len(rd.log.at) < 2 {
		rd.fault(1, 1, fmt.Sprintf("there are %d rows of readings, and it takes two to make a time", len(rd.log.at)), "name a longer log")
	}
}

func (rd *reader) row(record []string) {
	line, _ := rd.csv.FieldPos(0)
	for len(record) > rd.fields && strings.TrimSpace(record[len(record)-1]) == "" {
		record = record[:len(record)-1]
	}
	if len(record) != rd.fields {
		remedy := "give every row a cell for each column, empty where nothing was read"
		if len(record) > rd.fields && rd.csv.Comma == ',' {
			remedy = "if the decimal sign is a comma, save the file with semicolons between the cells"
		}
		rd.fault(line, 1, fmt.Sprintf("this row has %d cells, the header has %d", len(record), rd.fields), remedy)
		return
	}
	at, ok := rd.clock(record[rd.time])
	if !ok {
		return
	}
	for i, cell := range record {
		if rd.column[i] >= 0 {
			c := &rd.log.Columns[rd.column[i]]
			t, read := rd.temperature(c, i, cell)
			c.add(t, read)
		}
	}
	rd.log.at = append(rd.log.at, at)
	rd.log.line = append(rd.log.line, int32(line))
}

// remarks turns what was seen on the way into warnings.
func (rd *reader) remarks() {
	times := func(m remark) string {
		if m.count == 1 {
			return ""
		}
		return fmt.Sprintf(" (the first of %d)", m.count)
	}
	if m := rd.repeats; m.count > 0 {
		rd.warn(m.line, m.column, m.text+times(m), "no heat is counted between such rows; log the seconds too")
	}
	if m := rd.infinite; m.count > 0 {
		rd.warn(m.line, m.column, m.text+" is taken as not read"+times(m), "check the probe and its plug")
	}
	if m := rd.absurd; m.count > 0 {
		rd.warn(m.line, m.column, m.text+" is no temperature of food or air and is taken as not read"+times(m), "check the probe and its plug")
	}
	for i := range rd.log.Columns {
		c := &rd.log.Columns[i]
		missing := rd.log.Rows() - c.count
		row := 0
		for ; row < rd.log.Rows(); row++ {
			if _, ok := c.Reading(row); !ok {
				break
			}
		}
		switch {
		case missing == 0:
		case c.count == 0:
			rd.warn(1, 1, fmt.Sprintf("column %d, %s, holds no reading and is left out", c.Place, clip(c.Header)), "if that probe was in the product, no verdict on this log can be trusted")
		case c.Core: // what is around the product decides nothing
			rd.warn(rd.log.Line(row), 1, fmt.Sprintf("%s was not read in %d of %d rows, first here", clip(c.Header), missing, rd.log.Rows()), "time without every core read counts for nothing")
		}
	}
	if len(rd.log.Ignored) > 0 {
		some := rd.log.Ignored
		more := ""
		if len(some) > 5 {
			some, more = some[:5], fmt.Sprintf(" and %d more", len(rd.log.Ignored)-5)
		}
		rd.warn(1, 1, "not used: "+strings.Join(some, ", ")+more, "the name of a temperature ends in _celsius or _fahrenheit")
	}
}

// clip shows a piece of the file inside a message: short and printable.
func clip(text string) string {
	const shown = 40
	if utf8.RuneCountInString(text) > shown {
		text = string([]rune(text)[:shown]) + "…"
	}
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '·'
	}, text)
}
