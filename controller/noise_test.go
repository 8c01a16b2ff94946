package controller

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// noisy runs ten hours, each of a core that creeps up under noise of a standard deviation, in
// kelvin, with a time constant (zero is white), and counts in how many it was
// taken for one that slipped out.
func noisy(t *testing.T, deviation float64, tau time.Duration) (slipped int) {
	for seed := range uint64(10) {
		random := rand.New(rand.NewPCG(seed, 0x6e6f697365))
		r := newRig(t)
		r.p.Stages[2].Until = core(profile.CoreAtLeast, 79)
		r.p.Stages[2].Within = 4 * time.Hour
		r.started(2)
		r.coreIs(0, 40)
		keep := 0.0
		if tau > 0 {
			keep = math.Exp(-1 / tau.Seconds())
		}
		noise := 0.0
		for i := range 3600 {
			noise = keep*noise + deviation*math.Sqrt(1-keep*keep)*random.NormFloat64()
			r.in.Core[0] = sensors.At(quantity.Celsius(40 + float64(i)/180 + noise))
			r.step()
			if r.s.Alarms[trip.CoreOut].Standing {
				slipped++
				break
			}
		}
		require.Equal(t, 2, r.s.Stage)
	}
	return slipped
}

// How noisy a core may be; the figures are those of deploy/hazards.md.
func TestHowNoisyACoreMayBe(t *testing.T) {
	long(t)
	const slow = 20 * time.Second
	assert.Zero(t, noisy(t, 0.5, 0), "white noise of 0.5 K")
	assert.Zero(t, noisy(t, 0.3, slow), "slow noise of 0.3 K")
	assert.Equal(t, 10, noisy(t, 1.5, 0), "white noise of 1.5 K")
	assert.Equal(t, 10, noisy(t, 0.8, slow), "slow noise of 0.8 K")
}
