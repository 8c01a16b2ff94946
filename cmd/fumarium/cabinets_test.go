package main

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// besideIt writes another cabinet of the board into a folder of its own.
func besideIt(t *testing.T, text string) besides {
	t.Helper()
	return besides{filepath.Dir(file(t, "right.yaml", text))}
}

// A fan on the heater of the one outside, with the other polarity: its off is on there.
const rivalCabinet = `cabinet: Rival
ambient: 15 °C
probes:
  - {name: chamber, role: chamber, chip: MAX31855, bus: SPI1.0, type: K}
  - {name: core, role: core, chip: MAX31855, bus: SPI1.1, type: K}
heater: {pin: GPIO26, power: 1500 W, window: 5 s, least on: 1 s, least off: 1 s}
fan: {pin: "17", polarity: active low, window: 2 min, least on: 20 s, least off: 20 s}
limits: {chamber: 115 °C}
response: {gain: 90 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
`

// What another cabinet of the board claims is refused before a line in dispute is opened.
// What is this cabinet's alone goes off, and what it held itself; what it never had is
// not touched, for nobody knows which level is off there.
func TestACabinetKeepsOffAnothersLines(t *testing.T) {
	o := newOutside(t, true, 30, 15)
	m := machine{lines: remote(o.socket), buses: remote(o.socket)}
	name, state := file(t, "left.yaml", outsideCabinet), t.TempDir()
	opens := func(near besides) error {
		opening, err := openNamed(runOptions{cabinet: name, state: state, beside: near}, false, m, nil, slog.New(slog.DiscardHandler))
		if err == nil {
			err = opening.world.Close()
		}
		return err
	}
	rival := besideIt(t, rivalCabinet)

	o.leftOn(t, "GPIO17", "GPIO22")
	err := opens(rival)
	require.Equal(t, exitCouldNo, status(err))
	for _, want := range []string{"left.yaml:6:1: claimed-twice: the heater is on GPIO17, which is 17 there: the fan of the cabinet in " + filepath.Join(rival[0], "right.yaml") + " has it",
		"give each cabinet of a board", "switched off and read back: fan on GPIO22, sounder on GPIO24; not touched: heater on GPIO17"} {
		assert.ErrorContains(t, err, want)
	}
	assert.Equal(t, []string{"GPIO17"}, o.stillOn(), "another's, as it was")
	err = runOff(name, state, rival, m.lines, noWait, false, io.Discard)
	assert.ErrorContains(t, err, "not touched, for this cabinet never had them: heater on GPIO17")
	assert.Equal(t, []string{"GPIO17"}, o.stillOn(), "nor by the stop helper")

	// It had the line before the other file was written: then it is off, whoever asks.
	require.NoError(t, opens(nil))
	for _, ends := range []func() error{func() error { return opens(rival) }, func() error { return runOff(name, state, rival, m.lines, noWait, false, io.Discard) }} {
		o.leftOn(t, "GPIO17", "GPIO22")
		err = ends()
		assert.Empty(t, o.stillOn())
	}
	require.NoError(t, err, "the stop helper did all that it should")

	// One that cannot be read holds nothing up, and is named; its own file is no other.
	opening, err := openNamed(runOptions{cabinet: name, state: state, beside: append(besideIt(t, "cabinet:"), filepath.Dir(name), name, "/nowhere")}, false, m, nil, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, opening.world.Close())
	require.Len(t, opening.told, 1)
	assert.Contains(t, opening.told[0], "right.yaml")
	assert.Contains(t, opening.told[0], "cannot be read")
	require.NoError(t, opens(besideIt(t, strings.NewReplacer(`"17"`, "GPIO6", "SPI1", "SPI2").Replace(rivalCabinet))))
}

func TestCheckHoldsCabinetsOfABoardTogether(t *testing.T) {
	left, right := file(t, "left.yaml", outsideCabinet), file(t, "right.yaml", rivalCabinet)
	_, alone, _ := call(t, "check", left)
	assert.NotContains(t, alone, "GPIO17 there")
	code, said, _ := call(t, "check", left, right)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, said, right+":7:1: claimed-twice: the fan is on 17, which is GPIO17 there: the heater of the cabinet in "+left+" has it")
	_, said, _ = call(t, "check", left, right, "--json")
	assert.Contains(t, said, `"claimed-twice"`)
}

// aRow is a folder as the units of several cabinets have it.
func aRow(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	return dir
}

// Two daemons on one board, each with its own file, address and state: one list and one
// page have both, and the one that is gone is missed and not passed over.
func TestTheCabinetsOfABoardOnOnePage(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "controller", "cabinet", "shipped", "plywood-cabinet.yaml"))
	require.NoError(t, err)
	named := func(name string) string {
		return strings.Replace(string(text), "cabinet: ", "cabinet: "+name+" ", 1)
	}
	ports := map[string]string{"left": freeLocalPort(t), "right": freeLocalPort(t)}
	dir := aRow(t, map[string]string{"left.yaml": named("Left"), "right.yaml": named("Right"),
		"left.env": "# its page\nLISTEN=127.0.0.1:" + ports["left"] + "\n", "right.env": `LISTEN=":` + ports["right"] + "\"\n"})
	run := map[string]*daemon{}
	for name, port := range ports {
		run[name] = startDaemon(t, "--cabinet", filepath.Join(dir, name+".yaml"), "--beside", dir, "--listen", "127.0.0.1:"+port)
	}
	code, said, _ := run["left"].client("start", "marjoram-ring", "--stuffed", "14h")
	require.Equal(t, exitGood, code, said)
	var row struct{ Cabinets []rowed }
	require.Eventually(t, func() bool {
		code, said, _ = call(t, "cabinets", "--folder", dir, "--json")
		require.NoError(t, json.Unmarshal([]byte(said), &row), said)
		return code == exitGood && row.Cabinets[0].State == "running"
	}, time.Minute, 100*time.Millisecond, "%s", said)
	require.Len(t, row.Cabinets, 2)
	assert.Equal(t, []string{"left", "right"}, []string{row.Cabinets[0].Name, row.Cabinets[1].Name})
	assert.Equal(t, "idle", row.Cabinets[1].State)
	assert.True(t, row.Cabinets[0].Answers && row.Cabinets[1].Answers)

	page := httptest.NewServer(rowHandler(dir, []string{"smokehouse.example"}))
	defer page.Close()
	read := func(host string) (int, string) {
		r, err := http.NewRequestWithContext(context.Background(), http.MethodGet, page.URL, nil)
		require.NoError(t, err)
		r.Host = host
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return resp.StatusCode, string(body)
	}
	code, html := read("smokehouse.example:8370")
	assert.Equal(t, http.StatusOK, code)
	assert.Contains(t, html, `<a href="http://127.0.0.1:`+ports["left"]+`/">Left`)
	assert.Contains(t, html, `<a href="http://smokehouse.example:`+ports["right"]+`/">Right`, "at the name that the reader uses")
	assert.Contains(t, html, "running: ")
	assert.NotContains(t, html, "Nothing is known")
	code, _ = read("elsewhere.example")
	assert.Equal(t, http.StatusMisdirectedRequest, code)

	run["right"].end(os.Interrupt)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "third.yaml"), []byte(named("Third")), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "third.env"), []byte("LISTEN=127.0.0.1:"+ports["left"]), 0o600))
	code, said, _ = call(t, "cabinets", "--folder", dir)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, said, "no answer: ")
	assert.Contains(t, said, "systemctl status fumarium@right")
	assert.Contains(t, said, "left has the address 127.0.0.1:"+ports["left"]+" already", "it must not be shown as another")
	require.NoError(t, os.Remove(filepath.Join(dir, "left.env")))
	code, said, _ = call(t, "cabinets", "--folder", dir)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, said, "what answers at 127.0.0.1:"+ports["left"]+" is the cabinet Left")
	assert.Contains(t, said, "write the address of its page there, such as LISTEN=")
	code, _, _ = call(t, "cabinets", "--folder", t.TempDir())
	assert.Equal(t, exitCouldNo, code)
	_, _, errs := call(t, "run", "--listen", "", "--state", t.TempDir())
	assert.Contains(t, errs, "LISTEN=", "no address is not any address")
}
