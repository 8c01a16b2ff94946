package main

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A contact welds under a daemon: the watchdog ends it once, so that the stop helper
// tries too. The next one finds the element live, comes up all the same, sounds, says
// what to do, lets nobody start, and is left alone.
func TestADaemonWithAWeldedContactIsSeenAndHeard(t *testing.T) {
	t.Parallel()
	h := newHeating(t, false)
	cabinet := file(t, "cabinet.yaml", strings.Replace(outsideCabinet, "1500 W,", "1500 W, feedback: {pin: GPIO26},", 1))
	h.run[2], h.off[2] = cabinet, cabinet
	h.start()
	h.until("READY", h.saidReady)
	h.o.mu.Lock()
	h.o.welded = true
	h.o.mu.Unlock()
	e := h.nextEnd(1)
	assert.True(t, e.watchdog)
	require.Error(t, e.helper)
	assert.Contains(t, e.said, "not everything could be switched off")
	assert.Contains(t, e.said, "cut the mains")

	h.again <- struct{}{}
	h.until("more messages than one watchdog's time has room for", func() bool {
		n := 0
		for _, m := range h.messages {
			if m == "WATCHDOG=1" {
				n++
			}
		}
		return len(h.ends) == 1 && n > int(h.watch/time.Second)*4/2
	})
	h.mu.Lock()
	assert.True(t, slices.Contains(h.messages, "READY=1"))
	assert.Len(t, h.ends, 1, "it is not ended again")
	h.mu.Unlock()
	h.o.mu.Lock()
	for pin, on := range h.o.on {
		assert.Equal(t, pin == "GPIO24", on, "%s; only the sounder is on", pin)
	}
	h.o.mu.Unlock()
	pages := strings.Split(h.journal(), "page ")
	url, _, _ := strings.Cut(strings.TrimSpace(pages[len(pages)-1]), "/\n")
	code, out, errs := call(t, "status", "--json", "--server", url)
	require.Equal(t, exitGood, code, errs)
	assert.Contains(t, out, "heater-welded")
	assert.Contains(t, out, "Cut the mains by hand now")
	code, _, errs = call(t, "start", file(t, "product.yaml", quick(t)), "--reason", "trial", "--server", url, "--state", h.dir)
	assert.NotEqual(t, exitGood, code)
	assert.Contains(t, errs, "cut the mains")
}
