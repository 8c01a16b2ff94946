package main

import (
	"flag"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The table of deploy/footprint.md: go test ./cmd/fumarium -run TestFootprint -footprint -v
var footprint = flag.Bool("footprint", false, "measure size, memory, start and scrape, here and on emulated ARMv6 and arm64")

// TestFootprint measures what the program takes. It asserts nothing: size and memory are
// held by the tests of the package and of the memory, and time by none.
func TestFootprint(t *testing.T) {
	if !*footprint {
		// The measuring itself must go on working.
		t.Logf("first safe output after %v", firstSafeOutput(t))
		return
	}
	var first []time.Duration
	for range 20 {
		first = append(first, firstSafeOutput(t))
	}
	t.Logf("%s: from the start of the process until the heater's line is taken and off: %s", runtime.GOARCH, spread(first))
	type board struct {
		name, emulator string
		env            []string
	}
	boards := []board{{runtime.GOARCH, "", nil}}
	for _, b := range []board{{"ARMv6, emulated", "qemu-arm-static", []string{"GOARCH=arm", "GOARM=6"}}, {"arm64, emulated", "qemu-aarch64-static", []string{"GOARCH=arm64"}}} {
		if _, err := exec.LookPath(b.emulator); err == nil {
			boards = append(boards, b)
		}
	}
	for _, b := range boards {
		program := filepath.Join(t.TempDir(), "fumarium")
		build := exec.Command("go", append(asPacked(t, "build"), "-ldflags", "-s -w", "-o", program, ".")...)
		build.Env = append(append(os.Environ(), "CGO_ENABLED=0"), b.env...)
		require.NoError(t, build.Run())
		info, err := os.Stat(program)
		require.NoError(t, err)
		t.Logf("%s: the stripped file has %d bytes", b.name, info.Size())
		runs := program
		if b.emulator != "" {
			runs = filepath.Join(t.TempDir(), "emulated")
			require.NoError(t, os.WriteFile(runs, []byte("#!/bin/sh\nexec "+b.emulator+" "+program+" \"$@\"\n"), 0o700))
		}
		var starts []time.Duration
		for range 5 {
			began := time.Now()
			_ = exec.Command(runs, "off", "--cabinet", "plywood-cabinet").Run()
			starts = append(starts, time.Since(began))
		}
		t.Logf("%s: fumarium off, from its start to its end: %s", b.name, spread(starts))
		d := launchProgram(t, runs, t.TempDir(), nil, "--pace", "2000")
		d.answers()
		var scrapes []time.Duration
		for {
			for _, path := range []string{"/", "/api/status", "/chart.svg"} {
				d.get(path)
			}
			began := time.Now()
			d.get("/metrics")
			scrapes = append(scrapes, time.Since(began))
			if code, ready := d.get("/metrics"); code == http.StatusOK && regexp.MustCompile(`fumarium_batch_state\{state="complete"\} 1`).MatchString(ready) {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		slices.Sort(scrapes)
		t.Logf("%s: a scrape over HTTP, half of them within %v, of %d; the page open", b.name, scrapes[len(scrapes)/2], len(scrapes))
		text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(d.cmd.Process.Pid), "status"))
		require.NoError(t, err)
		t.Logf("%s: at most over a batch: %s (an emulator's own counts with it)", b.name, regexp.MustCompile(`VmHWM:.*`).Find(text))
		d.end(os.Interrupt)
	}
}

// firstSafeOutput is how long a daemon takes from its start until it has the heater's line
// and has set it off.
func firstSafeOutput(t *testing.T) time.Duration {
	o := newOutside(t, true, 20, 20)
	o.mu.Lock()
	o.on["GPIO17"] = true // as a dead program left it
	o.mu.Unlock()
	began := time.Now()
	d := launchDaemon(t, t.TempDir(), o.env(), "--cabinet", file(t, "outside.yaml", outsideCabinet))
	off := o.heaterIs(t, false)
	d.answers()
	_ = d.cmd.Process.Kill()
	_ = d.cmd.Wait()
	return off.At.Sub(began)
}
