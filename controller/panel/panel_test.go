package panel_test

import (
	"bytes"
	"flag"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/panel"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

var update = flag.Bool("update", false, "rewrite the pictures; look at them before you keep them")

var noon = time.Date(2031, 3, 14, 12, 0, 0, 0, time.UTC)

// running is the ring in its cook stage.
func running(t testing.TB) *snapshot.Snapshot {
	c, err := shipped.Find("fridge-body")
	require.NoError(t, err)
	p, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	s := &snapshot.Snapshot{Simulated: true, Pace: 1, Stepped: noon, Time: noon, Cabinet: c.Value, Product: p.Value}
	s.State = controller.State{Begun: true, Batch: controller.Running, Stage: len(p.Value.Stages) - 3, StageClock: 25 * time.Minute, StageEntered: time.Hour, Elapsed: 2 * time.Hour, Started: time.Minute}
	for i, stage := range p.Value.Stages {
		if stage.Name == "cook" {
			s.State.Stage = i
		}
	}
	s.State.Heater.HasSetpoint, s.State.Heater.Setpoint = true, 78
	s.State.Chamber.Reading = sensors.At(77.46)
	s.State.Core.Coldest = sensors.At(59.72)
	return s
}

func raise(s *snapshot.Snapshot, c trip.Code) {
	s.State.Alarms[c] = trip.State{Phase: trip.Unacknowledged, Standing: true}
	if c.Entry().Trips {
		s.State.Tripped = c
		s.State.Batch = controller.Held
	}
}

// Every state as a picture: golden files that a person has looked at.
func TestPictures(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*snapshot.Snapshot)
		held   panel.Held
		said   string
		pages  int // how many are kept
		after  time.Duration
	}{
		"running":       {},
		"real":          {change: func(s *snapshot.Snapshot) { s.Simulated = false }},
		"hot":           {change: func(s *snapshot.Snapshot) { s.State.Chamber.Reading = sensors.At(112.4) }},
		"core unread":   {change: func(s *snapshot.Snapshot) { s.State.Core.Coldest = sensors.Fault(sensors.Open) }},
		"dry":           {change: func(s *snapshot.Snapshot) { s.State.Stage, s.State.StageClock = 0, 5*time.Minute }},
		"prompt":        {change: asking, pages: 4},
		"alarm":         {change: func(s *snapshot.Snapshot) { raise(s, trip.CoreLost) }, pages: 3},
		"later":         {change: func(s *snapshot.Snapshot) { raise(s, trip.EmberUnknown) }, pages: 1},
		"trip":          {change: func(s *snapshot.Snapshot) { raise(s, trip.ChamberHigh) }, pages: 9},
		"old":           {after: 42 * time.Second, pages: 2},
		"idle":          {change: idle},
		"idle for long": {change: idle, after: 0},
		"complete":      {change: func(s *snapshot.Snapshot) { s.State.Batch = controller.Complete }, pages: 2},
		"confirm":       {change: asking, held: panel.Held{Button: panel.Confirm, For: 600 * time.Millisecond, Of: time.Second}},
		"nothing asked": {held: panel.Held{Button: panel.Confirm, For: 600 * time.Millisecond, Of: time.Second}},
		"said":          {said: "Not done: another question stands now."},
		"stop":          {held: panel.Held{Button: panel.Stop, For: 2 * time.Second, Of: 3 * time.Second}},
		"confirmed":     {change: asking, held: panel.Held{Button: panel.Confirm, For: 1100 * time.Millisecond, Of: time.Second}},
		"stopped":       {held: panel.Held{Button: panel.Stop, For: 3200 * time.Millisecond, Of: 3 * time.Second}},
		"silence":       {held: panel.Held{Button: panel.Silence, For: 0, Of: 100 * time.Millisecond}},
	} {
		t.Run(name, func(t *testing.T) {
			s := running(t)
			if c.change != nil {
				c.change(s)
			}
			touched := noon.Add(-time.Minute)
			if name == "idle for long" {
				touched = noon.Add(-time.Hour)
			}
			for n := range max(1, c.pages) {
				now := noon.Add(time.Duration(n) * 4 * time.Second)
				s.Stepped = now.Add(-c.after)
				f := panel.Look(s, now, panel.Hands{Held: c.held, Touched: touched, Said: c.said})
				compare(t, fmt.Sprintf("%s %d.png", name, n+1), f)
			}
		})
	}
}

func idle(s *snapshot.Snapshot) {
	s.State = controller.State{Begun: true, Elapsed: time.Hour}
	s.State.Chamber.Reading, s.State.Core.Coldest = sensors.At(18.2), sensors.Fault(sensors.Open)
}

func asking(s *snapshot.Snapshot) {
	for i := range s.Product.Stages {
		if s.Product.Stages[i].Ask != "" {
			s.State.Stage, s.State.Asking = i, true
			return
		}
	}
	panic("no stage asks")
}

func compare(t *testing.T, name string, f panel.Frame) {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, f.Picture))
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	}
	file, err := os.Open(path)
	require.NoError(t, err, "go test ./controller/panel -update makes it; look at it")
	defer file.Close()
	want, err := png.Decode(file)
	require.NoError(t, err)
	require.Equal(t, f.Picture.Rect, want.Bounds())
	for y := range panel.Height {
		for x := range panel.Width {
			a, _, _, _ := want.At(x, y).RGBA()
			v := f.Picture.GrayAt(x, y).Y
			require.True(t, v == 0 || v == 255, "a display of one bit has no grey")
			require.Equal(t, byte(a>>8), v, "%s differs at %d, %d", name, x, y)
		}
	}
}

// No point is lit for hours on end: an organic display burns in.
func TestNoPointIsLitForHours(t *testing.T) {
	for name, change := range map[string]func(*snapshot.Snapshot){"idle": idle, "running": func(*snapshot.Snapshot) {}} {
		s := running(t)
		s.Simulated = false
		change(s)
		var lit [panel.Width * panel.Height]int
		n := 0
		for at := noon; at.Before(noon.Add(4 * time.Hour)); at = at.Add(20 * time.Second) {
			s.Stepped = at
			s.State.Chamber.Reading = sensors.At(quantity.Celsius(18 + n%9))
			s.State.StageClock = at.Sub(noon) / 8
			f := panel.Look(s, at, panel.Hands{Touched: noon.Add(-time.Hour)})
			for i, v := range f.Picture.Pix {
				if v == 255 {
					lit[i]++
				}
			}
			n++
		}
		most := 0
		for _, v := range lit {
			most = max(most, v)
		}
		t.Logf("%s: the point that is lit most often is so for %d %% of four hours", name, 100*most/n)
		if name == "idle" {
			assert.Less(t, most, n/3)
		}
	}
}
