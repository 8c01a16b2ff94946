package access_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/access"
)

// clock is one that a test moves.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func started() *clock { return &clock{time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)} }

func TestACodeGivesOneSession(t *testing.T) {
	c, dir := started(), t.TempDir()
	k, err := access.Open(dir, c.now)
	require.NoError(t, err)
	code, until := k.Code("kitchen tablet")
	assert.Regexp(t, `^[2-9A-HJKMNP-Z]{8}$`, code)
	assert.Equal(t, c.at.Add(10*time.Minute), until)
	secret, s, err := k.Pair(strings.ToLower(access.Spaced(code))+" ", "192.0.2.7")
	require.NoError(t, err)
	assert.Equal(t, "kitchen tablet", s.Name)
	assert.Len(t, secret, 43) // 32 bytes
	_, _, err = k.Pair(code, "192.0.2.7")
	assert.ErrorIs(t, err, access.ErrCode, "it is used up")

	got, ok := k.Session(secret)
	assert.True(t, ok)
	assert.Equal(t, s.ID, got.ID)
	for _, forged := range []string{"", s.ID, s.Hash, secret[:42], secret + "A", strings.Repeat("A", 43), strings.Repeat("A", 1<<20)} {
		_, ok := k.Session(forged)
		assert.False(t, ok)
	}

	// It outlives the program; its secret stands nowhere, and the file is its owner's.
	data, err := os.ReadFile(filepath.Join(dir, access.File))
	require.NoError(t, err)
	assert.NotContains(t, string(data), secret)
	assert.NotContains(t, string(data), code)
	info, err := os.Stat(filepath.Join(dir, access.File))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	again, err := access.Open(dir, c.now)
	require.NoError(t, err)
	_, ok = again.Session(secret)
	assert.True(t, ok)

	ok, err = again.Revoke(s.ID)
	require.NoError(t, err)
	assert.True(t, ok)
	_, ok = again.Session(secret)
	assert.False(t, ok)
	again, err = access.Open(dir, c.now)
	require.NoError(t, err)
	assert.Empty(t, again.Sessions(), "for good")
	ok, err = again.Revoke(s.ID)
	assert.NoError(t, err)
	assert.False(t, ok)
}

func TestCodesAndSessionsEnd(t *testing.T) {
	c := started()
	k := access.New(c.now)
	code, _ := k.Code("")
	c.at = c.at.Add(access.CodeLasts)
	_, _, err := k.Pair(code, "")
	assert.ErrorIs(t, err, access.ErrCode)
	code, _ = k.Code("")
	secret, s, err := k.Pair(code, "")
	require.NoError(t, err)
	assert.Equal(t, "browser", s.Name)
	c.at = c.at.Add(access.SessionLasts - time.Second)
	_, ok := k.Session(secret)
	assert.True(t, ok)
	c.at = c.at.Add(time.Second)
	_, ok = k.Session(secret)
	assert.False(t, ok)
}

// However many guess and ask, it stays small: twenty guesses at once and twenty a second,
// right ones among them; four codes; as many sessions as there is room for.
func TestGuessesAreLimited(t *testing.T) {
	c := started()
	k := access.New(c.now)
	code, _ := k.Code("")
	wrong, refused := 0, 0
	for range 1000 {
		_, _, err := k.Pair("22222222", "198.51.100.9")
		switch err {
		case access.ErrCode:
			wrong++
		case access.ErrTooMany:
			refused++
		}
	}
	assert.Equal(t, [2]int{access.Guesses, 1000 - access.Guesses}, [2]int{wrong, refused})
	_, _, err := k.Pair(code, "192.0.2.7")
	assert.ErrorIs(t, err, access.ErrTooMany)
	c.at = c.at.Add(time.Second)
	_, _, err = k.Pair(code, "192.0.2.7")
	assert.NoError(t, err)

	first, _ := k.Code("")
	for range 100 {
		k.Code(strings.Repeat("x", 1<<16))
	}
	c.at = c.at.Add(time.Second)
	_, _, err = k.Pair(first, "")
	assert.ErrorIs(t, err, access.ErrCode, "the newest four")
	for range access.MostSessions - 1 {
		c.at = c.at.Add(time.Second)
		code, _ := k.Code(strings.Repeat("x", 1000))
		_, s, err := k.Pair(code, "")
		require.NoError(t, err)
		assert.LessOrEqual(t, len(s.Name), access.MostName)
	}
	c.at = c.at.Add(time.Second)
	code, _ = k.Code("")
	_, _, err = k.Pair(code, "")
	assert.ErrorIs(t, err, access.ErrFull)
	assert.Len(t, k.Sessions(), access.MostSessions)
}

// Each letter of a code is as likely as the other: of 32,000, each of 31 comes 1032 times
// with a standard deviation of 32; six of them would be chance once in 10^8.
func TestCodesAreDrawnEvenly(t *testing.T) {
	k := access.New(started().now)
	count := map[rune]int{}
	for range 4000 {
		code, _ := k.Code("")
		for _, r := range code {
			count[r]++
		}
	}
	assert.Len(t, count, 31)
	for r, n := range count {
		assert.InDelta(t, 32000./31, n, 6*32, string(r))
	}
}

func TestAFileThatIsTornIsNone(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, access.File), []byte(`[{"id":`), 0o600))
	k, err := access.Open(dir, started().now)
	assert.ErrorContains(t, err, "pair them again")
	require.NotNil(t, k)
	code, _ := k.Code("")
	_, _, err = k.Pair(code, "")
	assert.NoError(t, err)
}

// A disk that takes nothing gives no session that would not outlive the program, and takes
// one away all the same.
func TestADiskThatTakesNothing(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "state")
	require.NoError(t, os.Mkdir(dir, 0o700))
	k, err := access.Open(dir, started().now)
	require.NoError(t, err)
	code, _ := k.Code("")
	secret, s, err := k.Pair(code, "")
	require.NoError(t, err)
	require.NoError(t, os.RemoveAll(dir))
	code, _ = k.Code("")
	_, _, err = k.Pair(code, "")
	assert.ErrorContains(t, err, "cannot be kept")
	ok, err := k.Revoke(s.ID)
	assert.True(t, ok)
	assert.ErrorContains(t, err, "cannot be written")
	_, ok = k.Session(secret)
	assert.False(t, ok)
}

func TestNamesArePlain(t *testing.T) {
	for name, want := range map[string]string{
		" kitchen\n tablet\x1b[2J ": "kitchen tablet [2J", "a\u202eb": "a b", "": "", strings.Repeat("ü", 40): strings.Repeat("ü", 20),
	} {
		assert.Equal(t, want, access.Plain(name))
	}
}
