// Package max31855 reads a Maxim (now Analog Devices) MAX31855 cold-junction
// compensated thermocouple converter over SPI.
//
// The chip takes every thermocouple for a straight line. The driver undoes that:
// it recovers the voltage and applies the reference function of the type. For
// type K this is worth less than 0.25 K in a chamber, for the others up to 18 K.
// Resolution is 0.25 K times line over true slope (up to 0.34 K for type N).
//
// The chip is sold per type (MAX31855K, J, N, T, E) and does not say which it is:
// a wrong type in the options gives wrong temperatures that nothing here can
// see. It has no register to configure and no checksum. A frame of zeros is legal
// (both junctions exactly 0 °C) but also what a dead line gives, so it is a fault.
// The board belongs outside the chamber. Do not ground the thermocouple.
//
// # Datasheet
//
// MAX31855, 19-5793. https://www.analog.com/media/en/technical-documentation/data-sheets/MAX31855.pdf
package max31855
