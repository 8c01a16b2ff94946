package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile/catalog"
)

// call runs one command line as a user would and returns what it printed.
func call(t *testing.T, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
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

func TestExitStatuses(t *testing.T) {
	empty, good := file(t, "empty.yaml", ""), file(t, "good.yaml", contractProduct(t))
	never := strings.Replace(contractProduct(t), "until: {core: 4 °C}, within: 2 h", "place: room, until: {core: 1 °C}", 1)
	huge := file(t, "huge.yaml", strings.Repeat("# nothing but remarks\n", 500_000))
	cases := []struct {
		args   []string
		status int
		says   string // on either stream
	}{
		{[]string{"--help"}, exitGood, "rehearse"},
		{[]string{"nonsense"}, exitUsage, "unknown command"},
		{[]string{"resume"}, exitUsage, "\trestart\n"}, // its name in older versions
		{[]string{"rehearse", "--nonsense"}, exitUsage, "unknown flag"},
		{[]string{"rehearse", "a", "b"}, exitUsage, "at most 1"},
		{[]string{"rehearse", "--runs", "0"}, exitUsage, "--runs"},
		{[]string{"rehearse", "--load", "4"}, exitUsage, "unit"},
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
		{[]string{"check", "./no-such-file.yaml"}, exitCouldNo, "no such file"},
		{[]string{"sheet", "marjoram-ring", "--meat", "5kg"}, exitGood, "REST BEFORE THE CHAMBER"},
		{[]string{"sheet", "marjoram-ring", "--meat", "5"}, exitUsage, "unit"},
		{[]string{"sheet", "marjoram-ring", "--meat", "5 t"}, exitUsage, "--meat"},
		{[]string{"sheet", "marjoram-ring", "--meat", "900kg"}, exitUsage, "500 kg"},
		{[]string{"sheet", file(t, "pink.yaml", strings.Replace(contractProduct(t), "mass: 12.5 g, nitrite", "mass: 25 g, nitrite", 1))}, exitBad, "instead"},
		{[]string{"check", file(t, "pink.yaml", strings.Replace(contractProduct(t), "mass: 12.5 g, nitrite", "mass: 25 g, nitrite", 1))}, exitBad, "ppm"},
		{[]string{"plan", "caraway-sticks"}, exitUsage, "ready"},
		{[]string{"plan", "caraway-sticks", "--ready", "noon"}, exitUsage, "--ready"},
		{[]string{"plan", "caraway-sticks", "--ready", "1999-01-01 12:00"}, exitUsage, "passed"},
		{[]string{"plan", "caraway-sticks", "--ready", "2099-01-01 12:00", "--runs", "10"}, exitGood, "at the latest"},
		{[]string{"plan", "caraway-sticks", "--ready", "2099-01-01 12:00", "--runs", "2"}, exitUsage, "10 or more"},
		{[]string{"plan", "caraway-sticks", "--ready", time.Now().Add(time.Hour).Format(time.RFC3339), "--runs", "10"}, exitBad, "at the earliest"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--cased"}, exitGood, "PASS"},
		{[]string{"assess", "../../testdata/logs/slow-come-up.csv"}, exitBad, "come-up"},
		{[]string{"assess", "../../testdata/logs/bad-chilling.csv", "--nitrite-ppm", "0"}, exitBad, "cooling"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--species", "dragon"}, exitUsage, "dragon"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--reference", "150°F"}, exitUsage, "all three"},
		{[]string{"assess", "../../testdata/logs/good-cook.csv", "--humidity", "moist"}, exitUsage, "moist"},
		{[]string{"assess", file(t, "log.csv", "hello\n1\n")}, exitCouldNo, "log.csv:1"},
		{[]string{"assess", "./no-such.csv"}, exitCouldNo, "no such file"},
		{[]string{"products"}, exitGood, "marjoram-ring"},
		{[]string{"products", "--json"}, exitGood, "marjoram-ring"},
		{[]string{"products", "--show", "marjoram-ring"}, exitGood, "stages:"},
		{[]string{"products", "--show", "none-such"}, exitCouldNo, "none-such"},
		{[]string{"run", "--pace", "0"}, exitUsage, "--pace"},
		{[]string{"run", "--cabinet", "none-such"}, exitCouldNo, "none-such"},
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
	var list []finding
	require.NoError(t, json.Unmarshal([]byte(out), &list))
	require.NotEmpty(t, list)
	assert.Contains(t, out, "box.yaml")
	for _, f := range list {
		assert.Positive(t, f.Line)
		assert.Positive(t, f.Column)
		assert.NotEmpty(t, f.Remedy, f.Message)
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
