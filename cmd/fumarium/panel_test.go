package main

import (
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRehearsePanel(t *testing.T) {
	file := filepath.Join(t.TempDir(), "panel@home.png")
	status, _, said := call(t, "rehearse", "caraway-sticks", "--answer", "2min", "--panel", file+"@1h")
	require.Equal(t, exitGood, status, said)
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	pic, err := png.Decode(f)
	require.NoError(t, err)
	assert.Equal(t, 512, pic.Bounds().Dx())
	assert.Equal(t, 256, pic.Bounds().Dy())
	lit := 0
	for y := range 256 {
		for x := range 512 {
			if r, _, _, _ := pic.At(x, y).RGBA(); r > 0 {
				lit++
			}
		}
	}
	assert.Greater(t, lit, 5000)

	for text, want := range map[string]struct {
		status int
		said   string
	}{"x.png": {exitUsage, "has no time"}, "x.png@soon": {exitUsage, "--panel"}, file + "@100h": {exitCouldNo, "over before 100 h"}} {
		status, _, said := call(t, "rehearse", "caraway-sticks", "--answer", "2min", "--panel", text)
		assert.Equal(t, want.status, status, text)
		assert.Contains(t, said, want.said)
	}
}
