package relay

import (
	"encoding/binary"
	"strings"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// kernel is a fake of the kernel's side. It reads and writes the structures byte
// by byte at the places that include/uapi/linux/gpio.h gives them, so that a wrong
// layout in the code under test cannot hide.
type kernel struct {
	labels   []string         // of the chips; each has lines
	aliased  bool             // all nodes are of one chip
	names    map[int]string   // of lines, on every chip
	holder   map[int]string   // lines that someone else has
	denied   bool             // no permission for any node
	refuse   map[uint32]error // by request number
	stuckOn  bool             // an output reads on whatever is written
	requests [][]byte         // every line request as it came
	fds      map[int]*node
	next     int
	level    map[int]bool // logical level of lines, by offset
	writes   []string     // "offset=level", in order
}

type node struct {
	chip   int
	line   int // -1 for a chip
	output bool
}

const fakeLines = 30

func newKernel(labels ...string) *kernel {
	return &kernel{labels: labels, names: map[int]string{}, holder: map[int]string{}, refuse: map[uint32]error{}, fds: map[int]*node{}, next: 3, level: map[int]bool{}}
}

func (k *kernel) chips() ([]string, error) {
	var paths []string
	for i := range k.labels {
		paths = append(paths, "/dev/gpiochip"+string(rune('0'+i)))
	}
	return paths, nil
}

func (k *kernel) open(path string) (int, error) {
	if k.denied {
		return -1, unix.EACCES
	}
	k.next++
	k.fds[k.next] = &node{chip: int(path[len(path)-1] - '0'), line: -1}
	return k.next, nil
}

func (k *kernel) close(fd int) error {
	if _, open := k.fds[fd]; !open {
		return unix.EBADF
	}
	delete(k.fds, fd)
	return nil
}

var native = binary.NativeEndian

func (k *kernel) ioctl(fd int, request uint, arg unsafe.Pointer) error {
	if err := k.refuse[uint32(request)]; err != nil {
		return err
	}
	n := k.fds[fd]
	if n == nil {
		return unix.EBADF
	}
	// The size of the structure is part of the request number.
	b := unsafe.Slice((*byte)(arg), request>>16&0x3FFF)
	switch request {
	case 0x8044b401: // GPIO_GET_CHIPINFO_IOCTL: name[32], label[32], u32 lines
		if !k.aliased {
			copy(b[0:32], "gpiochip"+string(rune('0'+n.chip)))
		}
		copy(b[32:64], k.labels[n.chip])
		native.PutUint32(b[64:], fakeLines)
	case 0xc100b405: // GPIO_V2_GET_LINEINFO_IOCTL: name[32], consumer[32], u32 offset, u32 num_attrs, u64 flags
		at := int(native.Uint32(b[64:]))
		if at >= fakeLines {
			return unix.EINVAL
		}
		copy(b[0:32], k.names[at])
		copy(b[32:64], k.holder[at])
		if k.holder[at] != "" {
			native.PutUint64(b[72:], 1) // used
		}
	case 0xc250b407: // GPIO_V2_GET_LINE_IOCTL
		k.requests = append(k.requests, append([]byte(nil), b...))
		at := int(native.Uint32(b[0:]))
		if k.holder[at] != "" {
			return unix.EBUSY
		}
		output := native.Uint64(b[288:])&8 != 0
		k.next++
		k.fds[k.next] = &node{chip: n.chip, line: at, output: output}
		k.holder[at] = text(b[256:288])
		if output {
			k.level[at] = native.Uint64(b[328:])&1 != 0
		}
		native.PutUint32(b[588:], uint32(k.next))
	case 0xc010b40e, 0xc010b40f: // GPIO_V2_LINE_GET_VALUES_IOCTL and SET: u64 bits, u64 mask
		if n.line < 0 || native.Uint64(b[8:]) != 1 {
			return unix.EINVAL
		}
		if request == 0xc010b40f {
			on := native.Uint64(b[0:])&1 != 0
			if !n.output {
				return unix.EPERM
			}
			k.level[n.line] = on
			k.writes = append(k.writes, map[bool]string{true: "+", false: "-"}[on]+string(rune('a'+n.line)))
			return nil
		}
		v := uint64(0)
		if k.level[n.line] || k.stuckOn {
			v = 1
		}
		native.PutUint64(b[0:], v)
	default:
		return unix.ENOTTY
	}
	return nil
}

// The sizes are those of the header on every processor: 64-bit fields at multiples
// of 8, padded to the same on 32 bits.
func TestStructSizes(t *testing.T) {
	assert.EqualValues(t, 592, unsafe.Sizeof(unix.GPIOV2LineRequest{}))
	assert.EqualValues(t, 272, unsafe.Sizeof(unix.GPIOV2LineConfig{}))
	assert.EqualValues(t, 256, unsafe.Sizeof(unix.GPIOV2LineInfo{}))
	assert.EqualValues(t, 16, unsafe.Sizeof(unix.GPIOV2LineValues{}))
	assert.EqualValues(t, 68, unsafe.Sizeof(unix.GPIOChipInfo{}))
	for request, size := range map[uint]uintptr{chipInfo: 68, unix.GPIO_V2_GET_LINEINFO_IOCTL: 256, unix.GPIO_V2_GET_LINE_IOCTL: 592,
		unix.GPIO_V2_LINE_GET_VALUES_IOCTL: 16, unix.GPIO_V2_LINE_SET_VALUES_IOCTL: 16} {
		assert.EqualValues(t, size, request>>16&0x3FFF)
		assert.EqualValues(t, 0xb4, request>>8&0xFF)
	}
}

// TestRequestBytes holds the whole request against one that is written out here.
func TestRequestBytes(t *testing.T) {
	for name, c := range map[string]struct {
		opts   Opts
		output bool
		flags  uint64
	}{
		"output":                {Opts{Pin: "GPIO17", User: "fumarium heater"}, true, 8},
		"active low output":     {Opts{Pin: "GPIO17", User: "fumarium heater", ActiveLow: true}, true, 8 | 2},
		"input":                 {Opts{Pin: "GPIO17", User: "fumarium feedback"}, false, 4},
		"off by itself":         {Opts{Pin: "GPIO17", User: "fumarium door", Pull: ToOff}, false, 4 | 1<<9},
		"off by itself, low":    {Opts{Pin: "GPIO17", User: "fumarium door", Pull: ToOff, ActiveLow: true}, false, 4 | 2 | 1<<8},
		"on by itself":          {Opts{Pin: "GPIO17", User: "fumarium feedback", Pull: ToOn}, false, 4 | 1<<8},
		"on by itself, low":     {Opts{Pin: "GPIO17", User: "fumarium feedback", Pull: ToOn, ActiveLow: true}, false, 4 | 2 | 1<<9},
		"an output has no pull": {Opts{Pin: "GPIO17", User: "fumarium fan", Pull: ToOn}, true, 8},
		"watched, low":          {Opts{Pin: "GPIO17", User: "fumarium stop", Pull: ToOff, ActiveLow: true, Debounce: 20 * time.Millisecond}, false, 4 | 2 | 1<<4 | 1<<5 | 1<<8},
		"name too long":         {Opts{Pin: "GPIO17", User: strings.Repeat("x", 40)}, true, 8},
	} {
		t.Run(name, func(t *testing.T) {
			k := newKernel("pinctrl-bcm2711")
			h := &Kernel{sys: k}
			open := h.Input
			if c.output {
				open = h.Output
			}
			l, err := open(c.opts)
			require.NoError(t, err)
			want := make([]byte, 592)
			native.PutUint32(want[0:], 17)
			copy(want[256:287], c.opts.User)
			native.PutUint64(want[288:], c.flags)
			if c.opts.Debounce > 0 {
				native.PutUint32(want[296:], 1)      // one attribute:
				native.PutUint32(want[320:], 3)      // debounce,
				native.PutUint32(want[328:], 20_000) // in microseconds,
				native.PutUint64(want[336:], 1)      // of the first line
			}
			if c.output {
				native.PutUint32(want[296:], 1) // one attribute:
				native.PutUint32(want[320:], 2) // output values,
				native.PutUint64(want[328:], 0) // off,
				native.PutUint64(want[336:], 1) // of the first line
			}
			native.PutUint32(want[560:], 1)
			require.Len(t, k.requests, 1)
			assert.Equal(t, want, k.requests[0])
			require.NoError(t, l.Close())
			require.NoError(t, l.Close(), "twice does no harm")
			assert.Empty(t, k.fds, "no descriptor is left open")
		})
	}
}

func TestLine(t *testing.T) {
	k := newKernel("pinctrl-rp1")
	l, err := (&Kernel{sys: k}).Output(Opts{Pin: "GPIO20"})
	require.NoError(t, err)
	for _, on := range []bool{true, false, true} {
		require.NoError(t, l.Set(on))
		is, err := l.Read()
		require.NoError(t, err)
		assert.Equal(t, on, is)
	}
	assert.Len(t, k.requests, 1, "reading back changes no direction")
	require.NoError(t, l.Close())
	assert.False(t, k.level[20], "off before it is let go")

	in, err := (&Kernel{sys: k}).Input(Opts{Pin: "21"})
	require.NoError(t, err)
	assert.ErrorContains(t, in.Set(true), "is an input")
	writes := len(k.writes)
	require.NoError(t, in.Close())
	assert.Len(t, k.writes, writes, "an input is never written")
}

func TestNamesBeforeNumbers(t *testing.T) {
	k := newKernel("raspberrypi-exp-gpio", "pinctrl-bcm2711")
	k.names[12] = "HEAT"
	k.names[13] = "GPIO9" // a name wins over the number it looks like
	for pin, offset := range map[string]uint32{"HEAT": 12, "GPIO9": 13, "GPIO22": 22, "7": 7} {
		l, err := (&Kernel{sys: k}).Output(Opts{Pin: pin})
		require.NoError(t, err, pin)
		last := k.requests[len(k.requests)-1]
		assert.Equal(t, offset, native.Uint32(last), pin)
		require.NoError(t, l.Close())
		delete(k.holder, int(offset))
	}
}

// A chip is found by its label, whatever its number, and one with two nodes, as a
// Raspberry Pi 5 has for old programs, is one chip.
func TestChipByLabel(t *testing.T) {
	k := newKernel("pinctrl-a", "extender")
	l, err := (&Kernel{sys: k}).Output(Opts{Chip: "extender", Pin: "3"})
	require.NoError(t, err)
	assert.Equal(t, 1, k.fds[l.(*line).fd].chip)
	require.NoError(t, l.Close())

	k = newKernel("pinctrl-rp1", "pinctrl-rp1")
	_, err = (&Kernel{sys: k}).Output(Opts{Pin: "3"})
	require.ErrorContains(t, err, "2 GPIO chips are labelled")
	k.aliased = true
	l, err = (&Kernel{sys: k}).Output(Opts{Pin: "3"})
	require.NoError(t, err)
	require.NoError(t, l.Close())
}

// TestKernelErrors holds the whole text: each says where, what and what to do.
func TestKernelErrors(t *testing.T) {
	t.Setenv("USER", "ann")
	for name, c := range map[string]struct {
		k    *kernel
		opts Opts
		want string
	}{
		"no chip": {newKernel(), Opts{Pin: "GPIO17"},
			"the kernel offers no GPIO chip (no /dev/gpiochip*); run this on the board that the relays hang on, and pass the node into the container if there is one"},
		"no such label": {newKernel("gpio-mockup-A"), Opts{Pin: "GPIO17"},
			"no GPIO chip is labelled pinctrl-…; name yours in the cabinet file as line chip: one of gpio-mockup-A"},
		"two such labels": {newKernel("pinctrl-a", "pinctrl-b"), Opts{Pin: "GPIO17"},
			"2 GPIO chips are labelled pinctrl-…; name one in the cabinet file as line chip: one of pinctrl-a, pinctrl-b"},
		"label not there": {newKernel("pinctrl-a"), Opts{Chip: "extender", Pin: "GPIO17"},
			`no GPIO chip is labelled "extender"; name yours in the cabinet file as line chip: one of pinctrl-a`},
		"no permission": {func() *kernel { k := newKernel("pinctrl-a"); k.denied = true; return k }(), Opts{Pin: "GPIO17"},
			"/dev/gpiochip0: permission denied; the user needs group gpio: sudo usermod -aG gpio ann, then log in again"},
		"held": {func() *kernel { k := newKernel("pinctrl-a"); k.holder[17] = "lamp"; return k }(), Opts{Pin: "GPIO17"},
			`GPIO17 (line 17 of pinctrl-a) is held by "lamp": device or resource busy; end that program (is another fumarium running?) or move the relay to a free pin`},
		"no such line": {newKernel("pinctrl-a"), Opts{Pin: "GPIO77"},
			`pinctrl-a has no line "GPIO77"; name one of its 30 lines, or write its number, 0 to 29`},
		"one line too many": {newKernel("pinctrl-a"), Opts{Pin: "30"},
			`pinctrl-a has no line "30"; name one of its 30 lines, or write its number, 0 to 29`},
		"before the first": {newKernel("pinctrl-a"), Opts{Pin: "-1"},
			`pinctrl-a has no line "-1"; name one of its 30 lines, or write its number, 0 to 29`},
		"pulled up, by its number": {newKernel("pinctrl-a"), Opts{Pin: "8", LowAtReset: true},
			"8 (line 8 of pinctrl-a) is pulled up from power-up until this program starts, which may heat; use one of GPIO9 to GPIO27, or write insist: yes beside the pin"},
		"pulled up": {newKernel("pinctrl-a"), Opts{Pin: "GPIO5", LowAtReset: true},
			"GPIO5 (line 5 of pinctrl-a) is pulled up from power-up until this program starts, which may heat; use one of GPIO9 to GPIO27, or write insist: yes beside the pin"},
		"old kernel": {func() *kernel { k := newKernel("pinctrl-a"); k.refuse[0xc100b405] = unix.ENOTTY; return k }(), Opts{Pin: "GPIO17"},
			"line 0 of pinctrl-a: inappropriate ioctl for device; the kernel has no version 2 GPIO interface: use Linux 5.10 or later"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := (&Kernel{sys: c.k}).Output(c.opts)
			assert.EqualError(t, err, c.want)
			assert.Empty(t, c.k.fds, "no descriptor is left open")
			assert.Empty(t, c.k.writes)
		})
	}
}

// An output that stays on is not let go of in silence.
func TestCloseVerifies(t *testing.T) {
	k := newKernel("pinctrl-a")
	l, err := (&Kernel{sys: k}).Output(Opts{Pin: "GPIO17"})
	require.NoError(t, err)
	k.stuckOn = true
	assert.ErrorContains(t, l.Close(), "cut the mains")
	k = newKernel("pinctrl-a")
	l, err = (&Kernel{sys: k}).Output(Opts{Pin: "GPIO17"})
	require.NoError(t, err)
	k.refuse[0xc010b40f] = unix.EIO
	assert.ErrorIs(t, l.Close(), unix.EIO)
	assert.Empty(t, k.fds, "the descriptor is closed all the same, which frees the line")
}

// TestBankOnKernel runs a bank down to the bytes: every error that the kernel can
// give at any moment leaves every line off.
func TestBankOnKernel(t *testing.T) {
	c := &cabinet.Cabinet{Heater: cabinet.Relay{Fitted: true, Pin: "GPIO17", Series: cabinet.Wire{Fitted: true, Pin: "GPIO18"}}, Fan: cabinet.Relay{Fitted: true, Pin: "GPIO19"}}
	k := newKernel("pinctrl-bcm2711")
	b, err := Open(c, &Kernel{sys: k}, func(time.Duration) {})
	require.NoError(t, err)
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)}))
	assert.True(t, k.level[17] && k.level[18] && k.level[19])
	assert.Equal(t, "fumarium heater", k.holder[17])
	k.refuse[0xc010b40e] = unix.EIO // it cannot be verified any more
	err = b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)})
	require.ErrorIs(t, err, unix.EIO)
	assert.False(t, k.level[17] || k.level[18] || k.level[19])
	assert.Error(t, b.Close())
	assert.Empty(t, k.fds)

	// Every request for a line may fail; those taken before are let go off.
	for _, held := range []int{17, 18, 19} {
		k := newKernel("pinctrl-bcm2711")
		k.holder[held] = "lamp"
		_, err := Open(c, &Kernel{sys: k}, func(time.Duration) {})
		require.ErrorIs(t, err, unix.EBUSY)
		assert.Empty(t, k.fds)
		assert.NotContains(t, strings.Join(k.writes, ""), "+")
		// The stop helper switches off the rest and says what it could not.
		for i := range k.level {
			k.level[i] = true
		}
		k.holder = map[int]string{held: "lamp"}
		k.writes = nil
		err = Cut(c, &Kernel{sys: k}, func(time.Duration) {})
		require.ErrorIs(t, err, unix.EBUSY)
		for _, pin := range []int{17, 18, 19} {
			if pin != held {
				assert.False(t, k.level[pin], "line %d", pin)
			}
		}
	}
}

// Who holds a line can be told without taking it.
func TestHolder(t *testing.T) {
	k := newKernel("pinctrl-a")
	k.holder[17] = "lamp"
	for pin, want := range map[string]string{"GPIO17": "lamp", "GPIO18": ""} {
		got, err := (&Kernel{sys: k}).Holder(Pin{Output: "heater", Pin: pin})
		require.NoError(t, err)
		assert.Equal(t, want, got, pin)
	}
	_, err := (&Kernel{sys: k}).Holder(Pin{Output: "heater", Pin: "GPIO99"})
	assert.ErrorContains(t, err, "has no line")
	assert.Empty(t, k.requests, "nothing was taken")
	assert.Empty(t, k.fds, "nothing stays open")
	k.denied = true
	_, err = (&Kernel{sys: k}).Holder(Pin{Output: "heater", Pin: "GPIO17"})
	assert.ErrorContains(t, err, "usermod")
}
