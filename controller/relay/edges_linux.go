package relay

import (
	"fmt"
	"os"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// watched is an input whose edges the kernel queues. A read waits in the runtime's
// poller, so that Close ends it.
type watched struct {
	*line
	file *os.File
	left []byte
}

// Watch implements Watcher.
func (k *Kernel) Watch(o Opts) (Watched, error) {
	if o.Debounce <= 0 {
		return nil, fmt.Errorf("relay: %s: edges want a time in which contacts bounce", o.Pin)
	}
	l, err := k.request(o, false)
	if err != nil {
		return nil, err
	}
	in := l.(*line)
	if err := unix.SetNonblock(in.fd, true); err != nil {
		return nil, fmt.Errorf("%s: %w", in.name, err)
	}
	return &watched{line: in, file: os.NewFile(uintptr(in.fd), in.name)}, nil
}

const eventSize = int(unsafe.Sizeof(unix.GPIOV2LineEvent{}))

// Next implements Watched.
func (w *watched) Next() (Edge, error) {
	if len(w.left) < eventSize {
		buffer := make([]byte, 16*eventSize)
		n, err := w.file.Read(buffer)
		if err != nil {
			return Edge{}, fmt.Errorf("%s: %w", w.name, remedied(err))
		}
		if w.left = buffer[:n]; n < eventSize {
			return Edge{}, fmt.Errorf("%s: the kernel gave %d bytes of an edge's %d", w.name, n, eventSize)
		}
	}
	var e unix.GPIOV2LineEvent
	copy(unsafe.Slice((*byte)(unsafe.Pointer(&e)), eventSize), w.left)
	w.left = w.left[eventSize:]
	switch e.Id {
	case unix.GPIO_V2_LINE_EVENT_RISING_EDGE, unix.GPIO_V2_LINE_EVENT_FALLING_EDGE:
		return Edge{On: e.Id == unix.GPIO_V2_LINE_EVENT_RISING_EDGE, At: time.Duration(e.Timestamp_ns)}, nil
	}
	return Edge{}, fmt.Errorf("%s: the kernel gave an edge of kind %d, which this program does not know", w.name, e.Id)
}

// Close ends a wait, and lets go of the line.
func (w *watched) Close() error { return w.file.Close() }

// EdgeClock is the clock that the kernel puts on edges.
func (*Kernel) EdgeClock() time.Duration {
	var now unix.Timespec
	if unix.ClockGettime(unix.CLOCK_MONOTONIC, &now) != nil {
		return 0
	}
	return time.Duration(now.Nano())
}
