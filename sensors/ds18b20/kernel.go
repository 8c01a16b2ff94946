package ds18b20

import (
	"bytes"
	"encoding/hex"
	"fmt"

	"periph.io/x/conn/v3/onewire"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// CheckAddress says what is wrong with an address that no DS18B20 can have.
func CheckAddress(a onewire.Address) error {
	var b [8]byte
	for i := range b {
		b[i] = byte(a >> (8 * i))
	}
	switch {
	case b[0] != family:
		return fmt.Errorf("ds18b20: address %#016x is of family %#02x, a DS18B20 has %#02x; choose another device", uint64(a), b[0], family)
	case !onewire.CheckCRC(b[:]):
		return fmt.Errorf("ds18b20: the checksum in address %#016x is wrong; copy it again", uint64(a))
	}
	return nil
}

// KernelName is how Linux names a device of a 1-Wire bus: family and serial number,
// without the checksum.
func KernelName(a onewire.Address) string {
	return fmt.Sprintf("%02x-%012x", uint64(a)&0xFF, uint64(a)>>8&0xFFFFFFFFFFFF)
}

// ParseKernelName is the inverse of KernelName.
func ParseKernelName(name string) (onewire.Address, bool) {
	if len(name) != 15 || name[2] != '-' {
		return 0, false
	}
	b, err := hex.DecodeString(name[:2] + name[3:])
	if err != nil {
		return 0, false
	}
	raw := [8]byte{b[0], b[6], b[5], b[4], b[3], b[2], b[1]}
	raw[7] = onewire.CalcCRC(raw[:7])
	var a onewire.Address
	for i := range raw {
		a |= onewire.Address(raw[i]) << (8 * i)
	}
	return a, true
}

// ParseSlave reads the file w1_slave that the Linux driver w1_therm makes of one
// conversion (kernel documentation w1/slaves/w1_therm):
//
//	72 01 4b 46 7f ff 0e 10 57 : crc=57 YES
//	72 01 4b 46 7f ff 0e 10 57 t=23125
//
// The first line is the scratchpad as read just now with the kernel's verdict on its
// checksum; all is judged from it. The bytes of the second line may be older and are
// not looked at. known says that the chip has shown another temperature before: only
// then is 85 °C, which stands in the register from power-up, taken for one, and not
// when byte 6 is still as after power-up (0x0C, as the datasheet's power-up state has
// it). A copy of the chip that has something else there, and loses its power after
// it was known, is believed: nothing in the file shows it. The error is nil exactly
// when the reading is good.
func ParseSlave(text []byte, known bool) (sensors.Reading, error) {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	bytesText, verdict, found := bytes.Cut(line, []byte(" : crc="))
	var pad [9]byte
	n, err := hex.Decode(pad[:], fit(bytes.ReplaceAll(bytesText, []byte(" "), nil)))
	broken := sensors.Fault(sensors.BusError)
	if !found || err != nil || n != len(pad) {
		return broken, ErrGarbled
	}
	if pad == [9]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF} {
		return broken, ErrAbsent
	}
	raw := int16(uint16(pad[1])<<8 | uint16(pad[0]))
	raw &= -1 << (3 - pad[4]>>5&3) // the lower bits are undefined
	switch {
	case !bytes.HasSuffix(verdict, []byte(" YES")), !onewire.CheckCRC(pad[:]), pad[4]&0x9F != 0x1F, pad[5] != 0xFF, pad[7] != 0x10,
		raw > 0x07FF || raw < -0x0800:
		return broken, ErrGarbled
	case raw < -55*16 || raw > 125*16:
		return sensors.Fault(sensors.OutOfRange), ErrRange
	case raw == powerUp && (!known || pad[6] == 0x0C):
		return sensors.Fault(sensors.Unread), ErrPowerUp
	}
	return sensors.At(quantity.Celsius(raw) / 16), nil
}

// fit keeps a line that is too long from being decoded past the scratchpad.
func fit(digits []byte) []byte {
	if len(digits) > 18 {
		return nil
	}
	return digits
}
