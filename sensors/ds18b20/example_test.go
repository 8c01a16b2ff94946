package ds18b20_test

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/onewire/onewiretest"

	"fumarium/sensors/ds18b20"
)

func Example() {
	// Recorded transfers stand for the bus, which the wiring room would open.
	bus := &onewiretest.Playback{Ops: recorded}

	dev, err := ds18b20.New(bus, address, &ds18b20.DefaultOpts)
	if err != nil {
		fmt.Println(err)
		return
	}
	for now := time.Duration(0); now <= time.Second; now += time.Second {
		if t, ok := dev.Read(now).Value(); ok {
			fmt.Printf("%.4f °C\n", float64(t))
		} else {
			fmt.Println(dev.Err())
		}
	}
	// Output:
	// no conversion has finished since the chip was set up; read again
	// 25.0625 °C
}
