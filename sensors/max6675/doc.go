// Package max6675 reads a Maxim MAX6675 type-K thermocouple converter over SPI.
//
// The chip takes type K for a straight line of 41 µV/K. The driver undoes that,
// for which it needs the temperature of the board, and the chip does not tell it:
// the options state what to expect. A board 20 K off that costs up to 0.6 K.
// Resolution is 0.25 K. Nothing below 0 °C can be read, which excludes a freezer,
// and 0 °C itself cannot be told from a dead line, so it is a fault.
//
// Selecting the chip stops its running conversion. Read more often than every
// 0.22 s it would show the same value for ever; the driver refuses instead. It
// sees an open circuit only when the negative wire is grounded at the board, as
// the datasheet asks.
//
// # Datasheet
//
// MAX6675, 19-2235. https://www.analog.com/media/en/technical-documentation/data-sheets/MAX6675.pdf
package max6675
