package chips_test

import (
	"image"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/devices/v3/ssd1306"

	"fumarium/sim/chips"
)

// The driver of a general library, periph.io's, is the outside check: what it draws,
// whole or in the parts that changed, is what the twin shows.
func TestADisplayShowsWhatIsDrawn(t *testing.T) {
	t.Run("I2C", func(t *testing.T) {
		d := chips.NewSSD1306()
		dark(t, d)
		dev, err := ssd1306.NewI2C(chips.I2C{d}, &ssd1306.DefaultOpts)
		require.NoError(t, err)
		showsWhatIsDrawn(t, d, dev)
	})
	t.Run("SPI", func(t *testing.T) {
		d := chips.NewSSD1306()
		dark(t, d)
		dev, err := ssd1306.NewSPI(d.Port(), pin{nil, d.DataLine()}, &ssd1306.DefaultOpts)
		require.NoError(t, err)
		showsWhatIsDrawn(t, d, dev)

		// One that is not there takes all the same what is sent: nobody hears that it is gone.
		before := d.Picture()
		d.Break(chips.AllOnes)
		pic := image.NewGray(before.Rect)
		pic.Pix[5000] = 255 - before.Pix[5000]
		require.NoError(t, dev.Draw(dev.Bounds(), pic, image.Point{}))
		d.Break(chips.Sound)
		assert.Equal(t, before.Pix, d.Picture().Pix)
	})
}

// pin is the line D/C as the driver wants it.
type pin struct {
	gpio.PinOut
	line chips.DataLine
}

func (p pin) Out(l gpio.Level) error { return p.line.Set(bool(l)) }

func dark(t *testing.T, d *chips.SSD1306) {
	assert.Equal(t, image.NewGray(image.Rect(0, 0, 128, 64)), d.Picture(), "dark until it is told to shine")
}

func showsWhatIsDrawn(t *testing.T, d *chips.SSD1306, dev *ssd1306.Dev) {
	r := rand.New(rand.NewPCG(1, 2))
	pic := image.NewGray(image.Rect(0, 0, 128, 64))
	for range 50 {
		for range 1 + r.IntN(40) {
			pic.Pix[r.IntN(len(pic.Pix))] = byte(255 * r.IntN(2))
		}
		require.NoError(t, dev.Draw(dev.Bounds(), pic, image.Point{}))
		require.Equal(t, pic.Pix, d.Picture().Pix)
	}
	require.NoError(t, dev.SetContrast(0x20))
	assert.EqualValues(t, 0x20, d.Contrast())
	require.NoError(t, dev.Invert(true))
	assert.Equal(t, 255-pic.Pix[0], d.Picture().Pix[0])
	require.NoError(t, dev.Halt())
	assert.Equal(t, image.NewGray(pic.Rect), d.Picture())

	d.Break(chips.BusError)
	require.NoError(t, dev.Draw(dev.Bounds(), pic, image.Point{}), "nothing changed, so nothing is sent: a driver cannot know")
	pic.Pix[0] = 255 - pic.Pix[0]
	assert.Error(t, dev.Draw(dev.Bounds(), pic, image.Point{}))
	d.Break(chips.Sound)
	d.PowerCycle()
	require.NoError(t, dev.Draw(dev.Bounds(), pic, image.Point{}))
	assert.NotEqual(t, pic.Pix, d.Picture().Pix, "the driver does not know either that the display was without power")
}

func BenchmarkDisplay(b *testing.B) {
	d := chips.NewSSD1306()
	onI2C, err := ssd1306.NewI2C(chips.I2C{d}, &ssd1306.DefaultOpts)
	require.NoError(b, err)
	onSPI, err := ssd1306.NewSPI(d.Port(), pin{nil, d.DataLine()}, &ssd1306.DefaultOpts)
	require.NoError(b, err)
	b.Run("I2C", func(b *testing.B) { draw(b, onI2C) })
	b.Run("SPI", func(b *testing.B) { draw(b, onSPI) })
}

func draw(b *testing.B, dev *ssd1306.Dev) {
	pic := image.NewGray(image.Rect(0, 0, 128, 64))
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		pic.Pix[i%len(pic.Pix)] ^= 255
		if err := dev.Draw(dev.Bounds(), pic, image.Point{}); err != nil {
			b.Fatal(err)
		}
	}
}
