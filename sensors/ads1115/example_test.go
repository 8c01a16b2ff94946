package ads1115_test

import (
	"fmt"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"fumarium/sensors/ads1115"
	"fumarium/sensors/thermistor"
)

func Example() {
	// Recorded transfers stand for the bus, which the wiring room would open.
	bus := &i2ctest.Playback{Ops: recorded}

	dev, err := ads1115.New(bus, &ads1115.DefaultOpts)
	if err != nil {
		fmt.Println(err)
		return
	}
	o := ads1115.DefaultProbeOpts
	o.Curve, err = thermistor.Fit(thermistor.Point{Temperature: 0, Ohms: 32580.7},
		thermistor.Point{Temperature: 25, Ohms: 10000}, thermistor.Point{Temperature: 100, Ohms: 673})
	if err != nil {
		fmt.Println(err)
		return
	}
	core, err := dev.Thermistor(&o)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(core.Read(0).Value())
	// Output: 25 °C true
}
