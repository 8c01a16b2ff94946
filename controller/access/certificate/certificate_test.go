package certificate

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A new certificate in the same files is taken; a torn one is not.
func TestFilesThatChange(t *testing.T) {
	dir := t.TempDir()
	c := &certificate{cert: filepath.Join(dir, "cert.pem"), key: filepath.Join(dir, "key.pem")}
	write := func(at time.Time) {
		cert, key, err := SelfSigned([]string{"kiln.example", "127.0.0.1"}, time.Hour)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(c.cert, cert, 0o600))
		require.NoError(t, os.WriteFile(c.key, key, 0o600))
		require.NoError(t, os.Chtimes(c.cert, at, at))
	}
	now := time.Now()
	write(now)
	_, err := Config(c.cert, c.key)
	require.NoError(t, err)
	first, err := c.get(nil)
	require.NoError(t, err)
	assert.NoError(t, first.Leaf.VerifyHostname("kiln.example"))
	assert.NoError(t, first.Leaf.VerifyHostname("127.0.0.1"))
	write(now.Add(time.Hour))
	again, err := c.get(nil)
	require.NoError(t, err)
	assert.Equal(t, first.Leaf.SerialNumber, again.Leaf.SerialNumber, "it was looked at within the minute")
	c.looked = time.Time{}
	next, err := c.get(nil)
	require.NoError(t, err)
	assert.NotEqual(t, first.Leaf.SerialNumber, next.Leaf.SerialNumber)
	require.NoError(t, os.WriteFile(c.cert, []byte("torn"), 0o600))
	c.looked = time.Time{}
	still, err := c.get(nil)
	require.NoError(t, err)
	assert.Equal(t, next.Leaf.SerialNumber, still.Leaf.SerialNumber, "the one before stands")
	_, err = Config(c.cert, c.key)
	assert.Error(t, err)
}
