package album

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func picture(t *testing.T, width int) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewGray(image.Rect(0, 0, width, 4))))
	return b.Bytes()
}

func TestAPhotographIsKeptAndHeldAgainstItsHash(t *testing.T) {
	state := t.TempDir()
	a := Of(state, "2026-11-28-1")
	first, sum, err := a.Add(picture(t, 3))
	require.NoError(t, err)
	second, other, err := a.Add(picture(t, 5))
	require.NoError(t, err)
	assert.Equal(t, []string{"01.png", "02.png"}, []string{first, second})
	want := sha256.Sum256(picture(t, 3))
	assert.Equal(t, hex.EncodeToString(want[:]), sum)
	data, how := a.Read(first, sum)
	assert.Equal(t, picture(t, 3), data)
	assert.Equal(t, Whole, how)
	_, how = a.Read(second, sum)
	assert.Equal(t, Changed, how)
	require.NoError(t, os.WriteFile(filepath.Join(a.Dir(), second), picture(t, 6), 0o600))
	data, how = a.Read(second, other)
	assert.Equal(t, Changed, how)
	assert.Nil(t, data)
	require.NoError(t, os.Remove(filepath.Join(a.Dir(), first)))
	_, how = a.Read(first, sum)
	assert.Equal(t, Missing, how)
	_, how = a.Read("../../operator-token", sum)
	assert.Equal(t, Missing, how)
}

func TestOnlyPhotographsAreTakenIn(t *testing.T) {
	a := Of(t.TempDir(), "b")
	for _, data := range [][]byte{nil, []byte("<svg onload=alert(1)>"), bytes.Repeat([]byte{0xff}, MostBytes+1)} {
		_, _, err := a.Add(data)
		assert.Error(t, err)
	}
	_, err := os.Stat(a.Dir())
	assert.ErrorIs(t, err, os.ErrNotExist)
}
