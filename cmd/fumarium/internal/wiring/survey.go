package wiring

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
)

// A Find is one thing of the machine, there or missing.
type Find struct {
	What string `json:"what"` // a bus, a chip on it, or a GPIO chip
	Good bool   `json:"good"`
	// Note says what it is, or what is wrong and what to do.
	Note string `json:"note"`
}

// A Survey looks over a machine without changing anything on it.
type Survey struct {
	Buses Buses
	Nodes func(pattern string) []string        // paths that match
	Lines func() ([]relay.Chip, error)         // GPIO chips
	Bus   func(b Buses, n int) ([]Find, error) // what answers on an I2C bus
	// Holder says who holds the line of an output; nil asks for none.
	Holder func(relay.Pin) (string, error)
	Root   fs.FS // the file system in which the kernel shows its guards; nil asks for none
}

// NewSurvey is that of this machine.
func NewSurvey() Survey {
	return Survey{
		Buses:  Machine(),
		Nodes:  func(pattern string) []string { found, _ := filepath.Glob(pattern); return found },
		Lines:  relay.NewKernel().Chips,
		Bus:    answering,
		Holder: relay.NewKernel().Holder,
		Root:   os.DirFS("/"),
	}
}

// Look lists the machine's buses, the front ends that answer on them and the GPIO
// chips; and, of a cabinet, what it needs and is not there, the guards of the program
// too. c may be nil.
func (s Survey) Look(c *cabinet.Cabinet) []Find {
	found := []Find{} // never null in JSON
	seen := map[string]bool{}
	bus := func(name string, err error, note string) {
		if seen[name] {
			return
		}
		seen[name] = true
		if err != nil {
			note = err.Error()
		}
		found = append(found, Find{name, err == nil, note})
	}
	spi := func(n, chipSelect int, note string) {
		port, err := s.Buses.SPI(n, chipSelect)
		bus(fmt.Sprintf("SPI%d.%d", n, chipSelect), err, note)
		release(port, err)
	}
	i2c := func(n int, note string) {
		name := fmt.Sprintf("I2C%d", n)
		if seen[name] {
			return
		}
		opened, err := s.Buses.I2C(n)
		bus(name, err, note)
		release(opened, err)
		if err == nil {
			chips, err := s.Bus(s.Buses, n)
			if err != nil {
				found = append(found, Find{name, false, err.Error()})
			}
			found = append(found, chips...)
		}
	}
	wire := func(n int, note string) {
		name := fmt.Sprintf("w1_bus_master%d", n)
		if seen[name] {
			return
		}
		opened, err := s.Buses.OneWire(n)
		bus(name, err, note)
		if err != nil {
			return
		}
		defer release(opened, nil)
		addresses, err := opened.Search()
		for _, a := range addresses {
			found = append(found, Find{fmt.Sprintf("%s at %#016x", name, uint64(a)), true, family(uint64(a))})
		}
		if err != nil {
			found = append(found, Find{name, false, err.Error()})
		}
	}
	var n, chipSelect int
	for _, node := range s.Nodes("/dev/spidev*") {
		if _, err := fmt.Sscanf(node, "/dev/spidev%d.%d", &n, &chipSelect); err == nil {
			spi(n, chipSelect, "a chip on SPI shows only when it is read")
		}
	}
	for _, node := range s.Nodes("/dev/i2c-*") {
		if _, err := fmt.Sscanf(node, "/dev/i2c-%d", &n); err == nil {
			i2c(n, "")
		}
	}
	for _, node := range s.Nodes("/sys/bus/w1/devices/w1_bus_master*") {
		if _, err := fmt.Sscanf(node, "/sys/bus/w1/devices/w1_bus_master%d", &n); err == nil {
			wire(n, "")
		}
	}
	if c != nil && !c.Simulated() {
		for _, p := range c.Probes {
			kind, n, chipSelect, _ := cabinet.ParseBus(p.Bus)
			switch kind {
			case cabinet.SPI:
				spi(n, chipSelect, "")
			case cabinet.I2C:
				i2c(n, "")
			case cabinet.OneWire:
				wire(n, "")
			}
		}
	}
	if c != nil && !c.Simulated() && c.Panel.OnSPI() {
		_, n, chipSelect, _ := cabinet.ParseBus(c.Panel.Display)
		spi(n, chipSelect, "the display says nothing back: see it with fumarium wiring panel")
	} else if c != nil && !c.Simulated() && c.Panel.Display != "" {
		_, n, _, _ := cabinet.ParseBus(c.Panel.Display)
		i2c(n, "")
		if what := fmt.Sprintf("%s at %#02x", c.Panel.Display, displayAddress); !slices.ContainsFunc(found, func(f Find) bool { return f.What == what }) {
			found = append(found, Find{what, false, "the display of the panel does not answer; check its supply and wires, and that its address is 0x3C"})
		}
	}
	if c != nil && !c.Simulated() {
		found = expect(found, c)
		found = append(found, s.pins(c)...)
		if s.Root != nil {
			found = append(found, guards(s.Root)...)
		}
	}
	return append(found, s.lines()...)
}

// expect holds what answered on the buses against what the cabinet's probes hang on.
// A bus that is missing itself is not missed again for each chip on it, and SPI
// shows nothing until it is read.
func expect(found []Find, c *cabinet.Cabinet) []Find {
	at := func(what string) int {
		return slices.IndexFunc(found, func(f Find) bool { return f.What == what })
	}
	for _, p := range c.Probes {
		kind, n, _, _ := cabinet.ParseBus(p.Bus)
		var what, remedy string
		switch kind {
		case cabinet.I2C:
			what, remedy = fmt.Sprintf("I2C%d at %#02x", n, p.Address), "check its supply and wires and what its address pin is tied to, or correct the address"
		case cabinet.OneWire:
			what, remedy = fmt.Sprintf("%s at %#016x", p.Bus, p.Address), "check its wires, or correct the address"
		default:
			continue
		}
		if bus := at(p.Bus); bus < 0 || !found[bus].Good {
			continue
		}
		switch i := at(what); {
		case i < 0:
			found = append(found, Find{what, false, fmt.Sprintf("the %s of probe %q does not answer; %s", p.Chip, p.Name, remedy)})
		case found[i].Good && !slices.Contains(answers[p.Chip], found[i].Note):
			found[i] = Find{what, false, fmt.Sprintf("%s; probe %q is to hang on an %s there: %s", found[i].Note, p.Name, p.Chip,
				"correct the file, or give one of the two another address; a bus that cuts stretched clocks short wants 10 kHz")}
		}
	}
	return found
}

// What there is to say of a chip by its answer, and what will do for the chip that a
// file names. The better sister will do for the lesser one.
const (
	converter = "answers like an ADS1115"
	blind     = "MCP9600, which cannot see an open wire"
	sighted   = "MCP9601"
	wireChip  = "DS18B20"
	humid     = "BME280"
	barometer = "BMP280, which knows no humidity"
	room      = "MCP9808"
	screen    = "answers like a display"
)

var answers = map[string][]string{
	"ADS1115": {converter}, "MCP9600": {blind, sighted}, "MCP9601": {sighted}, "DS18B20": {wireChip},
	"BME280": {humid}, "BMP280": {barometer}, "MCP9808": {room},
}

// pins says of each line that is driven, and of the buttons', whether it is there, and free
// or ours.
func (s Survey) pins(c *cabinet.Cabinet) (found []Find) {
	if s.Holder == nil {
		return nil
	}
	if chips, err := s.Lines(); err == nil && len(chips) == 0 {
		return nil // missed once, and not again for each pin
	}
	lines := relay.Pins(c)
	front := func(name string, w cabinet.Wire) {
		if w.Fitted {
			lines = append(lines, relay.Pin{Output: name, Chip: c.LineChip, Pin: w.Pin, ActiveLow: w.ActiveLow})
		}
	}
	front("display", c.Panel.DataLine)
	for _, b := range c.Panel.Buttons() {
		front(b.Name, b.Wire)
	}
	for _, p := range lines {
		f := Find{What: p.String(), Good: true, Note: "free"}
		switch holder, err := s.Holder(p); {
		case err != nil:
			f.Good, f.Note = false, err.Error()
		case strings.HasPrefix(holder, "fumarium"):
			f.Note = "held by the daemon that runs"
		case holder != "":
			f.Good, f.Note = false, fmt.Sprintf("held by %q; end that program, or move its wire to a free pin", holder)
		}
		found = append(found, f)
	}
	return found
}

func (s Survey) lines() []Find {
	chips, err := s.Lines()
	var found []Find
	for _, c := range chips {
		f := Find{c.Path, true, fmt.Sprintf("GPIO chip %s with %d lines", c.Label, c.Lines)}
		if c.Err != nil {
			f.Good, f.Note = false, c.Err.Error()
		}
		found = append(found, f)
	}
	switch {
	case err != nil:
		found = append(found, Find{"GPIO", false, err.Error()})
	case len(chips) == 0:
		found = append(found, Find{"GPIO", false, "no GPIO chip: run this on the board that the relays hang on"})
	}
	return found
}

// release closes what was opened only to look.
func release(v any, err error) {
	if c, ok := v.(interface{ Close() error }); ok && err == nil {
		_ = c.Close() // nothing was written
	}
}

func family(address uint64) string {
	if address&0xFF == 0x28 {
		return wireChip
	}
	return fmt.Sprintf("not a DS18B20 but of family %#02x", address&0xFF)
}

// answering asks the addresses that our front ends may have, and no others: to
// read from an unknown chip may change it.
func answering(b Buses, n int) ([]Find, error) {
	bus, err := b.I2C(n)
	if err != nil {
		return nil, err
	}
	defer release(bus, nil)
	var found []Find
	say := func(address uint16, note string) {
		found = append(found, Find{fmt.Sprintf("I2C%d at %#02x", n, address), true, note})
	}
	for a := uint16(0x48); a <= 0x4B; a++ {
		var r [2]byte
		if bus.Tx(a, []byte{1}, r[:]) != nil {
			continue
		}
		// Its comparator is off after power-up and under our driver.
		if r[1]&0x1F == 0x03 {
			say(a, converter)
		} else {
			say(a, fmt.Sprintf("a device that is no ADS1115 (register 1 reads %#04x)", uint16(r[0])<<8|uint16(r[1])))
		}
	}
	for a := uint16(0x60); a <= 0x67; a++ {
		var r [2]byte
		if bus.Tx(a, []byte{0x20}, r[:]) != nil {
			continue
		}
		switch r[0] {
		case 0x40:
			say(a, blind)
		case 0x41:
			say(a, sighted)
		default:
			say(a, fmt.Sprintf("a device that is no MCP9600 (identity %#02x)", r[0]))
		}
	}
	for a := uint16(0x18); a <= 0x1F; a++ {
		var r [2]byte
		if bus.Tx(a, []byte{0x06}, r[:]) != nil {
			continue
		}
		if r == [2]byte{0x00, 0x54} {
			say(a, room)
		} else {
			say(a, fmt.Sprintf("a device that is no MCP9808 (maker %#04x)", uint16(r[0])<<8|uint16(r[1])))
		}
	}
	for a := uint16(0x76); a <= 0x77; a++ {
		var r [1]byte
		if bus.Tx(a, []byte{0xD0}, r[:]) != nil {
			continue
		}
		switch r[0] {
		case 0x60:
			say(a, humid)
		case 0x58:
			say(a, barometer)
		default:
			say(a, fmt.Sprintf("a device that is neither BME280 nor BMP280 (identity %#02x)", r[0]))
		}
	}
	var status [1]byte
	if bus.Tx(displayAddress, nil, status[:]) == nil {
		say(displayAddress, screen)
	}
	return found, nil
}

// Missing are the finds that are not good.
func Missing(found []Find) error {
	var err error
	for _, f := range found {
		if !f.Good {
			err = errors.Join(err, fmt.Errorf("%s: %s", f.What, f.Note))
		}
	}
	return err
}

// Fitted are the cabinet's outputs in the order in which to try them: those that
// do least harm first, the heater last.
func Fitted(c *cabinet.Cabinet) []string {
	var names []string
	for _, r := range []struct {
		name   string
		fitted bool
	}{{"light", c.Light.Fitted}, {"sounder", c.Sounder.Fitted}, {"fan", c.Fan.Fitted}, {"damper", c.Damper.Fitted}, {"humidifier", c.Humidifier.Fitted}, {"cooler", c.Cooler.Fitted}, {"smoke", c.Smoke.Fitted}, {"heater", c.Heater.Fitted}} {
		if r.fitted {
			names = append(names, r.name)
		}
	}
	return slices.Clip(names)
}
