//go:build linux

package main

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// This file boots Debian's kernel on boards that an emulator plays, with nothing on them
// but the program, built for them, and this test as their first process. Their GPIO lines
// are those of the real drivers. The emulator's clock goes by the instructions carried
// out and jumps over idle time: how loaded this machine is does not show in it, and to
// wait costs nothing.
//
//	bash .ci/kernel /tmp/kernel && FUMARIUM_TEST_KERNEL=/tmp/kernel go test ./cmd/fumarium -run TestOnEmulatedBoards -v

const (
	// guestEnv says to the test on the board which board it is on; kernelEnv to the one
	// that boots it where Debian's linux-image for arm64 is unpacked.
	guestEnv  = "FUMARIUM_TEST_GUEST"
	kernelEnv = "FUMARIUM_TEST_KERNEL"
	guestOver = "the guest is over: "
	// pressKey asks the one who boots the board to press its key.
	pressKey = "the guest asks for its key"
	// switchedOn says how often the guest had its heater switched on.
	switchedOn = "measured: the heater was switched on %d times"
)

// An emulatedBoard is one machine of the emulator, and what is known of its kernel.
type emulatedBoard struct {
	name     string
	machine  []string          // for the emulator; DTB is the board's device tree of the package
	kernel   string            // what else its command line says
	label    string            // of the chip with the relays' lines
	chips    map[string]string // by path, as the survey has them
	labels   string            // of all of them
	watchdog string            // what the survey says of the board's
	chip     string            // what the cabinet file says of it
	pins     [3]string
	offsets  [3]int // heater, fan, sounder
	keeps    bool   // a line stays as it was when its owner dies
	memory   bool   // the kernel has the memory control group
	key      string // a free line; the emulator presses a key on it where hasKey
	hasKey   bool
}

var emulatedBoards = []emulatedBoard{{
	// The lines have names of their own; GPIO10 is SPI_MOSI. A second chip is there,
	// behind the firmware.
	name: "raspberry-pi-3", machine: []string{"-M", "raspi3b", "-dtb", "DTB"},
	label: "pinctrl-bcm2835", pins: [3]string{"GPIO17", "GPIO10", "24"}, offsets: [3]int{17, 10, 24}, memory: true, key: "GPIO22",
	chips:  map[string]string{"/dev/gpiochip0": "pinctrl-bcm2835 with 54 lines", "/dev/gpiochip1": "raspberrypi-exp-gpio with 8 lines"},
	labels: "pinctrl-bcm2835, raspberrypi-exp-gpio", watchdog: "Broadcom BCM2835 Watchdog timer: nothing feeds it",
}, {
	name: "pl061", machine: []string{"-M", "virt", "-cpu", "cortex-a53", "-m", "512", "-trace", "pl061_set_output", "-D", "TRACE"}, kernel: "cgroup_disable=memory",
	label: "9030000.pl061", chip: "line chip: 9030000.pl061\n", pins: [3]string{"0", "1", "2"}, offsets: [3]int{0, 1, 2}, keeps: true, key: "3", hasKey: true,
	chips: map[string]string{"/dev/gpiochip0": "9030000.pl061 with 8 lines"}, labels: "9030000.pl061", watchdog: "this board shows none",
}}

func TestOnEmulatedBoards(t *testing.T) {
	if name := os.Getenv(guestEnv); name != "" {
		for _, b := range emulatedBoards {
			if b.name == name {
				onTheBoard(t, b)
				return
			}
		}
		t.Fatalf("no board is called %q", name)
	}
	emulator, err := exec.LookPath("qemu-system-aarch64")
	kernel := os.Getenv(kernelEnv)
	if err != nil || kernel == "" {
		why := "it needs qemu-system-aarch64 (apt-get install -y --no-install-recommends qemu-system-arm) and in " + kernelEnv + " the folder that bash .ci/kernel FOLDER fills"
		if os.Getenv("CI") != "" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
	t.Parallel()
	one := func(pattern string) string {
		found, err := filepath.Glob(filepath.Join(kernel, pattern))
		require.NoError(t, err)
		require.Len(t, found, 1, "%s in %s", pattern, kernel)
		return found[0]
	}
	dir := t.TempDir()
	arm := []string{"GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0"}
	build := exec.Command("go", append(asPacked(t, "test", "-c"), "-ldflags=-s -w", "-o", filepath.Join(dir, "init"), ".")...)
	build.Env = append(os.Environ(), arm...)
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	var ram ramDisk
	ram.folder("dev")
	ram.node("dev/console", 5, 1)
	for name, from := range map[string]string{
		"init": filepath.Join(dir, "init"), "fumarium": built(t, arm...), "README.md": filepath.Join("..", "..", "README.md"),
		"wire.ko": one("lib/modules/*/kernel/drivers/w1/wire.ko"), "watchdog.ko": one("lib/modules/*/kernel/drivers/watchdog/bcm2835_wdt.ko"),
	} {
		data, err := os.ReadFile(from)
		require.NoError(t, err)
		ram.file(name, data)
	}
	data, err := os.ReadFile(filepath.Join("..", "..", "deploy", "fumarium.service"))
	require.NoError(t, err)
	ram.folder("deploy")
	ram.file("deploy/fumarium.service", data)
	disk := filepath.Join(dir, "initramfs")
	require.NoError(t, os.WriteFile(disk, ram.end(), 0o600))
	for _, b := range emulatedBoards {
		t.Run(b.name, func(t *testing.T) {
			t.Parallel()
			trace := filepath.Join(t.TempDir(), "trace")
			socket := filepath.Join(dir, b.name)
			args := []string{"-nic", "none", "-display", "none", "-monitor", "none", "-qmp", "unix:" + socket + ",server=on,wait=off", "-serial", "stdio", "-icount", "shift=1,sleep=off",
				"-kernel", one("boot/vmlinuz-*"), "-initrd", disk, "-append", "console=ttyAMA0,115200 quiet panic=-1 " + b.kernel + " " +
					fmt.Sprintf("%s=%s FUMARIUM_TEST_CLOCK=%d", guestEnv, b.name, time.Now().Unix()) + " -- -test.v -test.run=^TestOnEmulatedBoards$ -test.timeout=30m"}
			for _, a := range b.machine {
				switch a {
				case "DTB":
					a = one("usr/lib/linux-image-*/broadcom/bcm2837-rpi-3-b.dtb")
				case "TRACE":
					a = trace
				}
				args = append(args, a)
			}
			said := boot(t, exec.Command(emulator, append(args, "-no-reboot")...), socket)
			for line := range strings.Lines(said) {
				if _, figure, found := strings.Cut(line, "measured: "); found {
					t.Log(strings.TrimSpace(figure))
				}
			}
			if b.keeps {
				onTheWire(t, b, trace, said)
			}
		})
	}
}

// press has the emulator press the power key of the board "virt", which it lets go of after
// 100 ms: hw/gpio/gpio_key.c of QEMU, on line 3 of the chip.
func press(t *testing.T, socket string) {
	c, err := net.Dial("unix", socket)
	if !assert.NoError(t, err) {
		return
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	answers := bufio.NewScanner(c)
	answers.Scan() // its greeting
	for _, command := range []string{"qmp_capabilities", "system_powerdown"} {
		_, err := fmt.Fprintf(c, `{"execute": %q}`+"\n", command)
		assert.NoError(t, err)
		for answers.Scan() && !strings.HasPrefix(answers.Text(), `{"return"`) {
			assert.NotContains(t, answers.Text(), `"error"`)
		}
	}
}

// boot runs the emulator until its guest is over, and gives what that said. A board that
// has no power switch only halts, so the emulator is ended here.
func boot(t *testing.T, cmd *exec.Cmd, socket string) string {
	t.Helper()
	console, err := cmd.StdoutPipe()
	require.NoError(t, err)
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	require.NoError(t, cmd.Start())
	limit := time.AfterFunc(5*time.Minute, func() { _ = cmd.Process.Kill() })
	defer limit.Stop()
	var said strings.Builder
	over := ""
	for s := bufio.NewScanner(console); over == "" && s.Scan(); {
		line := strings.TrimRight(s.Text(), "\r")
		said.WriteString(line + "\n")
		if strings.Contains(line, pressKey) {
			press(t, socket)
		}
		if _, code, found := strings.Cut(line, guestOver); found {
			over = code
		}
	}
	_ = cmd.Process.Kill()
	_, _ = io.Copy(io.Discard, console)
	if err := cmd.Wait(); over == "" && err != nil {
		complaint.WriteString(err.Error())
	}
	if over != "0" || !strings.Contains(said.String(), "--- PASS: TestOnEmulatedBoards") {
		t.Fatalf("the guest did not end well: %q\n%s%s", over, said.String(), complaint.String())
	}
	return said.String()
}

var outputSet = regexp.MustCompile(`pl061_set_output .* setting output (\d+) to (\d)`)

// onTheWire holds what the guest saw through its kernel against the wire itself, of which
// the emulator kept each change: the heater's was on as often as the guest had it switched
// on, not for a moment more, and is off at the end.
func onTheWire(t *testing.T, b emulatedBoard, trace, said string) {
	t.Helper()
	data, err := os.ReadFile(trace)
	require.NoError(t, err)
	times, level := 0, ""
	for _, m := range outputSet.FindAllStringSubmatch(string(data), -1) {
		if m[1] != strconv.Itoa(b.offsets[0]) || m[2] == level {
			continue
		}
		if level = m[2]; level == "1" {
			times++
		}
	}
	assert.Contains(t, said, fmt.Sprintf(switchedOn, times)+"\n", "by the wire")
	assert.Equal(t, "0", level)
}

// A ramDisk is an initramfs in the kernel's "newc" form of cpio; its
// Documentation/driver-api/early-userspace/buffer-format.
type ramDisk struct {
	b     bytes.Buffer
	inode int
}

func (a *ramDisk) add(name string, mode, major, minor int, data []byte) {
	a.inode++
	fmt.Fprintf(&a.b, "070701%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x%08x", a.inode, mode, 0, 0, 1, 0, len(data), 0, 0, major, minor, len(name)+1, 0)
	for _, part := range [][]byte{append([]byte(name), 0), data} {
		a.b.Write(part)
		a.b.Write(make([]byte, -a.b.Len()&3))
	}
}

func (a *ramDisk) folder(name string)            { a.add(name, 0o040755, 0, 0, nil) }
func (a *ramDisk) node(name string, ma, mi int)  { a.add(name, 0o020600, ma, mi, nil) }
func (a *ramDisk) file(name string, data []byte) { a.add(name, 0o100755, 0, 0, data) }
func (a *ramDisk) end() []byte                   { a.add("TRAILER!!!", 0, 0, 0, nil); return a.b.Bytes() }
