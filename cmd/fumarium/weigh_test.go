package main

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/report"
)

// filled writes the form of a product and fills it in: each line as the sheet has it and of
// its own lot, but for what is said otherwise.
func filled(t *testing.T, product, meat string, otherwise map[string]string) (file string) {
	t.Helper()
	file = filepath.Join(t.TempDir(), "form.csv")
	code, _, said := call(t, "sheet", product, "--meat", meat, "--form", file)
	require.Equal(t, exitGood, code, said)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	var out []string
	for i, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		what := strings.Split(line, ",")
		if i > 0 {
			what[2] = what[1]
			if other, ok := otherwise[what[0]]; ok {
				what[2] = other
			}
			if what[0] != "raw" && what[0] != "hung" {
				what[3] = "L-" + strings.ToUpper(what[0][:4])
			}
		}
		out = append(out, strings.Join(what, ","))
	}
	require.NoError(t, os.WriteFile(file, []byte(strings.Join(out, "\n")+"\n"), 0o644))
	return file
}

// A batch from the form to the report, with a cure that is found to be twice too much when
// it is over; and its lots followed both ways.
func TestABatchThatIsWeighed(t *testing.T) {
	t.Parallel()
	double := filled(t, "caraway-sticks", "4kg", map[string]string{"cure no. 1": "19.2 g"})
	code, out, said := call(t, "sheet", "caraway-sticks", "--taken", double)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, out, "DEVIATION CURE cure no. 1: 19.2 g weighed, and the sheet for 4 kg of meat has 9.6 g: 2.00 times as much", said)
	assert.Contains(t, out, "formula   not met")
	assert.Contains(t, out, "STOP: nobody eats of this")
	right := filled(t, "caraway-sticks", "4kg", map[string]string{"raw": "4.31 kg"})
	code, out, said = call(t, "sheet", "caraway-sticks", "--taken", right)
	assert.Equal(t, exitGood, code, out+said)
	assert.Contains(t, out, "formula   met")
	code, _, said = call(t, "sheet", "caraway-sticks", "--form", right)
	assert.Equal(t, exitUsage, code, "what was filled in is not written over")
	assert.Contains(t, said, "may be filled in")

	d := startBuilt(t, "--cabinet", "fridge-body", "--pace", "10000")
	code, _, said = d.client("weigh", "raw", "4kg")
	assert.Equal(t, exitBad, code, "there is no batch yet")
	assert.Contains(t, said, "name one with batch")
	code, out, said = d.client("start", "caraway-sticks", "--reason", "trial", "--taken", double)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, out+said, "not started. STOP")
	code, out, said = d.client("start", "caraway-sticks", "--reason", "trial", "--taken", right)
	require.Equal(t, exitGood, code, out+said)
	assert.Contains(t, out, "on record cure no. 1 9.6 g, sheet 9.6 g; lot L-CURE 9.6 g")
	d.line("batch complete")
	code, out, _ = d.client("status")
	assert.Equal(t, exitGood, code, out)
	assert.Contains(t, out, "with the cure as it was weighed")
	for _, w := range [][]string{{"hung", "4.25kg"}, {"cooked", "3.4kg"}, {"packed", "400g"}, {"packed", "410g"}} {
		code, out, said = d.client("weigh", w[0], w[1])
		require.Equal(t, exitGood, code, out+said)
	}
	assert.Contains(t, out, "/2 410 g; 2 packs, 810 g")
	code, out, said = d.client("lot", "beef shank", "l-pork")
	require.Equal(t, exitGood, code, out+said)
	code, _, said = d.client("weigh", "sage", "1g")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, said, "nothing that goes into Caraway barn sticks")

	folder := reportOf(t, exitGood, d.state)
	_, text := theFile(t, folder, "*.json")
	var told report.Report
	require.NoError(t, json.Unmarshal([]byte(text), &told))
	require.NotNil(t, told.Weighed)
	assert.InDelta(t, .81, *told.Weighed.PackedKg, 1e-9)
	assert.Empty(t, told.Weighed.Deviations)
	_, page := theFile(t, folder, "*.html")
	for _, want := range []string{"Weights and lots", "L-CURE", "cooked of hung", "80.0 %", "no lot on record"} {
		assert.Equal(t, want != "no lot on record", strings.Contains(page, want), want)
	}

	code, out, said = call(t, "trace", told.ID+"/2", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, code, out+said)
	for _, want := range []string{"L-CURE", "pack 2", "l-pork", "casing"} {
		assert.Contains(t, out, want)
	}
	code, out, said = call(t, "trace", "l-cure", "--simulated", "--state", d.state, "--json")
	require.Equal(t, exitGood, code, out+said)
	var found traced
	require.NoError(t, json.Unmarshal([]byte(out), &found))
	require.Len(t, found.Batches, 1)
	assert.Equal(t, told.ID, found.Batches[0].Batch)
	require.Len(t, found.Batches[0].Uses, 1)
	assert.Equal(t, "cure no. 1", found.Batches[0].Uses[0].What)
	for _, code := range []string{told.ID + "/3", "L-NONE", told.ID[:8]} {
		exit, _, _ := call(t, "trace", code, "--simulated", "--state", d.state)
		assert.Equal(t, exitBad, exit, code)
	}

	for _, w := range [][]string{{"use-by", "2026-12-20"}, {"packed-on", "2026-11-29"}, {"allergen", "black pepper: celery"}} {
		code, out, said = d.client("declare", w[0], w[1])
		require.Equal(t, exitGood, code, out+said)
	}
	code, _, said = d.client("declare", "use-by", "20 December")
	assert.Equal(t, exitBad, code)
	assert.Contains(t, said, "is no date")
	code, out, said = call(t, "label", told.ID, "--simulated", "--state", d.state)
	require.Equal(t, exitGood, code, out+said)
	for _, want := range []string{"SIMULATED: NO FOOD", "Use by: 2026-12-20", "Weight: 410 g", "black pepper [CELERY]", "left blank, since nobody said: storage, maker"} {
		assert.Contains(t, out, want)
	}
	square := readSquare(t, d.state, told.ID)
	code, out, said = call(t, "trace", square, "--simulated", "--state", d.state)
	assert.Equal(t, exitGood, code, out+said)
	assert.Contains(t, out, "nothing on record from before the label was changed since")
	code, out, _ = call(t, "trace", square[:len(square)-3]+"000", "--simulated", "--state", d.state)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, out, "never had the head of this label")

	code, out, said = d.client("weigh", "cure", "19.2g", "--lot", "L-CURE")
	assert.Equal(t, exitBad, code, "said loudly")
	assert.Contains(t, out, "2.00 times as much", said)
	assert.Contains(t, out, "STOP")
	require.Eventually(t, func() bool { // a step later
		code, out, _ = d.client("status")
		return code == exitBad
	}, 5*time.Second, 20*time.Millisecond)
	assert.Contains(t, out, "formula not met: CURE cure no. 1: 19.2 g weighed")
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))
	_, page = theFile(t, reportOf(t, exitBad, d.state), "*.html")
	assert.Contains(t, page, "Deviations from the make sheet")
	assert.Contains(t, page, "complete, not good: formula not met")
	code, out, _ = call(t, "label", told.ID, "--simulated", "--state", d.state)
	assert.Equal(t, exitBad, code)
	assert.Contains(t, out, "HOLD: DO NOT EAT, DO NOT SELL")
	assert.NotContains(t, out, "2026-12-20")
	code, out, _ = call(t, "batches", told.ID, "--simulated", "--state", d.state)
	assert.Equal(t, exitBad, code, out)
	assert.Contains(t, out, "verdict complete, not good: formula not met")
}

// readSquare prints the label of the first pack as Chromium shows it and lets ZBar, which
// knows nothing of this program, read its square. PAGES keeps the sheet.
func readSquare(t *testing.T, state, batch string) string {
	t.Helper()
	chromium, zbar := debian(t, "chromium", "chromium"), debian(t, "zbarimg", "zbar-tools")
	folder := t.TempDir()
	code, out, said := call(t, "label", batch, "--pack", "1", "--into", folder, "--simulated", "--state", state)
	require.Equal(t, exitGood, code, out+said)
	page, text := theFile(t, folder, "*-label.html")
	assert.NotRegexp(t, `(src|href)=|url\(|@import`, text, "it needs nothing else")
	shot := filepath.Join(folder, "label.png")
	if dir := os.Getenv("PAGES"); dir != "" {
		shot = filepath.Join(dir, "label.png")
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	look := exec.CommandContext(ctx, chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--force-device-scale-factor=2",
		"--user-data-dir="+t.TempDir(), "--window-size=800,600", "--screenshot="+shot, "file://"+page)
	if said, err := look.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	read, err := exec.CommandContext(ctx, zbar, "--quiet", "--raw", shot).Output()
	require.NoError(t, err)
	square := strings.TrimSpace(string(read))
	assert.Regexp(t, `^`+batch+`/1 sha256:[0-9a-f]{64}$`, square)
	return square
}
