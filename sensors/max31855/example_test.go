package max31855_test

import (
	"fmt"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"

	"fumarium/sensors/max31855"
	"fumarium/sensors/thermocouple"
)

func Example() {
	// A recorded transfer stands for the port, which the wiring room would open.
	port := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{{R: []byte{0x03, 0xC0, 0x19, 0x00}}}}}

	dev, err := max31855.New(port, &max31855.Opts{Type: thermocouple.T})
	if err != nil {
		fmt.Println(err)
		return
	}
	t, ok := dev.Read(0).Value()
	if !ok {
		fmt.Println(dev.Err())
		return
	}
	// The chip shows 60 °C; type T is no straight line.
	fmt.Printf("%.2f °C\n", float64(t))
	// Output: 67.96 °C
}
