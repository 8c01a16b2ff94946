package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/notice"
)

// A daemon tells of a whole batch: its hand steps and its end. The other end fails at
// first, and hears all the same.
func TestTheDaemonTells(t *testing.T) {
	var mu sync.Mutex
	var got []notice.Notice
	failed := false
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		if !failed {
			failed = true
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		var n notice.Notice
		if assert.NoError(t, json.NewDecoder(r.Body).Decode(&n)) {
			got = append(got, n)
		}
	}))
	defer other.Close()
	d := startDaemon(t, "--pace", "4000", "--notify", other.URL)
	kinds := map[string]int{}
	require.Eventually(t, func() bool {
		mu.Lock()
		defer mu.Unlock()
		clear(kinds)
		for _, n := range got {
			kinds[n.Kind]++
		}
		return kinds["end"] > 0
	}, 2*time.Minute, 100*time.Millisecond)
	assert.Positive(t, kinds["prompt"])
	mu.Lock()
	for _, n := range got {
		assert.True(t, n.Simulated)
		assert.Equal(t, "Marjoram ring sausage", n.Product)
		assert.NotEmpty(t, n.Text)
	}
	assert.Contains(t, got[len(got)-1].Text, "complete")
	mu.Unlock()
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

	code, _, said := call(t, "run", "--notify", "file:///etc/passwd")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, said, "--notify")
}
