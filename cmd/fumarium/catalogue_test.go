package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/controller/web"
)

// TestOneCatalogueSpeaks holds that log, record and page say of every alarm what the
// catalogue says. The log's line and the record's text are the event's; rules and
// manual have tests of their own.
func TestOneCatalogueSpeaks(t *testing.T) {
	entry, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	box := entry.Value
	s := snapshot.Snapshot{Cabinet: box}
	s.State.Batch = controller.Held
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		require.NotEmpty(t, e.Name)
		require.NotEmpty(t, e.Meaning, e.Name)
		require.NotEmpty(t, e.Action, e.Name)
		text := controller.Event{Kind: controller.AlarmRaised, Alarm: c, Here: controller.PartsOf(box)}.Text(nil)
		assert.Equal(t, "alarm "+e.Name+" ("+e.Priority.String()+"): "+e.Meaning+" "+e.Do(controller.PartsOf(box)), text)
		s.State.Alarms[c] = trip.State{Phase: trip.Unacknowledged, Standing: true}
		s.State.Tripped = c
		tripped := web.NewStatus(&s, time.Time{}).Trip
		assert.Equal(t, []string{e.Name, e.Meaning, e.Do(controller.PartsOf(box))}, []string{tripped.Code, tripped.Meaning, tripped.Action})
	}
	status := web.NewStatus(&s, time.Time{})
	assert.Len(t, status.Alarms, int(trip.Count)-1)
	for _, a := range status.Alarms {
		c, ok := trip.Parse(a.Code)
		require.True(t, ok, a.Code)
		e := c.Entry()
		assert.Equal(t, []string{e.Name, e.Priority.String(), trip.Unacknowledged.String(), e.Meaning, e.Do(controller.PartsOf(box)), e.Says(controller.PartsOf(box))},
			[]string{a.Code, a.Priority, a.State, a.Meaning, a.Action, a.Mended})
	}
}

// TestNoSecondTableOfAlarms looks for the catalogue's sentences in other sources. A
// copy would be forgotten when the catalogue changes.
func TestNoSecondTableOfAlarms(t *testing.T) {
	root := filepath.Join("..", "..")
	read := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, filepath.Join("trip", "catalogue.go")) {
			return err
		}
		switch filepath.Ext(path) {
		case ".go", ".js", ".html", ".md":
		default:
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil || strings.HasSuffix(path, "alarms.md") { // made from it
			return err
		}
		read++
		for c := trip.None + 1; c < trip.Count; c++ {
			for _, sentence := range []string{c.Entry().Meaning, c.Entry().Action} {
				first, _, _ := strings.Cut(sentence, ". ")
				copied := len(first) > 30 && strings.Contains(string(data), first) // a short one may be chance
				assert.False(t, copied, "%s repeats the catalogue's words for %s; take them from trip.Code.Entry", path, c)
			}
		}
		return nil
	})
	require.NoError(t, err)
	assert.Greater(t, read, 100)
}
