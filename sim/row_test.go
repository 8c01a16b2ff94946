package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
)

// cooked hangs in the chamber for 4 h, with a hand step after 3 h (2.5 to 4 h) and one as it
// comes out, and an hour in a cold room.
func cooked() Make {
	p := &profile.Product{Name: "ring", Stages: []profile.Stage{
		{Name: "cook", Place: profile.Chamber}, {Name: "chill", Place: profile.ColdRoom},
	}}
	return Make{Product: p, Cools: 50 * time.Minute, Spread: &SpreadResult{
		Runs: 10, Ended: 10, Complete: 10,
		Stages: []StageSpread{{Name: "cook", EndP50Seconds: 3.5 * 3600, EndP90Seconds: 4 * 3600}, {Name: "chill", EndP50Seconds: 4.5 * 3600, EndP90Seconds: 5 * 3600}},
		Hands:  []HandSpread{{"Hang it", 0, 0, 0}, {"Carry it", 3 * 3600, 3.5 * 3600, 4 * 3600}},
	}}
}

var rowNow = time.Date(2026, 3, 3, 6, 0, 0, 0, time.UTC)

func at(day, hour, minute int) time.Time {
	return time.Date(2026, 3, day, hour, minute, 0, 0, time.UTC)
}

// Forwards it hangs when it was told to; backwards nine in ten are ready. What would be done
// in the night is done sooner where it can, and else it is said.
func TestARowAvoidsTheNight(t *testing.T) {
	night := Row{Now: rowNow, NightFrom: 22 * time.Hour, NightTo: 6 * time.Hour}
	for name, test := range map[string]struct {
		ready, hang time.Time
		hangs       time.Time
		nights      int
	}{
		"forwards":                           {hang: at(4, 8, 0), hangs: at(4, 8, 0)},
		"forwards, carried in the night":     {hang: at(4, 18, 30), hangs: at(4, 18, 30), nights: 1},
		"forwards, hung in the night":        {hang: at(4, 23, 0), hangs: at(4, 23, 0), nights: 2},
		"backwards by day":                   {ready: at(4, 18, 0), hangs: at(4, 13, 0)},
		"backwards, out of the night":        {ready: at(5, 2, 0), hangs: at(4, 18, 0)},
		"backwards, till after it":           {ready: at(5, 7, 0), hangs: at(4, 18, 0)},
		"backwards, as soon as it may begin": {ready: at(3, 11, 30), hangs: at(3, 6, 30)},
	} {
		t.Run(name, func(t *testing.T) {
			r := night
			r.Ready, r.Hang = test.ready, test.hang
			plans, err := r.Plans([]Make{cooked()})
			require.NoError(t, err)
			require.Len(t, plans, 1)
			assert.Equal(t, test.hangs, plans[0].Hung)
			assert.Equal(t, test.nights, plans[0].Nights)
			assert.True(t, plans[0].Possible)
			if !test.ready.IsZero() {
				assert.False(t, plans[0].Steps[len(plans[0].Steps)-1].Late.After(test.ready))
			}
			marked := 0
			for _, h := range plans[0].Hands {
				if h.Night {
					marked++
				}
			}
			assert.Equal(t, test.nights, marked)
		})
	}
	r := night
	r.NightTo, r.Ready = r.NightFrom, at(5, 2, 0)
	plans, err := r.Plans([]Make{cooked()})
	require.NoError(t, err)
	assert.Equal(t, at(4, 21, 0), plans[0].Hung, "no night, nothing is moved")
}

// The next hangs when the cabinet is empty in nine of ten, has cooled down and is clean: 4 h,
// 50 min and 1 h after the one before, and a minute to round up.
func TestARowOfBatches(t *testing.T) {
	r := Row{Now: rowNow, Hang: at(4, 7, 0), Clean: time.Hour, NightFrom: 22 * time.Hour, NightTo: 6 * time.Hour}
	plans, err := r.Plans([]Make{cooked(), cooked(), cooked()})
	require.NoError(t, err)
	require.Len(t, plans, 3)
	assert.Equal(t, at(4, 12, 51), plans[1].Hung)
	assert.Equal(t, at(4, 11, 50), *plans[0].Cool)
	assert.Equal(t, plans[1].Hung, *plans[0].Free)
	assert.Equal(t, at(4, 18, 42), plans[2].Hung)
	assert.Nil(t, plans[2].Free)
	assert.Equal(t, []int{0, 0, 1}, []int{plans[0].Nights, plans[1].Nights, plans[2].Nights}, "the last is carried between 21:42 and 22:42")

	r.Hang, r.Ready = time.Time{}, at(5, 10, 0)
	plans, err = r.Plans([]Make{cooked(), cooked()})
	require.NoError(t, err)
	assert.False(t, plans[1].Steps[2].Late.After(r.Ready))
	assert.Zero(t, nights(plans), "from the evening before")
	assert.LessOrEqual(t, plans[0].SoonerSeconds, MostSooner.Seconds())
	_, err = r.Plans(nil)
	assert.Error(t, err)
}

// What rests is made before the night, and rests for longer.
func TestNobodyMakesItInTheNight(t *testing.T) {
	m := cooked()
	m.Product = product(t, "marjoram-ring") // rests 12 h
	m.Product.Stages = m.Product.Stages[:2]
	r := Row{Now: rowNow, Hang: at(5, 12, 0), Made: 2 * time.Hour, NightFrom: 22 * time.Hour, NightTo: 6 * time.Hour}
	plans, err := r.Plans([]Make{m})
	require.NoError(t, err)
	assert.Equal(t, at(4, 20, 0), plans[0].Steps[0].Begin)
	assert.Equal(t, at(4, 22, 0), plans[0].Steps[1].Begin)
	assert.Contains(t, plans[0].Steps[1].Note, "for longer")
	assert.Zero(t, plans[0].Nights)
	r.Now = at(4, 21, 0) // too late for that
	plans, err = r.Plans([]Make{m})
	require.NoError(t, err)
	assert.Equal(t, at(4, 22, 0), plans[0].Steps[0].Begin)
	assert.Equal(t, 1, plans[0].Nights)
}

// The night is one of the clock, also where the clocks go forward.
func TestTheNightOfAClock(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip(err)
	}
	r := Row{NightFrom: 22 * time.Hour, NightTo: 6 * time.Hour}
	moment := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, zone) }
	for want, times := range map[bool][][2]time.Time{
		true:  {{moment(29, 5, 59), moment(29, 5, 59)}, {moment(28, 21, 0), moment(28, 22, 1)}, {moment(27, 20, 0), moment(29, 20, 0)}, {moment(28, 22, 0), moment(28, 22, 0)}},
		false: {{moment(29, 6, 0), moment(29, 21, 59)}, {moment(28, 12, 0), moment(28, 22, 0)}},
	} {
		for _, span := range times {
			assert.Equal(t, want, r.inNight(span[0], span[1]), span)
		}
	}
}

// A rehearsed cabinet that has cooked cools down in tens of minutes, and a warm room makes it
// slower.
func TestACabinetCools(t *testing.T) {
	setup := Setup{Product: product(t, "caraway-sticks"), Cabinet: builtCabinet(t, "fridge-body"), Seed: 1, Excused: true}
	took, err := Cools(t.Context(), setup)
	require.NoError(t, err)
	assert.Greater(t, took, 2*time.Minute)
	assert.Less(t, took, 5*time.Hour)
	warm := setup.Cabinet.Ambient + 15
	setup.Ambient = &warm
	slower, err := Cools(t.Context(), setup)
	require.NoError(t, err)
	assert.Greater(t, slower, took)
}
