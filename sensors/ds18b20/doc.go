// Package ds18b20 reads a Maxim (now Analog Devices) DS18B20 digital thermometer
// on a 1-Wire bus: for the room, or a spare in the chamber. It is within 0.5 K only
// from -10 to 85 °C, and within 2 K up to 125 °C.
//
// A read takes the result of the conversion that the read before it started, so
// a value is as old as the time between two reads.
//
// The chip starts with 85 °C in its register, a temperature that a chamber may well
// have. So the driver writes a mark into two spare bytes, which a chip that
// lost its power forgets, and it takes 85 °C for a temperature only when another
// one was seen since. The scratchpad has a checksum, which zeros pass, so its fixed
// bits are checked too. A convert command that the chip missed repeats the old
// value; nothing in the chip's answer shows that.
//
// Dev has the bus to itself. ParseSlave is for Linux, whose driver w1_therm has it:
// there is no mark then, and less to tell a chip by that lost its power.
//
// Give the chip three wires: without a supply of its own it cannot be trusted in
// the heat, and the driver does not provide for it.
//
// # Datasheet
//
// DS18B20, 19-7487. https://www.analog.com/media/en/technical-documentation/data-sheets/DS18B20.pdf
package ds18b20
