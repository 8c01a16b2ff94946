package plant

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/profile"
)

// While all rests the plant goes in longer steps, and settles more rarely: product and
// books stay what they are in steps of a second.
func TestRestingInLongerSteps(t *testing.T) {
	for _, place := range []profile.Place{profile.Room, profile.ColdRoom} {
		fine := build(t, smallLoad())
		fine.Advance(2*time.Hour, Drive{Heater: true, Damper: 0.3})
		coarse := *fine
		core, air := 0.0, 0.0 // largest differences
		rest := Drive{Place: place, Damper: 0.3}
		for range 10 * 360 {
			for range 10 {
				fine.Advance(time.Second, rest)
			}
			coarse.Advance(10*time.Second, rest)
			core = max(core, math.Abs(float64(fine.Core()-coarse.Core())))
			air = max(air, math.Abs(float64(fine.Chamber()-coarse.Chamber())))
		}
		assert.Less(t, core, 0.02, "K")
		assert.Less(t, air, 0.1, "K")
		assert.InDelta(t, float64(fine.Core()), float64(coarse.Core()), 0.005)
		assert.InDelta(t, float64(fine.Yield()), float64(coarse.Yield()), 2e-4)
		b := coarse.Balance()
		assert.InDelta(t, 0, b.ResidualJoules/b.InJoules, 1e-6)
		assert.InDelta(t, 0, float64(b.Residual), 1e-9)
		t.Logf("up to %.4f K of core and %.2f K of air; core %.3f and %.3f °C, yield %.5f and %.5f", core, air, float64(fine.Core()), float64(coarse.Core()), float64(fine.Yield()), float64(coarse.Yield()))
	}
}
