package wiring

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/host/v3/sysfs"

	"fumarium/controller/cabinet"
	"fumarium/sensors"
	"fumarium/sensors/ads1115"
	"fumarium/sensors/max31855"
	"fumarium/sensors/max31856"
	"fumarium/sensors/max6675"
	"fumarium/sensors/mcp9600"
	"fumarium/sensors/roomair"
	"fumarium/sensors/thermocouple"
)

// Buses opens the buses of a machine. What it gives may be an io.Closer.
type Buses interface {
	SPI(bus, chipSelect int) (spi.Port, error)
	I2C(bus int) (i2c.Bus, error)
	OneWire(master int) (Wire, error)
}

// machine opens the kernel's nodes. The registry of the bus library is not used:
// it would take hold of every GPIO line of the board on the way.
type machine struct {
	node func(path string) error // whether a node can be opened
	w1   string                  // folder of the kernel's 1-Wire devices
}

// Machine is this machine's buses.
func Machine() Buses { return machine{node: tryNode, w1: "/sys/bus/w1/devices"} }

func tryNode(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return f.Close()
}

// ready turns a node that cannot be opened into an error that says what to do.
func (m machine) ready(path, what, enable, group string) error {
	err := m.node(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s is not there: %s is not enabled; on a Raspberry Pi add %s to /boot/firmware/config.txt and restart", path, what, enable)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s: permission denied; the user needs group %s: sudo usermod -aG %s %s, then log in again", path, group, group, userName())
	case err != nil:
		return fmt.Errorf("%w; end the program that holds it", err)
	}
	return nil
}

func userName() string {
	if name := os.Getenv("USER"); name != "" {
		return name
	}
	return "NAME"
}

func (m machine) SPI(bus, chipSelect int) (spi.Port, error) {
	if err := m.ready(fmt.Sprintf("/dev/spidev%d.%d", bus, chipSelect), "SPI", "dtparam=spi=on", "spi"); err != nil {
		return nil, err
	}
	return sysfs.NewSPI(bus, chipSelect)
}

func (m machine) I2C(bus int) (i2c.Bus, error) {
	if err := m.ready(fmt.Sprintf("/dev/i2c-%d", bus), "I2C", "dtparam=i2c_arm=on", "i2c"); err != nil {
		return nil, err
	}
	return sysfs.NewI2C(bus)
}

// OneWire goes over the files of the kernel's thermometer driver.
func (m machine) OneWire(master int) (Wire, error) {
	path := filepath.Join(m.w1, fmt.Sprintf("w1_bus_master%d", master))
	if !exists(path) {
		return nil, fmt.Errorf("%s is not there: 1-Wire is not enabled; on a Raspberry Pi add dtoverlay=w1-gpio to /boot/firmware/config.txt and restart", path)
	}
	return kernelWire{devices: m.w1, master: path}, nil
}

// shared keeps what several probes hang on.
type shared struct {
	Buses
	i2c        map[int]i2c.Bus
	wires      map[int]Wire
	converters map[string]*ads1115.Dev
	closers    []io.Closer
}

func newShared(b Buses) *shared {
	return &shared{Buses: b, i2c: map[int]i2c.Bus{}, wires: map[int]Wire{}, converters: map[string]*ads1115.Dev{}}
}

func (s *shared) keep(v any) {
	if c, ok := v.(io.Closer); ok {
		s.closers = append(s.closers, c)
	}
}

func (s *shared) close() error {
	var err error
	for _, c := range s.closers {
		err = errors.Join(err, c.Close())
	}
	s.closers = nil
	return err
}

// open gives the driver of one probe.
func (s *shared) open(c *cabinet.Cabinet, p cabinet.Probe) (sensors.Probe, error) {
	kind, bus, chipSelect, ok := cabinet.ParseBus(p.Bus)
	if !ok {
		return nil, fmt.Errorf("%q is no bus; correct the cabinet file", p.Bus)
	}
	switch kind {
	case cabinet.SPI:
		port, err := s.SPI(bus, chipSelect)
		if err != nil {
			return nil, err
		}
		dev, err := onSPI(c, p, port)
		if err != nil { // it may be tried again
			if closer, ok := port.(io.Closer); ok {
				err = errors.Join(err, closer.Close())
			}
			return nil, err
		}
		s.keep(port)
		return dev, nil
	case cabinet.I2C:
		b, there := s.i2c[bus]
		if !there {
			var err error
			if b, err = s.I2C(bus); err != nil {
				return nil, err
			}
			s.i2c[bus] = b
			s.keep(b)
		}
		return s.onI2C(p, b)
	}
	b, there := s.wires[bus]
	if !there {
		var err error
		if b, err = s.OneWire(bus); err != nil {
			return nil, err
		}
		s.wires[bus] = b
		s.keep(b)
	}
	return b.Thermometer(onewire.Address(p.Address))
}

// driver keeps a nil pointer from becoming an interface that is not nil.
func driver[T sensors.Probe](d T, err error) (sensors.Probe, error) {
	if err != nil {
		return nil, err
	}
	return d, nil
}

func onSPI(c *cabinet.Cabinet, p cabinet.Probe, port spi.Port) (sensors.Probe, error) {
	letter, err := thermocouple.ParseType(p.Type)
	if err != nil {
		return nil, err
	}
	switch p.Chip {
	case "MAX31855":
		return driver(max31855.New(port, &max31855.Opts{Type: letter}))
	case "MAX31856":
		o := max31856.DefaultOpts
		o.Type = letter
		if c.MainsHertz != 0 {
			o.Mains = c.MainsHertz
		}
		return driver(max31856.New(port, &o))
	case "MAX6675":
		return driver(max6675.New(port, &max6675.Opts{Board: p.Board}))
	}
	return nil, fmt.Errorf("there is no driver for %s on SPI", p.Chip)
}

func (s *shared) onI2C(p cabinet.Probe, bus i2c.Bus) (sensors.Probe, error) {
	switch p.Chip {
	case "MCP9600", "MCP9601":
		letter, err := thermocouple.ParseType(p.Type)
		if err != nil {
			return nil, err
		}
		return driver(mcp9600.New(bus, &mcp9600.Opts{Address: uint16(p.Address), Type: letter, SeesWire: p.Chip == "MCP9601"}))
	case "BME280", "BMP280", "MCP9808":
		return driver(roomair.New(bus, map[string]roomair.Kind{"BME280": roomair.BME280, "BMP280": roomair.BMP280, "MCP9808": roomair.MCP9808}[p.Chip], uint16(p.Address)))
	case "ADS1115":
		key := fmt.Sprintf("%s %#x", p.Bus, p.Address)
		dev, there := s.converters[key]
		if !there {
			o := ads1115.DefaultOpts
			o.Address, o.SupplyVolts = uint16(p.Address), p.Thermistor.Supply.Volts
			if o.SupplyInput = p.Thermistor.Supply.Input; o.SupplyInput == cabinet.Unmeasured {
				o.SupplyInput = ads1115.Unmeasured
			}
			var err error
			if dev, err = ads1115.New(bus, &o); err != nil {
				return nil, err
			}
			s.converters[key] = dev
		}
		o := ads1115.DefaultProbeOpts
		o.Input, o.Curve, o.Divider = p.Thermistor.Input, p.Thermistor.Curve, p.Thermistor.Divider
		return driver(dev.Thermistor(&o))
	}
	return nil, fmt.Errorf("there is no driver for %s on I2C", p.Chip)
}
