package wiring

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/onewire"

	"fumarium/controller"
	"fumarium/sensors"
	"fumarium/sensors/ds18b20"
)

const (
	yard    onewire.Address = 0x1c0000031edd2a28
	room23                  = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
	powered                 = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
)

// deviceTree is a folder in the form of /sys/bus/w1/devices with one bus and one chip.
func deviceTree(t *testing.T) machine {
	root := t.TempDir()
	m := machine{node: func(string) error { return fs.ErrNotExist }, w1: root}
	put(t, m, "w1_bus_master1/w1_master_slaves", "28-0000031edd2a\n00-400000000000\n")
	put(t, m, "28-0000031edd2a/w1_slave", room23)
	return m
}

func put(t *testing.T, m machine, name, text string) {
	t.Helper()
	path := filepath.Join(m.w1, name)
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
}

// thermometer is the chip of the folder, read each second until its answer is in.
func thermometer(t *testing.T, m machine) (read func() (sensors.Reading, error)) {
	wire, err := m.OneWire(1)
	require.NoError(t, err)
	p, err := wire.Thermometer(yard)
	require.NoError(t, err)
	s := p.(*slave)
	now := time.Duration(0)
	return func() (sensors.Reading, error) {
		s.Read(now) // asks, if it has not
		s.answers <- <-s.answers
		now += time.Second
		r := s.Read(now)
		s.answers <- <-s.answers // the next is under way; let it end
		return r, s.Err()
	}
}

func TestKernelThermometer(t *testing.T) {
	m := deviceTree(t)
	read := thermometer(t, m)
	says := func(status sensors.Status, why string) {
		t.Helper()
		read() // the answer that was under way
		r, err := read()
		assert.Equal(t, status, r.Status())
		if why == "" {
			assert.NoError(t, err)
		} else {
			assert.ErrorContains(t, err, why)
		}
	}
	says(sensors.Good, "")
	v, _ := first(read()).Value()
	assert.InDelta(t, 23.125, float64(v), 0)
	put(t, m, "28-0000031edd2a/w1_slave", strings.Replace(room23, "YES", "NO", 1))
	says(sensors.BusError, "check the cable, its length and the pull-up")
	put(t, m, "28-0000031edd2a/w1_slave", powered)
	says(sensors.Unread, "power-up value of 85 °C")
	put(t, m, "28-0000031edd2a/w1_slave", "")
	says(sensors.BusError, "checksum or fixed bits are wrong")
	require.NoError(t, os.Remove(filepath.Join(m.w1, "28-0000031edd2a/w1_slave")))
	says(sensors.BusError, "load it with sudo modprobe w1_therm")
	require.NoError(t, os.Remove(filepath.Join(m.w1, "28-0000031edd2a")))
	says(sensors.BusError, "28-0000031edd2a is not there: the kernel finds no such chip; check its three wires, the pull-up of 4.7 kΩ and the address in the cabinet file")
	put(t, m, "28-0000031edd2a/w1_slave/x", "") // a folder cannot be read, as a chip that fails meanwhile
	says(sensors.BusError, "is a directory; check the chip's wires, the pull-up of 4.7 kΩ and its supply")
	require.NoError(t, os.RemoveAll(filepath.Join(m.w1, "28-0000031edd2a/w1_slave")))
	put(t, m, "28-0000031edd2a/w1_slave", room23)
	says(sensors.Good, "")
}

func first(r sensors.Reading, _ error) sensors.Reading { return r }

// A kernel that does not answer delays nothing: the value ages, then it is stale.
func TestKernelThermometerThatHangs(t *testing.T) {
	s := &slave{dir: "nowhere", answers: make(chan answer), asking: true, err: sensors.ErrStarting}
	assert.Equal(t, sensors.Unread, s.Read(0).Status())
	assert.ErrorIs(t, s.Err(), sensors.ErrStarting)
	assert.Equal(t, sensors.Stale, s.Read(slaveHeld+time.Second).Status())
	assert.ErrorIs(t, s.Err(), errSlow)
	s = &slave{dir: "nowhere", answers: make(chan answer, 1), asking: true}
	s.answers <- answer{text: []byte(room23)}
	assert.Equal(t, sensors.Good, s.Read(time.Minute).Status())
	s.answers = make(chan answer) // from now on nobody answers
	assert.Equal(t, sensors.Good, s.Read(time.Minute+slaveHeld).Status())
	assert.Equal(t, sensors.Stale, s.Read(time.Minute+slaveHeld+time.Second).Status())
}

func TestKernelBus(t *testing.T) {
	m := deviceTree(t)
	wire, err := m.OneWire(1)
	require.NoError(t, err)
	found, err := wire.Search()
	require.NoError(t, err)
	require.Len(t, found, 2)
	assert.Equal(t, yard, found[0])
	assert.Equal(t, "DS18B20", family(uint64(found[0])))
	assert.Contains(t, family(uint64(found[1])), "not a DS18B20")
	put(t, m, "w1_bus_master1/w1_master_slaves", "not found.\n")
	found, err = wire.Search()
	require.NoError(t, err)
	assert.Empty(t, found)
	require.NoError(t, os.Remove(filepath.Join(m.w1, "w1_bus_master1/w1_master_slaves")))
	_, err = wire.Search()
	assert.ErrorIs(t, err, fs.ErrNotExist)
	_, err = wire.Thermometer(yard + 1<<8)
	assert.ErrorContains(t, err, "checksum in address")
	_, err = m.OneWire(2)
	assert.ErrorContains(t, err, "w1_bus_master2 is not there: 1-Wire is not enabled; on a Raspberry Pi add dtoverlay=w1-gpio")
	assert.Equal(t, "28-0000031edd2a", ds18b20.KernelName(yard))
}

// A cabinet file's probe goes all the way from the kernel's file to the inputs.
func TestKernelThermometerInACabinet(t *testing.T) {
	d, m := newDesk(), deviceTree(t)
	c := parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#016x", uint64(yard)), 1))
	w := OpenProbes(c, both{d, m})
	defer w.Close()
	var in controller.Inputs
	slow := w.Channels()[5].driver.(*slave)
	for range 8 {
		in = d.steps(w, 1)
		slow.answers <- <-slow.answers
	}
	v, ok := in.Ambient.Value()
	require.True(t, ok, w.Channels()[5].Err())
	assert.InDelta(t, 23.125, float64(v), 0)
}

// both has a desk's chips and the kernel's 1-Wire.
type both struct {
	*desk
	m machine
}

func (b both) OneWire(n int) (Wire, error) { return b.m.OneWire(n) }
