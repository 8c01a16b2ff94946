//go:build linux

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/onewire"

	"fumarium/cmd/fumarium/internal/opened"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/relay"
	"fumarium/sensors/ds18b20"
)

// This file is the test on the emulated board: its first process, the service manager's
// stand-in, and whoever lays a finger on the probes.

const w1 = "/sys/bus/w1/devices"

func init() {
	if os.Getpid() == 1 && os.Getenv(guestEnv) != "" {
		first = beFirst
	}
}

// beFirst is what the first process of a machine does for the others; then the tests.
func beFirst(m *testing.M) {
	must := func(what string, err error) {
		if err != nil {
			fmt.Println(what, err)
			fmt.Println(guestOver + "it could not begin")
			select {}
		}
	}
	mount := func(kind, at string) {
		must(at, os.MkdirAll(at, 0o755))
		must(at, unix.Mount(kind, at, kind, 0, ""))
	}
	mount("proc", "/proc")
	mount("sysfs", "/sys")
	mount("devtmpfs", "/dev")
	mount("debugfs", "/sys/kernel/debug")
	mount("cgroup2", "/sys/fs/cgroup")
	mount("tmpfs", "/tmp")
	for _, name := range []string{"/wire.ko", "/watchdog.ko"} {
		f, err := os.Open(name)
		must(name, err)
		must(name, unix.FinitModule(int(f.Fd()), "", 0))
		f.Close()
	}
	mount("tmpfs", w1) // the kernel's 1-Wire as it looks from outside
	seconds, err := strconv.ParseInt(os.Getenv("FUMARIUM_TEST_CLOCK"), 10, 64)
	must("clock", err)
	clock := unix.NsecToTimeval(seconds * 1e9)
	must("clock", unix.Settimeofday(&clock))
	lo, err := unix.NewIfreq("lo")
	must("lo", err)
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	must("lo", err)
	lo.SetUint16(unix.IFF_UP)
	must("lo", unix.IoctlIfreq(s, unix.SIOCSIFFLAGS, lo))
	fmt.Printf("%s%d\n", guestOver, m.Run())
	_ = unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF)
	select {}
}

// A seen line is what the kernel shows of it.
type seen struct {
	holder, direction string // of nobody's, the direction in which it was left
	high              bool
}

var errNotHeld = errors.New("nobody holds it")

var (
	chipShown = regexp.MustCompile(`^gpiochip\d+: GPIOs (\d+)-\d+,.* ([^ ,]+)(, can sleep)?:$`)
	lineShown = regexp.MustCompile(`^ gpio-(\d+) +\(.{20}\|(.{20})\) (in|out) +(hi|lo)`)
)

// look reads a line's state off the kernel. One that nobody holds is taken as it is for
// that, which changes nothing on it.
func (b emulatedBoard) look(t *testing.T, offset int) seen {
	t.Helper()
	s, err := b.held(offset)
	if err == nil {
		return s
	}
	require.ErrorIs(t, err, errNotHeld)
	let := b.asItIs(t, offset)
	defer let()
	s, err = b.held(offset)
	require.NoError(t, err)
	s.holder = ""
	return s
}

func (b emulatedBoard) held(offset int) (s seen, err error) {
	data, err := os.ReadFile("/sys/kernel/debug/gpio")
	if err != nil {
		return s, err
	}
	base := -1
	for line := range strings.Lines(string(data)) {
		line = strings.TrimRight(line, "\n")
		if m := chipShown.FindStringSubmatch(line); m != nil {
			base = -1
			if m[2] == b.label {
				base, err = strconv.Atoi(m[1])
			}
		}
		if m := lineShown.FindStringSubmatch(line); m != nil && base >= 0 && m[1] == strconv.Itoa(base+offset) {
			return seen{strings.TrimSpace(m[2]), m[3], m[4] == "hi"}, err
		}
	}
	return s, errNotHeld
}

// asItIs takes a line without a direction, so that its direction and level stay.
func (b emulatedBoard) asItIs(t *testing.T, offset int) (letGo func()) {
	t.Helper()
	chips, err := filepath.Glob("/dev/gpiochip*")
	require.NoError(t, err)
	for _, path := range chips {
		fd, err := unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC, 0)
		require.NoError(t, err)
		var info unix.GPIOChipInfo
		control(t, fd, 0x8044b401, unsafe.Pointer(&info)) // GPIO_GET_CHIPINFO_IOCTL
		if unix.ByteSliceToString(info.Label[:]) != b.label {
			unix.Close(fd)
			continue
		}
		var r unix.GPIOV2LineRequest
		r.Offsets[0], r.Num_lines = uint32(offset), 1
		copy(r.Consumer[:], "whoever looks")
		control(t, fd, unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Pointer(&r))
		unix.Close(fd)
		return func() { unix.Close(int(r.Fd)) }
	}
	t.Fatalf("no chip is labelled %s", b.label)
	return nil
}

func control(t *testing.T, fd int, request uint, arg unsafe.Pointer) {
	t.Helper()
	_, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(request), uintptr(arg))
	require.Zero(t, e, "%v", e)
}

// The probes: what the kernel's thermometer driver shows of two chips.
const (
	chamberAt onewire.Address = 0x1c0000031edd2a28
	coreAt    onewire.Address = 0x2b0000031edd2b28
)

// shows writes what the driver shows of a chip at that temperature.
func shows(t *testing.T, a onewire.Address, celsius float64) {
	raw := int16(celsius * 16)
	pad := []byte{byte(raw), byte(raw >> 8), 0x4B, 0x46, 0x7F, 0xFF, 0x0E, 0x10}
	text := fmt.Sprintf("% x", append(pad, onewire.CalcCRC(pad)))
	dir := filepath.Join(w1, ds18b20.KernelName(a))
	err := os.MkdirAll(dir, 0o755)
	if err == nil {
		err = os.WriteFile(dir+"/new", fmt.Appendf(nil, "%s : crc=%s YES\n%s t=%d\n", text, text[len(text)-2:], text, int(raw)*1000/16), 0o644)
	}
	if err == nil {
		err = os.Rename(dir+"/new", dir+"/w1_slave")
	}
	if err != nil {
		t.Error(err)
	}
}

func (b emulatedBoard) cabinet() string {
	return fmt.Sprintf(`cabinet: Emulated box
ambient: 15 °C
%sprobes:
  - {name: chamber, role: chamber, chip: DS18B20, bus: w1_bus_master1, address: %#016x}
  - {name: core, role: core, chip: DS18B20, bus: w1_bus_master1, address: %#016x}
heater: {pin: %s, power: 1500 W, window: 5 s, least on: 1 s, least off: 1 s}
limits: {chamber: 115 °C}
response: {gain: 120 K, lag: 20 min, second lag: 2 min, dead time: 30 s}
fan: {pin: %s, window: 2 min, least on: 20 s, least off: 20 s}
sounder: {pin: %s}
`, b.chip, uint64(chamberAt), uint64(coreAt), b.pins[0], b.pins[1], b.pins[2])
}

// program runs the program and gives what it said.
func program(t *testing.T, args ...string) (status int, said string) {
	t.Helper()
	out, err := exec.Command("/fumarium", args...).CombinedOutput()
	if err != nil {
		require.IsType(t, &exec.ExitError{}, err, "%v", args)
		status = err.(*exec.ExitError).ExitCode()
	}
	return status, string(out)
}

// onTheBoard lives through the board's day.
func onTheBoard(t *testing.T, b emulatedBoard) {
	name := file(t, "cabinet.yaml", b.cabinet())
	require.NoError(t, os.MkdirAll(w1+"/w1_bus_master1", 0o755))
	slaves := ds18b20.KernelName(chamberAt) + "\n" + ds18b20.KernelName(coreAt) + "\n"
	require.NoError(t, os.WriteFile(w1+"/w1_bus_master1/w1_master_slaves", []byte(slaves), 0o644))

	o := newOutside(t, b.keeps, 30, 15)
	over := make(chan struct{})
	t.Cleanup(func() { close(over) })
	go func() { // the air follows what the heater's line is
		for {
			s, err := b.held(b.offsets[0])
			o.mu.Lock()
			o.set("GPIO17", err == nil && s.direction == "out" && s.high, "")
			o.warm()
			shows(t, chamberAt, o.chamber)
			shows(t, coreAt, o.core)
			o.mu.Unlock()
			select {
			case <-over:
				return
			case <-time.After(100 * time.Millisecond):
			}
		}
	}()
	b.survey(t, name)
	b.findsItsChip(t)
	b.edges(t)
	b.life(t, o, name)
}

// survey is what wiring find says of the board. To feed its watchdog is not tried: the
// emulator restarts the board as soon as it is woken.
func (b emulatedBoard) survey(t *testing.T, name string) {
	code, said := program(t, "wiring", "find", "--cabinet", name, "--json")
	assert.Equal(t, exitBad, code, "nothing feeds the watchdog")
	var all struct{ Machine []wiring.Find }
	require.NoError(t, json.Unmarshal([]byte(said), &all), said)
	found := map[string]wiring.Find{}
	for _, f := range all.Machine {
		found[f.What] = f
	}
	for what, note := range b.chips {
		assert.Equal(t, wiring.Find{What: what, Good: true, Note: "GPIO chip " + note}, found[what])
	}
	for _, a := range []onewire.Address{chamberAt, coreAt} {
		what := fmt.Sprintf("w1_bus_master1 at %#016x", uint64(a))
		assert.Equal(t, wiring.Find{What: what, Good: true, Note: "DS18B20"}, found[what])
	}
	assert.Equal(t, b.memory, found["memory limit"].Good, "%v", found["memory limit"])
	assert.False(t, found["board watchdog"].Good)
	assert.Contains(t, found["board watchdog"].Note, b.watchdog)
}

// findsItsChip has the program look for a chip that is not there.
func (b emulatedBoard) findsItsChip(t *testing.T) {
	text := "line chip: nowhere\n" + strings.Replace(b.cabinet(), b.chip, "", 1)
	code, said := program(t, "run", "--cabinet", file(t, "other.yaml", text), "--state", t.TempDir(), "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, said, `no GPIO chip is labelled "nowhere"; name yours in the cabinet file as line chip: one of `+b.labels)
}

// edges watches a line as a button's is watched: the kernel takes both edges and the time
// that contacts bounce, it gives the edges with its own clock, and Close ends the wait. An
// emulated Raspberry Pi has no edges to give: its lines only follow what drives them, as
// hw/gpio/bcm2835_gpio.c of QEMU has it.
func (b emulatedBoard) edges(t *testing.T) {
	k := relay.NewKernel()
	w, err := k.Watch(relay.Opts{Chip: b.label, Pin: b.key, User: "fumarium confirm", Pull: relay.ToOff, Debounce: 20 * time.Millisecond})
	require.NoError(t, err)
	offset, err := strconv.Atoi(strings.TrimPrefix(b.key, "GPIO"))
	require.NoError(t, err)
	info := b.info(t, offset)
	const both = 1<<4 | 1<<5 // GPIO_V2_LINE_FLAG_EDGE_RISING and _FALLING of include/uapi/linux/gpio.h
	assert.EqualValues(t, both, info.Flags&both)
	require.EqualValues(t, 1, info.Num_attrs)
	assert.EqualValues(t, unix.GPIO_V2_LINE_ATTR_ID_DEBOUNCE, info.Attrs[0].Id)
	assert.EqualValues(t, 20_000, *(*uint32)(unsafe.Pointer(&info.Attrs[0].Flags)))
	assert.Equal(t, seen{"fumarium confirm", "in", false}, b.look(t, offset))
	for n := 0; b.hasKey && n < 3; n++ {
		before := k.EdgeClock()
		fmt.Println(pressKey)
		down, err := w.Next()
		require.NoError(t, err)
		up, err := w.Next()
		require.NoError(t, err)
		after := k.EdgeClock()
		assert.True(t, down.On)
		assert.False(t, up.On)
		assert.Less(t, before, down.At)
		assert.LessOrEqual(t, up.At, after)
		assert.InDelta(t, 100, (up.At-down.At).Seconds()*1000, 10, "it is pressed for 100 ms")
		t.Logf("measured: a press of 100 ms, edges %.1f ms apart by the kernel's clock", (up.At-down.At).Seconds()*1000)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := w.Next()
		ended <- err
	}()
	time.Sleep(100 * time.Millisecond)
	require.NoError(t, w.Close())
	select {
	case err := <-ended:
		assert.Error(t, err)
	case <-time.After(10 * time.Second):
		t.Error("Close did not end the wait")
	}
}

// info is what the kernel says of a line.
func (b emulatedBoard) info(t *testing.T, offset int) (info unix.GPIOV2LineInfo) {
	chips, err := relay.NewKernel().Chips()
	require.NoError(t, err)
	for _, c := range chips {
		if c.Label != b.label {
			continue
		}
		fd, err := unix.Open(c.Path, unix.O_RDWR|unix.O_CLOEXEC, 0)
		require.NoError(t, err)
		defer unix.Close(fd)
		info.Offset = uint32(offset)
		control(t, fd, unix.GPIO_V2_GET_LINEINFO_IOCTL, unsafe.Pointer(&info))
		return info
	}
	t.Fatalf("no chip is labelled %s", b.label)
	return info
}

// holds waits until the kernel shows a line so.
func (b emulatedBoard) holds(t *testing.T, offset int, want seen) {
	t.Helper()
	require.Eventually(t, func() bool {
		s, err := b.held(offset)
		return err == nil && s == want
	}, 2*time.Minute, 100*time.Millisecond, "line %d never was %v", offset, want)
}

// off is what a line must be that the stop helper has let go of.
func (b emulatedBoard) off(t *testing.T, left seen) {
	t.Helper()
	if b.keeps {
		assert.Equal(t, seen{"", "out", false}, left)
		return
	}
	assert.Equal(t, seen{"", "in", left.high}, left, "an input switches nothing")
}

// life is the program's life on the board under the service manager's stand-in, by the
// times of the unit.
func (b emulatedBoard) life(t *testing.T, o *outside, name string) {
	h := &heating{o: o, dir: "/tmp/state"}
	h.supervisor = newSupervisor(t, span(t, "WatchdogSec"), span(t, "TimeoutAbortSec"),
		[]string{"run", "--cabinet", name, "--listen", "127.0.0.1:0"}, []string{"off", "--cabinet", name}, []string{"STATE_DIRECTORY=" + h.dir})
	h.self = "/fumarium"
	heater := b.offsets[0]
	var left seen // as the dead daemon left the heater's line
	h.dead = func() { left = b.look(t, heater) }
	h.start()
	h.until("READY", h.saidReady)
	for i, output := range []string{"heater", "fan", "sounder"} {
		assert.Equal(t, seen{"fumarium " + output, "out", false}, b.look(t, b.offsets[i]), "off, once it is an output")
	}
	h.batch()
	on, lives := seen{"fumarium heater", "out", true}, 0
	heats := func() {
		t.Helper()
		b.holds(t, heater, on)
		lives++
	}
	heats()

	// A second process gets no line, and changes none.
	for _, args := range [][]string{{"run", "--listen", "127.0.0.1:0", "--state", "/tmp/second"}, {"off", "--state", h.dir}} {
		code, said := program(t, append(args, "--cabinet", name)...)
		assert.Equal(t, exitCouldNo, code, said)
		assert.Contains(t, said, `is held by "fumarium heater"`)
		assert.Equal(t, on, b.look(t, heater))
	}

	ends := 0
	ended := func() end {
		t.Helper()
		ends++
		e := h.nextEnd(ends)
		if b.keeps {
			assert.Equal(t, seen{"", "out", true}, left, "it stays on when its owner is dead")
		} else {
			assert.Equal(t, seen{"", "in", left.high}, left, "it is an input when its owner is dead")
		}
		for _, offset := range b.offsets {
			b.off(t, b.look(t, offset))
		}
		return e
	}
	at := h.signal(syscall.SIGKILL)
	e := ended()
	assert.NoError(t, e.helper, e.said)
	assert.Contains(t, e.said, "off, read back from the pins: sounder, fan, heater")
	t.Logf("measured: killed: gone after %v, stop helper done after %v", e.died.Sub(at).Round(time.Millisecond), e.endOff.Sub(at).Round(time.Millisecond))

	h.again <- struct{}{}
	heats()
	at = h.signal(syscall.SIGSTOP)
	assert.Equal(t, on, b.look(t, heater), "nobody else has it meanwhile")
	e = ended()
	assert.True(t, e.watchdog)
	assert.NoError(t, e.helper, e.said)
	t.Logf("measured: stopped: told to end after %v, gone after %v, stop helper done after %v",
		e.aborted.Sub(at).Round(time.Millisecond), e.died.Sub(at).Round(time.Millisecond), e.endOff.Sub(at).Round(time.Millisecond))

	// The cabinet file is torn while the heater is on.
	h.again <- struct{}{}
	heats()
	require.NoError(t, os.WriteFile(name, []byte(b.cabinet()[:300]), 0o600))
	h.signal(syscall.SIGKILL)
	e = ended()
	known := fmt.Sprintf("%s/%s) was switched off and read back: heater on %s", h.dir, opened.File, b.pins[0])
	var exit *exec.ExitError
	if assert.ErrorAs(t, e.helper, &exit) {
		assert.Equal(t, exitCouldNo, exit.ExitCode())
	}
	assert.Contains(t, e.said, known)
	code, said := program(t, "run", "--cabinet", name, "--state", h.dir, "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCouldNo, code)
	assert.Contains(t, said, known)
	require.NoError(t, os.WriteFile(name, []byte(b.cabinet()), 0o600))

	// Told to end, it switches off itself, and lets go.
	h.again <- struct{}{}
	heats()
	h.mu.Lock()
	h.closed = true
	h.mu.Unlock()
	h.dead = func() { left = b.look(t, heater); b.off(t, left) }
	h.signal(syscall.SIGTERM)
	e = h.nextEnd(ends + 1)
	assert.NoError(t, e.helper, e.said)
	assert.Contains(t, e.messages, "STOPPING=1")
	t.Logf(switchedOn, lives)
	if t.Failed() {
		fmt.Println(h.journal())
	}
}
