//go:build (systemd || packages) && linux

package main

import (
	"bufio"
	"bytes"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// The times of deploy/hazards.md with the real service manager as the first process of
// a private set of namespaces (root, systemd and util-linux's unshare are needed):
//
//	go test -tags systemd ./cmd/fumarium -run TestUnderSystemd -measure 20 -v -timeout 30m
//
// The unit is that of deploy, with its times, without its user and its sandbox.

// takenOver are the settings of the unit that the test has, too.
var takenOver = []string{"StateDirectory", "StateDirectoryMode", "Type", "NotifyAccess", "WatchdogSec", "TimeoutAbortSec", "TimeoutStopSec", "TimeoutStartSec", "Restart", "RestartSec", "FileDescriptorStoreMax", "StartLimitIntervalSec"}

const systemdBoot = `set -e
mount --make-rprivate /
mount -t proc proc /proc
# The first process of a machine widens limits of the kernel; these are not ours.
mount --bind /proc/sys /proc/sys
mount -o remount,bind,ro /proc/sys
umount -l /sys/fs/cgroup
mount -t cgroup2 cgroup2 /sys/fs/cgroup
mount -t tmpfs tmpfs /run
mount -t tmpfs tmpfs /var/lib
mkdir /var/lib/fumarium
mount --bind "$2" /var/lib/fumarium
exec env -i PATH="$PATH" container=test SYSTEMD_UNIT_PATH="$1" /usr/lib/systemd/systemd --system --unit=default.target --show-status=no --log-target=console
`

// boots starts the service manager on a unit that runs the daemon on the cabinet.
func boots(t *testing.T, o *outside, state, cabinet string) (journal string) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	dir := t.TempDir()
	journal = filepath.Join(dir, "journal")
	env := append([]string{"FUMARIUM_TEST_AS_PROGRAM=1", "GORACE=atexit_sleep_ms=0"}, o.env()...)
	var text strings.Builder
	text.WriteString("[Unit]\nDefaultDependencies=no\nStartLimitIntervalSec=0\n[Service]\n")
	set := unit(t)
	for _, key := range takenOver {
		require.NotEmpty(t, set[key], key)
		if key != "StartLimitIntervalSec" {
			text.WriteString(key + "=" + set[key] + "\n")
		}
	}
	for _, e := range env {
		text.WriteString("Environment=" + e + "\n")
	}
	text.WriteString("ExecStart=" + self + " run --cabinet " + cabinet + " --listen 127.0.0.1:0\n")
	text.WriteString("ExecStopPost=" + self + " off --cabinet " + cabinet + "\n")
	text.WriteString("StandardOutput=append:" + journal + "\nStandardError=append:" + journal + "\n")
	units := filepath.Join(dir, "units")
	require.NoError(t, os.Mkdir(units, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(units, "fumarium.service"), []byte(text.String()), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(units, "default.target"), []byte("[Unit]\nDefaultDependencies=no\nWants=fumarium.service\n"), 0o644))
	boot := filepath.Join(dir, "boot.sh")
	require.NoError(t, os.WriteFile(boot, []byte(systemdBoot), 0o600))

	group := filepath.Join(cgroup2(t), strings.ReplaceAll(strings.Trim(dir, "/"), "/", "-"))
	require.NoError(t, os.Mkdir(group, 0o755))
	fd, err := syscall.Open(group, syscall.O_DIRECTORY|syscall.O_RDONLY, 0)
	require.NoError(t, err)
	// The page is called from here, so the network stays ours.
	cmd := exec.Command("unshare", "--kill-child", "-C", "-m", "-p", "-u", "-i", "-f", "sh", boot, units, state)
	cmd.SysProcAttr = &syscall.SysProcAttr{UseCgroupFD: true, CgroupFD: fd}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		syscall.Close(fd)
		var groups []string
		_ = filepath.WalkDir(group, func(path string, e os.DirEntry, err error) error {
			if err == nil && e.IsDir() {
				groups = append(groups, path)
			}
			return nil
		})
		assert.Eventually(t, func() bool { // once the last process is gone
			for _, g := range slices.Backward(groups) {
				_ = os.Remove(g)
			}
			_, err := os.Stat(group)
			return os.IsNotExist(err)
		}, time.Minute, 50*time.Millisecond)
		if t.Failed() {
			t.Log(said.String())
		}
	})
	return journal
}

// cgroup2 is where the unified hierarchy is mounted.
func cgroup2(t *testing.T) string {
	t.Helper()
	f, err := os.Open("/proc/self/mounts")
	require.NoError(t, err)
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if fields := strings.Fields(s.Text()); len(fields) > 2 && fields[2] == "cgroup2" {
			return fields[1]
		}
	}
	t.Fatal("no cgroup2 hierarchy is mounted; systemd needs one")
	return ""
}

func init() {
	peer = func(c net.Conn) (pid int) { // as this namespace calls it
		raw, err := c.(*net.UnixConn).SyscallConn()
		if err != nil {
			return 0
		}
		_ = raw.Control(func(fd uintptr) {
			if cred, err := unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED); err == nil {
				pid = int(cred.Pid)
			}
		})
		return pid
	}
}

// pid is the process that holds the heater's line.
func (o *outside) pid(t *testing.T) int {
	t.Helper()
	pid := 0
	require.Eventually(t, func() bool {
		o.mu.Lock()
		defer o.mu.Unlock()
		pid = o.holder["GPIO17"]
		return pid != 0
	}, time.Minute, 10*time.Millisecond)
	return pid
}

func TestUnderSystemd(t *testing.T) {
	times := map[string][]time.Duration{}
	for _, keeps := range []bool{false, true} {
		o := newOutside(t, keeps, 30, 15)
		state, cabinet := t.TempDir(), file(t, "cabinet.yaml", outsideCabinet)
		journal := boots(t, o, state, cabinet)
		read := func() string {
			data, _ := os.ReadFile(journal)
			return string(data)
		}
		require.Eventually(t, func() bool { return strings.Contains(read(), "/\nmetrics") }, time.Minute, 20*time.Millisecond)
		_, page, _ := strings.Cut(read(), "page ")
		url, _, _ := strings.Cut(strings.TrimSpace(page), "/\n")
		product := file(t, "product.yaml", quick(t))
		require.Eventually(t, func() bool {
			code, _, _ := call(t, "start", product, "--reason", "trial", "--server", url, "--state", state)
			return code == exitGood
		}, time.Minute, 200*time.Millisecond)

		ways := []string{"process dies", "process stopped", "bus never answers"}
		for range max(*measure, 1) {
			for _, way := range ways {
				o.heaterIs(t, true)
				pid := o.pid(t)
				helped := strings.Count(read(), "off, read back")
				at := time.Now()
				switch way {
				case "process dies":
					require.NoError(t, syscall.Kill(pid, syscall.SIGKILL))
				case "process stopped":
					require.NoError(t, syscall.Kill(pid, syscall.SIGSTOP))
				default:
					o.silence()
				}
				off := o.heaterIs(t, false)
				require.Eventually(t, func() bool { return strings.Count(read(), "off, read back") > helped }, time.Minute, 5*time.Millisecond)
				helper := time.Now()
				o.mend()
				name := way + ", the kernel releases its lines"
				if keeps {
					name = way + ", the kernel keeps its lines"
					assert.Equal(t, "taken by fumarium heater", off.Why, "by the stop helper")
				}
				times[name+": heater off after"] = append(times[name+": heater off after"], off.At.Sub(at))
				times[name+": stop helper done after"] = append(times[name+": stop helper done after"], helper.Sub(at))
			}
		}
		assert.Contains(t, read(), "SIGABRT")

		// The state folder is the service manager's to name, also for the stop helper.
		o.heaterIs(t, true)
		pid := o.pid(t)
		require.NoError(t, os.WriteFile(cabinet, []byte(outsideCabinet[:300]), 0o600))
		require.NoError(t, syscall.Kill(pid, syscall.SIGKILL))
		o.heaterIs(t, false)
		require.Eventually(t, func() bool {
			return strings.Contains(read(), "/var/lib/fumarium/outputs.json) was switched off and read back: "+allThree)
		}, time.Minute, 5*time.Millisecond)
	}
	for what, all := range times {
		t.Logf("%s: %s", what, spread(all))
	}
}
