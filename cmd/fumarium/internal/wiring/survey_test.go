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
