package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestOtherBoardsDecideTheSame builds the program for the boards it is packed for and runs
// it under qemu-user: a whole rehearsal prints the same bytes, and a whole batch of the
// daemon is judged and replayed there. What floating point may do otherwise, the last bit
// of a sum, must not show in either.
func TestOtherBoardsDecideTheSame(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("qemu-user emulates Linux only")
	}
	t.Parallel()
	boards := []struct {
		emulator string
		env      []string
	}{{"qemu-arm-static", []string{"GOARCH=arm", "GOARM=6"}}, {"qemu-aarch64-static", []string{"GOARCH=arm64"}}}
	for _, b := range boards {
		if _, err := exec.LookPath(b.emulator); err != nil {
			if os.Getenv("CI") != "" {
				t.Fatalf("%s is not on PATH; install it: apt-get install -y qemu-user-static", b.emulator)
			}
			t.Skipf("%s is not on PATH; apt-get install -y qemu-user-static runs this test", b.emulator)
		}
	}
	commands := [][]string{
		{"rehearse", "--json"},
		{"rehearse", "caraway-sticks", "--cabinet", "steel-box", "--seed", "7", "--fault", "core-open@1h+2m", "--json"},
		{"sheet", "marjoram-ring", "--meat", "7kg", "--json"},
	}
	own := built(t)
	var want [][]byte
	for _, args := range commands {
		out, _ := exec.Command(own, args...).Output() // a verdict may be bad; the bytes count
		require.NotEmpty(t, out, args)
		want = append(want, out)
	}
	for _, b := range boards {
		t.Run(b.emulator, func(t *testing.T) {
			program := built(t, b.env...)
			for i, args := range commands {
				out, _ := exec.Command(b.emulator, append([]string{program}, args...)...).Output()
				assert.Equal(t, string(want[i]), string(out), "%v", args)
			}
			emulated := filepath.Join(t.TempDir(), "emulated")
			require.NoError(t, os.WriteFile(emulated, []byte("#!/bin/sh\nexec "+b.emulator+" "+program+" \"$@\"\n"), 0o700))
			d := launchProgram(t, emulated, t.TempDir(), nil, "--pace", "10000")
			d.answers()
			d.line("batch complete")
			d.line("complete and good")
			assert.Equal(t, exitGood, d.end(os.Interrupt))
			out, err := exec.Command(emulated, "replay", "sim-", "--simulated", "--state", d.state).CombinedOutput()
			require.NoError(t, err, string(out))
			assert.Contains(t, string(out), "every decision the same")
			assert.Regexp(t, regexp.MustCompile(`record +met: whole`), string(out))
			// With its drawing: lengths of time do not fit into an int there.
			out, err = exec.Command(emulated, "report", "sim-", "--short", "--simulated", "--state", d.state, "--into", t.TempDir()).CombinedOutput()
			require.NoError(t, err, string(out))

			// A record of one board on another: every decision again. Only the last bits of what
			// the state remembers may differ, which a replay says (FORMAT.md).
			code, here, errText := call(t, "replay", "sim-", "--simulated", "--state", d.state)
			if code != exitGood {
				assert.Equal(t, exitBad, code, errText)
				assert.Contains(t, here, ": state recorded hash")
			}
		})
	}
}
