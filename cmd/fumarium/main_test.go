package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/sim"
)

// call runs one command line as a user would and returns what it printed.
func call(t *testing.T, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	defer debug.SetGCPercent(debug.SetGCPercent(100)) // which a command that runs once changes
	status = run(context.Background(), args, &out, &err)
	return status, out.String(), err.String()
}

// file writes content into a new folder and returns its path.
func file(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// contractProduct is the product file as the README prints it.
func contractProduct(t *testing.T) string {
	t.Helper()
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(readme), "```yaml\n")
	require.True(t, found)
	text, _, found := strings.Cut(rest, "```")
	require.True(t, found)
	return text
}

func TestRehearseJSON(t *testing.T) {
	status, out, _ := call(t, "rehearse", "--json")
	require.Equal(t, exitGood, status)
	var r map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	assert.Equal(t, "complete", r["outcome"])
	for _, key := range []string{"product", "world", "seed", "outcome", "elapsed_seconds", "stages", "core", "control", "lethality",
		"chill", "yield_percent", "energy_joules", "relay_operations", "alarms", "wall_seconds", "times_real_time"} {
		assert.Contains(t, r, key)
	}
	lethality := r["lethality"].(map[string]any)
	assert.Equal(t, 20.0, lethality["log10_reduction"], "no more than may be claimed")
	assert.Equal(t, true, lethality["log10_capped"])
	_, said, _ := call(t, "rehearse")
	assert.Contains(t, said, "more than 20 log10 counted, 6.5 required: met")
	_, again, _ := call(t, "rehearse", "--json")
	assert.Equal(t, out, again, "equal seeds give equal bytes")
	_, other, _ := call(t, "rehearse", "--json", "--seed", "2")
	assert.NotEqual(t, out, other)
	_, timed, _ := call(t, "rehearse", "--json", "--timing", "--runs", "3")
	var with struct {
		WallSeconds   *float64 `json:"wall_seconds"`
		TimesRealTime *float64 `json:"times_real_time"`
		Spread        *struct {
			Runs int     `json:"runs"`
			P10  float64 `json:"p10_seconds"`
			P90  float64 `json:"p90_seconds"`
		} `json:"spread"`
	}
	require.NoError(t, json.Unmarshal([]byte(timed), &with))
	require.NotNil(t, with.WallSeconds)
	require.NotNil(t, with.TimesRealTime)
	require.NotNil(t, with.Spread)
	assert.Equal(t, 3, with.Spread.Runs)
	assert.LessOrEqual(t, with.Spread.P10, with.Spread.P90)
}

func TestRehearseForPeople(t *testing.T) {
	chart := filepath.Join(t.TempDir(), "out.svg")
	status, out, _ := call(t, "rehearse", file(t, "sticks.yaml", contractProduct(t)), "--load", "4kg", "--ambient", "8°C",
		"--diameter", "22mm", "--chart", chart)
	assert.Equal(t, exitGood, status)
	for _, word := range []string{"Juniper venison sticks", "4 kg hung, room 8 °C", "complete after", "yield", "kWh", "hand step", "model"} {
		assert.Contains(t, out, word)
	}
	svg, err := os.ReadFile(chart)
	require.NoError(t, err)
	assert.True(t, bytes.HasPrefix(svg, []byte("<svg")) || bytes.HasPrefix(svg, []byte("<?xml")))
}

// A little below 0 °C is 0.0 °C, in each place that writes a temperature.
func TestNoMinusSignOnAZero(t *testing.T) {
	var out strings.Builder
	cold, colder := -0.04, -17.8
	printStatus(&out, &web.Status{ChamberCelsius: &cold, CoreCelsius: &colder})
	assert.Contains(t, out.String(), "chamber   0.0 °C (31.9 °F)\n")
	assert.Contains(t, out.String(), "core      -17.8 °C (0.0 °F)\n")

	out.Reset()
	b := bench{out: &out}
	tiny := -0.004
	require.NoError(t, b.printReadings([]probeReading{{Name: "upper rack", Celsius: &tiny, Raw: &tiny}}))
	assert.Regexp(t, `upper rack .* 0\.00 °C +0\.00 °C`, out.String())

	out.Reset()
	r := &sim.Result{Stages: []sim.StageResult{{Name: "chill", CoreEndCelsius: cold, ChamberMeanCelsius: &cold, ChamberPeakCelsius: &cold}}}
	r.Core.PeakCelsius, r.Core.FinalCelsius, r.Control.OvershootKelvin = colder, cold, &cold
	p := &profile.Product{Stages: []profile.Stage{{Name: "chill"}}}
	printRehearsal(&out, sim.Setup{Product: p, Cabinet: &cabinet.Cabinet{Name: "Kiln"}}, r, 1, 1, rehearseOptions{})
	assert.Contains(t, out.String(), "0.0 / 0.0 °C")
	assert.NotRegexp(t, `-0(\.0+)? `, out.String())
}

func TestHowLongItTook(t *testing.T) {
	assert.Equal(t, "rehearsed in 0.050 s, 720000 times real time", tookText(36000, 1, 50*time.Millisecond, 60*time.Millisecond))
	assert.Equal(t, "rehearsed 201 times in 12.500 s, the one above in 0.050 s, 720000 times real time",
		tookText(36000, 200, 50*time.Millisecond, 12500*time.Millisecond))
	_, out, _ := call(t, "rehearse", "caraway-sticks", "--runs", "2")
	assert.Contains(t, out, "\nrehearsed 3 times in ")
	assert.NotContains(t, out, "--runs 200", "it was asked for")
}

func TestExitStatuses(t *testing.T) {
	empty, good := file(t, "empty.yaml", ""), file(t, "good.yaml", contractProduct(t))
	never := strings.Replace(contractProduct(t), "until: {core: 4 °C}, within: 2 h", "place: room, until: {core: 1 °C}", 1)
	huge := file(t, "huge.yaml", strings.Repeat("# nothing but remarks\n", 500_000))
	soon := time.Now().AddDate(0, 0, 4)
	cases := []struct {
		args   []string
		status int
		says   string // on either stream
	}{
		{[]string{"--help"}, exitGood, "rehearse"},
		{[]string{"nonsense"}, exitUsage, "unknown command"},
		{[]string{"resume"}, exitUsage, "    restart\n"}, // its name in older versions
		{[]string{"rehearse", "--nonsense"}, exitUsage, "unknown flag"},
		{[]string{"sheet"}, exitUsage, "usage: fumarium sheet PRODUCT [flags]\nsee fumarium sheet --help"},
		{[]string{"status", "now"}, exitUsage, "usage: fumarium status [flags]"},
		{[]string{"rehearse", "--seed", "-1"}, exitUsage, "invalid argument \"-1\" for \"--seed\" flag\nusage: fumarium rehearse [PRODUCT] [flags]"},
		{[]string{"rehearse", "a", "b"}, exitUsage, "at most 1"},
		{[]string{"rehearse", "--runs", "0"}, exitUsage, "--runs"},
		{[]string{"rehearse", "--load", "4"}, exitUsage, "unit"},
		{[]string{"rehearse", "--load", "0kg"}, exitUsage, "--load 0kg is nothing"},
		{[]string{"rehearse", "--diameter", "0mm"}, exitUsage, "--diameter 0mm is nothing"},
		{[]string{"plan", "caraway-sticks", "--ready", "18:00", "--load", "0 g"}, exitUsage, "--load 0 g is nothing"},
		{[]string{"rehearse", "--load", "4,5kg"}, exitUsage, "4.5"},
		{[]string{"rehearse", "--load", "4000kg"}, exitCouldNo, "4000 kg"},
		{[]string{"rehearse", "--ambient", "NaN °C"}, exitUsage, "--ambient"},
		{[]string{"rehearse", "no-such-product"}, exitCouldNo, "no shipped product is called"},
		{[]string{"rehearse", "./no-such-file.yaml"}, exitCouldNo, "no such file"},
		{[]string{"rehearse", "--cabinet", "no-such-cabinet"}, exitCouldNo, "no-such-cabinet"},
		{[]string{"rehearse", empty}, exitCouldNo, "empty"},
		{[]string{"rehearse", file(t, "never.yaml", never)}, exitBad, "never ends"},
		{[]string{"rehearse", "--chart", filepath.Join(t.TempDir(), "no", "folder.svg")}, exitCouldNo, "no such file"},
		{[]string{"check"}, exitUsage, "at least 1"},
		{[]string{"check", empty}, exitBad, "empty"},
		{[]string{"check", huge}, exitBad, "huge.yaml"},
		{[]string{"check", good}, exitGood, "no fault found in 1 file\nThat is no proof of safety"},
		{[]string{"check", good}, exitGood, "the heat ends by itself, unless a person restarts it: "},
		{[]string{"check", "--cabinet", "masonry-walk-in", "../../profile/catalog/marjoram-ring.yaml"}, exitGood, "note: ../../profile/catalog/marjoram-ring.yaml:20:1: reach: full power comes to 39.9 °C in stage \"dry\", which asks for 52 °C (simulated with the damper at 100 % and the fan on); ask for less"},
		{[]string{"check", "--json", "--cabinet", "masonry-walk-in", "../../profile/catalog/marjoram-ring.yaml"}, exitGood, "\"code\": \"reach\""},
		{[]string{"check", "./no-such-file.yaml"}, exitCouldNo, "no such file"},
		{[]string{"sheet", "marjoram-ring", "--meat", "5kg"}, exitGood, "REST BEFORE THE CHAMBER"},
		{[]string{"sheet", "marjoram-ring", "--meat", "11 lb 4 oz"}, exitGood, "5.103 kg of meat"}, // 11.25 × 0.45359237
		{[]string{"sheet", "marjoram-ring", "--meat", "5"}, exitUsage, "unit"},
		{[]string{"sheet", "marjoram-ring", "--meat", "5 t"}, exitUsage, "--meat"},
		{[]string{"sheet", "marjoram-ring", "--meat", "900kg"}, exitUsage, "500 kg"},
		{[]string{"sheet", file(t, "pink.yaml", strings.Replace(contractProduct(t), "mass: 12.5 g, nitrite", "mass: 25 g, nitrite", 1))}, exitBad, "instead"},
		{[]string{"check", file(t, "pink.yaml", strings.Replace(contractProduct(t), "mass: 12.5 g, nitrite", "mass: 25 g, nitrite", 1))}, exitBad, "ppm"},
		{[]string{"plan", "caraway-sticks"}, exitUsage, "ready"},
		{[]string{"plan", "caraway-sticks", "--ready", "18:00", "--hang", "8:00"}, exitUsage, "hang"},
		{[]string{"plan", "caraway-sticks", "--hang", "8:00", "--night", "late"}, exitUsage, "FROM-TO"},
		{[]string{"plan", "caraway-sticks", "--hang", "8:00", "--clean", "-1 h"}, exitUsage, "--clean"},
		{[]string{"plan", "caraway-sticks", "caraway-sticks", "--hang", "2099-01-01 20:00", "--runs", "10"}, exitGood, "cleaned and free by Fri 2 Jan "},
		{[]string{"plan", "caraway-sticks", "--hang", "2099-01-01 20:00", "--runs", "10"}, exitGood, "maybe in the night:"},
		{[]string{"plan", "caraway-sticks", "--ready", "noon"}, exitUsage, "--ready"},
		{[]string{"plan", "caraway-sticks", "--ready", "yesterday 12:00"}, exitUsage, "passed"},
		{[]string{"plan", "caraway-sticks", "--ready", soon.Format("Monday 15:04"), "--runs", "10"}, exitGood, soon.Format("ready Monday 2 January 15:04")},
		{[]string{"plan", "caraway-sticks", "--ready", "1999-01-01 12:00"}, exitUsage, "passed"},
		{[]string{"plan", "caraway-sticks", "--ready", "2099-01-01 12:00", "--runs", "10"}, exitGood, "at the latest"},
		{[]string{"plan", "caraway-sticks", "--ready", "2099-01-01 12:00", "--runs", "2"}, exitUsage, "10 or more"},
		{[]string{"plan", "caraway-sticks", "--ready", time.Now().Add(time.Hour).Format(time.RFC3339), "--runs", "10"}, exitBad, "at the earliest"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--cased"}, exitGood, "PASS"},
		{[]string{"assess", "../../testdata/logs/slow-come-up.csv"}, exitBad, "come-up"},
		{[]string{"assess", "../../testdata/logs/bad-chilling.csv", "--nitrite-ppm", "0"}, exitBad, "cooling"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv"}, exitBad, "a moist surface"},
		{[]string{"assess", "../../testdata/logs/export.csv", "--cased", "--name", "Zeit=time", "--name", "Kern=core_celsius"}, exitCouldNo, "is a local time, and no zone is named"},
		{[]string{"assess", "../../testdata/logs/export.csv", "--cased", "--zone", "+02:00", "--name", "Zeit=time", "--name", "Kern=core_celsius"}, exitGood, "PASS"},
		{[]string{"assess", "../../testdata/logs/export.csv", "--zone", "Nowhere"}, exitUsage, "is no zone that is known here"},
		{[]string{"assess", "../../testdata/logs/export.csv", "--name", "Kern"}, exitUsage, "is not COLUMN=NAME"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--species", "dragon"}, exitUsage, "dragon"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--reference", "150°F"}, exitUsage, "all three"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--humidity", "moist"}, exitUsage, "moist"},
		{[]string{"assess", file(t, "log.csv", "hello\n1\n")}, exitCouldNo, "log.csv:1"},
		{[]string{"assess", "./no-such.csv"}, exitCouldNo, "no such file"},
		{[]string{"products"}, exitGood, "marjoram-ring"},
		{[]string{"products", "--json"}, exitGood, "marjoram-ring"},
		{[]string{"products", "--show", "marjoram-ring"}, exitGood, "stages:"},
		{[]string{"products", "--show", "marjoram-ring", "--json"}, exitUsage, "leave out --json"},
		{[]string{"products", "--show", "none-such"}, exitCouldNo, "none-such"},
		{[]string{"run", "--pace", "0"}, exitUsage, "--pace"},
		{[]string{"run", "--state", t.TempDir(), "--listen", "nowhere"}, exitCouldNo, "write --listen as ADDRESS:PORT, such as 127.0.0.1:8377"},
		{[]string{"run", "--state", t.TempDir(), "--listen", "127.0.0.1:99999"}, exitCouldNo, "write --listen as ADDRESS:PORT"},
		{[]string{"run", "--cabinet", "none-such"}, exitCouldNo, "none-such"},
		{[]string{"shelve", "core-lost", "--for", "a while"}, exitUsage, "--for a while: "},
		{[]string{"status", "--server", "127.0.0.1:8377"}, exitUsage, "write it as http://127.0.0.1:8377"},
		{[]string{"status", "--server", ""}, exitUsage, "write it as http://"},
		{[]string{"status", "--server", "ftp://127.0.0.1"}, exitUsage, "write it as http://"},
		{[]string{"status", "--server", "http://127.0.0.1:1"}, exitCouldNo, "is `fumarium run` running?"},
	}
	for _, c := range cases {
		t.Run(strings.Join(c.args, " "), func(t *testing.T) {
			status, out, err := call(t, c.args...)
			assert.Equal(t, c.status, status, "%s%s", out, err)
			assert.Contains(t, out+err, c.says)
			assert.NotContains(t, out+err, "panic")
		})
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "folder.yaml")
	require.NoError(t, os.Mkdir(folder, 0o700))
	status, out, errText := call(t, "check", folder)
	assert.Equal(t, exitCouldNo, status)
	assert.Empty(t, out, "nothing was good")
	assert.Equal(t, "fumarium: read "+folder+": is a directory\n", errText)
}

// What the log was judged as is said of a log that was judged.
func TestAssessSaysWhatItTookTheLogFor(t *testing.T) {
	const remark = "--species was not given"
	_, _, errText := call(t, "assess", "../../testdata/logs/good-cook.csv", "--cased")
	assert.Contains(t, errText, remark)
	_, _, errText = call(t, "assess", "../../testdata/logs/good-cook.csv", "--species", "red-meat")
	assert.NotContains(t, errText, remark)
	_, _, errText = call(t, "assess", "./no-such.csv")
	assert.NotContains(t, errText, remark)
}

func TestEndedByThePerson(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, args := range [][]string{{"rehearse"}, {"plan", "caraway-sticks", "--ready", "2099-01-01 12:00"}, {"run", "--state", t.TempDir(), "--listen", "127.0.0.1:0"}} {
		var out, errs bytes.Buffer
		assert.Equal(t, exitCouldNo, run(ctx, args, &out, &errs), args)
		assert.True(t, strings.HasSuffix(errs.String(), "fumarium: ended before it was done\n"), errs.String())
	}
}

func TestSheetJSON(t *testing.T) {
	status, out, _ := call(t, "sheet", file(t, "sticks.yaml", contractProduct(t)), "--json")
	require.Equal(t, exitGood, status)
	var s map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &s))
	for _, key := range []string{"meat_kg", "total_kg", "items", "nitrite", "erythorbate", "salt_percent", "fat_percent", "added_water_percent",
		"binder_percent", "composition", "findings"} {
		assert.Contains(t, s, key)
	}
	// 12.5 g × 6.25 % on 5 kg: 156.25 ppm, within the half ppm of slack.
	assert.InDelta(t, 156.25, s["nitrite"].(map[string]any)["ppm"], 1e-9)
}

func TestAssessJSON(t *testing.T) {
	status, out, errText := call(t, "assess", "../../testdata/logs/good-cook.csv", "--cased", "--json", "--reference", "150°F", "--z", "10°F", "--d", "0.172min")
	require.Equal(t, exitGood, status, errText)
	var v struct {
		Lethality []struct {
			Name      string   `json:"name"`
			Reference *float64 `json:"reference_celsius"`
			Pass      bool     `json:"pass"`
		} `json:"lethality"`
		ComeUp  map[string]any   `json:"come_up"`
		Cooling []map[string]any `json:"cooling"`
		Pass    bool             `json:"pass"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &v))
	assert.True(t, v.Pass)
	require.NotEmpty(t, v.Lethality)
	assert.NotEmpty(t, v.Cooling)
	assert.Contains(t, v.ComeUp, "limit_seconds")
	own := v.Lethality[len(v.Lethality)-1]
	require.NotNil(t, own.Reference)
	assert.InDelta(t, 65.5556, *own.Reference, 1e-3)
}

func TestShippedProductsPassTheirOwnCheck(t *testing.T) {
	for _, name := range catalog.Names() {
		_, text, _ := call(t, "products", "--show", name)
		status, out, err := call(t, "check", file(t, name+".yaml", text))
		assert.Equal(t, exitGood, status, "%s%s", out, err)
	}
}

func TestCheckTellsCabinetsFromProducts(t *testing.T) {
	status, out, _ := call(t, "check", "--json", file(t, "box.yaml", "cabinet: Box\nheater: {power: 1500}\n"))
	assert.Equal(t, exitBad, status)
	var list []struct {
		File, Message, Remedy, Severity, Code string
		Line, Column                          int
		Warning                               bool
	}
	require.NoError(t, json.Unmarshal([]byte(out), &list))
	require.NotEmpty(t, list)
	assert.Contains(t, out, "box.yaml")
	for _, f := range list {
		assert.Positive(t, f.Line)
		assert.Positive(t, f.Column)
		assert.NotEmpty(t, f.Remedy, f.Message)
		assert.Equal(t, "error", f.Severity)
		assert.False(t, f.Warning)
	}
}

// Without its lines a real cabinet must not come up at all: nobody would know what is
// on.
func TestRunRefusesARealCabinetWithoutItsLines(t *testing.T) {
	real := file(t, "real.yaml", `
cabinet: Real box
ambient: 15 °C
line chip: no-such-chip
probes: [{name: chamber, role: chamber, chip: MAX31856, bus: SPI0.0, type: K}]
heater: {pin: GPIO17, power: 1500 W}
limits: {chamber: 110 °C}
response: {gain: 150 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
`)
	status, _, err := call(t, "run", "--state", t.TempDir(), "--listen", "127.0.0.1:0", "--cabinet", real)
	assert.Equal(t, exitCouldNo, status)
	assert.Contains(t, err, "relay: heater")
	status, _, err = call(t, "run", "--state", t.TempDir(), "--listen", "127.0.0.1:0", "--cabinet", real, "--pace", "60")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, err, "--pace")
}
