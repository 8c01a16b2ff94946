package daybook

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var noon = time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC)

func of(t *testing.T, list []Duty, name string) Duty {
	for _, d := range list {
		if d.Name == name {
			return d
		}
	}
	require.Fail(t, name)
	return Duty{}
}

func TestWhatIsDue(t *testing.T) {
	var batches []Batch
	for i := range 3 {
		batches = append(batches, Batch{noon.AddDate(0, 0, i), 10 * time.Hour})
	}
	now := noon.AddDate(0, 0, 4)
	list := Duties(nil, batches, now)
	assert.True(t, of(t, list, "generator").Due, "after three batches")
	assert.False(t, of(t, list, "cabinet").Due, "five")
	assert.Equal(t, 30.0, of(t, list, "generator").SinceHours)
	assert.Equal(t, 4.0, of(t, list, "cut-out").SinceDays)
	assert.True(t, of(t, Duties(nil, batches, noon.AddDate(1, 0, 0)), "cut-out").Due, "a year after the first batch")
	assert.False(t, of(t, Duties(nil, nil, now), "cut-out").Due, "no batch yet")

	book := []Line{{Time: noon.AddDate(0, 0, 1).Add(11 * time.Hour), Kind: Done, What: "Generator"}}
	d := of(t, Duties(book, batches, now), "generator")
	assert.Equal(t, []any{1, false}, []any{d.SinceBatches, d.Due})
	book = append(book, Line{Kind: Every, What: "generator", Hours: 9})
	assert.True(t, of(t, Duties(book, batches, now), "generator").Due, "by its own interval")
}

func TestABookOutlivesAPowerCut(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, Add(dir, Line{Time: noon, Kind: Wood, What: "Beech", Kg: 0.3}))
	require.NoError(t, Add(dir, Line{Time: noon, Kind: Wood, What: "beech", Kg: 0.2}))
	f, err := os.OpenFile(filepath.Join(dir, File), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString(`{"time":"2026-`)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	book, err := In(dir)
	require.NoError(t, err)
	assert.Equal(t, []Burnt{{"beech", 0.5}}, Woods(book))
	require.NoError(t, Add(dir, Line{Time: noon, Kind: Price, What: "salt", Price: 0.9}))
	book, err = In(dir)
	require.NoError(t, err)
	assert.Len(t, book, 3)
	require.NoError(t, os.WriteFile(filepath.Join(dir, File), []byte("{}\nnone\n"), 0o600))
	_, err = In(dir)
	assert.ErrorContains(t, err, File+":2", "a line in the middle that is none is said")
	assert.Error(t, Add(dir, Line{Kind: Done}))
	price, ok := PriceOf([]Line{{Kind: Price, What: "salt", Price: 1}, {Kind: Price, What: "Salt", Price: 2}}, "salt")
	assert.Equal(t, []any{2.0, true}, []any{price, ok})
}
