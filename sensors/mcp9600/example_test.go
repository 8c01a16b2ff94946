package mcp9600_test

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"fumarium/sensors/mcp9600"
	"fumarium/sensors/thermocouple"
)

func Example() {
	// Recorded transfers stand for the bus, which the wiring room would open.
	bus := &i2ctest.Playback{Ops: recorded}

	dev, err := mcp9600.New(bus, &mcp9600.Opts{Address: 0x67, Type: thermocouple.T})
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
