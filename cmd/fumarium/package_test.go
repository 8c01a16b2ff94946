//go:build packages && linux

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The packages of deploy/package, built, looked at and installed. Root is needed, and
// Debian's debootstrap, lintian and openssh-client:
//
//	go test -tags packages ./cmd/fumarium -run TestPackage -v -timeout 30m
//
// FUMARIUM_TEST_ROOT names a folder with a fresh Debian in it; without it debootstrap
// makes one.

// does runs a command and gives what it said.
func does(t *testing.T, env []string, name string, args ...string) string {
	t.Helper()
	said, err := tries(env, name, args...)
	require.NoError(t, err, "%s %s\n%s", name, strings.Join(args, " "), said)
	return said
}

func tries(env []string, name string, args ...string) (string, error) {
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), env...)
	said, err := cmd.CombinedOutput()
	return string(said), err
}

// packs builds packages from the sources in a folder.
func packs(t *testing.T, sources, out string, env []string, args ...string) string {
	t.Helper()
	said := does(t, env, "bash", append([]string{filepath.Join(sources, "deploy", "package"), out}, args...)...)
	t.Log(said)
	return said
}

// packedHere gives a folder with this machine's packages of a version, which are made once.
func packedHere(t *testing.T, version string) string {
	t.Helper()
	building.Lock()
	defer building.Unlock()
	out := filepath.Join(builtIn(t), "packed-"+version)
	if _, err := os.Stat(out); err != nil {
		packs(t, "../..", out, toolsOf(t, version), runtime.GOARCH)
	}
	return out
}

// toolsOf makes packages of a version, with what packs and what writes its manual pages
// built once.
func toolsOf(t *testing.T, version string) (env []string) {
	t.Helper()
	tools := filepath.Join(builtIn(t), "tools-"+version)
	require.NoError(t, os.MkdirAll(tools, 0o755))
	env = []string{"TOOLS=" + tools}
	if version != newestVersion(t) {
		env = append(env, "VERSION="+version)
	}
	return env
}

// sourcesIn copies the sources to a folder of that name, without what git knows of them.
func sourcesIn(t *testing.T, name string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.Mkdir(dir, 0o755))
	does(t, nil, "sh", "-c", `cd ../.. && tar c --exclude=.git . | tar x -C "$1"`, "copy", dir)
	return dir
}

// TestPackagesAreReproducible builds all packages twice, in folders of other names: the
// same bytes. The program for the board is compiled twice from nothing; those of the other
// two are linked twice, and so are what packs and what writes the manual pages.
func TestPackagesAreReproducible(t *testing.T) {
	one, two := t.TempDir(), t.TempDir()
	first, again := sourcesIn(t, "a"), sourcesIn(t, "another-folder")
	tools := "TOOLS=" + t.TempDir()
	said := packs(t, first, one, []string{tools})
	packs(t, again, two, []string{"TZ=Asia/Kolkata", "LANG=C.UTF-8"}, "amd64", "arm64")
	packs(t, again, two, []string{"GOCACHE=" + t.TempDir(), "GOARM=7", "GOFLAGS=-race", tools}, "armhf")
	files, err := filepath.Glob(filepath.Join(one, "fumarium*_*"))
	require.NoError(t, err)
	require.Len(t, files, 3*6, "fumarium, fumarium-hub and fumarium-mqtt")
	for _, name := range files {
		a, err := os.ReadFile(name)
		require.NoError(t, err)
		b, err := os.ReadFile(filepath.Join(two, filepath.Base(name)))
		require.NoError(t, err)
		assert.True(t, bytes.Equal(a, b), "%s differs", filepath.Base(name))
	}
	for _, arch := range []string{"amd64", "arm64", "armhf"} {
		for _, program := range []string{"fumarium", "fumarium-hub", "fumarium-mqtt"} {
			deb := filepath.Join(one, program+"_"+newestVersion(t)+"_"+arch+".deb")
			assert.Empty(t, does(t, nil, "lintian", "--allow-root", "--display-info", "--fail-on", "error,warning,info", deb), "what Debian's checker says of %s, %s", program, arch)
		}
	}
	sizes := regexp.MustCompile(`fumarium_[^_]+_(amd64|arm64|armhf)\.deb \d+ bytes, the program (\d+)`).FindAllStringSubmatch(said, -1)
	require.Len(t, sizes, 3)
	for _, size := range sizes {
		n, err := strconv.Atoi(size[2])
		require.NoError(t, err)
		assert.LessOrEqual(t, n, 20_000_000, "what deploy/footprint.md says of %s", size[1])
	}
	modules, err := os.ReadFile(filepath.Join(one, "fumarium_"+newestVersion(t)+"_armhf.modules.json"))
	require.NoError(t, err)
	for _, want := range []string{`"modernc.org/sqlite"`, `"h1:`, `"GOARM"`, `"6"`} {
		assert.Contains(t, string(modules), want)
	}
}

func newestVersion(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(changelog)
	require.NoError(t, err)
	versions, err := readChangelog(string(data))
	require.NoError(t, err)
	return versions[0]
}

// TestPackageSums signs with a key of its own, and finds what was changed since.
func TestPackageSums(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	key := filepath.Join(dir, "key")
	does(t, nil, "ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", "", "-f", key)
	packs(t, "../..", out, toolsOf(t, newestVersion(t)), "--key", key, runtime.GOARCH)
	public, err := os.ReadFile(key + ".pub")
	require.NoError(t, err)
	allowed := filepath.Join(dir, "allowed")
	require.NoError(t, os.WriteFile(allowed, append([]byte("fumarium "), public...), 0o600))
	verify := func() error {
		_, err := tries(nil, "sh", "-c", `cd "$1" && ssh-keygen -Y verify -f "$2" -I fumarium -n fumarium -s SHA256SUMS.sig < SHA256SUMS && sha256sum --check SHA256SUMS`, "verify", out, allowed)
		return err
	}
	require.NoError(t, verify())
	deb := filepath.Join(out, "fumarium_"+newestVersion(t)+"_"+runtime.GOARCH+".deb")
	data, err := os.ReadFile(deb)
	require.NoError(t, err)
	data[len(data)/2] ^= 1
	require.NoError(t, os.WriteFile(deb, data, 0o600))
	assert.Error(t, verify(), "a package that was changed")
	does(t, nil, "sh", "-c", `cd "$1" && sha256sum fumarium_* > SHA256SUMS`, "again", out)
	assert.Error(t, verify(), "and its sum with it")
}

// freshRoot is a Debian of this test's own.
func freshRoot(t *testing.T) string {
	t.Helper()
	require.Zero(t, os.Getuid(), "run this as root: it installs packages in a Debian of its own")
	root := filepath.Join(t.TempDir(), "root")
	if ready := os.Getenv("FUMARIUM_TEST_ROOT"); ready != "" {
		does(t, nil, "cp", "-a", ready, root)
	} else {
		does(t, nil, "debootstrap", "--variant=minbase", "--include=systemd,udev", "bookworm", root)
	}
	return root
}

// TestPackageInstalled is the life of a package in a clean Debian: installed, a whole
// batch, upgraded, removed, purged.
func TestPackageInstalled(t *testing.T) {
	root := freshRoot(t)
	in := func(args ...string) string {
		t.Helper()
		t.Log("# " + strings.Join(args, " "))
		said := does(t, []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "HOME=/root", "DEBIAN_FRONTEND=noninteractive"},
			"unshare", append([]string{"-m", "-p", "-f", "--kill-child", "sh", "-c", `mount -t proc proc "$0/proc" && exec chroot "$0" "$@"`, root}, args...)...)
		t.Log(strings.TrimSpace(said))
		return said
	}
	has := func(name string) bool {
		_, err := os.Lstat(filepath.Join(root, name))
		return err == nil
	}
	newest := newestVersion(t)
	for _, v := range []string{"0.0.1", newest} {
		name := "fumarium_" + v + "_" + runtime.GOARCH + ".deb"
		does(t, nil, "cp", filepath.Join(packedHere(t, v), name), filepath.Join(root, "root", name))
	}

	// What goes beside it stands on its own feet, and enables nothing.
	for _, program := range []string{"fumarium-hub", "fumarium-mqtt"} {
		name := program + "_" + newest + "_" + runtime.GOARCH + ".deb"
		does(t, nil, "cp", filepath.Join(packedHere(t, newest), name), filepath.Join(root, "root", name))
		in("dpkg", "-i", "/root/"+name)
		assert.Contains(t, in(program, "--version"), newest)
		assert.Equal(t, "", in("systemd-analyze", "verify", "--man=no", "/lib/systemd/system/"+program+".service"))
		assert.False(t, has("etc/systemd/system/multi-user.target.wants/"+program+".service"))
		if program == "fumarium-hub" {
			assert.Equal(t, "700 fumarium-hub\n", in("stat", "-c", "%a %U", "/etc/fumarium-hub"))
			in("setpriv", "--reuid=fumarium-hub", "--regid=fumarium-hub", "--init-groups", program, "certificate", "hub.example", "--into", "/etc/fumarium-hub")
		}
		in("dpkg", "-P", program)
		for _, gone := range []string{"usr/bin/" + program, "etc/default/" + program, "etc/" + program, "lib/systemd/system/" + program + ".service"} {
			assert.False(t, has(gone), gone)
		}
	}

	in("dpkg", "-i", "/root/fumarium_0.0.1_"+runtime.GOARCH+".deb")
	assert.Contains(t, in("fumarium", "--version"), "fumarium 0.0.1\n")
	groups := in("id", "-nG", "fumarium")
	for _, g := range []string{"gpio", "spi", "i2c"} {
		assert.Contains(t, groups, g)
	}
	assert.Equal(t, "700 fumarium\n", in("stat", "-c", "%a %U", "/var/lib/fumarium"))
	assert.False(t, has("etc/systemd/system/multi-user.target.wants/fumarium.service"), "a first installation enables nothing")
	assert.Contains(t, in("fumarium", "check", "/etc/fumarium/cabinet.yaml"), "no fault found")
	assert.Contains(t, in("zcat", "/usr/share/man/man1/fumarium-run.1.gz"), "fumarium-run")
	assert.Contains(t, in("bash", "-n", "/usr/share/bash-completion/completions/fumarium"), "")
	assert.Equal(t, "", in("systemd-analyze", "verify", "--man=no", "/lib/systemd/system/fumarium.service", "/lib/systemd/system/fumarium@left.service",
		"/lib/systemd/system/fumarium-cabinets.service", "/lib/systemd/system/fumarium-clock.service"))

	// A whole batch of the simulated cabinet that the package brings, as the daemon's user.
	batch := func(want string) {
		t.Helper()
		said := in("setpriv", "--reuid=fumarium", "--regid=fumarium", "--init-groups", "bash", "-c", `
set -e
cd /
export STATE_DIRECTORY=/var/lib/fumarium
server="--server http://127.0.0.1:`+freeLocalPort(t)+`"
fumarium run --cabinet /etc/fumarium/cabinet.yaml --pace 10000 --listen ${server#*//} 2>/tmp/journal & daemon=$!
trap 'kill $daemon; wait $daemon' EXIT
for i in $(seq 100); do fumarium status $server >/dev/null 2>&1 && break; sleep 0.1; done
fumarium start marjoram-ring --stuffed 24h $server
for i in $(seq 600); do fumarium status $server | grep -q 'complete, ' && break; sleep 0.2; done
fumarium status $server
fumarium doctor $server || true`)
		assert.Contains(t, said, want)
		assert.Contains(t, said, "as the package that is installed")
		assert.Regexp(t, `ok +daemon `, said)
		assert.Regexp(t, `ok +state folder `, said)
		assert.Regexp(t, `ok +batches-simulated.db +1 batches, every chain whole`, said)
		assert.Regexp(t, `MEND +service +it does not start with the computer`, said)
		assert.Contains(t, in("fumarium", "replay", "sim-", "--simulated", "--state", "/var/lib/fumarium"), "every decision the same")
	}
	batch("complete")

	// What a person wrote is kept.
	conf := filepath.Join(root, "etc", "fumarium", "cabinet.yaml")
	text, err := os.ReadFile(conf)
	require.NoError(t, err)
	mine := append(text, "# mine\n"...)
	require.NoError(t, os.WriteFile(conf, mine, 0o644))
	in("dpkg", "-i", "/root/fumarium_"+newest+"_"+runtime.GOARCH+".deb")
	assert.Contains(t, in("fumarium", "--version"), "fumarium "+newest+"\n")
	text, err = os.ReadFile(conf)
	require.NoError(t, err)
	assert.Equal(t, string(mine), string(text))
	assert.Contains(t, in("fumarium", "batches", "--simulated", "--state", "/var/lib/fumarium"), "complete", "the record of the version before")

	// And back again.
	in("dpkg", "-i", "--force-downgrade", "/root/fumarium_0.0.1_"+runtime.GOARCH+".deb")
	assert.Contains(t, in("fumarium", "batches", "--simulated", "--state", "/var/lib/fumarium"), "complete")

	in("dpkg", "-r", "fumarium")
	assert.False(t, has("usr/bin/fumarium"))
	assert.True(t, has("etc/fumarium/cabinet.yaml"))
	assert.Contains(t, in("dpkg", "-P", "fumarium"), "the records of your batches stay in /var/lib/fumarium")
	assert.False(t, has("etc/fumarium"), "purged")
	assert.True(t, has("var/lib/fumarium/batches-simulated.db"))
	assert.Equal(t, "", in("find", "/usr", "/etc", "/lib/systemd", "/lib/udev", "-name", "*fumarium*"), "nothing is left")

	// Without a record nothing stays.
	require.NoError(t, os.RemoveAll(filepath.Join(root, "var", "lib", "fumarium")))
	in("dpkg", "-i", "/root/fumarium_"+newest+"_"+runtime.GOARCH+".deb")
	in("dpkg", "-P", "fumarium")
	assert.False(t, has("var/lib/fumarium"))
}

const packageBoot = `set -e
root=$1
mount --make-rprivate /
mount --bind "$root" "$root"
mount -t proc proc "$root/proc"
# The first process of a machine widens limits of the kernel; these are not ours.
mount --bind "$root/proc/sys" "$root/proc/sys"
mount -o remount,bind,ro "$root/proc/sys"
mount -t tmpfs tmpfs "$root/sys"
mkdir -p "$root/sys/fs/cgroup"
mount -t cgroup2 cgroup2 "$root/sys/fs/cgroup"
mount -t tmpfs tmpfs "$root/run"
mount -t tmpfs tmpfs "$root/dev"
for node in null zero full random urandom; do touch "$root/dev/$node"; mount --bind "/dev/$node" "$root/dev/$node"; done
cd "$root"
pivot_root . .
umount -l .
exec env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin container=test SYSTEMD_UNIT_PATH=/units /lib/systemd/systemd --system --unit=default.target --show-status=no --log-target=console
`

// TestPackageUpgradedInABatch upgrades the package while a batch heats, with the real
// service manager as the first process of a Debian of its own: the heater goes off, the
// batch goes on, the record is whole. The program in both packages is this test in its
// place, which finds a cabinet at the other end of a socket.
func TestPackageUpgradedInABatch(t *testing.T) {
	root, out := freshRoot(t), t.TempDir()
	self, err := os.Executable()
	require.NoError(t, err)
	newest := newestVersion(t)
	for _, v := range []string{"0.0.1", newest} {
		packs(t, "../..", out, append(toolsOf(t, v), "VERSION="+v, "PROGRAM="+self), runtime.GOARCH)
		name := "fumarium_" + v + "_" + runtime.GOARCH + ".deb"
		does(t, nil, "cp", filepath.Join(out, name), filepath.Join(root, "root", name))
	}
	does(t, nil, "chroot", root, "dpkg", "-i", "/root/fumarium_0.0.1_"+runtime.GOARCH+".deb")

	t.Setenv("TMPDIR", filepath.Join(root, "srv")) // where the cabinet's socket lies
	o := newOutside(t, true, 30, 15)
	t.Setenv("TMPDIR", "")
	require.NoError(t, os.Chmod(filepath.Dir(o.socket), 0o755))
	require.NoError(t, os.Chmod(o.socket, 0o777))
	require.NoError(t, os.WriteFile(filepath.Join(root, "etc", "fumarium", "cabinet.yaml"), []byte(outsideCabinet), 0o644))
	url := "http://127.0.0.1:" + freeLocalPort(t)
	units := filepath.Join(root, "units")
	for name, text := range map[string]string{
		"default.target":                     "[Unit]\nDefaultDependencies=no\nWants=fumarium.service\n",
		"fumarium-clock.service.d/test.conf": "[Unit]\nDefaultDependencies=no\n",
		// The unit of the package, with its sandbox.
		"fumarium.service.d/test.conf": "[Unit]\nDefaultDependencies=no\n[Service]\nEnvironment=FUMARIUM_TEST_AS_PROGRAM=1 " + outsideEnv + "=" + strings.TrimPrefix(o.socket, root) + "\n" +
			"ExecStart=\nExecStart=/usr/bin/fumarium run --cabinet /etc/fumarium/cabinet.yaml --listen " + strings.TrimPrefix(url, "http://") + "\n" +
			"StandardOutput=append:/journal\nStandardError=append:/journal\n",
	} {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(units, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(units, name), []byte(text), 0o644))
	}
	for _, name := range []string{"fumarium.service", "fumarium-clock.service"} {
		require.NoError(t, os.Symlink("/lib/systemd/system/"+name, filepath.Join(units, name)))
	}
	inside := startsManager(t, root)

	journal := func() string { data, _ := os.ReadFile(filepath.Join(root, "journal")); return string(data) }
	state := filepath.Join(root, "var", "lib", "fumarium")
	product := file(t, "product.yaml", quick(t))
	require.Eventually(t, func() bool {
		code, _, _ := call(t, "start", product, "--reason", "trial", "--server", url, "--state", state)
		return code == exitGood
	}, time.Minute, 200*time.Millisecond, "%s", journal())
	o.heaterIs(t, true)
	time.Sleep(5 * time.Second) // of real heat, which no clock of ours can shorten
	o.heaterIs(t, true)

	helped := strings.Count(journal(), "off, read back")
	at := time.Now()
	said := inside("dpkg", "-i", "/root/fumarium_"+newest+"_"+runtime.GOARCH+".deb")
	t.Log(said)
	assert.NotContains(t, said, "does not start")
	assert.Greater(t, strings.Count(journal(), "off, read back"), helped, "the stop helper looked at the pins")
	o.mu.Lock()
	heater := o.heater
	o.mu.Unlock()
	off := -1
	for i, c := range heater {
		if !c.On && c.At.After(at) && off < 0 {
			off = i
		}
	}
	require.GreaterOrEqual(t, off, 0, "the heater went off")
	t.Logf("heater off %v after the upgrade began (%s), upgraded after %v", heater[off].At.Sub(at).Round(time.Millisecond), heater[off].Why, time.Since(at).Round(time.Millisecond))
	assert.Contains(t, inside("cat", "/var/lib/dpkg/info/fumarium.list"), "/usr/bin/fumarium")
	assert.Contains(t, journal(), "unfinished batch goes on")

	back := o.heaterIs(t, true)
	t.Logf("heats again after %v", back.At.Sub(at).Round(time.Millisecond))
	code, text, errText := call(t, "status", "--server", url, "--state", state)
	assert.Equal(t, exitGood, code, errText)
	assert.Contains(t, text, "running")
	code, _, errText = call(t, "stop", "--server", url, "--state", state)
	assert.Equal(t, exitGood, code, errText)
	require.Eventually(t, func() bool { return strings.Contains(journal(), "batch stopped") }, time.Minute, 100*time.Millisecond)

	// Removal stops what runs, with everything off, before the program goes.
	inside("dpkg", "-r", "fumarium")
	o.heaterIs(t, false)
	o.mu.Lock()
	assert.Empty(t, o.owner, "nobody holds a line")
	o.mu.Unlock()
	code, text, errText = call(t, "batches", "--state", state)
	require.Equal(t, exitGood, code, errText)
	number := strings.Fields(strings.Split(text, "\n")[1])[0]
	code, text, errText = call(t, "batches", number, "--state", state)
	t.Log(text)
	assert.Contains(t, text, "record whole")
	_, text, errText = call(t, "replay", number, "--state", state)
	assert.Contains(t, text, "every decision the same", errText)
}

// startsManager starts the service manager in a Debian; what it gives runs a command there.
func startsManager(t *testing.T, root string) (inside func(args ...string) string) {
	t.Helper()
	boot := filepath.Join(t.TempDir(), "boot.sh")
	require.NoError(t, os.WriteFile(boot, []byte(packageBoot), 0o600))
	group := filepath.Join(cgroup2(t), fmt.Sprintf("fumarium-package-%d", os.Getpid()))
	require.NoError(t, os.Mkdir(group, 0o755))
	fd, err := syscall.Open(group, syscall.O_DIRECTORY|syscall.O_RDONLY, 0)
	require.NoError(t, err)
	cmd := exec.Command("unshare", "--kill-child", "-C", "-m", "-p", "-u", "-i", "-f", "sh", boot, root)
	cmd.SysProcAttr = &syscall.SysProcAttr{UseCgroupFD: true, CgroupFD: fd}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		syscall.Close(fd)
		assert.Eventually(t, func() bool {
			_, _ = tries(nil, "find", group, "-depth", "-type", "d", "-exec", "rmdir", "{}", ";")
			_, err := os.Stat(group)
			return os.IsNotExist(err)
		}, time.Minute, 50*time.Millisecond)
		if t.Failed() {
			t.Log(said.String())
			text, _ := os.ReadFile(filepath.Join(root, "journal"))
			t.Log(string(text))
		}
	})
	child := ""
	require.Eventually(t, func() bool {
		data, _ := os.ReadFile(fmt.Sprintf("/proc/%d/task/%[1]d/children", cmd.Process.Pid))
		child = strings.TrimSpace(string(data))
		return child != ""
	}, time.Minute, 10*time.Millisecond)
	return func(args ...string) string {
		t.Helper()
		env := []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND=noninteractive", "SYSTEMD_UNIT_PATH=/units"}
		return does(t, env, "nsenter", append([]string{"-t", child, "-m", "-p", "-u", "-i", "-C", "-r", "-w"}, args...)...)
	}
}
