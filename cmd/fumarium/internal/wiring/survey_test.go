package wiring

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/relay"
	"fumarium/sim/chips"
)

func TestSurvey(t *testing.T) {
	d := newDesk()
	c := parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1))
	d.missing = "SPI0.1"
	s := Survey{
		Buses: d, Bus: answering,
		Nodes: func(pattern string) []string {
			return map[string][]string{"/dev/spidev*": {"/dev/spidev0.0"}, "/dev/i2c-*": {"/dev/i2c-1"}}[pattern]
		},
		Lines: func() ([]relay.Chip, error) {
			return []relay.Chip{{Path: "/dev/gpiochip0", Label: "pinctrl-bcm2711", Lines: 58}, {Path: "/dev/gpiochip1", Err: errors.New("permission denied")}}, nil
		},
	}
	want := []Find{
		{"SPI0.0", true, "a chip on SPI shows only when it is read"},
		{"I2C1", true, ""},
		{"I2C1 at 0x48", true, "answers like an ADS1115"},
		{"I2C1 at 0x67", true, "MCP9600, which cannot see an open wire"},
		{"SPI0.1", false, "SPI0.1 is not there"},
		{"w1_bus_master1", true, ""},
		{fmt.Sprintf("w1_bus_master1 at %#016x", uint64(d.wire[0].Address())), true, "DS18B20"},
		{"/dev/gpiochip0", true, "GPIO chip pinctrl-bcm2711 with 58 lines"},
		{"/dev/gpiochip1", false, "permission denied"},
	}
	found := s.Look(c)
	assert.Equal(t, want, found)
	assert.EqualError(t, Missing(found), "SPI0.1: SPI0.1 is not there\n/dev/gpiochip1: permission denied")
	s.Lines = func() ([]relay.Chip, error) { return nil, nil }
	found = s.Look(nil)
	assert.Len(t, found, 5, "without a cabinet nothing is missed")
	assert.Equal(t, []string{"fan", "heater"}, Fitted(c))
}

// A chip that the file names and that does not answer is missed, and so is the one
// that another answers for.
func TestSurveyMissesChips(t *testing.T) {
	d := newDesk()
	text := strings.NewReplacer("ADDRESS", "0x1c0000031edd2a28", "input: 1,", "address: 0x49, input: 1,", "MCP9600", "MCP9601").Replace(wired)
	s := Survey{Buses: d, Bus: answering, Nodes: func(string) []string { return nil },
		Lines: func() ([]relay.Chip, error) { return []relay.Chip{{Path: "/dev/gpiochip0"}}, nil }}
	err := Missing(s.Look(parse(t, text)))
	assert.ErrorContains(t, err, `I2C1 at 0x67: MCP9600, which cannot see an open wire, where probe "wick" has an MCP9601; correct the file, or fit the other chip`)
	assert.ErrorContains(t, err, `I2C1 at 0x49: the ADS1115 of probe "core 2" does not answer; check its supply and wires and what its address pin is tied to, or correct the address`)
	assert.ErrorContains(t, err, `w1_bus_master1 at 0x1c0000031edd2a28: the DS18B20 of probe "yard" does not answer; check its wires, or correct the address`)
	assert.Equal(t, 3, strings.Count(err.Error(), "\n")+1)
	// A bus that is gone is missed once and not for each of its chips.
	d.missing = "I2C1"
	err = Missing(s.Look(parse(t, text)))
	assert.Equal(t, 1, strings.Count(err.Error(), "I2C1 is not there"))
	assert.NotContains(t, err.Error(), "0x49")
}

// Another device at an address of ours is named as such.
func TestStrangerOnTheBus(t *testing.T) {
	d := newDesk()
	d.bus[1].Break(chips.AllOnes)
	found, err := answering(d, 1)
	assert.NoError(t, err)
	assert.Len(t, found, 2)
	assert.False(t, found[1].Good)
	assert.Contains(t, found[1].Note, "identity 0xff")
}
