// Package ads1115 reads NTC thermistors through a Texas Instruments ADS1115
// analog to digital converter over I²C.
//
// Each thermistor stands in a divider. One input of the chip measures the
// dividers' supply and each of the others the middle of one divider; only the
// ratio counts, so neither the supply's drift nor the chip's own reference enters
// the temperature. At most three thermistors share a chip; four with a supply that is
// not measured but stated, whose error then enters.
//
// Every read starts two conversions, supply and divider, and asks the chip
// whether each is done, so no value is ever an old one. At 128 conversions a second
// a read occupies the bus for some 17 ms. The chip's settings come back with the
// answer; when they differ from what was asked for, the sample is a fault.
//
// It is a driver of our own: that of periph.io's ads1x15 takes what the register holds
// after the conversion's nominal time, and gives numbers before the first conversion, from
// a dead line and after a dip of the supply (TestWhatALibrarysDriverTakesForAReading).
//
// Keep every input below the chip's supply plus 0.3 V, whatever the range.
//
// # Datasheet
//
// ADS1113, ADS1114, ADS1115, SBAS444D. https://www.ti.com/lit/ds/symlink/ads1115.pdf
package ads1115
