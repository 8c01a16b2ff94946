package wiring

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"periph.io/x/conn/v3/onewire"

	"fumarium/sensors"
	"fumarium/sensors/ds18b20"
)

// A Wire is a 1-Wire bus with thermometers on it.
type Wire interface {
	Search() ([]onewire.Address, error)
	Thermometer(onewire.Address) (sensors.Probe, error)
}

// A kernelWire is a 1-Wire bus as the files of the kernel's drivers w1 and w1_therm
// show it. Any user may read them. The kernel's other way, a netlink connector, wants
// CAP_NET_ADMIN and talks to chips behind the back of w1_therm, which does the same.
type kernelWire struct {
	devices string // folder with the bus and its chips
	master  string // folder of the bus
}

// Search lists the chips that the kernel found, which looks again every ten seconds.
func (w kernelWire) Search() ([]onewire.Address, error) {
	text, err := os.ReadFile(filepath.Join(w.master, "w1_master_slaves"))
	if err != nil {
		return nil, err
	}
	var found []onewire.Address
	for line := range strings.Lines(string(text)) { // or the one line "not found."
		if a, ok := ds18b20.ParseKernelName(strings.TrimSpace(line)); ok {
			found = append(found, a)
		}
	}
	return found, nil
}

// Thermometer does not look for the chip: one that is missing shows when it is read.
func (w kernelWire) Thermometer(a onewire.Address) (sensors.Probe, error) {
	if err := ds18b20.CheckAddress(a); err != nil {
		return nil, err
	}
	return &slave{dir: filepath.Join(w.devices, ds18b20.KernelName(a)), answers: make(chan answer, 1), err: sensors.ErrStarting}, nil
}

// slaveHeld is how old a value of a slave may get. The chips of a bus convert one
// after the other, 0.75 s each, so ten of them take as long.
const slaveHeld = 10 * time.Second

var errSlow = errors.New("ds18b20: the kernel gives no answer; check the bus for a short, and how many chips share it")

// A slave is one chip on a kernelWire. The kernel converts while its file is being
// read, which takes most of a second, so the file is read beside the loop and a value
// is what the last read that ended gave.
type slave struct {
	dir     string
	answers chan answer
	asking  bool
	began   bool
	at      time.Duration // of the last answer, or of the first Read
	last    sensors.Reading
	known   bool // it has shown something else than 85 °C
	err     error
}

type answer struct {
	text []byte
	err  error
}

func (s *slave) String() string { return "DS18B20{" + s.dir + "}" }

// Err says why the last reading was not good.
func (s *slave) Err() error { return s.err }

// Read takes the answer that has come in since the last Read, if one has, and asks
// again.
func (s *slave) Read(now time.Duration) sensors.Reading {
	if !s.began {
		s.began, s.at = true, now
	}
	select {
	case a := <-s.answers:
		s.asking, s.at = false, now
		s.take(a)
	default:
	}
	if !s.asking {
		s.asking = true
		go func(file string, answers chan<- answer) {
			text, err := os.ReadFile(file)
			answers <- answer{text, err}
		}(filepath.Join(s.dir, "w1_slave"), s.answers)
	}
	if now-s.at > slaveHeld {
		s.err = errSlow
		return sensors.Fault(sensors.Stale)
	}
	return s.last
}

func (s *slave) take(a answer) {
	if a.err != nil {
		s.last, s.err = sensors.Fault(sensors.BusError), s.why(a.err)
		s.known = false // what comes back may just have got its power
		return
	}
	s.last, s.err = ds18b20.ParseSlave(a.text, s.known)
	s.known = s.known && s.err != ds18b20.ErrPowerUp || s.err == nil
}

// why turns a file that cannot be read into an error that says what to do.
func (s *slave) why(err error) error {
	switch {
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("ds18b20: %w; check the chip's wires, the pull-up of 4.7 kΩ and its supply", err)
	case exists(s.dir):
		return fmt.Errorf("ds18b20: %s has no file w1_slave: the kernel's thermometer driver is not there; load it with sudo modprobe w1_therm", s.dir)
	}
	return fmt.Errorf("ds18b20: %s is not there: the kernel finds no such chip; check its three wires, the pull-up of 4.7 kΩ and the address in the cabinet file (fumarium wiring find lists the chips)", s.dir)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}
