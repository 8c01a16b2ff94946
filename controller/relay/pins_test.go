package relay

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestSameLine(t *testing.T) {
	for _, c := range []struct {
		a, b Pin
		same bool
	}{
		{Pin{Pin: "GPIO17"}, Pin{Pin: "17", Output: "fan", ActiveLow: true}, true},
		{Pin{Pin: "GPIO17"}, Pin{Chip: "pinctrl-bcm2835", Pin: "17"}, true},
		{Pin{Pin: "GPIO17"}, Pin{Pin: "GPIO18"}, false},
		{Pin{Chip: "pinctrl-rp1", Pin: "GPIO17"}, Pin{Chip: "pinctrl-bcm2835", Pin: "GPIO17"}, false},
		{Pin{Chip: "9030000.pl061", Pin: "7"}, Pin{Chip: "9030000.pl061", Pin: "7"}, true},
		{Pin{Chip: "9030000.pl061", Pin: "7"}, Pin{Pin: "7"}, false},
		{Pin{Pin: "SPI_MOSI"}, Pin{Pin: "SPI_MISO"}, false},
		{Pin{Pin: "SPI_MOSI"}, Pin{Pin: "SPI_MOSI"}, true},
	} {
		assert.Equal(t, c.same, c.a.SameLine(c.b), "%v, %v", c.a, c.b)
		assert.Equal(t, c.same, c.b.SameLine(c.a), "%v, %v", c.b, c.a)
	}
}
