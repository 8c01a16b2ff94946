//go:build packages && linux

package main

import (
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPackageRowOfCabinets runs two simulated cabinets at once by the units of the package,
// with the real service manager: one page has both, an upgrade starts both again, a third
// that claims what another has is refused, and removal stops and takes all.
func TestPackageRowOfCabinets(t *testing.T) {
	root := freshRoot(t)
	newest := newestVersion(t)
	for _, v := range []string{"0.0.1", newest} {
		name := "fumarium_" + v + "_" + runtime.GOARCH + ".deb"
		does(t, nil, "cp", filepath.Join(packedHere(t, v), name), filepath.Join(root, "root", name))
	}
	does(t, nil, "chroot", root, "dpkg", "-i", "/root/fumarium_0.0.1_"+runtime.GOARCH+".deb")
	row := filepath.Join(root, "etc", "fumarium", "cabinets")
	require.NoError(t, os.Mkdir(row, 0o755))
	text, err := os.ReadFile(filepath.Join(root, "etc", "fumarium", "cabinet.yaml"))
	require.NoError(t, err)
	addresses := map[string]string{}
	write := func(name, text string) {
		addresses[name] = "127.0.0.1:" + freeLocalPort(t)
		require.NoError(t, os.WriteFile(filepath.Join(row, name+".yaml"), []byte(text), 0o644))
		require.NoError(t, os.WriteFile(filepath.Join(row, name+".env"), []byte("LISTEN="+addresses[name]+"\n"), 0o644))
	}
	write("left", strings.Replace(string(text), "\ncabinet: ", "\ncabinet: Left ", 1))
	write("right", strings.Replace(string(text), "\ncabinet: ", "\ncabinet: Right ", 1))
	write("one", outsideCabinet)
	write("two", outsideCabinet)
	page := "127.0.0.1:" + freeLocalPort(t)
	units := filepath.Join(root, "units")
	// A container gives no dynamic user and no devices of its own.
	for name, text := range map[string]string{
		"default.target":                        "[Unit]\nDefaultDependencies=no\nWants=fumarium@left.service fumarium@right.service fumarium-cabinets.service\n",
		"fumarium-clock.service.d/test.conf":    "[Unit]\nDefaultDependencies=no\n",
		"fumarium@.service.d/test.conf":         "[Unit]\nDefaultDependencies=no\n[Service]\nStandardOutput=append:/journal\nStandardError=append:/journal\n",
		"fumarium-cabinets.service.d/test.conf": "[Unit]\nDefaultDependencies=no\n[Service]\nExecStart=\nExecStart=/usr/bin/fumarium cabinets --listen " + page + "\nDynamicUser=no\nUser=fumarium\nPrivateTmp=no\nPrivateDevices=no\nStandardError=append:/journal\n",
	} {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(units, name)), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(units, name), []byte(text), 0o644))
	}
	for _, name := range []string{"fumarium@.service", "fumarium.service", "fumarium-cabinets.service", "fumarium-clock.service"} {
		require.NoError(t, os.Symlink("/lib/systemd/system/"+name, filepath.Join(units, name)))
	}
	inside := startsManager(t, root)
	state := func(name string) string { return filepath.Join(root, "var", "lib", "fumarium-"+name) }
	for _, name := range []string{"left", "right"} {
		require.Eventually(t, func() bool {
			code, _, _ := call(t, "start", "marjoram-ring", "--stuffed", "14h", "--server", "http://"+addresses[name], "--state", state(name))
			return code == exitGood
		}, time.Minute, 200*time.Millisecond, name)
	}
	both := func() {
		t.Helper()
		var html string
		require.Eventually(t, func() bool {
			_, html = (&daemon{t: t, url: "http://" + page}).get("/")
			return strings.Contains(html, `<a href="http://`+addresses["left"]+`/">Left Insulated plywood cabinet, simulated</a>`) && // as its daemon says
				strings.Contains(html, `<a href="http://`+addresses["right"]+`/">Right Insulated plywood cabinet, simulated</a>`)
		}, time.Minute, 200*time.Millisecond, html)
	}
	require.Eventually(t, func() bool {
		c, err := net.Dial("tcp", page)
		if err == nil {
			c.Close()
		}
		return err == nil
	}, time.Minute, 200*time.Millisecond, "the page of the row")
	both()
	said := inside("sh", "-c", "fumarium cabinets --json || test $? = 1") // two of them do not run
	t.Log(said)
	pid := func(name string) string { return inside("systemctl", "show", "-P", "MainPID", "fumarium@"+name) }
	left, right := pid("left"), pid("right")
	require.NotEqual(t, left, right)

	// What two claim is refused, by the daemon of either, and by check.
	_, err = tries(nil, "chroot", root, "fumarium", "check", "/etc/fumarium/cabinets/one.yaml", "/etc/fumarium/cabinets/two.yaml")
	require.Error(t, err)
	inside("systemctl", "start", "--no-block", "fumarium@two")
	require.Eventually(t, func() bool {
		data, _ := os.ReadFile(filepath.Join(root, "journal"))
		return strings.Contains(string(data), "the heater is on GPIO17: the heater of the cabinet in /etc/fumarium/cabinets/one.yaml has it")
	}, time.Minute, 200*time.Millisecond)
	inside("systemctl", "stop", "fumarium@two")
	for _, name := range []string{"one", "two"} {
		require.NoError(t, os.Remove(filepath.Join(row, name+".yaml")))
	}

	t.Log(inside("dpkg", "-i", "/root/fumarium_"+newest+"_"+runtime.GOARCH+".deb"))
	assert.NotEqual(t, left, pid("left"), "started again")
	assert.NotEqual(t, right, pid("right"))
	both()
	inside("dpkg", "-P", "fumarium")
	for _, name := range []string{"left", "right"} {
		_, err := os.Stat(filepath.Join(state(name), "batches-simulated.db"))
		assert.NoError(t, err, "evidence stays")
		code, _, _ := call(t, "status", "--server", "http://"+addresses[name])
		assert.Equal(t, exitCouldNo, code, "nothing runs any more")
	}
	_, err = os.Stat(filepath.Join(root, "etc", "fumarium"))
	assert.ErrorIs(t, err, os.ErrNotExist)
}
