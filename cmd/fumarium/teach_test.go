package main

import (
	"net/http"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/record"
	"fumarium/profile/catalog"
)

// A batch teaches the rehearsals of its like, once; what it told is said with them, by the
// daemon and by the command line, and another kind of product is rehearsed as before.
func TestABatchTeaches(t *testing.T) {
	t.Parallel()
	d := startDaemon(t, "--cabinet", "fridge-body", "--pace", "10000")
	do := func(want int, args ...string) string {
		t.Helper()
		code, out, said := d.client(args...)
		require.Equal(t, want, code, out+said)
		return out + said
	}
	do(exitGood, "start", "caraway-sticks", "--reason", "trial")
	d.line("batch complete")
	do(exitGood, "weigh", "hung", "4.1 kg")
	do(exitGood, "weigh", "cooked", "3.4 kg")
	batch := *d.status().Batch
	learn := func(want int) string {
		t.Helper()
		code, out, said := call(t, "teach", batch, "--simulated", "--state", d.state)
		require.Equal(t, want, code, out+said)
		return out + said
	}
	out := learn(exitGood)
	assert.Contains(t, out, "a batch taught, of salted sausage meat, collagen casing in this cabinet: air speed at the product ")
	assert.Contains(t, out, "this record cannot tell, and leaves as it was: ")
	assert.Regexp(t, `missed the record by \d\.\d\d of what a fit is allowed, and now by \d`, out)
	assert.Contains(t, learn(exitBad), "it has taught already")
	status, body := d.post("/api/rehearse", `{"product":"caraway-sticks"}`)
	require.Equal(t, http.StatusOK, status, body)
	assert.Contains(t, body, `"taught":"a batch taught, of salted sausage meat`)
	require.Equal(t, exitGood, d.end(syscall.SIGTERM))

	code, out, said := call(t, "rehearse", "caraway-sticks", "--cabinet", "fridge-body", "--taught", d.state)
	assert.Contains(t, out, "a batch taught, of salted sausage meat", said)
	assert.NotEqual(t, exitUsage, code)
	code, _, said = call(t, "rehearse", "hayloft-chicken", "--cabinet", "fridge-body", "--taught", d.state)
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, said, "no batch of ")
	c, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	p, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	real, err := lessonFor(d.state, record.Real, c.Value, p.Value)
	require.NoError(t, err)
	assert.Nil(t, real, "a rehearsed cabinet teaches none that is real")
	require.NoError(t, os.WriteFile(filepath.Join(d.state, taughtFile), []byte(`[{"learned":[{"middle":99,"left":1}]}]`), 0o600))
	_, err = lessons(d.state)
	assert.ErrorContains(t, err, "nothing that a batch can teach")
}
