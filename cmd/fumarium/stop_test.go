package main

import (
	"bytes"
	"io"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// At a terminal stop asks, and only a yes stops; with --yes, without a terminal, and of
// hold and abort nothing is asked.
func TestStopAsksFirst(t *testing.T) {
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "10")
	code, _, said := d.client("start", "caraway-sticks", "--stuffed", "13h")
	require.Equal(t, exitGood, code, said)

	there := atTerminal
	t.Cleanup(func() { atTerminal = there })
	atTerminal = func(io.Reader, io.Writer) bool { return true }
	ask := func(name, answer string, flags ...string) (error, string) {
		root := command()
		var out bytes.Buffer
		root.SetIn(strings.NewReader(answer))
		root.SetOut(&out)
		root.SetErr(io.Discard)
		root.SetArgs(append([]string{name, "--server", d.url, "--state", d.state}, flags...))
		return root.ExecuteContext(t.Context()), out.String()
	}
	for _, answer := range []string{"", "\n", "y\n", "no\n", "yes, but\n"} {
		err, out := ask("stop", answer)
		require.Error(t, err, "%q", answer)
		assert.Contains(t, err.Error(), "not stopped")
		assert.Contains(t, out, "Stop the batch of Caraway barn sticks in its stage ")
		assert.Contains(t, out, "It cannot be taken up again.")
		assert.Equal(t, "running", d.status().State)
	}
	err, out := ask("hold", "")
	require.NoError(t, err, "cold comes without a question")
	assert.NotContains(t, out, "Stop the batch")
	err, _ = ask("stop", " YES \n")
	require.NoError(t, err)
	d.until("stopped")

	code, _, said = d.client("start", "caraway-sticks", "--stuffed", "13h")
	require.Equal(t, exitGood, code, said)
	err, out = ask("stop", "", "--yes")
	require.NoError(t, err)
	assert.NotContains(t, out, "Type yes")
	d.until("stopped")

	code, _, said = d.client("start", "caraway-sticks", "--stuffed", "13h")
	require.Equal(t, exitGood, code, said)
	atTerminal = there
	err, out = ask("stop", "")
	require.NoError(t, err, "a script is not asked")
	assert.NotContains(t, out, "Type yes")
	d.until("stopped")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}
