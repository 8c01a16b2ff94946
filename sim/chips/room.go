package chips

import (
	"math"
	"time"

	"fumarium/profile/quantity"
)

// BME280 is the room chip of that name, or its sister BMP280, which knows no humidity.
// It converts by itself when told to; single conversions on demand end at once. The probe
// is the chip: World's Hot is the room.
type BME280 struct {
	front
	addr     uint16
	id       byte
	Pascal   float64 // of the air
	Humidity float64 // of the air, relative
	hum      byte    // ctrl_hum
	meas     byte    // ctrl_meas
	config   byte
	runs     schedule
	begun    bool
	t, p     float64 // filtered raw values
	count    int
	data     [8]byte
}

// NewBME280 and NewBMP280 are chips just powered up, at sea level in air of 50 %.
func NewBME280(w World, addr uint16) *BME280 { return newBosch(w, addr, 0x60) }

// NewBMP280 is a chip without humidity.
func NewBMP280(w World, addr uint16) *BME280 { return newBosch(w, addr, 0x58) }

func newBosch(w World, addr uint16, id byte) *BME280 {
	c := &BME280{front: front{World: w}, addr: addr, id: id, Pascal: 101_325, Humidity: 0.5}
	c.PowerCycle()
	return c
}

func (c *BME280) address() uint16 { return c.addr }

// PowerCycle cuts the supply for a moment: the chip sleeps, and its data are what they are
// before any conversion.
func (c *BME280) PowerCycle() {
	c.hum, c.meas, c.config, c.runs, c.begun = 0, 0, 0, schedule{}, false
	c.data = [8]byte{0x80, 0, 0, 0x80, 0, 0, 0x80, 0}
}

// trim are the constants of one chip. Those of temperature and pressure are the worked
// example of the maker's datasheet of the BMP280, which gives 25.08 °C and 100653 Pa for
// raw values of 519888 and 415148 (as recalled from memory).
var trim = struct {
	t [3]float64
	p [9]float64
	h [6]float64
}{
	[3]float64{27504, 26435, -1000}, [9]float64{36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000}, [6]float64{75, 362, 0, 313, 50, 30},
}

// fine, celsius, pascal and share are the datasheet's conversions in floating point.
func fine(raw float64) float64 {
	x := raw/16384 - trim.t[0]/1024
	y := raw/131072 - trim.t[0]/8192
	return x*trim.t[1] + y*y*trim.t[2]
}

func pascal(raw, fine float64) float64 {
	p := trim.p
	a := fine/2 - 64000
	b := a*a*p[5]/32768 + a*p[4]*2
	b = b/4 + p[3]*65536
	a = (p[2]*a*a/524288 + p[1]*a) / 524288
	a = (1 + a/32768) * p[0]
	v := (1048576 - raw - b/4096) * 6250 / a
	return v + (p[8]*v*v/2147483648+v*p[7]/32768+p[6])/16
}

func share(raw, fine float64) float64 {
	h := trim.h
	x := fine - 76800
	x = (raw - (h[3]*64 + h[4]/16384*x)) * (h[1] / 65536 * (1 + h[5]/67108864*x*(1+h[2]/67108864*x)))
	return x * (1 - h[0]*x/524288) / 100
}

// solve finds what a rising (or falling) function must be given for a value.
func solve(want, low, high float64, f func(float64) float64) float64 {
	rising := f(high) > f(low)
	for range 60 {
		middle := (low + high) / 2
		if (f(middle) < want) == rising {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

func (c *BME280) convert() {
	t := solve(float64(c.Hot()), 0, 1<<20-1, func(raw float64) float64 { return fine(raw) / 5120 })
	p := solve(c.Pascal, 0, 1<<20-1, func(raw float64) float64 { return pascal(raw, fine(t)) })
	h := solve(c.Humidity, 0, 1<<16-1, func(raw float64) float64 { return share(raw, fine(t)) })
	if filter := c.config >> 2 & 7; filter == 0 || !c.begun {
		c.t, c.p = t, p
	} else {
		weight := math.Pow(2, -float64(min(filter, 4)))
		c.t += weight * (t - c.t)
		c.p += weight * (p - c.p)
	}
	c.begun = true
	c.count++ // no two conversions of a real one are the same
	rawT, rawP, rawH := int(math.Round(c.t)), int(math.Round(c.p))+c.count%5-2, int(math.Round(h))
	c.data = [8]byte{byte(rawP >> 12), byte(rawP >> 4), byte(rawP << 4), byte(rawT >> 12), byte(rawT >> 4), byte(rawT << 4), byte(rawH >> 8), byte(rawH)}
}

func (c *BME280) transfer(w, r []byte) error {
	for range min(c.runs.ended(c.Now()), 20) {
		if c.fault != Frozen {
			c.convert()
		}
	}
	if dead, err := c.dead(r); dead {
		return err
	}
	if len(r) == 0 {
		for i := 0; i+1 < len(w); i += 2 {
			c.write(w[i], w[i+1])
		}
		return nil
	}
	if len(w) != 1 {
		return nil
	}
	for i := range r {
		r[i] = c.register(w[0] + byte(i))
	}
	return nil
}

func (c *BME280) write(reg, v byte) {
	switch reg {
	case 0xF2:
		c.hum = v & 7
	case 0xF5:
		c.config = v
	case 0xF4:
		was := c.meas & 3
		switch c.meas = v; {
		case v&3 == 3 && was != 3:
			c.runs.start(c.Now(), 47*time.Millisecond, 540*time.Millisecond)
		case v&3 == 1, v&3 == 2:
			c.meas &^= 3
			c.convert()
		case v&3 == 0:
			c.runs = schedule{}
		}
	}
}

func (c *BME280) register(reg byte) byte {
	switch {
	case reg == 0xD0:
		return c.id
	case reg == 0xF2:
		return c.hum
	case reg == 0xF4:
		return c.meas
	case reg == 0xF5:
		return c.config
	case reg >= 0xF7 && reg <= 0xFE:
		return c.data[reg-0xF7]
	case reg >= 0x88 && reg < 0xA0:
		words := append(append([]float64(nil), trim.t[:]...), trim.p[:]...)
		v := int(words[(reg-0x88)/2])
		return byte(v >> (8 * (reg & 1)))
	case reg == 0xA1:
		return byte(trim.h[0])
	case reg >= 0xE1 && reg <= 0xE7:
		h2, h3, h4, h5, h6 := int(trim.h[1]), int(trim.h[2]), int(trim.h[3]), int(trim.h[4]), int(trim.h[5])
		return [7]byte{byte(h2), byte(h2 >> 8), byte(h3), byte(h4 >> 4), byte(h4&15 | h5&15<<4), byte(h5 >> 4), byte(h6)}[reg-0xE1]
	}
	return 0
}

// MCP9808 is the thermometer of that name.
type MCP9808 struct {
	front
	addr     uint16
	settings map[byte]uint16
	runs     schedule
	data     uint16
}

// NewMCP9808 is a chip just powered up.
func NewMCP9808(w World, addr uint16) *MCP9808 {
	c := &MCP9808{front: front{World: w}, addr: addr}
	c.PowerCycle()
	return c
}

func (c *MCP9808) address() uint16 { return c.addr }

// PowerCycle cuts the supply for a moment: the chip converts at once, and shows 0 °C until
// the first conversion has ended.
func (c *MCP9808) PowerCycle() {
	c.settings, c.data = map[byte]uint16{0x06: 0x0054, 0x07: 0x0400}, 0
	c.runs.start(c.Now(), 250*time.Millisecond, 250*time.Millisecond)
}

func (c *MCP9808) transfer(w, r []byte) error {
	if c.runs.ended(c.Now()) > 0 && c.fault != Frozen && c.settings[1]&0x100 == 0 {
		c.data = uint16(steps(quantity.Celsius(c.Hot()), 16, -40*16, 125*16)) & 0x1FFF
	}
	if dead, err := c.dead(r); dead {
		return err
	}
	switch {
	case len(w) == 3 && w[0] >= 1 && w[0] <= 4:
		c.settings[w[0]] = uint16(w[1])<<8 | uint16(w[2])
	case len(w) == 1 && len(r) > 0:
		v := c.settings[w[0]]
		if w[0] == 5 {
			v = c.data
		}
		if r[0] = byte(v >> 8); len(r) > 1 {
			r[1] = byte(v)
		}
	}
	return nil
}
