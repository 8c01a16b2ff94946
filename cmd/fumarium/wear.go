package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
)

// wearFile is where it is kept how often the heater's relay has closed, over all runs of
// the daemon. It is read anew before each writing: who deletes it starts the count anew.
const wearFile = "heater-relay.json"

// countEvery is how often the count is written; what a power cut loses of it is some
// operations. Common practice, no source.
const countEvery = 5 * time.Minute

// relayCount is what the file holds.
type relayCount struct {
	Closed uint64 `json:"closed"`
}

func readCount(file string) (relayCount, error) {
	var c relayCount
	data, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return c, nil
	}
	if err == nil {
		err = json.Unmarshal(data, &c)
	}
	if err != nil {
		return c, fmt.Errorf("%s: %w; delete it, and the relay counts as new", file, err)
	}
	return c, nil
}

// wear counts how often the heater's relay closes.
type wear struct {
	file  string // empty keeps nothing: a simulated relay is new each time
	rated int    // cycles; zero is not known
	log   *slog.Logger
	ratio atomic.Uint64 // as bits
}

func newWear(dir string, c *cabinet.Cabinet, log *slog.Logger) *wear {
	w := &wear{rated: c.Heater.RatedCycles, log: log}
	if !c.Simulated() {
		w.file = filepath.Join(dir, wearFile)
	}
	return w
}

// Ratio is for the loop.
func (w *wear) Ratio() (float64, bool) { return math.Float64frombits(w.ratio.Load()), w.rated > 0 }

// Run follows the relay until ctx ends.
func (w *wear) Run(ctx context.Context, latest func() *snapshot.Snapshot) {
	if w.rated == 0 {
		return
	}
	counted := uint64(0) // of this run, as far as it is in the file
	total := func() (all relayCount, now uint64, err error) {
		if s := latest(); s != nil {
			use := s.History.Use()
			now = use.Switched[controller.Heater]
		}
		if w.file != "" {
			all, err = readCount(w.file)
			all.Closed += now - counted
		} else {
			all.Closed = now
		}
		w.ratio.Store(math.Float64bits(float64(all.Closed) / float64(w.rated)))
		return all, now, err
	}
	keep := func() {
		all, now, err := total()
		if err == nil && w.file != "" && now != counted {
			if err = writeCount(w.file, all); err == nil {
				counted = now
			}
		}
		if err != nil {
			w.log.Warn("how often the heater's relay has closed is not kept", "err", err)
		}
	}
	keep()
	show, write := time.NewTicker(10*time.Second), time.NewTicker(countEvery)
	defer show.Stop()
	defer write.Stop()
	for {
		select {
		case <-ctx.Done():
			keep()
			return
		case <-show.C:
			_, _, _ = total() // what cannot be read is said when it is to be written
		case <-write.C:
			keep()
		}
	}
}

func writeCount(file string, c relayCount) error {
	data, err := json.Marshal(c)
	if err != nil {
		return err
	}
	next := file + ".next"
	if err := os.WriteFile(next, append(data, '\n'), 0o600); err != nil {
		return err
	}
	return os.Rename(next, file)
}

// wearFind says how worn the relay is.
func wearFind(dir string, c *cabinet.Cabinet) []wiring.Find {
	if c.Simulated() || c.Heater.Kind == cabinet.SolidState {
		return nil
	}
	f := wiring.Find{What: "heater relay"}
	file := filepath.Join(dir, wearFile)
	count, err := readCount(file)
	switch used := float64(count.Closed) / float64(max(1, c.Heater.RatedCycles)); {
	case err != nil:
		f.Note = err.Error()
	case c.Heater.RatedCycles == 0:
		f.Good, f.Note = true, "how worn it is nobody knows; add rated cycles: of its data sheet, at the element's current, to the heater in the cabinet file"
	case used >= 0.9:
		f.Note = fmt.Sprintf("it has closed %d times of the %d that it is rated for: have it exchanged by someone qualified, then delete %s to start its count anew", count.Closed, c.Heater.RatedCycles, file)
	default:
		f.Good, f.Note = true, fmt.Sprintf("it has closed %d times of the %d that it is rated for", count.Closed, c.Heater.RatedCycles)
	}
	return []wiring.Find{f}
}
