// Package mcp9600 reads a Microchip MCP9600 or MCP9601 thermocouple converter
// over I²C. The chip knows the curve of each type itself.
//
// Every read checks the chip's identity and its settings, and that its "updated"
// flag is set, which the driver clears afterwards: a value that is reported again
// is stale, not good. A wire fault makes the chip keep its old value; that value is
// never passed on.
//
// Only the MCP9601 sees an open or shorted wire. The MCP9600 sees a voltage
// outside its range and nothing else: an unplugged probe may go on giving plausible
// numbers. Do not trust a core limit to an MCP9600: Opts.SeesWire refuses one.
//
// The chip stretches the clock. The I²C block of older single-board computers
// cuts stretched bits short and then reads nonsense; there, slow the bus to 10 kHz
// or use a bus in software (common practice, no source). The chip is slow as well:
// not above 100 kHz. The board belongs outside the chamber.
//
// # Datasheet
//
// MCP9600/L00/RL00, MCP9601/L01/RL01, DS20005426. https://ww1.microchip.com/downloads/en/DeviceDoc/MCP960X-L0X-RL0X-Data-Sheet-20005426F.pdf
package mcp9600
