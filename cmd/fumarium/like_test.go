package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/report"
)

// One batch, another like it with one thing changed, and what came of it.
func TestABatchLikeAnother(t *testing.T) {
	t.Parallel()
	copies := t.TempDir()
	d := startBuilt(t, "--cabinet", "fridge-body", "--pace", "10000", "--copies", copies)
	do := func(want int, args ...string) string {
		t.Helper()
		code, out, said := d.client(args...)
		require.Equal(t, want, code, out+said)
		return out + said
	}
	do(exitGood, "start", "caraway-sticks", "--reason", "trial", "--taken", filled(t, "caraway-sticks", "4kg", nil))
	d.line("batch complete")
	do(exitGood, "rate", "smoke", "3")
	do(exitGood, "rate", "Smoke", "4", "--why", "even")
	assert.Contains(t, do(exitGood, "rate", "own spice", "2.5/5"), "own spice 2.5 of 5")
	for _, mark := range []string{"0", "6", "3.7", "good", "NaN"} {
		assert.Contains(t, do(exitBad, "rate", "smoke", mark), "is none of 1 to 5")
	}
	first := idsOf(t, d.state)[0]
	assert.Contains(t, do(exitUsage, "start", "caraway-sticks", "--like", first), "name a product, or with --like")
	assert.Contains(t, do(exitUsage, "start", "--like", first, "--change", "sage: 3 g"), "stands nowhere")
	assert.Contains(t, do(exitUsage, "start", "caraway-sticks", "--change", "salt: 1.7 %"), "goes with --like")
	do(exitBad, "start", "--like", first, "--change", "cure no. 1: 40 g", "--reason", "trial") // too much nitrite stays too much
	require.Eventually(t, func() bool {
		_, err := os.Stat(filepath.Join(copies, first+".db"))
		return err == nil
	}, 20*time.Second, 50*time.Millisecond)
	do(exitGood, "start", "--reason", "trial", "--like", first, "--change", "salt: 1.9 %")
	do(exitGood, "stop")
	d.line("batch stopped")
	do(exitGood, "rate", "smoke", "5")
	assert.Contains(t, do(exitBad, "decide", "taste", "x"), "nothing to decide of")
	do(exitGood, "decide", "Cooked", "thrown out; Ada")
	do(exitGood, "decide", "read", "Ada")
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))

	second := idsOf(t, d.state)[0]
	code, out, said := call(t, "compare", first, second, "--simulated", "--state", d.state)
	require.Equal(t, exitGood, code, out+said)
	for _, want := range []string{"made otherwise (A → B):\n  salt: 16.00 g to a kilogram of meat → 19.00 g to a kilogram of meat\n", "smoke: 4.0 → 5.0", "own spice: 2.5 → none"} {
		assert.Contains(t, out, want)
	}
	code, out, said = call(t, "compare", first, first, "--simulated", "--state", d.state, "--json")
	require.Equal(t, exitGood, code, out+said)
	var same report.Comparison
	require.NoError(t, json.Unmarshal([]byte(out), &same))
	assert.Empty(t, same.Products)
	for _, r := range same.Rows {
		assert.False(t, r.Differ, r.What)
	}
	folder := t.TempDir()
	code, out, said = call(t, "compare", first, second, "--simulated", "--state", d.state, "--into", folder)
	require.Equal(t, exitGood, code, out+said)
	_, page := theFile(t, folder, "*-and-*.html")
	for _, want := range []string{"core B", "Simulated: no real reading", "19.00 g to a kilogram"} {
		assert.Contains(t, page, want)
	}
	code, out, said = call(t, "batches", "--of", "caraway-sticks", "--simulated", "--state", d.state)
	require.Equal(t, exitGood, code, out+said)
	assert.Contains(t, out, "smoke 4.0, own spice 2.5")
	assert.Contains(t, out, first+": salt: 16.00 g")
	code, out, _ = call(t, "report", second, "--simulated", "--state", d.state, "--json")
	assert.Equal(t, exitBad, code)
	var told report.Report
	require.NoError(t, json.Unmarshal([]byte(out), &told))
	require.NotNil(t, told.Like)
	assert.Equal(t, first, told.Like.Batch)
	logged(t, d.state, first, second)
	restored(t, d.state, copies, first, second)
	assert.Equal(t, []report.Mark{{Trait: "smoke", Of5: 5, Who: "operator from 127.0.0.1"}}, told.Marks)
}

// idsOf are the batches of a state folder, the latest first.
func idsOf(t *testing.T, state string) (ids []string) {
	t.Helper()
	code, out, said := call(t, "batches", "--simulated", "--state", state, "--json")
	require.Equal(t, exitGood, code, said)
	var list []listedBatch
	require.NoError(t, json.Unmarshal([]byte(out), &list))
	for _, b := range list {
		ids = append(ids, b.ID)
	}
	return ids
}

// restored takes a record from an export, and from the copies that the daemon kept.
func restored(t *testing.T, state, copies, first, second string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "all.db")
	do := func(want int, args ...string) string {
		t.Helper()
		code, out, said := call(t, append(args, "--simulated")...)
		require.Equal(t, want, code, out+said)
		return out + said
	}
	assert.Contains(t, do(exitGood, "export", file, "--state", state), "2 batches in ")
	do(exitCouldNo, "export", file, "--state", state)
	listed := do(exitGood, "batches", "--state", state)
	assert.Equal(t, listed, do(exitGood, "batches", "--from", file))
	to := t.TempDir()
	assert.Contains(t, do(exitGood, "import", file, "--state", to), second+"  imported")
	assert.Equal(t, listed, do(exitGood, "batches", "--state", to))
	assert.Equal(t, do(exitGood, "compare", first, second, "--state", state), do(exitGood, "compare", first, second, "--state", to))
	assert.Contains(t, do(exitGood, "import", file, "--state", to), "was there")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file+".torn", data[:len(data)/2], 0o644))
	assert.Contains(t, do(exitCouldNo, "import", file+".torn", "--state", t.TempDir()), "nothing was imported")
	kept := filepath.Join(copies, first+".db") // some seconds after it was over
	require.FileExists(t, kept)
	assert.Contains(t, do(exitGood, "import", kept, "--state", t.TempDir()), first+"  imported")
}

// logged holds the log of both batches: one that was good, one that was stopped.
func logged(t *testing.T, state, first, second string) {
	t.Helper()
	folder := t.TempDir()
	code, out, said := call(t, "haccp", "--since", "2020-01-01", "--until", "2099-12-31", "--into", folder, "--simulated", "--state", state)
	require.Equal(t, exitBad, code, out+said)
	_, page := theFile(t, folder, "haccp-*.html")
	for _, want := range []string{first, second, "thrown out; Ada (operator", "read by Ada", "read by nobody yet", "record whole", "decides who is responsible"} {
		assert.True(t, strings.Contains(page, want), want)
	}
	_, text := theFile(t, folder, "haccp-*.csv")
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	for _, row := range rows[1:] {
		switch {
		case row[0] == first:
			assert.Empty(t, row[9], "%s deviated", row[3])
		case row[3] == "cooked":
			assert.Contains(t, row[9], "not met")
			assert.NotEmpty(t, row[10])
			assert.Contains(t, row[11], "thrown out")
		}
	}
	code, _, said = call(t, "haccp", "--since", "2026-11-01", "--until", "soon", "--simulated", "--state", state)
	assert.Equal(t, exitUsage, code, said)
}
