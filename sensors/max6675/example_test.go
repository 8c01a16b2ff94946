package max6675_test

import (
	"fmt"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"

	"fumarium/sensors/max6675"
)

func Example() {
	// A recorded transfer stands for the port, which the wiring room would open.
	port := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{{R: []byte{0x00, 0x04}}}}}

	dev, err := max6675.New(port, &max6675.Opts{Board: 30})
	if err != nil {
		fmt.Println(err)
		return
	}
	r := dev.Read(0)
	fmt.Println(r.Status())
	fmt.Println(dev.Err())
	// Output:
	// open circuit
	// max6675: open circuit: the thermocouple is broken or unplugged; check probe and connector
}
