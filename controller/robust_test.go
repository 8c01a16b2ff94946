package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/pid"
	"fumarium/profile/quantity"
)

// The loop of each shipped cabinet, by the constants of its file and by such as it learns of
// itself (of one simulated evening, seed 1): relay window, sampling and measurement filter
// included, it is as robust as it says. The tight tuning that programs had before is not.
func TestEveryLoopIsRobust(t *testing.T) {
	all, err := shipped.All()
	require.NoError(t, err)
	learned := map[string]cabinet.Learned{
		"plywood-cabinet": {FanOff: answer(189, 2000, 28, 22), FanOn: answer(278, 3000, 28, 10)},
		"fridge-body":     {FanOff: answer(360, 3000, 28, 22), FanOn: answer(246, 2000, 40, 3)},
		"masonry-walk-in": {FanOff: answer(32, 400, 55, 30), FanOn: answer(31, 400, 55, 10)},
		"steel-box":       {FanOff: answer(76, 400, 20, 10)},
	}
	for _, e := range all {
		for _, l := range []cabinet.Learned{{}, learned[e.Key]} {
			c := *e.Value
			c.Learned = l
			m, err := New(nil, &c)
			require.NoError(t, err)
			tight := m.TightlyTuned()
			for fan := range m.laws {
				ms, before := pid.Sensitivity(m.laws[fan].tuning, m.laws[fan].model), pid.Sensitivity(tight.laws[fan].tuning, tight.laws[fan].model)
				t.Logf("%-16s learned %-5v fan %d: Ms %.2f, tight %.2f", e.Key, l != cabinet.Learned{}, fan, ms, before)
				assert.LessOrEqual(t, ms, robust+0.005, "%s, fan %d", e.Key, fan)
				assert.Greater(t, ms, robust-0.15, "%s, fan %d: slower than it need be", e.Key, fan)
				assert.Greater(t, before, robust)
			}
		}
	}
}

func answer(gain quantity.Kelvin, lag, second, dead time.Duration) cabinet.Response {
	return cabinet.Response{Gain: gain, Lag: lag * time.Second, SecondLag: second * time.Second, DeadTime: dead * time.Second}
}
