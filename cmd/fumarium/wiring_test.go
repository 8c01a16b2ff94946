package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"fumarium/cmd/fumarium/internal/opened"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/relay"
	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

// wired is a real cabinet with one probe and five relays.
const wired = `cabinet: Wired box
ambient: 15 °C
probes: [{name: chamber, role: chamber, chip: MAX31856, bus: SPI0.0}]
heater: {pin: GPIO17, power: 1500 W, series: {pin: GPIO27}, feedback: {pin: GPIO26}}
fan: {pin: GPIO22}
smoke: {pin: GPIO23}
sounder: {pin: GPIO24}
limits: {chamber: 115 °C}
response: {gain: 120 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
`

// board is a machine with one chip on SPI and lines to relays, and the person who
// types at it.
type board struct {
	hot     []quantity.Celsius // one for each place that the person was asked to put the probe
	said    *bytes.Buffer
	now     time.Duration
	chip    *chips.MAX31856
	room    *chips.BME280
	level   map[string]bool
	log     []string
	refuse  string // a pin that someone else holds
	stuck   string // a pin that stays on
	missing bool   // no SPI
	swapped bool   // the element hangs on the fan's relay
}

func newBoard(hot ...quantity.Celsius) *board {
	b := &board{hot: hot, level: map[string]bool{}, said: &bytes.Buffer{}}
	b.chip = chips.NewMAX31856(chips.World{
		Hot: func() quantity.Celsius {
			asked := strings.Count(b.said.String(), "press Enter")
			return b.hot[min(max(asked-1, 0), len(b.hot)-1)]
		},
		Cold: func() quantity.Celsius { return 25 },
		Now:  func() time.Duration { return b.now },
	}, thermocouple.K)
	return b
}

func (b *board) SPI(int, int) (spi.Port, error) {
	if b.missing {
		return nil, errors.New("no SPI here; enable it")
	}
	return b.chip.Port(), nil
}
func (b *board) I2C(int) (i2c.Bus, error) {
	if b.room == nil {
		return nil, errors.New("no I2C here")
	}
	return chips.I2C{b.room}, nil
}

func (b *board) OneWire(int) (wiring.Wire, error) { return nil, errors.New("no 1-Wire here") }

type boardLine struct {
	b   *board
	pin string
	in  bool
}

func (b *board) Output(o relay.Opts) (relay.Line, error) {
	if o.Pin == b.refuse {
		return nil, errors.New("held by another; end it")
	}
	return boardLine{b, o.Pin, false}, nil
}
func (b *board) Input(o relay.Opts) (relay.Line, error) { return boardLine{b, o.Pin, true}, nil }

func (l boardLine) Set(on bool) error {
	if l.b.level[l.pin] != on {
		l.b.log = append(l.b.log, map[bool]string{true: "+", false: "-"}[on]+l.pin)
	}
	l.b.level[l.pin] = on
	return nil
}
func (l boardLine) Read() (bool, error) {
	if l.in && l.b.swapped {
		return l.b.level["GPIO22"], nil
	}
	if l.in {
		return l.b.level["GPIO17"] && l.b.level["GPIO27"], nil
	}
	return l.b.level[l.pin] || l.pin == l.b.stuck, nil
}
func (l boardLine) Close() error {
	if l.in {
		return nil
	}
	return l.Set(false)
}

func (b *board) bench(out *bytes.Buffer, lines ...string) *bench {
	b.said = out
	typed := ""
	for _, line := range lines {
		typed += line + "\n"
	}
	return &bench{
		in: strings.NewReader(typed), out: out, terminal: true, lines: b, buses: b,
		survey: wiring.Survey{Buses: b, Nodes: func(string) []string { return nil },
			Lines: func() ([]relay.Chip, error) {
				return []relay.Chip{{Path: "/dev/gpiochip0", Label: "pinctrl-bcm2711", Lines: 58}}, nil
			}},
		wait:    func(ctx context.Context, d time.Duration) error { b.now += d; return ctx.Err() },
		elapsed: func() time.Duration { return b.now },
	}
}

func status(err error) int {
	var f *failure
	if errors.As(err, &f) {
		return f.status
	}
	return exitGood
}

func TestOff(t *testing.T) {
	name := file(t, "box.yaml", wired)
	var out bytes.Buffer
	b := newBoard(20)
	b.level["GPIO17"], b.level["GPIO23"] = true, true // as a crash may leave them
	require.NoError(t, runOff(name, t.TempDir(), nil, b, func(time.Duration) {}, false, &out))
	assert.Equal(t, "off, read back from the pins: sounder, fan, smoke, heater\n", out.String())
	assert.False(t, b.level["GPIO17"] || b.level["GPIO23"])

	out.Reset()
	require.NoError(t, runOff(name, t.TempDir(), nil, b, func(time.Duration) {}, true, &out))
	assert.JSONEq(t, `{"off": true, "simulated": false, "outputs": ["sounder", "fan", "smoke", "heater"]}`, out.String())

	b = newBoard(20)
	b.level["GPIO23"], b.refuse = true, "GPIO17"
	err := runOff(name, t.TempDir(), nil, b, func(time.Duration) {}, false, &out)
	assert.Equal(t, exitCouldNo, status(err))
	assert.EqualError(t, err, "not everything could be switched off:\nrelay: heater: held by another; end it\nwhen in doubt, cut the mains")
	assert.False(t, b.level["GPIO23"], "the others are off all the same")

	b = newBoard(20)
	b.stuck = "GPIO17"
	err = runOff(name, t.TempDir(), nil, b, func(time.Duration) {}, false, &out)
	assert.Equal(t, exitCouldNo, status(err))
	assert.ErrorContains(t, err, "its pin reads on")

	// On a machine without GPIO it could not, and says so.
	code, _, stderr := call(t, "off", "--cabinet", file(t, "box.yaml", strings.Replace(wired, "cabinet: Wired box", "cabinet: Wired box\nline chip: no such chip", 1)))
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, stderr, "cut the mains")
	code, _, _ = call(t, "off")
	assert.Equal(t, exitUsage, code)
	code, stdout, _ := call(t, "off", "--cabinet", defaultCabinet)
	assert.Equal(t, exitGood, code)
	assert.Contains(t, stdout, "only in rehearsal")
}

func TestWiringFind(t *testing.T) {
	name := file(t, "box.yaml", wired)
	var out bytes.Buffer
	require.NoError(t, newBoard(70).bench(&out).find(findOptions{cabinet: name}))
	assert.Equal(t, "ok  SPI0.0          \nok  /dev/gpiochip0  GPIO chip pinctrl-bcm2711 with 58 lines\n", out.String())

	out.Reset()
	require.NoError(t, newBoard(70).bench(&out).find(findOptions{cabinet: name, asJSON: true}))
	var got struct{ Machine []wiring.Find }
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	assert.Len(t, got.Machine, 2)

	// What is missing counts for the exit status in every form.
	out.Reset()
	b := newBoard(70)
	b.missing = true
	assert.Equal(t, exitBad, status(b.bench(&out).find(findOptions{cabinet: name})))
	assert.Contains(t, out.String(), "MISSING  SPI0.0          no SPI here; enable it")
	assert.Empty(t, b.log, "looking switches nothing")
	bare := newBoard(70).bench(&out)
	require.NoError(t, bare.find(findOptions{}))
	bare.survey.Lines = func() ([]relay.Chip, error) { return nil, nil }
	for _, asJSON := range []bool{false, true} {
		out.Reset()
		assert.Equal(t, exitBad, status(bare.find(findOptions{asJSON: asJSON})))
		assert.Contains(t, out.String(), "no GPIO chip")
	}
}

func TestWiringRead(t *testing.T) {
	name := file(t, "box.yaml", wired)
	var out bytes.Buffer
	once := readOptions{cabinet: name, once: true}
	require.NoError(t, newBoard(70).bench(&out).read(context.Background(), once))
	assert.Equal(t, `probe    role     chip             reads     raw       board     
chamber  chamber  MAX31856 SPI0.0  70.00 °C  70.00 °C  25.00 °C  
`, out.String())

	out.Reset()
	require.NoError(t, newBoard(70).bench(&out).read(context.Background(), readOptions{cabinet: name, once: true, asJSON: true}))
	var got struct{ Probes []probeReading }
	require.NoError(t, json.Unmarshal(out.Bytes(), &got))
	require.NotNil(t, got.Probes[0].Celsius)
	assert.InDelta(t, 70, *got.Probes[0].Celsius, 0.01)

	out.Reset()
	b := newBoard(70)
	b.chip.Break(chips.AllZeros)
	assert.Equal(t, exitBad, status(b.bench(&out).read(context.Background(), once)))
	assert.Contains(t, out.String(), "bus error  –    –      max31856: the chip does not take its settings; check the wiring")
	assert.Empty(t, b.log, "reading switches nothing")

	// Live readings go on until they are ended, and the last table counts.
	out.Reset()
	ctx, cancel := context.WithCancel(context.Background())
	b = newBoard(70)
	live := b.bench(&out)
	tables := 0
	live.wait = func(ctx context.Context, d time.Duration) error {
		b.now += d
		if tables++; tables == mostSettling {
			cancel()
		}
		return ctx.Err()
	}
	require.NoError(t, live.read(ctx, readOptions{cabinet: name, asJSON: true}))
	assert.Equal(t, mostSettling, strings.Count(out.String(), "\n"))
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	b = newBoard(70)
	b.missing = true
	assert.Equal(t, exitBad, status(b.bench(&out).read(ended, readOptions{cabinet: name})))
	assert.Equal(t, exitUsage, status(b.bench(&out).read(ended, readOptions{})))
}

// The flags of before name the command that does now what they did.
func TestWiringNamesTheCommandOfAnOldFlag(t *testing.T) {
	for _, c := range []struct{ args, says string }{
		{"--cabinet box.yaml", `fumarium wiring find --cabinet "box.yaml"`},
		{"--cabinet box.yaml --once", `fumarium wiring read --cabinet "box.yaml" --once`},
		{"--json", "fumarium wiring find --json"},
		{"--cabinet box.yaml --click", `fumarium wiring click --cabinet "box.yaml"`},
		{"--self-test --cabinet box.yaml --state /tmp", `fumarium wiring self-test --cabinet "box.yaml"`},
		{"--click", "fumarium wiring click --cabinet FILE"},
	} {
		code, _, stderr := call(t, append([]string{"wiring"}, strings.Fields(c.args)...)...)
		assert.Equal(t, exitUsage, code, c.args)
		assert.Contains(t, stderr, c.says, c.args)
	}
	code, stdout, _ := call(t, "wiring")
	assert.Equal(t, exitGood, code)
	for _, name := range []string{"find", "read", "click", "self-test", "calibrate"} {
		assert.Contains(t, stdout, "\n  "+name+" ")
	}
	assert.NotContains(t, stdout, "--once")
}

func TestWiringSimulated(t *testing.T) {
	code, stdout, stderr := call(t, "wiring", "read", "--cabinet", defaultCabinet, "--once")
	assert.Equal(t, exitGood, code, stderr)
	assert.Contains(t, stdout, "core 1")
	assert.Contains(t, stdout, "°C")
	code, stdout, stderr = call(t, "wiring", "find", "--cabinet", defaultCabinet)
	assert.Equal(t, exitGood, code, stderr)
	assert.Contains(t, stdout, "exists only in rehearsal")
}

func TestClick(t *testing.T) {
	name, dir := file(t, "box.yaml", wired), t.TempDir()
	var out bytes.Buffer
	b := newBoard(20)
	require.NoError(t, b.bench(&out, "sounder", "no", "", "heat").click(context.Background(), clickOptions{cabinet: name, state: dir}))
	assert.Equal(t, "+GPIO24 -GPIO24 +GPIO27 +GPIO17 -GPIO17 -GPIO27", strings.Join(b.log, " "))
	assert.Contains(t, out.String(), "THE HEATER IS NEXT")
	assert.Contains(t, out.String(), "the feedback said on meanwhile and says off now")
	assert.Contains(t, out.String(), "fan left out\n")

	// Only what is named is asked about.
	b = newBoard(20)
	require.NoError(t, b.bench(&out, "fan").click(context.Background(), clickOptions{cabinet: name, state: dir, outputs: []string{"fan"}}))
	assert.Equal(t, "+GPIO22 -GPIO22", strings.Join(b.log, " "))

	// Its name alone does not switch the heater.
	b = newBoard(20)
	require.NoError(t, b.bench(&out, "", "", "", "heater").click(context.Background(), clickOptions{cabinet: name, state: dir}))
	assert.Empty(t, b.log)

	// Nobody answers any more: nothing is switched from then on.
	b = newBoard(20)
	require.NoError(t, b.bench(&out, "sounder").click(context.Background(), clickOptions{cabinet: name, state: dir}))
	assert.Equal(t, "+GPIO24 -GPIO24", strings.Join(b.log, " "))

	// Never without a terminal, a cabinet or relays.
	b = newBoard(20)
	machine := b.bench(&out, "sounder")
	machine.terminal = false
	assert.Equal(t, exitUsage, status(machine.click(context.Background(), clickOptions{cabinet: name, state: dir})))
	assert.Equal(t, exitUsage, status(b.bench(&out).click(context.Background(), clickOptions{})))
	assert.Equal(t, exitUsage, status(b.bench(&out).click(context.Background(), clickOptions{cabinet: name, state: dir, outputs: []string{"humidifier"}})), "it has none")
	assert.Equal(t, exitCouldNo, status(b.bench(&out).click(context.Background(), clickOptions{cabinet: defaultCabinet, state: dir})))
	code, _, stderr := call(t, "wiring", "click", "--cabinet", name)
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "no relay was touched")
	assert.Empty(t, b.log)

	// Ctrl-C in the middle of a click.
	b = newBoard(20)
	ctx, cancel := context.WithCancel(context.Background())
	ended := b.bench(&out, "sounder", "fan", "smoke", "heat")
	ended.wait = func(context.Context, time.Duration) error { cancel(); return ctx.Err() }
	require.NoError(t, ended.click(ctx, clickOptions{cabinet: name, state: dir}))
	assert.Equal(t, "+GPIO24 -GPIO24", strings.Join(b.log, " ")[:15])
	for pin, on := range b.level {
		assert.False(t, on, pin)
	}
}

// A fan's relay that gives the element voltage is found at once, and everything off.
func TestClickFindsSwappedRelays(t *testing.T) {
	var out bytes.Buffer
	b := newBoard(20)
	b.swapped = true
	err := b.bench(&out, "sounder", "fan", "smoke", "heat").click(context.Background(), clickOptions{cabinet: file(t, "box.yaml", wired), state: t.TempDir()})
	assert.Equal(t, exitCouldNo, status(err))
	assert.ErrorContains(t, err, "the element got voltage with the relay of the fan")
	assert.Equal(t, "+GPIO24 -GPIO24 +GPIO22 -GPIO22", strings.Join(b.log, " "), "nothing is tried after that")
}

// What is clicked is on disk as the last opening before anything is on, and what that
// was is off before it is forgotten; without it on disk nothing is clicked.
func TestClickKeepsWhatItOpens(t *testing.T) {
	name, dir := file(t, "box.yaml", wired), t.TempDir()
	require.NoError(t, opened.Write(dir, opened.Opening{Cabinet: name, Pins: []relay.Pin{{Output: "smoke", Pin: "GPIO5"}, {Output: "heater", Pin: "17"}}}))
	var out bytes.Buffer
	b := newBoard(20)
	b.level["GPIO5"], b.level["GPIO17"] = true, true
	killed := b.bench(&out, "sounder", "heat")
	killed.wait = func(context.Context, time.Duration) error {
		is, err := opened.Read(dir)
		require.NoError(t, err)
		require.Len(t, is.Pins, 5)
		assert.Equal(t, relay.Pin{Output: "heater", Pin: "GPIO17"}, is.Pins[0])
		assert.True(t, b.level["GPIO24"])
		return nil
	}
	require.NoError(t, killed.click(context.Background(), clickOptions{cabinet: name, state: dir, outputs: []string{"sounder"}}))
	assert.Equal(t, "-GPIO17 -GPIO5 +GPIO24 -GPIO24", strings.Join(b.log, " "))
	assert.Contains(t, out.String(), "no longer names what the last opening held; switched off and read back: smoke on GPIO5\n")

	b = newBoard(20)
	b.level["GPIO17"] = true
	nowhere := filepath.Join(name, "state")
	err := b.bench(&out, "sounder").click(context.Background(), clickOptions{cabinet: name, state: nowhere})
	assert.Equal(t, exitCouldNo, status(err))
	assert.ErrorContains(t, err, "must be on disk before anything can heat")
	assert.Equal(t, "-GPIO17", strings.Join(b.log, " "), "off for all that, and nothing clicked")
}

// The report of a self-test holds what was found, read and clicked, and what was not.
func TestSelfTest(t *testing.T) {
	name, dir := file(t, "box.yaml", wired), t.TempDir()
	run := func(b *board, typed ...string) (string, error) {
		var out bytes.Buffer
		err := b.bench(&out, typed...).selfTest(context.Background(), selfTestOptions{cabinet: name, state: dir})
		return out.String(), err
	}
	out, err := run(newBoard(21), "sounder", "fan", "smoke", "heat")
	require.NoError(t, err)
	assert.Contains(t, out, "self-test passed")
	out, err = run(newBoard(21), "sounder", "", "smoke", "heater")
	assert.Equal(t, exitBad, status(err))
	assert.Contains(t, out, "not tested  fan\nnot tested  heater\n")
	assert.NotContains(t, out, "passed")
	broken := newBoard(21)
	broken.chip.Break(chips.OpenWire)
	out, err = run(broken, "sounder", "fan", "smoke", "heat")
	assert.Equal(t, exitBad, status(err))
	assert.Contains(t, out, `WRONG  probe "chamber": open circuit: max31856: open circuit`)
	stuck := newBoard(21)
	stuck.stuck = "GPIO22"
	_, err = run(stuck, "sounder", "fan", "smoke", "heat")
	assert.Equal(t, exitCouldNo, status(err))
	assert.ErrorContains(t, err, "its pin reads on")
	gone := newBoard(21)
	gone.missing = true
	out, err = run(gone)
	assert.Equal(t, exitBad, status(err))
	assert.Contains(t, out, "WRONG  SPI0.0: no SPI here; enable it")
	assert.Empty(t, gone.log, "nobody answered, nothing was clicked")

	data, err := os.ReadFile(filepath.Join(dir, selfTestFile))
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")
	require.Len(t, lines, 5, "every test is kept, the failed ones too")
	is, err := opened.Read(dir)
	require.NoError(t, err)
	assert.Equal(t, name, is.Cabinet, "and what it opened")
	var reports [5]selfTestReport
	for i, line := range lines {
		require.NoError(t, json.Unmarshal([]byte(line), &reports[i]))
		assert.Equal(t, i == 0, reports[i].Pass)
		assert.Equal(t, "Wired box", reports[i].Cabinet)
	}
	good := reports[0]
	assert.Equal(t, []clickedRelay{
		{Name: "sounder", Result: "clicked", ElementOn: "off", ElementOff: "off"}, {Name: "fan", Result: "clicked", ElementOn: "off", ElementOff: "off"},
		{Name: "smoke", Result: "clicked", ElementOn: "off", ElementOff: "off"}, {Name: "heater", Result: "clicked", ElementOn: "on", ElementOff: "off"},
	}, good.Relays)
	require.Len(t, good.Probes, 1)
	assert.InDelta(t, 21, *good.Probes[0].Celsius, 0.01)
	assert.InDelta(t, 25, *good.Probes[0].Board, 0.01)
	assert.Equal(t, []string{"fan", "heater"}, reports[1].LeftOut)

	// Never without a terminal, a cabinet or relays.
	b := newBoard(20)
	var buffer bytes.Buffer
	machine := b.bench(&buffer)
	machine.terminal = false
	for want, err := range map[int]error{
		exitUsage:   errors.Join(machine.selfTest(context.Background(), selfTestOptions{cabinet: name})),
		exitCouldNo: errors.Join(b.bench(&buffer).selfTest(context.Background(), selfTestOptions{cabinet: defaultCabinet})),
	} {
		assert.Equal(t, want, status(err))
	}
	assert.Equal(t, exitUsage, status(b.bench(&buffer).selfTest(context.Background(), selfTestOptions{})))
	assert.Empty(t, b.log)
}

func TestCalibrate(t *testing.T) {
	name, dir := file(t, "box.yaml", wired), t.TempDir()
	run := func(b *board, o calibrateOptions) (string, error) {
		var out bytes.Buffer
		o.cabinet, o.state = name, dir
		if o.probe == "" {
			o.probe = "chamber"
		}
		err := b.bench(&out, "", "").calibrate(context.Background(), o)
		return out.String(), err
	}
	// It reads 0.5 K high in ice and 0.5 K low in boiling water at sea level. By
	// hand: stretch 99.97/(99.47-0.5)-1 = 1.0 %, offset -0.5*1.010 = -0.51 K. Water
	// boils at 99.97 °C under 1013.25 hPa on the scale of 1990 (recalled from memory).
	out, err := run(newBoard(0.5, 99.47), calibrateOptions{pressureHectopascal: 1013.25, barometer: true})
	require.NoError(t, err)
	assert.Contains(t, out, "boiling water, which is at 99.9")
	assert.Contains(t, out, "    offset: -0.51 K\n    stretch: 1.0")
	// With a barometer only the baths are left, and what the readings moved by.
	assert.Regexp(t, `\n    error: 0\.[34] K\n    calibrated: 20[0-9-]{8}\n`, out)
	// A chip in the room measures it: 970 hPa, under which water boils at 98.75 °C (IAPWS
	// saturation, recalled from memory), whatever the file's altitude.
	name = file(t, "barometer.yaml", strings.Replace(wired, "probes: [", "probes: [{name: room, role: ambient, chip: BME280, bus: I2C1}, ", 1)+"altitude: 1500 m\n")
	b := newBoard(0, 98.8)
	b.room = chips.NewBME280(chips.World{Hot: func() quantity.Celsius { return 20 }, Now: func() time.Duration { return b.now }}, 0x76)
	b.room.Pascal = 97_000
	out, err = run(b, calibrateOptions{})
	require.NoError(t, err)
	assert.Contains(t, out, "measures 970.0 hPa")
	assert.Contains(t, out, "boiling water, which is at 98.7")
	assert.Regexp(t, `\n    error: 0\.[34] K\n`, out)
	// Without a pressure it is that of the file's altitude: at 1500 m water boils at
	// 94.98 °C (standard atmosphere, 84 556 Pa; IAPWS saturation, recalled from memory).
	name = file(t, "hill.yaml", wired+"altitude: 1500 m\n")
	out, err = run(newBoard(0, 95), calibrateOptions{})
	require.NoError(t, err)
	assert.Contains(t, out, "boiling water, which is at 94.9")
	// 3 % of 845.6 hPa are 25 hPa, and at 95 °C the boiling point moves by 0.032 K for each
	// (IAPWS saturation, recalled from memory): 0.8 K, and 0.3 K of the baths.
	assert.Regexp(t, `\n    error: 1\.[12] K\n`, out)
	assert.Contains(t, out, "the weather")
	name = file(t, "box.yaml", wired)
	_, err = run(newBoard(0, 95), calibrateOptions{})
	assert.Equal(t, exitUsage, status(err))
	assert.ErrorContains(t, err, "does not say how high it stands")
	out, err = run(newBoard(-0.4), calibrateOptions{iceOnly: true})
	require.NoError(t, err)
	assert.Contains(t, out, "    offset: 0.4")
	assert.NotContains(t, out, "stretch")
	assert.NotContains(t, out, "error: ", "one point says nothing of the meat's temperature")

	data, err := os.ReadFile(filepath.Join(dir, calibrationFile))
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(data)), "\n")
	require.Len(t, lines, 4, "the record grows")
	var r calibrationRecord
	require.NoError(t, json.Unmarshal([]byte(lines[0]), &r))
	assert.InDelta(t, 99.47, *r.BoilingCelsius, 0.01)
	assert.Equal(t, "Wired box", r.Cabinet)

	for want, c := range map[string]struct {
		b *board
		o calibrateOptions
	}{
		"in melting ice":                  {newBoard(9), calibrateOptions{pressureHectopascal: 1013.25}},
		"in water that boils at":          {newBoard(0, 80), calibrateOptions{pressureHectopascal: 1013.25}},
		"more than a cabinet file takes":  {newBoard(6), calibrateOptions{iceOnly: true}},
		`has no probe "core"; it has cha`: {newBoard(0), calibrateOptions{iceOnly: true, probe: "core"}},
		"only 0 of 32 readings were good": {func() *board { b := newBoard(0); b.chip.Break(chips.OpenWire); b.chip.Break(chips.AllOnes); return b }(), calibrateOptions{iceOnly: true}},
	} {
		_, err := run(c.b, c.o)
		assert.ErrorContains(t, err, want)
	}
	drifting := newBoard(0)
	var buffer bytes.Buffer
	machine := drifting.bench(&buffer, "")
	machine.wait = func(ctx context.Context, d time.Duration) error {
		drifting.now += d
		drifting.hot[0] += 0.1
		return nil
	}
	err = machine.calibrate(context.Background(), calibrateOptions{cabinet: name, state: dir, probe: "chamber", iceOnly: true})
	assert.ErrorContains(t, err, "wait until it stands still")

	code, _, _ := call(t, "wiring", "calibrate", "--cabinet", name, "--probe", "chamber")
	assert.Equal(t, exitUsage, code)
	code, _, _ = call(t, "wiring", "calibrate", "--cabinet", name, "--probe", "chamber", "--altitude", "9000")
	assert.Equal(t, exitUsage, code)
}

// check says what is unwise about a cabinet, at its line.
func TestCheckLintsCabinets(t *testing.T) {
	code, stdout, _ := call(t, "check", file(t, "box.yaml", strings.Replace(wired, "GPIO17, power", "GPIO17, polarity: active low, power", 1)))
	assert.Equal(t, exitBad, code)
	assert.Contains(t, stdout, "box.yaml:4:1: active-low: the heater is active low")
	assert.Contains(t, stdout, "  4 | heater: {pin: GPIO17")
	assert.Contains(t, stdout, "1 error, 5 pieces of advice in 1 file")
}
