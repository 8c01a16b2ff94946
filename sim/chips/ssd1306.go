package chips

import (
	"image"
	"sync"

	"periph.io/x/conn/v3/spi"
)

// SSD1306 is the display controller of that name with 128 by 64 points, on I2C at its
// usual address or on SPI with four wires. It keeps the memory that a driver fills; what it shows is Picture.
// Scrolling, zooming and fading are not simulated. Where a command of page addressing
// comes in horizontal addressing it sets the place all the same, as the chips do that the
// driver was made for; the datasheet leaves it open.
// A person may look at it, and pull its plug, while a driver draws.
type SSD1306 struct {
	mu sync.Mutex
	front
	memory       [8 * 128]byte
	page, column int
	lit, inverse bool
	contrast     byte
	pending      []byte // a command that lacks bytes
	data         bool   // its line D/C is high: what comes over SPI is for the memory
}

// NewSSD1306 is a display just powered up: dark.
func NewSSD1306() *SSD1306 {
	d := &SSD1306{}
	d.PowerCycle()
	return d
}

func (d *SSD1306) address() uint16 { return 0x3C }

// PowerCycle cuts the supply for a moment: what it showed is gone, and it is dark until
// it is told to shine. The memory then holds anything; here a pattern that nobody draws.
func (d *SSD1306) PowerCycle() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.page, d.column, d.lit, d.inverse, d.contrast, d.pending = 0, 0, false, false, 0x7F, nil
	for i := range d.memory {
		d.memory[i] = 0x55
	}
}

// Break gives the chip a fault; Sound mends it.
func (d *SSD1306) Break(f Fault) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.front.Break(f)
}

// Picture is what a person sees: lit is 255.
func (d *SSD1306) Picture() *image.Gray {
	d.mu.Lock()
	defer d.mu.Unlock()
	pic := image.NewGray(image.Rect(0, 0, 128, 64))
	if !d.lit {
		return pic
	}
	for i := range pic.Pix {
		x, y := i%128, i/128
		if (d.memory[y/8*128+x]>>(y%8)&1 != 0) != d.inverse {
			pic.Pix[i] = 255
		}
	}
	return pic
}

// Contrast is how bright it is told to be.
func (d *SSD1306) Contrast() byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.contrast
}

func (d *SSD1306) transfer(w, r []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if dead, err := d.dead(r); dead {
		return err
	}
	if len(w) == 0 {
		return nil
	}
	switch w[0] {
	case 0x00:
		d.take(w[1:], false)
	case 0x40:
		d.take(w[1:], true)
	}
	return nil
}

// take is what comes over either bus.
func (d *SSD1306) take(bytes []byte, data bool) {
	for _, b := range bytes {
		if !data {
			d.command(b)
			continue
		}
		d.memory[d.page*128+d.column] = b
		if d.column++; d.column == 128 {
			d.column, d.page = 0, (d.page+1)%8
		}
	}
}

// Port is its SPI side. Nothing comes back from it: a display that is not there, which is
// one with a dead data line, takes what is sent without an error.
func (d *SSD1306) Port() spi.Port {
	return &port{"simulated SPI", func(w, r []byte) error {
		d.mu.Lock()
		defer d.mu.Unlock()
		if dead, err := d.dead(r); dead {
			return err
		}
		d.take(w, d.data)
		return nil
	}}
}

// DataLine is its line D/C, as whoever drives the line has it.
func (d *SSD1306) DataLine() DataLine { return DataLine{d} }

// A DataLine says whether a display on SPI is sent a picture or commands.
type DataLine struct{ of *SSD1306 }

// Set makes the line high for a picture, or low for commands.
func (l DataLine) Set(on bool) error {
	l.of.mu.Lock()
	defer l.of.mu.Unlock()
	l.of.data = on
	return nil
}

// Read gives the line's level.
func (l DataLine) Read() (bool, error) {
	l.of.mu.Lock()
	defer l.of.mu.Unlock()
	return l.of.data, nil
}

// Close leaves it low.
func (l DataLine) Close() error { return l.Set(false) }

// takes is how many bytes follow a command.
var takes = map[byte]int{0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8D: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1}

func (d *SSD1306) command(b byte) {
	if d.pending = append(d.pending, b); len(d.pending) <= takes[d.pending[0]] {
		return
	}
	c := d.pending
	d.pending = nil
	switch b := c[0]; {
	case b < 0x10:
		d.column = d.column&0x70 | int(b)
	case b < 0x18:
		d.column = d.column&0x0F | int(b&7)<<4
	case b == 0x21:
		d.column = int(c[1] & 0x7F)
	case b == 0x22:
		d.page = int(c[1] & 7)
	case b >= 0xB0 && b <= 0xB7:
		d.page = int(b & 7)
	case b == 0x81:
		d.contrast = c[1]
	case b == 0xA6, b == 0xA7:
		d.inverse = b&1 != 0
	case b == 0xAE, b == 0xAF:
		d.lit = b&1 != 0
	}
}
