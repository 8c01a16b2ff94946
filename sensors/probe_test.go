package sensors

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
)

func TestPace(t *testing.T) {
	var p Pace
	assert.True(t, p.Due(-time.Hour))
	p.Rest(10*time.Second, time.Second)
	assert.False(t, p.Due(10*time.Second))
	assert.False(t, p.Due(10*time.Second+999*time.Millisecond))
	assert.True(t, p.Due(11*time.Second))
	assert.True(t, p.Due(11*time.Second), "asking changes nothing")
	assert.False(t, p.Due(time.Second), "the clock went back")
	assert.False(t, p.Due(1900*time.Millisecond))
	assert.True(t, p.Due(2*time.Second))
}

func TestReadingNeverInventsANumber(t *testing.T) {
	assert.Equal(t, Unread, Reading{}.Status())
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -273.16} {
		assert.Equal(t, Fault(OutOfRange), At(quantity.Celsius(v)), "%v", v)
	}
	for s := Unread; s <= Implausible; s++ {
		v, ok := Fault(s).Value()
		assert.False(t, ok, s.String())
		assert.Zero(t, v)
		assert.NotEqual(t, quantity.Unknown, s.String())
	}
	assert.Equal(t, Unread, Fault(Good).Status())
	assert.Equal(t, quantity.Unknown, Status(200).String())
	v, ok := At(72.5).Value()
	assert.True(t, ok)
	assert.Equal(t, quantity.Celsius(72.5), v)
}
