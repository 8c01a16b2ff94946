package relay

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"

	"fumarium/controller/cabinet"
)

// Requests and flags that x/sys does not name; include/uapi/linux/gpio.h. The
// request numbers are those of every processor Go knows but mips, ppc and sparc.
const (
	chipInfo       = 0x8044b401 // GPIO_GET_CHIPINFO_IOCTL
	flagActiveLow  = 1 << 1
	flagUsed       = 1 << 0
	flagInput      = 1 << 2
	flagOutput     = 1 << 3
	flagEdges      = 1<<4 | 1<<5 // becoming active, and no longer
	flagPullUp     = 1 << 8
	flagPullDown   = 1 << 9
	raspberryLabel = "pinctrl-"
)

// system is what of the kernel a Kernel uses.
type system interface {
	chips() ([]string, error) // paths of the GPIO chips' nodes
	open(path string) (fd int, err error)
	ioctl(fd int, request uint, arg unsafe.Pointer) error
	close(fd int) error
}

type linux struct{}

func (linux) chips() ([]string, error)      { return filepath.Glob("/dev/gpiochip*") }
func (linux) open(path string) (int, error) { return unix.Open(path, unix.O_RDWR|unix.O_CLOEXEC, 0) }
func (linux) close(fd int) error            { return unix.Close(fd) }

func (linux) ioctl(fd int, request uint, arg unsafe.Pointer) error {
	for {
		_, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(request), uintptr(arg))
		switch e {
		case 0:
			return nil
		case unix.EINTR: // Go's own signals
		default:
			return e
		}
	}
}

// Kernel is a Host of the kernel's GPIO lines.
type Kernel struct{ sys system }

var (
	_ Host    = (*Kernel)(nil)
	_ Watcher = (*Kernel)(nil)
)

// NewKernel opens nothing yet.
func NewKernel() *Kernel { return &Kernel{sys: linux{}} }

// A Chip is one GPIO chip of the machine.
type Chip struct {
	Path, Name, Label string
	Lines             int
	Err               error // why it could not be asked
}

// Chips lists the machine's GPIO chips.
func (k *Kernel) Chips() ([]Chip, error) {
	paths, err := k.sys.chips()
	if err != nil {
		return nil, err
	}
	slices.Sort(paths)
	var found []Chip
	for _, path := range paths {
		c := Chip{Path: path}
		fd, err := k.sys.open(path)
		if err == nil {
			var info unix.GPIOChipInfo
			err = k.sys.ioctl(fd, chipInfo, unsafe.Pointer(&info))
			c.Name, c.Label, c.Lines = text(info.Name[:]), text(info.Label[:]), int(info.Lines)
			err = errors.Join(err, k.sys.close(fd))
		}
		if err != nil {
			c.Err = fmt.Errorf("%s: %w", path, remedied(err))
		}
		found = append(found, c)
	}
	return found, nil
}

// remedied adds to an error of the kernel what to do about it.
func remedied(err error) error {
	switch {
	case errors.Is(err, unix.EACCES), errors.Is(err, unix.EPERM):
		return fmt.Errorf("%w; the user needs group gpio: sudo usermod -aG gpio %s, then log in again", err, user())
	case errors.Is(err, unix.ENOENT), errors.Is(err, unix.ENODEV), errors.Is(err, unix.ENXIO):
		return fmt.Errorf("%w; the chip is gone: was its board unplugged?", err)
	case errors.Is(err, unix.ENOTTY), errors.Is(err, unix.EINVAL):
		return fmt.Errorf("%w; the kernel has no version 2 GPIO interface: use Linux 5.10 or later", err)
	}
	return err
}

func user() string {
	if name := os.Getenv("USER"); name != "" {
		return name
	}
	return "NAME"
}

// find gives the only chip of that label.
func (k *Kernel) find(label string) (Chip, error) {
	all, err := k.Chips()
	if err != nil {
		return Chip{}, err
	}
	var match []Chip
	var labels []string
	var broken error
	for _, c := range all {
		broken = errors.Join(broken, c.Err)
		if c.Err != nil {
			continue
		}
		labels = append(labels, c.Label)
		if c.Label == label || label == "" && strings.HasPrefix(c.Label, raspberryLabel) {
			match = append(match, c)
		}
	}
	// One chip may have two nodes, as on a Raspberry Pi 5 for old programs.
	match = slices.CompactFunc(match, func(a, b Chip) bool { return a.Name == b.Name && a.Label == b.Label })
	wanted := strconv.Quote(label)
	if label == "" {
		wanted = raspberryLabel + "…"
	}
	switch {
	case len(match) == 1:
		return match[0], nil
	case len(match) > 1:
		return Chip{}, fmt.Errorf("%d GPIO chips are labelled %s; name one in the cabinet file as line chip: one of %s", len(match), wanted, strings.Join(labels, ", "))
	case broken != nil:
		return Chip{}, broken
	case len(all) == 0:
		return Chip{}, errors.New("the kernel offers no GPIO chip (no /dev/gpiochip*); run this on the board that the relays hang on, and pass the node into the container if there is one")
	}
	return Chip{}, fmt.Errorf("no GPIO chip is labelled %s; name yours in the cabinet file as line chip: one of %s", wanted, strings.Join(labels, ", "))
}

// A line is one requested line.
type line struct {
	sys    system
	fd     int
	name   string
	output bool
}

// Output implements Host.
func (k *Kernel) Output(o Opts) (Line, error) { return k.request(o, true) }

// Input implements Host.
func (k *Kernel) Input(o Opts) (Line, error) { return k.request(o, false) }

func (k *Kernel) request(o Opts, output bool) (Line, error) {
	chip, err := k.find(o.Chip)
	if err != nil {
		return nil, err
	}
	fd, err := k.sys.open(chip.Path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", chip.Path, remedied(err))
	}
	defer k.sys.close(fd) // the line has a descriptor of its own
	info, err := k.lookUp(fd, chip, o.Pin)
	if err != nil {
		return nil, err
	}
	name := fmt.Sprintf("%s (line %d of %s)", o.Pin, info.Offset, chip.Label)
	if o.LowAtReset && strings.HasPrefix(chip.Label, raspberryLabel) && cabinet.PulledUpAtReset(int(info.Offset)) {
		return nil, fmt.Errorf("%s is pulled up from power-up until this program starts, which may heat; use one of GPIO9 to GPIO27, or write insist: yes beside the pin", name)
	}
	var r unix.GPIOV2LineRequest
	r.Offsets[0], r.Num_lines = info.Offset, 1
	copy(r.Consumer[:len(r.Consumer)-1], o.User)
	r.Config.Flags = flagInput
	if output {
		// With the first value, or the line would be low for a moment: on, if it is
		// active low.
		r.Config.Flags = flagOutput
		r.Config.Num_attrs = 1
		r.Config.Attrs[0] = unix.GPIOV2LineConfigAttribute{Attr: unix.GPIOV2LineAttribute{Id: unix.GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES}, Mask: 1}
	}
	if o.ActiveLow {
		r.Config.Flags |= flagActiveLow
	}
	if o.Debounce > 0 && !output {
		r.Config.Flags |= flagEdges
		r.Config.Num_attrs = 1
		a := &r.Config.Attrs[0]
		a.Attr.Id, a.Mask = unix.GPIO_V2_LINE_ATTR_ID_DEBOUNCE, 1
		*(*uint32)(unsafe.Pointer(&a.Attr.Flags)) = uint32(o.Debounce.Microseconds()) // a union: 32 bits of it
	}
	switch {
	case output || o.Pull == NoPull:
	case (o.Pull == ToOn) != o.ActiveLow:
		r.Config.Flags |= flagPullUp
	default:
		r.Config.Flags |= flagPullDown
	}
	if err := k.sys.ioctl(fd, unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Pointer(&r)); err != nil {
		if errors.Is(err, unix.EBUSY) {
			holder := "another program"
			if s := text(info.Consumer[:]); s != "" {
				holder = strconv.Quote(s)
			}
			return nil, fmt.Errorf("%s is held by %s: %w; end that program (is another fumarium running?) or move the relay to a free pin", name, holder, err)
		}
		return nil, fmt.Errorf("%s: %w", name, remedied(err))
	}
	return &line{sys: k.sys, fd: int(r.Fd), name: name, output: output}, nil
}

// Holder says who holds a pin's line, empty if nobody does. It takes nothing.
func (k *Kernel) Holder(p Pin) (string, error) {
	chip, err := k.find(p.Chip)
	if err != nil {
		return "", err
	}
	fd, err := k.sys.open(chip.Path)
	if err != nil {
		return "", fmt.Errorf("%s: %w", chip.Path, remedied(err))
	}
	defer k.sys.close(fd)
	info, err := k.lookUp(fd, chip, p.Pin)
	if err != nil || info.Flags&flagUsed == 0 {
		return "", err
	}
	return cmp.Or(text(info.Consumer[:]), "the kernel"), nil
}

// lookUp finds a line by its name, or else by its offset.
func (k *Kernel) lookUp(fd int, chip Chip, pin string) (unix.GPIOV2LineInfo, error) {
	ask := func(offset int) (unix.GPIOV2LineInfo, error) {
		info := unix.GPIOV2LineInfo{Offset: uint32(offset)}
		err := k.sys.ioctl(fd, unix.GPIO_V2_GET_LINEINFO_IOCTL, unsafe.Pointer(&info))
		if err != nil {
			return info, fmt.Errorf("line %d of %s: %w", offset, chip.Label, remedied(err))
		}
		return info, nil
	}
	for n := range chip.Lines {
		info, err := ask(n)
		if err != nil {
			return info, err
		}
		if text(info.Name[:]) == pin {
			return info, nil
		}
	}
	digits := pin
	if strings.HasPrefix(chip.Label, raspberryLabel) {
		digits = strings.TrimPrefix(pin, "GPIO")
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 0 || n >= chip.Lines {
		return unix.GPIOV2LineInfo{}, fmt.Errorf("%s has no line %q; name one of its %d lines, or write its number, 0 to %d", chip.Label, pin, chip.Lines, chip.Lines-1)
	}
	return ask(n)
}

// Set implements Line.
func (l *line) Set(on bool) error {
	if !l.output {
		return fmt.Errorf("%s is an input", l.name)
	}
	v := unix.GPIOV2LineValues{Mask: 1}
	if on {
		v.Bits = 1
	}
	if err := l.sys.ioctl(l.fd, unix.GPIO_V2_LINE_SET_VALUES_IOCTL, unsafe.Pointer(&v)); err != nil {
		return fmt.Errorf("%s: %w", l.name, remedied(err))
	}
	return nil
}

// Read implements Line.
func (l *line) Read() (bool, error) {
	v := unix.GPIOV2LineValues{Mask: 1}
	if err := l.sys.ioctl(l.fd, unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Pointer(&v)); err != nil {
		return false, fmt.Errorf("%s: %w", l.name, remedied(err))
	}
	return v.Bits&1 != 0, nil
}

// Close implements Line.
func (l *line) Close() error {
	if l.fd < 0 {
		return nil
	}
	var err error
	if l.output {
		if err = l.Set(false); err == nil {
			var on bool
			if on, err = l.Read(); err == nil && on {
				err = fmt.Errorf("%s still reads on after it was switched off; cut the mains", l.name)
			}
		}
	}
	err = errors.Join(err, l.sys.close(l.fd))
	l.fd = -1
	return err
}

// text is what the kernel wrote before the first zero.
func text(b []byte) string {
	head, _, _ := bytes.Cut(b, []byte{0})
	return string(head)
}
