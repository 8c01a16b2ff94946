package checkup

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/wiring"
)

func tree(files map[string]string) fstest.MapFS {
	m := fstest.MapFS{}
	for name, text := range files {
		m[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return m
}

// one gives what was found of one thing, and that there is only one such.
func one(t *testing.T, found []wiring.Find, what string) wiring.Find {
	t.Helper()
	var is []wiring.Find
	for _, f := range found {
		if f.What == what {
			is = append(is, f)
		}
		assert.NotEmpty(t, f.Note, f.What)
	}
	require.Len(t, is, 1, "%s in %v", what, found)
	return is[0]
}

func TestBoard(t *testing.T) {
	const model, config, cmdline = "sys/firmware/devicetree/base/model", "boot/firmware/config.txt", "proc/cmdline"
	const lines = "lines of a dead program"
	assert.True(t, one(t, Board(tree(nil)), "board").Good)
	assert.Len(t, Board(tree(map[string]string{model: "Some Other Board\x00"})), 1, "its kernel takes lines back")
	pi := "Raspberry Pi Zero W Rev 1.1\x00"
	found := Board(tree(map[string]string{model: pi}))
	assert.Equal(t, "Raspberry Pi Zero W Rev 1.1", one(t, found, "board").Note)
	assert.False(t, one(t, found, lines).Good)
	assert.Contains(t, one(t, found, lines).Note, "dtparam=strict_gpiod")
	assert.False(t, one(t, Board(tree(map[string]string{model: pi, config: "#dtparam=strict_gpiod\n"})), lines).Good, "a remark is no setting")
	assert.True(t, one(t, Board(tree(map[string]string{model: pi, config: "dtparam=spi=on\ndtparam=strict_gpiod\n"})), lines).Good)
	assert.True(t, one(t, Board(tree(map[string]string{model: pi, "boot/config.txt": "dtparam=strict_gpiod"})), lines).Good)
	assert.True(t, one(t, Board(tree(map[string]string{model: pi, cmdline: "a=b pinctrl_bcm2835.persist_gpio_outputs=n quiet"})), lines).Good)
}

func TestAccess(t *testing.T) {
	assert.Contains(t, one(t, Access(tree(nil)), "user fumarium").Note, "useradd")
	m := tree(map[string]string{
		"etc/passwd": "root:x:0:0::/root:/bin/sh\nfumarium:x:990:990::/:/bin/false\n",
		"etc/group":  "root:x:0:\nfumarium:x:990:\ngpio:x:997:fumarium\nspi:x:996:somebody\n",
	})
	node := func(name string, gid uint32, mode fs.FileMode) {
		m[name] = &fstest.MapFile{Mode: mode | fs.ModeDevice | fs.ModeCharDevice, Sys: &syscall.Stat_t{Gid: gid}}
	}
	node("dev/gpiochip0", 997, 0o660)
	node("dev/spidev0.0", 996, 0o660)
	node("dev/i2c-1", 997, 0o600)
	node("dev/i2c-2", 990, 0o660)
	node("dev/i2c-3", 5, 0o660)
	found := Access(m)
	assert.Equal(t, "in the groups fumarium, gpio", one(t, found, "user fumarium").Note)
	assert.True(t, one(t, found, "/dev/gpiochip0").Good)
	assert.True(t, one(t, found, "/dev/i2c-2").Good, "its own group")
	assert.Contains(t, one(t, found, "/dev/spidev0.0").Note, "usermod -aG spi fumarium")
	assert.Contains(t, one(t, found, "/dev/i2c-1").Note, "mode 0600")
	assert.Contains(t, one(t, found, "/dev/i2c-3").Note, "group number 5")
	assert.False(t, one(t, found, "/dev/spidev0.0").Good || one(t, found, "/dev/i2c-1").Good || one(t, found, "/dev/i2c-3").Good)
}

func TestService(t *testing.T) {
	shipped, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "deploy", "fumarium.service"))
	require.NoError(t, err)
	const where, wanted, beside = "lib/systemd/system/fumarium.service", "etc/systemd/system/multi-user.target.wants/fumarium.service", "etc/systemd/system/fumarium.service.d/override.conf"
	assert.Contains(t, one(t, Service(tree(nil), "fumarium"), "service").Note, "install the package")
	found := Service(tree(map[string]string{where: string(shipped)}), "fumarium")
	assert.Contains(t, one(t, found, "service").Note, "enable --now")
	assert.Contains(t, one(t, found, "service watchdog").Note, "ended after 10 s")
	assert.NoError(t, wiring.Missing(Service(tree(map[string]string{where: string(shipped), wanted: ""}), "fumarium")))
	for text, want := range map[string]string{"[Service]\nWatchdogSec=0\n": "WatchdogSec=10", "[Service]\nExecStopPost=\n": "ExecStopPost="} {
		f := one(t, Service(tree(map[string]string{where: string(shipped), beside: text}), "fumarium"), "service watchdog")
		assert.False(t, f.Good, text)
		assert.Contains(t, f.Note, want)
	}
}

// One of several cabinets runs by the template, with what is set for all and for it.
func TestServiceOfARow(t *testing.T) {
	const row, template = "/etc/fumarium/cabinets", "lib/systemd/system/fumarium@.service"
	assert.Equal(t, "fumarium", Unit("/etc/fumarium/cabinet.yaml", row))
	assert.Equal(t, "fumarium", Unit("plywood-cabinet", row))
	name := Unit(row+"/left.yaml", row)
	assert.Equal(t, "fumarium@left", name)
	shipped, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "deploy", "fumarium.service"))
	require.NoError(t, err)
	assert.Contains(t, one(t, Service(tree(nil), name), "service").Note, "no fumarium@.service")
	files := map[string]string{template: string(shipped)}
	assert.Contains(t, one(t, Service(tree(files), name), "service").Note, "enable --now fumarium@left")
	files["etc/systemd/system/multi-user.target.wants/fumarium@left.service"] = ""
	assert.NoError(t, wiring.Missing(Service(tree(files), name)))
	assert.Error(t, wiring.Missing(Service(tree(files), "fumarium@right")))
	files["etc/systemd/system/fumarium@.service.d/all.conf"] = "[Service]\nWatchdogSec=0\n"
	assert.Error(t, wiring.Missing(Service(tree(files), name)))
	files["etc/systemd/system/fumarium@left.service.d/mine.conf"] = "[Service]\nWatchdogSec=10\n"
	assert.NoError(t, wiring.Missing(Service(tree(files), name)))
}

func TestInstalled(t *testing.T) {
	const status = "var/lib/dpkg/status"
	other := "Package: fumarium-clock\nStatus: install ok installed\nVersion: 9\n\n"
	is := func(state, version string) wiring.Find {
		return Installed(tree(map[string]string{status: other + "Package: fumarium\nStatus: " + state + "\nVersion: " + version + "\n"}), "0.4.0")
	}
	assert.Equal(t, "0.4.0, not from a package", Installed(tree(nil), "0.4.0").Note)
	assert.True(t, is("install ok installed", "0.4.0").Good)
	assert.False(t, is("install ok installed", "0.3.0").Good)
	assert.Contains(t, is("install ok half-configured", "0.4.0").Note, "dpkg --configure -a")
	assert.True(t, is("deinstall ok config-files", "0.3.0").Good, "removed")
}

func TestFolder(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.Chmod(dir, 0o700))
	of := func(r Room, err error) []wiring.Find {
		return Folder(dir, func(string) (Room, error) { return r, err })
	}
	assert.NoError(t, wiring.Missing(of(Room{Free: 1 << 30}, nil)))
	for name, r := range map[string]Room{"read-only": {Free: 1 << 30, ReadOnly: true}, "NFS": {Free: 1 << 30, Kind: 0x6969}, "5 MB are free": {Free: 5 << 20}} {
		f := one(t, of(r, nil), "card")
		assert.False(t, f.Good)
		assert.Contains(t, f.Note, name)
	}
	assert.False(t, one(t, of(Room{}, errors.New("no answer")), "card").Good)
	require.NoError(t, os.Chmod(dir, 0o755))
	assert.Contains(t, one(t, of(Room{Free: 1 << 30}, nil), "state folder").Note, "chmod 700")
	missing := Folder(filepath.Join(dir, "none"), RoomOf)
	assert.Contains(t, one(t, missing, "state folder").Note, "is not there")
	r, err := RoomOf(dir)
	require.NoError(t, err)
	assert.Positive(t, r.Free)
}

// The stores are those of the record's own tests.
func TestRecords(t *testing.T) {
	ctx := context.Background()
	with := func(store, as string) string {
		dir := t.TempDir()
		data, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "controller", "record", "testdata", store))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, as), data, 0o600))
		return dir
	}
	assert.NoError(t, wiring.Missing(Records(ctx, t.TempDir(), false)))
	found := Records(ctx, with("layout-2.db", "batches.db"), false)
	assert.Contains(t, one(t, found, "batches.db").Note, "every chain whole")

	err := wiring.Missing(Records(ctx, with("flipped-byte.db", "batches.db"), false))
	assert.ErrorContains(t, err, "broken at link")
	assert.ErrorContains(t, err, "not every chain whole")
	assert.ErrorContains(t, wiring.Missing(Records(ctx, with("newer.db", "batches-simulated.db"), false)), "use the newer program")
	assert.Error(t, wiring.Missing(Records(ctx, with("truncated.db", "batches.db"), false)))
	assert.ErrorContains(t, wiring.Missing(Records(ctx, with("layout-2.db", "batches-damaged-20261129T010101Z.db"), false)), "set aside")
}
