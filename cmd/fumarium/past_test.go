package main

import (
	"encoding/json"
	"net/http"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/web"
)

// A batch that is over can be looked at, and the start of the next takes nothing of it away.
func TestABatchStaysToBeLookedAt(t *testing.T) {
	d := startBuilt(t, "--pace", "10000")
	var list struct{ Batches []web.PastBatch }
	listed := func() {
		t.Helper()
		code, body := d.get("/api/batches")
		require.Equal(t, http.StatusOK, code, body)
		require.NoError(t, json.Unmarshal([]byte(body), &list))
	}
	require.Eventually(t, func() bool { return d.status().State != "idle" }, time.Minute, 50*time.Millisecond)
	status := d.status()
	require.NotNil(t, status.Batch)
	first := *status.Batch
	if code, body := d.get("/api/batches/" + first); code != http.StatusOK { // unless it is over already
		assert.Equal(t, http.StatusConflict, code, body)
	}
	require.Eventually(t, func() bool { return d.status().State == "complete" }, 2*time.Minute, 100*time.Millisecond)
	code, body := d.post("/api/commands", `{"command":"note","mark":"4/5","text":"a little dry"}`)
	require.Equal(t, http.StatusOK, code, body)
	code, _, said := d.client("start", "caraway-sticks", "--reason", "test")
	require.Equal(t, exitGood, code, said)
	require.NotEqual(t, first, *d.status().Batch)
	code, _, said = d.client("hold") // or it is over before it is looked at
	require.Equal(t, exitGood, code, said)

	listed()
	require.Len(t, list.Batches, 2)
	assert.Equal(t, first, list.Batches[1].Batch, "the latest first")
	code, body = d.get("/api/batches/" + first)
	require.Equal(t, http.StatusOK, code, body)
	var b web.WholeBatch
	require.NoError(t, json.Unmarshal([]byte(body), &b))
	assert.Equal(t, "complete", *b.State)
	require.NotNil(t, b.Good)
	assert.True(t, *b.Good, b.Ending)
	assert.Len(t, b.Stages, 5)
	assert.NotEmpty(t, b.Points)
	require.NotNil(t, b.PeakCore)
	assert.Greater(t, *b.PeakCore, 70.0, "it ends at 71")
	assert.Less(t, *b.PeakCore, 82.0)
	marks := 0
	for _, n := range b.Notes {
		if n.Mark == "4/5" {
			marks++
			assert.Equal(t, "a little dry", n.Text)
		}
	}
	assert.Equal(t, 1, marks)
	_, again := d.get("/api/batches/" + first)
	assert.Equal(t, body, again)
	code, _ = d.get("/api/batches/" + first[:len(first)-1])
	assert.Equal(t, http.StatusNotFound, code, "no beginning of a name")
	code, body = d.get("/api/batches/" + *d.status().Batch)
	assert.Equal(t, http.StatusConflict, code, body)
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}
