// Package max31856 reads a Maxim (now Analog Devices) MAX31856 precision
// thermocouple converter over SPI. The chip knows the curve of each type itself.
//
// After a power dip the chip starts again with other settings (type K, no
// open-circuit test, no automatic conversion) and shows 0 °C, a number like any
// other. So the driver reads all settings back with every sample, in the
// same transfer; when one differs, the sample is a fault and the chip is set up
// again.
//
// What it cannot see: the chip looks for an open circuit only with every 16th
// conversion, so a broken wire may give a plausible number for as long as Detect
// says (2.8 s with the default options). A voltage outside the supply stops the
// chip, which then holds an old value; that value is never passed on. The frame
// has no checksum. The board belongs outside the chamber.
//
// # Datasheet
//
// MAX31856, 19-7534. https://www.analog.com/media/en/technical-documentation/data-sheets/MAX31856.pdf
package max31856
