package wiring

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/relay"
	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
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
	assert.ErrorContains(t, err, `I2C1 at 0x67: MCP9600, which cannot see an open wire; probe "wick" is to hang on an MCP9601 there: correct the file, or give one of the two another address`)
	assert.ErrorContains(t, err, `I2C1 at 0x49: the ADS1115 of probe "core 2" does not answer; check its supply and wires and what its address pin is tied to, or correct the address`)
	assert.ErrorContains(t, err, `w1_bus_master1 at 0x1c0000031edd2a28: the DS18B20 of probe "yard" does not answer; check its wires, or correct the address`)
	assert.Equal(t, 3, strings.Count(err.Error(), "\n")+1)
	// A bus that is gone is missed once and not for each of its chips.
	d.missing = "I2C1"
	err = Missing(s.Look(parse(t, text)))
	assert.Equal(t, 1, strings.Count(err.Error(), "I2C1 is not there"))
	assert.NotContains(t, err.Error(), "0x49")
}

// Another device at an address of ours is named as such; it is wrong only where the
// file has a probe there.
func TestStrangerOnTheBus(t *testing.T) {
	d := newDesk()
	d.bus[0].Break(chips.AllZeros)
	d.bus[1].Break(chips.AllOnes)
	found, err := answering(d, 1)
	assert.NoError(t, err)
	assert.Equal(t, []Find{
		{"I2C1 at 0x48", true, "a device that is no ADS1115 (register 1 reads 0x0000)"},
		{"I2C1 at 0x67", true, "a device that is no MCP9600 (identity 0xff)"},
	}, found)
	s := Survey{Buses: d, Bus: answering, Nodes: func(pattern string) []string {
		return map[string][]string{"/dev/i2c-*": {"/dev/i2c-1"}}[pattern]
	}, Lines: func() ([]relay.Chip, error) { return []relay.Chip{{Path: "/dev/gpiochip0"}}, nil }}
	assert.NoError(t, Missing(s.Look(nil)))
	err = Missing(s.Look(parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1))))
	assert.ErrorContains(t, err, `I2C1 at 0x48: a device that is no ADS1115 (register 1 reads 0x0000); probe "core 1" is to hang on an ADS1115 there: correct the file`)
	assert.ErrorContains(t, err, `I2C1 at 0x67: a device that is no MCP9600 (identity 0xff); probe "wick" is to hang on an MCP9600 there`)
}

// The better sister does for the lesser one, at the ends of the ranges as well.
func TestSurveyReachesEveryAddress(t *testing.T) {
	d := newDesk()
	world := chips.World{Hot: func() quantity.Celsius { return 20 }, Cold: func() quantity.Celsius { return 20 }, Now: func() time.Duration { return 0 }}
	d.bus = nil
	want := []Find{}
	for a := uint16(0x48); a <= 0x4B; a++ {
		d.bus = append(d.bus, chips.NewADS1115(a, [4]func() float64{}))
		want = append(want, Find{fmt.Sprintf("I2C1 at %#02x", a), true, converter})
	}
	for a := uint16(0x60); a <= 0x67; a++ {
		d.bus = append(d.bus, chips.NewMCP9601(world, a, thermocouple.K))
		want = append(want, Find{fmt.Sprintf("I2C1 at %#02x", a), true, sighted})
	}
	found, err := answering(d, 1)
	assert.NoError(t, err)
	assert.Equal(t, want, found)
	s := Survey{Buses: d, Bus: answering, Nodes: func(string) []string { return nil },
		Lines: func() ([]relay.Chip, error) { return []relay.Chip{{Path: "/dev/gpiochip0"}}, nil }}
	assert.NoError(t, Missing(s.Look(parse(t, strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1)))))
	d.missing = "I2C1"
	_, err = answering(d, 1)
	assert.Error(t, err)
}

// A family that is not ours, on 1-Wire.
func TestFamily(t *testing.T) {
	assert.Equal(t, "not a DS18B20 but of family 0x10", family(0x1c0000031edd2a10))
}

// Pins are there and free, held by the daemon, held by somebody else, or missing; on a
// machine without a GPIO chip that is said once.
func TestSurveyOfPins(t *testing.T) {
	c := parse(t, strings.Replace(wired, "ADDRESS", "0x1c0000031edd2a28", 1))
	s := Survey{
		Lines: func() ([]relay.Chip, error) { return []relay.Chip{{Path: "/dev/gpiochip0"}}, nil },
		Holder: func(p relay.Pin) (string, error) {
			switch p.Output {
			case "heater":
				return "fumarium heater", nil
			case "fan":
				return "lamp", nil
			}
			return "", errors.New("no such line; correct the pin")
		},
	}
	pins := relay.Pins(c)
	want := []Find{}
	for _, p := range pins {
		switch p.Output {
		case "heater":
			want = append(want, Find{p.String(), true, "held by the daemon that runs"})
		case "fan":
			want = append(want, Find{p.String(), false, `held by "lamp"; end that program, or move its wire to a free pin`})
		default:
			want = append(want, Find{p.String(), false, "no such line; correct the pin"})
		}
	}
	assert.Equal(t, want, s.pins(c))
	s.Holder = func(relay.Pin) (string, error) { return "", nil }
	assert.Equal(t, "free", s.pins(c)[0].Note)
	s.Lines = func() ([]relay.Chip, error) { return nil, nil }
	assert.Empty(t, s.pins(c))
}

// A display on SPI cannot be heard, so nothing misses it; its bus, its line and the buttons'
// are looked at like all others.
func TestSurveyOfAPanelOnSPI(t *testing.T) {
	d := newDesk()
	text := strings.Replace(wired, "ADDRESS", fmt.Sprintf("%#x", uint64(d.wire[0].Address())), 1) + "panel: {display: SPI1.0, data line: {pin: GPIO24}, stop: {pin: GPIO13}}\n"
	s := Survey{Buses: d, Bus: answering, Nodes: func(string) []string { return nil },
		Lines: func() ([]relay.Chip, error) { return []relay.Chip{{Path: "/dev/gpiochip0"}}, nil },
		Holder: func(p relay.Pin) (string, error) {
			return map[string]string{"GPIO24": "fumarium display", "GPIO13": "lamp"}[p.Pin], nil
		}}
	found := s.Look(parse(t, text))
	assert.Contains(t, found, Find{"SPI1.0", true, "the display says nothing back: see it with fumarium wiring panel"})
	assert.Contains(t, found, Find{"display on GPIO24", true, "held by the daemon that runs"})
	assert.Contains(t, found, Find{"stop on GPIO13", false, `held by "lamp"; end that program, or move its wire to a free pin`})
	d.missing = "SPI1.0"
	assert.ErrorContains(t, Missing(s.Look(parse(t, text))), "SPI1.0 is not there")
}
