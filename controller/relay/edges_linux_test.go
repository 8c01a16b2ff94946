package relay

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// piped gives lines whose descriptor is one end of a pipe: what the test writes into the
// other, the kernel said.
type piped struct {
	*kernel
	end *os.File
	fd  int
}

func (p *piped) pipe(t *testing.T) Watched {
	var fds [2]int
	require.NoError(t, unix.Pipe2(fds[:], unix.O_CLOEXEC))
	p.end, p.fd = os.NewFile(uintptr(fds[1]), "kernel"), fds[0]
	require.NoError(t, unix.SetNonblock(fds[0], true))
	l := &line{sys: p.kernel, fd: fds[0], name: "GPIO5"}
	return &watched{line: l, file: os.NewFile(uintptr(fds[0]), l.name)}
}

// event is one as include/uapi/linux/gpio.h lays it out: u64 time, u32 kind, offset,
// number, number on the line, six u32 of nothing.
func event(at time.Duration, kind uint32) []byte {
	b := make([]byte, 48)
	native.PutUint64(b, uint64(at))
	native.PutUint32(b[8:], kind)
	native.PutUint32(b[12:], 5)
	return b
}

func TestEdges(t *testing.T) {
	assert.Equal(t, 48, eventSize)
	p := &piped{kernel: newKernel("pinctrl-bcm2711")}
	w := p.pipe(t)
	_, err := p.end.Write(append(event(3*time.Second, 1), event(4*time.Second, 2)...))
	require.NoError(t, err)
	for _, want := range []Edge{{true, 3 * time.Second}, {false, 4 * time.Second}} {
		got, err := w.Next()
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	_, err = p.end.Write(event(time.Second, 7))
	require.NoError(t, err)
	_, err = w.Next()
	assert.ErrorContains(t, err, "kind 7")
	_, err = p.end.Write(make([]byte, 10))
	require.NoError(t, err)
	_, err = w.Next()
	assert.ErrorContains(t, err, "10 bytes")

	ended := make(chan error, 1)
	go func() {
		_, err := w.Next()
		ended <- err
	}()
	require.NoError(t, w.Close())
	assert.Error(t, <-ended, "who waits is told when it is closed")
}

func TestEdgesWantATime(t *testing.T) {
	_, err := (&Kernel{sys: newKernel("pinctrl-bcm2711")}).Watch(Opts{Pin: "GPIO5"})
	assert.ErrorContains(t, err, "bounce")
	assert.Positive(t, NewKernel().EdgeClock())
}
