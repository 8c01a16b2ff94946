package web_test

import (
	"image/png"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
)

// displayed has a display.
func displayed() *snapshot.Snapshot {
	s := cooking()
	s.Cabinet.Panel.Display = cabinet.Simulated
	return s
}

func TestTheDisplayOnThePage(t *testing.T) {
	w := ask(handler(accepting(cooking())), http.MethodGet, "/display.png", "")
	assert.Equal(t, http.StatusNotFound, w.Code)
	assert.Contains(t, detail(t, w), "no display")
	w = ask(handler(accepting(displayed())), http.MethodGet, "/display.png", "")
	require.Equal(t, http.StatusOK, w.Code)
	assert.Equal(t, "image/png", w.Header().Get("Content-Type"))
	pic, err := png.Decode(w.Body)
	require.NoError(t, err)
	assert.Equal(t, 128, pic.Bounds().Dx())
}
