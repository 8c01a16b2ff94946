package pid

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// delayed are models whose second lag is anything from none to a hundred dead times.
var delayed = []Model{
	{100, 1200 * time.Second, 0, 60 * time.Second},
	{100, 1200 * time.Second, 120 * time.Second, 30 * time.Second},
	{20, 300 * time.Second, 200 * time.Second, 2 * time.Second},
	{500, 5000 * time.Second, 20 * time.Second, 5 * time.Second},
	{90, 780 * time.Second, 180 * time.Second, 75 * time.Second},
	{246, 2000 * time.Second, 40 * time.Second, 8 * time.Second},
}

// filtered is a model behind the measurement filter of a tuning.
func filtered(t Tuning, m Model) func(complex128) complex128 {
	tf := complex(t.Filter.Seconds(), 0)
	return func(s complex128) complex128 { return m.transfer(s) / (1 + s*tf + s*s*tf*tf/2) }
}

// Sensitivity against the sweep of 20 000 points that the other tests use, and against Ms of
// SIMC's tight tuning of one lag, 1.590 (Skogestad 2003).
func TestSensitivity(t *testing.T) {
	m := Model{GainKelvin: 1, Lag: 8 * time.Second, DeadTime: time.Second}
	assert.InDelta(t, 1.590, Sensitivity(mustSIMC(t, m, 0), m), 0.002)
	for _, m := range delayed {
		for _, closed := range []time.Duration{m.DeadTime, 4 * m.DeadTime} {
			for _, filter := range []time.Duration{0, 10 * time.Second} {
				tuning := mustSIMC(t, m, closed)
				tuning.Filter = filter
				most := 0.0
				for _, scale := range []float64{m.DeadTime.Seconds() + filter.Seconds(), 300} {
					ms, _, _ := margins(loopGain(tuning, 0, filtered(tuning, m)), scale)
					most = max(most, ms)
				}
				assert.InEpsilon(t, most, Sensitivity(tuning, m), 0.01, "%v, closed loop %v, filter %v", m, closed, filter)
			}
		}
	}
}

// What Robust gives is as robust as asked, and so has the gain and phase margins that follow
// from that: Ms/(Ms-1) and 2·asin(1/(2·Ms)) (textbook bounds). It gives no more away than its
// step, and stays stable where a short dead time would tempt to more than the filter bears.
func TestRobust(t *testing.T) {
	for _, m := range delayed {
		fastest := mustSIMC(t, m, m.DeadTime+20*time.Second)
		for _, most := range []float64{1.3, 1.6} {
			got, err := Robust(m, 10*time.Second, most)
			require.NoError(t, err)
			ms := Sensitivity(got, m)
			assert.LessOrEqual(t, ms, most+0.005)
			assert.True(t, ms > most-0.03 || got.Gain == fastest.Gain, "%v %v", m, ms)
			assert.LessOrEqual(t, got.Gain, fastest.Gain)
			_, gain, phase := margins(loopGain(got, 0, filtered(got, m)), m.DeadTime.Seconds()+10)
			assert.GreaterOrEqual(t, gain, most/(most-1)-0.02)
			assert.GreaterOrEqual(t, phase, 2*180/math.Pi*math.Asin(1/(2*most))-0.5)
		}
	}
}

func TestRobustRefuses(t *testing.T) {
	_, err := Robust(Model{GainKelvin: 0, Lag: time.Hour, DeadTime: time.Minute}, 0, 1.6)
	assert.ErrorContains(t, err, "not above 0 K")
	_, err = Robust(Model{GainKelvin: 100, Lag: time.Hour, DeadTime: time.Minute}, 0, 1.0001)
	assert.ErrorContains(t, err, "no closed loop")
}

func BenchmarkRobust(b *testing.B) {
	for b.Loop() {
		if _, err := Robust(delayed[1], 10*time.Second, 1.6); err != nil {
			b.Fatal(err)
		}
	}
}
