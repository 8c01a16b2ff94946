package max31856_test

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"

	"fumarium/sensors/max31856"
)

func Example() {
	// Recorded transfers stand for the port, which the wiring room would open.
	port := &spitest.Playback{Playback: conntest.Playback{Ops: append(append([]conntest.IO{}, setUp...),
		answer(0, 0, 0, 0, 0, 0), answer(0x19, 0x00, 0x04, 0x88, 0x00, 0x00))}}

	dev, err := max31856.New(port, &max31856.DefaultOpts)
	if err != nil {
		fmt.Println(err)
		return
	}
	for now := time.Duration(0); now <= time.Second; now += time.Second {
		if t, ok := dev.Read(now).Value(); ok {
			fmt.Println(t)
		} else {
			fmt.Println(dev.Err())
		}
	}
	// Output:
	// no conversion has finished since the chip was set up; read again
	// 72.5 °C
}
