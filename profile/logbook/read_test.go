package logbook

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/quantity"
	"fumarium/profile/source"
)

func mustRead(t *testing.T, text string) *Log {
	t.Helper()
	l, err := Read("log.csv", strings.NewReader(text))
	require.NoError(t, err)
	return l
}

func TestReadsTheSameLogInManyForms(t *testing.T) {
	for name, text := range map[string]string{
		"plain":          "elapsed_minutes,core_celsius,chamber_celsius\n0,55.5,80\n1,56,81\n",
		"seconds":        "elapsed_seconds,core_celsius,chamber_celsius\n600,55.5,80\n660,56,81\n",
		"hours":          "elapsed_hours,core_celsius,chamber_celsius\n0,55.5,80\n0.0166666666667,56,81\n",
		"wall time":      "time,core_celsius,chamber_celsius\n2026-03-29T01:59:30+01:00,55.5,80\n2026-03-29T03:00:30+02:00,56,81\n",
		"mark, CRLF":     "\ufeffelapsed_minutes,core_celsius,chamber_celsius\r\n0,55.5,80\r\n1,56,81\r\n",
		"semicolons":     "elapsed_minutes;core_celsius;chamber_celsius\n0;55.5;80\n1;56;81\n",
		"decimal comma":  "elapsed_minutes;core_celsius;chamber_celsius\n0;55,5;80\n1;56,0;81\n",
		"tabs":           "elapsed_minutes\tcore_celsius\tchamber_celsius\n0\t55,5\t80\n1\t56\t81\n",
		"Fahrenheit":     "elapsed_minutes,core_fahrenheit,chamber_fahrenheit\n0,131.9,176\n1,132.8,177.8\n",
		"capitals":       "Elapsed_Minutes, Core_Celsius ,Chamber_Celsius\n0, 55.5 ,80\n1,56,81\n",
		"quoted":         "\"elapsed_minutes\",\"core_celsius\",\"chamber_celsius\"\n\"0\",\"55.5\",\"80\"\n1,56,81",
		"empty lines":    "\nelapsed_minutes,core_celsius,chamber_celsius\n\n0,55.5,80\n,,\n1,56,81\n\n",
		"trailing comma": "elapsed_minutes,core_celsius,chamber_celsius,\n0,55.5,80,\n1,56,81,\n",
	} {
		l := mustRead(t, text)
		require.Equal(t, 2, l.Rows(), name)
		require.Len(t, l.Columns, 2, name)
		assert.Equal(t, time.Duration(0), l.At(0), name)
		assert.InDelta(t, 60, l.At(1).Seconds(), 1e-6, name)
		core, ok := l.Columns[0].Reading(0)
		assert.True(t, ok, name)
		assert.InDelta(t, 55.5, float64(core), 1e-9, name)
		chamber, ok := l.Columns[1].Reading(1)
		assert.True(t, ok, name)
		assert.InDelta(t, 81, float64(chamber), 1e-9, name)
		assert.True(t, l.Columns[0].Core && !l.Columns[1].Core, name)
		assert.Empty(t, l.Warnings, name)
		assert.Equal(t, name == "wall time", !l.Started.IsZero(), name)
	}
}

func TestFahrenheitIsExact(t *testing.T) {
	l := mustRead(t, "elapsed_minutes,core_fahrenheit\n0,130\n1,145\n")
	for row, want := range []quantity.Celsius{490.0 / 9, 565.0 / 9} {
		got, _ := l.Columns[0].Reading(row)
		assert.Equal(t, want, got)
	}
}

func TestWhichColumnsAreCores(t *testing.T) {
	for name, core := range map[string]bool{
		"core": true, "core_1": true, "product": true, "probe2": true, "t1": true, "ham": true, "chamberlain_core": true, "1": true, "": true,
		"chamber": false, "chamber2": false, "chamber_top": false, "ambient": false, "air": false, "wet_bulb": false, "dry_bulb": false,
		"room": false, "bath": false, "setpoint": false,
	} {
		l, err := Read("log.csv", strings.NewReader("elapsed_minutes,"+name+"_celsius,core9_celsius\n0,20,20\n1,21,21\n"))
		require.NoError(t, err, name)
		assert.Equal(t, core, l.Columns[0].Core, name)
	}
}

func TestUnreadIsNotZero(t *testing.T) {
	text := "elapsed_minutes,core_celsius,core2_celsius,spare_celsius,note\n"
	for i, cell := range []string{"", "-", "---", "NaN", "n/a", "null", "Inf", "-Infinity", "-127", "3276.7", "  "} {
		text += fmt.Sprintf("%d,20,%s,,x\n", i, cell)
	}
	l := mustRead(t, text+"60,0,0,,\n")
	for row := range l.Rows() - 1 {
		got, ok := l.Columns[1].Reading(row)
		assert.False(t, ok, "line %d", l.Line(row))
		assert.Zero(t, got)
	}
	zero, ok := l.Columns[1].Reading(l.Rows() - 1)
	assert.True(t, ok, "a real 0 °C is a reading")
	assert.Zero(t, zero)
	var said []string
	for _, w := range l.Warnings {
		assert.Equal(t, source.Warning, w.Severity)
		said = append(said, w.Error())
	}
	assert.Equal(t, []string{
		"log.csv:8:6: Inf is taken as not read (the first of 2); check the probe and its plug",
		"log.csv:10:6: -127 is no temperature of food or air and is taken as not read (the first of 2); check the probe and its plug",
		"log.csv:2:1: core2_celsius was not read in 11 of 12 rows, first here; time without every core read counts for nothing",
		"log.csv:1:1: column 4, spare_celsius, holds no reading and is left out; if that probe was in the product, no verdict on this log can be trusted",
		"log.csv:1:1: not used: note; the name of a temperature ends in _celsius or _fahrenheit",
	}, said)
}

func TestRepeatedTimes(t *testing.T) {
	l := mustRead(t, "elapsed_minutes,core_celsius\n0,20\n1,21\n1,22\n1,23\n2,24\n")
	assert.Equal(t, 5, l.Rows())
	assert.Equal(t, "log.csv:4:1: the time is that of line 3 (the first of 2); no heat is counted between such rows; log the seconds too", l.Warnings[0].Error())
}

func TestFaults(t *testing.T) {
	const header = "elapsed_minutes,core_celsius,chamber_celsius\n0,55,80\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", " \n", "1:1: the file is empty"},
		{"header only", "elapsed_minutes,core_celsius\n", "1:1: no core was read in any row"},
		{"one row", "elapsed_minutes,core_celsius\n0,1\n", "1:1: there are 1 rows of readings, and it takes two"},
		{"no header", "0,55\n1,56\n", "1:1: no column has the time; the first line must name the columns"},
		{"no core", "elapsed_minutes,chamber_celsius\n0,55\n", "1:1: no column has the temperature of a core"},
		{"no unit", "elapsed_minutes,core\n0,55\n", "1:1: no column has the temperature of a core"},
		{"two times", "time,elapsed_hours,core_celsius\n", "1:6: elapsed_hours is a second column with the time"},
		{"twice", "elapsed_hours,core_celsius,Core_Celsius\n", "1:28: the column Core_Celsius is there twice, first as column 2"},
		{"two lines in a name", "elapsed_hours,\"core\n1_celsius\"\n0,1\n", "1:15: the name of column 2, core·1_celsius, holds the invisible character U+000A; remove it"},
		{"bidi in a name", "elapsed_hours,\u202ecore_celsius\n0,1\n", "1:15: the name of column 2, ·core_celsius, holds the invisible character U+202E; remove it"},
		{"decimal comma", header + "1,55,5,81,2\n", "3:1: this row has 5 cells, the header has 3; if the decimal sign is a comma, save the file with semicolons"},
		{"quoted decimal comma", header + "1,\"55,5\",81\n", `3:3: 55,5 has a comma in a file whose cells are separated by commas; write a decimal point`},
		{"short row", header + "1,55\n", "3:1: this row has 2 cells, the header has 3; give every row"},
		{"two decimal signs", "elapsed_minutes;core_celsius\n0;55,5\n1;55.5\n", `3:3: 55.5 has the decimal sign '.', line 2 has ','`},
		{"thousands", "elapsed_seconds;core_celsius\n0;55,5\n1.000,5;56\n", "3:1: 1.000,5 is not a plain number"},
		{"unit in the cell", header + "1,55 °C,80\n", "3:3: 55 °C is not a plain number"},
		{"exponent", header + "1,5e1,80\n", "3:3: 5e1 is not a plain number"},
		{"hexadecimal", header + "1,0x10,80\n", "3:3: 0x10 is not a plain number"},
		{"underscore", header + "1,5_5,80\n", "3:3: 5_5 is not a plain number"},
		{"only a sign", header + "1,+,80\n", "3:3: + is not a plain number"},
		{"backwards", header + "5,55,80\n4,56,80\n", "4:1: the time goes back by 1 min from line 3; put the rows in order"},
		{"no time in a row", header + ",55,80\n", "3:1: this row has no time"},
		{"a local time", "time,core_celsius\n2026-01-31 14:05,55\n", "2:1: 2026-01-31 14:05 is a local time, and no zone is named"},
		{"no date", "time,core_celsius\n14:05,55\n", "2:1: 14:05 is no time with date and zone"},
		{"day or month", "time,core_celsius\n03/04/2026 14:05,55\n", "2:1: 03/04/2026 14:05 may have the day first or the month"},
		{"centuries back", "time,core_celsius\n2326-01-31T14:05:00Z,55\n2026-01-31T04:06:01Z,55\n", "3:1: this row is more than a year from the first"},
		{"centuries on", "time,core_celsius\n0026-01-31T14:05:00Z,55\n2026-01-31T04:06:01Z,55\n", "3:1: this row is more than a year from the first"},
		{"negative time", "elapsed_minutes,core_celsius\n-1,55\n", "2:1: the elapsed time -1 is not between 0 and a year"},
		{"years", "elapsed_hours,core_celsius\n0,1\n9000,55\n", "3:1: the elapsed time 9000 is not between 0 and a year"},
		{"Fahrenheit named Celsius", "elapsed_minutes,core_celsius\n0,55\n1,158\n",
			"3:3: core_celsius reads 158, that is 158 °C; the core of moist food cannot be hotter than 110 °C; if these are degrees Fahrenheit"},
		{"hot Fahrenheit", "elapsed_minutes,core_fahrenheit\n0,55\n1,300\n", "3:3: core_fahrenheit reads 300, that is 148.9 °C; the core of moist food cannot be hotter than 110 °C; if the probe lay in the chamber"},
		{"UTF-16", "\xff\xfee\x00", "1:1: the file is UTF-16"},
		{"Latin-1", "elapsed_minutes,core_celsius,b\xe4r\n", "1:31: the byte 0xe4 is not UTF-8"},
		{"NUL", header + "1,55,\x00\n", "3:6: the character 0x00 is not text"},
		{"old line ends", "elapsed_minutes,core_celsius\r0,1\r", "1:29: a line ends with a bare carriage return"},
		{"quotation mark", header + "1,5\"5,80\n", "3:4: a quotation mark is out of place"},
		{"after wide characters", "elapsed_minutes,größe,core_celsius\n0,größe,5x\n", "2:9: 5x is not a plain number"},
	} {
		_, err := Read("log.csv", strings.NewReader(c.text))
		var faults source.Findings
		if assert.ErrorAs(t, err, &faults, c.name) {
			assert.Contains(t, faults[0].Error(), "log.csv:"+c.want, c.name)
			assert.NotEmpty(t, faults[0].Remedy, c.name)
		}
	}
}

func TestManyFaultsAreCut(t *testing.T) {
	_, err := Read("log.csv", strings.NewReader("elapsed_minutes,core_celsius\n"+strings.Repeat("0,x\n", 1000)))
	var faults source.Findings
	require.ErrorAs(t, err, &faults)
	assert.Len(t, faults, maxFaults)
	assert.Contains(t, faults[0].Excerpt, "^")
}

func TestLimits(t *testing.T) {
	_, err := Read("log.csv", strings.NewReader(strings.Repeat("elapsed_minutes,core_celsius\n", MaxBytes/29+1)))
	assert.ErrorContains(t, err, "log.csv:1:1: the file has more than 32 MiB")
	wide := "elapsed_minutes"
	for i := range MaxColumns + 1 {
		wide += fmt.Sprintf(",core%d_celsius", i)
	}
	_, err = Read("log.csv", strings.NewReader(wide+"\n"))
	assert.ErrorContains(t, err, "there are more than 32 temperatures")
	_, err = Read("log.csv", broken{})
	assert.ErrorContains(t, err, "logbook: log.csv: the disk is gone")
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the disk is gone") }

// FuzzRead holds for any bytes: no panic; either faults that say where and what to
// do, or a log whose times never go back and whose readings are possible.
func FuzzRead(f *testing.F) {
	f.Add([]byte("elapsed_minutes,core_celsius,chamber_celsius\n0,55.5,80\n1,56,81\n"))
	f.Add([]byte("\ufefftime;core_fahrenheit\r\n2026-01-31T14:05:00Z;55,5\r\n2026-01-31T14:06:00Z;\r\n"))
	f.Add([]byte("elapsed_hours\tcore_celsius\n0\t\"1\n2\"\n"))
	f.Add([]byte("elapsed_seconds,core_celsius\n1,2\n1,nan\n0,3\n"))
	f.Add([]byte("elapsed_seconds,core_celsius\n1,\"2\"\"\",\n"))
	f.Add([]byte("\ufefftime;cor%_fahrenheit\r\n2326-01-31T14:05:00Z;55,?\r\n2026-01-31T04:06:01Z;\r\n")) // once overflowed
	logs, err := filepath.Glob(filepath.Join("..", "..", "testdata", "logs", "*.csv"))
	require.NoError(f, err)
	require.NotEmpty(f, logs)
	for _, file := range logs {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := Read("log.csv", strings.NewReader(string(data)))
		if err != nil {
			var faults source.Findings
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatalf("not faults: %v", err)
			}
			for _, f := range faults {
				if f.Line < 1 || f.Column < 1 || f.Message == "" || f.Remedy == "" {
					t.Fatalf("fault without a place or a remedy: %#v", f)
				}
			}
			return
		}
		for row := range l.Rows() {
			if row > 0 && (l.At(row) < l.At(row-1) || l.Line(row) <= l.Line(row-1)) {
				t.Fatalf("row %d: %v after %v", row, l.At(row), l.At(row-1))
			}
			for i := range l.Columns {
				if v, ok := l.Columns[i].Reading(row); !quantity.Finite(float64(v)) || ok && (v < coldest || v > hottest) || !ok && v != 0 {
					t.Fatalf("row %d reads %v", row, v)
				}
			}
		}
	})
}

func BenchmarkRead(b *testing.B) {
	var text strings.Builder
	text.WriteString("elapsed_seconds,core1_celsius,core2_celsius,chamber_celsius\n")
	for i := range 36000 {
		fmt.Fprintf(&text, "%d,%.2f,%.2f,%.1f\n", i, 20+float64(i)/1000, 19+float64(i)/1000, 80.0)
	}
	b.SetBytes(int64(text.Len()))
	for b.Loop() {
		if _, err := Read("log.csv", strings.NewReader(text.String())); err != nil {
			b.Fatal(err)
		}
	}
}

// TestRealLoggers are files as loggers write them: semicolons, decimal commas, local times,
// names of their own, and a probe of the pit that is no core.
func TestRealLoggers(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	names := map[string]string{"Datum": "time", "Fühler 1": "core_celsius"}
	log, err := ReadWith("log.csv", strings.NewReader("Datum;Fühler 1;Pit (°C)\n31.1.2026 14:05:00;4,5;80,0\n31.01.2026 14:06:30;5,0;81,0\n"), Options{berlin, names})
	require.NoError(t, err)
	assert.Equal(t, 90*time.Second, log.At(1))
	assert.Equal(t, "2026-01-31T13:05:00Z", log.Started.UTC().Format(time.RFC3339))
	require.Len(t, log.Columns, 2)
	assert.True(t, log.Columns[0].Core)
	assert.False(t, log.Columns[1].Core, "the pit is around the product")
	core, ok := log.Columns[0].Reading(0)
	assert.True(t, ok && core == 4.5, "%v", core)

	log, err = ReadWith("log.csv", strings.NewReader("time,Food 1 [°F],Oven_fahrenheit,Smoker Lid °F\n2026-06-01 09:00,41,225,230\n2026-06-01 09:01,50,225,230\n"), Options{Zone: time.UTC})
	require.NoError(t, err)
	assert.Equal(t, []bool{true, false, false}, []bool{log.Columns[0].Core, log.Columns[1].Core, log.Columns[2].Core})
	core, _ = log.Columns[0].Reading(1)
	assert.InDelta(t, 10, float64(core), 1e-9)

	for text, want := range map[string]string{
		// The clocks of Berlin went back on 25 October 2026 at 3:00 and forward on 29 March at 2:00.
		"time,core_celsius\n2026-10-25 02:30,5\n": "2:1: the clocks of Europe/Berlin showed 2026-10-25 02:30 twice",
		"time,core_celsius\n2026-03-29 02:30,5\n": "2:1: the clocks of Europe/Berlin never showed 2026-03-29 02:30",
		"time;core_celsius\n2026-10-24 02:30;5\n": "there are 1 rows of readings",
	} {
		_, err := ReadWith("log.csv", strings.NewReader(text), Options{Zone: berlin})
		assert.ErrorContains(t, err, want)
	}
	_, err = ReadWith("log.csv", strings.NewReader("time,core_celsius\n2026-10-24 02:30,5\n"), Options{Names: names})
	assert.ErrorContains(t, err, "1:1: there is no column Datum to rename")
}
