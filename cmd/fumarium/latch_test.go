package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/record"
)

// kill ends a daemon as a crash does.
func (d *daemon) kill() {
	d.t.Helper()
	require.NoError(d.t, d.cmd.Process.Kill())
	_ = d.cmd.Wait()
}

// onOutside runs a daemon on the cabinet outside.
func onOutside(t *testing.T, o *outside, state, cabinet string) *daemon {
	t.Helper()
	d := launchDaemon(t, state, o.env(), "--cabinet", cabinet)
	d.answers()
	d.steps()
	return d
}

func (o *outside) becomes(chamber float64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.chamber, o.at = chamber, time.Now()
}

func (d *daemon) tripped() string {
	d.t.Helper()
	s := d.status()
	if s.Trip == nil {
		return ""
	}
	return s.Trip.Code
}

// marked waits until a trip is on disk, which nobody is told.
func marked(t *testing.T, dir, trip string) {
	t.Helper()
	require.Eventually(t, func() bool {
		data, err := os.ReadFile(filepath.Join(dir, record.MarksFile))
		return err == nil && strings.Contains(string(data), trip)
	}, 30*time.Second, 20*time.Millisecond)
}

// A trip stays latched whatever becomes of the program: without a batch, after a batch
// was stopped, after a kill and after an ordinary end. Only a reset ends it, and that
// outlives the program too.
func TestALatchedTripOutlivesTheProgram(t *testing.T) {
	t.Parallel()
	dir, cabinet := t.TempDir(), file(t, "cabinet.yaml", outsideCabinet)
	o := newOutside(t, false, 130, 20)
	d := onOutside(t, o, dir, cabinet)
	require.Eventually(t, func() bool { return d.tripped() == "chamber-high" }, 30*time.Second, 50*time.Millisecond)
	marked(t, dir, "chamber-high")
	d.kill()

	o.becomes(20)
	d = onOutside(t, o, dir, cabinet)
	require.Equal(t, "chamber-high", d.tripped(), "the program was lost, the trip was not")
	code, _, errs := d.client("start", file(t, "product.yaml", quick(t)), "--reason", "trial")
	assert.NotEqual(t, exitGood, code)
	assert.Contains(t, errs, "trip")
	assert.Equal(t, 0, d.end(syscall.SIGTERM))

	d = onOutside(t, o, dir, cabinet)
	require.Equal(t, "chamber-high", d.tripped())
	code, out, errs := d.client("reset")
	require.Equal(t, exitGood, code, errs)
	assert.NotContains(t, out, "not on disk")
	d.kill()
	d = onOutside(t, o, dir, cabinet)
	require.Empty(t, d.tripped(), "the reset was answered, so it stays")

	code, out, errs = d.client("start", file(t, "product.yaml", quick(t)), "--reason", "trial")
	require.Equal(t, exitGood, code, errs)
	assert.NotContains(t, out, "not on disk")
	o.becomes(130)
	require.Eventually(t, func() bool { return d.tripped() == "chamber-high" }, 60*time.Second, 50*time.Millisecond)
	code, out, errs = d.client("stop")
	require.Equal(t, exitGood, code, errs)
	assert.NotContains(t, out, "not on disk")
	d.kill()
	o.becomes(20)
	d = onOutside(t, o, dir, cabinet)
	s := d.status()
	assert.Equal(t, "chamber-high", d.tripped(), "a stop is no reset")
	assert.Contains(t, []string{"idle", "stopping", "stopped"}, s.State)
	d.kill()
}

// smallDisk is a folder on a file system of its own that a test can fill, and fill does.
func smallDisk(t *testing.T) (dir string, fill, free func()) {
	t.Helper()
	dir = t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=4m"); err != nil {
		t.Skipf("no file system of its own to fill: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	ballast := filepath.Join(dir, "ballast")
	return dir, func() {
			f, err := os.Create(ballast)
			require.NoError(t, err)
			defer f.Close()
			_, err = io.Copy(f, zeros{})
			require.True(t, errors.Is(err, syscall.ENOSPC), "%v", err)
		}, func() {
			require.NoError(t, os.Remove(ballast))
		}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { return len(p), nil }

// With the disk full a stop is answered, and the answer says what is on disk and what
// is not. Whatever happens to the program then, the batch does not go on.
func TestAStopOnAFullDiskStaysAStop(t *testing.T) {
	t.Parallel()
	for _, freed := range []bool{false, true} {
		name := "still full"
		if freed {
			name = "freed"
		}
		t.Run(name, func(t *testing.T) {
			dir, fill, free := smallDisk(t)
			cabinet := file(t, "cabinet.yaml", outsideCabinet)
			o := newOutside(t, false, 40, 20)
			d := onOutside(t, o, dir, cabinet)
			code, _, errs := d.client("start", file(t, "product.yaml", quick(t)), "--reason", "trial")
			require.Equal(t, exitGood, code, errs)
			o.heaterIs(t, true)
			fill()
			code, out, errs := d.client("hold")
			require.Equal(t, exitGood, code, errs)
			assert.Contains(t, out, "not on disk")
			code, out, errs = d.client("stop")
			require.Equal(t, exitGood, code, errs)
			t.Log(out)
			assert.Contains(t, out, "not on disk")
			assert.Contains(t, out, "no restart goes on with the batch")
			d.kill()
			o.heaterIs(t, false)
			if freed {
				free()
			}
			d = onOutside(t, o, dir, cabinet)
			s := d.status()
			assert.Equal(t, "idle", s.State)
			said := ""
			for _, e := range s.Events {
				said += e.Text + "\n"
			}
			assert.Contains(t, said, "was stopped before the program ended")
			if !freed {
				free()
			}
			d.kill()
			o.mu.Lock()
			assert.False(t, o.heater[len(o.heater)-1].On)
			o.mu.Unlock()
			d = onOutside(t, o, dir, cabinet)
			d.end(syscall.SIGTERM)
			code, out, errs = call(t, "batches", "--json", "--state", dir)
			require.Equal(t, exitGood, code, errs)
			var batches []struct{ State string }
			require.NoError(t, json.Unmarshal([]byte(out), &batches), out)
			require.Len(t, batches, 1)
			assert.Equal(t, "stopped", batches[0].State)
		})
	}
}

// With the disk full a trip is on no record, and after a crash the batch is found as it
// was before it. It is latched all the same, so the batch is held and nothing heats, and
// the record replays.
func TestATripOnAFullDiskStaysLatched(t *testing.T) {
	t.Parallel()
	dir, fill, free := smallDisk(t)
	cabinet := file(t, "cabinet.yaml", outsideCabinet)
	o := newOutside(t, false, 40, 20)
	d := onOutside(t, o, dir, cabinet)
	code, _, errs := d.client("start", file(t, "product.yaml", quick(t)), "--reason", "trial")
	require.Equal(t, exitGood, code, errs)
	o.heaterIs(t, true)
	fill()
	o.becomes(130)
	require.Eventually(t, func() bool { return d.tripped() == "chamber-high" }, 60*time.Second, 50*time.Millisecond)
	marked(t, dir, "chamber-high")
	d.kill()
	o.becomes(40)
	o.mu.Lock()
	switched := len(o.heater)
	o.mu.Unlock()
	free()
	d = onOutside(t, o, dir, cabinet)
	require.Equal(t, "chamber-high", d.tripped())
	require.Eventually(t, func() bool { return d.status().State == "held" }, 30*time.Second, 50*time.Millisecond)
	code, out, errs := d.client("restart")
	assert.NotEqual(t, exitGood, code, out)
	assert.Contains(t, errs, "trip")
	assert.Equal(t, 0, d.end(syscall.SIGTERM))
	o.mu.Lock()
	for _, c := range o.heater[switched:] {
		assert.False(t, c.On)
	}
	o.mu.Unlock()
	code, out, errs = call(t, "batches", "--json", "--state", dir)
	require.Equal(t, exitGood, code, errs)
	var batches []struct{ Batch string }
	require.NoError(t, json.Unmarshal([]byte(out), &batches), out)
	require.Len(t, batches, 1)
	code, out, errs = call(t, "replay", batches[0].Batch, "--state", dir)
	assert.Equal(t, exitGood, code, "%s%s", out, errs)
}
