package chips_test

import (
	"image"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/devices/v3/ssd1306"

	"fumarium/sim/chips"
)

// The driver of a general library, periph.io's, is the outside check: what it draws,
// whole or in the parts that changed, is what the twin shows.
func TestADisplayShowsWhatIsDrawn(t *testing.T) {
	d := chips.NewSSD1306()
	assert.Equal(t, image.NewGray(image.Rect(0, 0, 128, 64)), d.Picture(), "dark until it is told to shine")
	dev, err := ssd1306.NewI2C(chips.I2C{d}, &ssd1306.DefaultOpts)
	require.NoError(t, err)
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
	dev, err := ssd1306.NewI2C(chips.I2C{d}, &ssd1306.DefaultOpts)
	require.NoError(b, err)
	pic := image.NewGray(image.Rect(0, 0, 128, 64))
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		pic.Pix[i%len(pic.Pix)] ^= 255
		if err := dev.Draw(dev.Bounds(), pic, image.Point{}); err != nil {
			b.Fatal(err)
		}
	}
}
