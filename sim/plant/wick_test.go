package plant

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// wicked is the wick in a chamber at a state with walls as warm as the air, and the
// psychrometer coefficient that this comes to.
func wicked(p *Plant, dry, humidity, speed float64) (wet quantity.Celsius, coefficient float64) {
	fix(p, dry, humidity)
	p.wall.lining = dry
	p.still = speed
	for range 20 { // its own convection settles
		p.wick.refresh(p)
	}
	wet = p.Wick()
	e := humidity * psychrometer.SaturationPressure(quantity.Celsius(dry))
	return wet, (psychrometer.SaturationPressure(wet) - e) / p.pressure / (dry - float64(wet))
}

// The plant knows no psychrometer coefficient; the ones its heat balance comes to are
// held against published ones: 6.21e-4 of the WMO reference psychrometer (Fan 1987,
// as the MetPy documentation gives it) and 6.62e-4 before a blower, 8.00e-4 at about
// 1 m/s and 1.200e-3 not ventilated (FAO 56, equation 16). Those of FAO 56 are for a
// thicker thermometer, so moderate and still air come out lower here: a thin sock is
// better ventilated by the same air.
func TestWickAgainstPublishedCoefficients(t *testing.T) {
	for _, dry := range []float64{15, 20, 30} { // where they were measured
		for _, humidity := range []float64{0.2, 0.4, 0.6} {
			p := build(t, smallLoad())
			p.wick.air = cabinet.WickOwnBlower
			_, blown := wicked(p, dry, humidity, 0)
			assert.InEpsilon(t, 6.21e-4, blown, 0.03, "%v °C, %v", dry, humidity)
			assert.InEpsilon(t, psychrometer.Aspirated, blown, 0.09, "%v °C, %v", dry, humidity)
			p.wick.air = cabinet.WickOpen
			_, moderate := wicked(p, dry, humidity, 0.15)
			assert.InEpsilon(t, psychrometer.NaturallyVentilated, moderate, 0.10, "%v °C, %v", dry, humidity)
			_, still := wicked(p, dry, humidity, 0)
			assert.InEpsilon(t, psychrometer.Unventilated, still, 0.25, "%v °C, %v", dry, humidity)
			assert.True(t, blown < moderate && moderate < still)
		}
	}
}

// ASHRAE's thermodynamic wet bulb and a blown wick differ by a few tenths of a kelvin
// (common practice), and a wick lies between dew point and dry bulb.
func TestWickStaysBetweenDewPointAndDryBulb(t *testing.T) {
	for _, dry := range []float64{5, 20, 45, 60, 75, 90, 110, 150} {
		for _, humidity := range []float64{0.02, 0.1, 0.3, 0.6, 0.95} {
			humidity *= min(1, 0.97*101325/psychrometer.SaturationPressure(quantity.Celsius(dry)))
			p := build(t, smallLoad())
			p.wick.air = cabinet.WickOwnBlower
			blown, _ := wicked(p, dry, humidity, 0)
			assert.InDelta(t, float64(p.WetBulb()), float64(blown), 0.6, "%v °C, %v", dry, humidity)
			p.wick.air = cabinet.WickOpen
			still, _ := wicked(p, dry, humidity, 0)
			dew := psychrometer.DewPoint(humidity * psychrometer.SaturationPressure(quantity.Celsius(dry)))
			assert.True(t, dew-0.05 < blown && blown <= still && float64(still) < dry, "%v °C, %v: %v, %v, %v", dry, humidity, dew, blown, still)
		}
	}
}

// Each way to hang the wick gets its air from what really drives the cabinet.
func TestWickFollowsTheFan(t *testing.T) {
	for air, follows := range map[cabinet.WickAir]bool{cabinet.WickOpen: true, cabinet.WickFanStream: true, cabinet.WickOwnBlower: false} {
		c := Config{Build: masonryRoom(), Ambient: 20, Wick: air}
		run := func(fan bool) float64 {
			p := build(t, c)
			p.Advance(time.Minute, Drive{Fan: fan})
			fix(p, 60, 0.3)
			p.wall.lining = 60
			p.refreshFilms()
			p.refreshFilms()
			return float64(p.Wick())
		}
		if follows {
			assert.Greater(t, run(false), run(true)+1, "%v", air)
		} else {
			assert.InDelta(t, run(false), run(true), 0.02, "%v", air)
		}
	}
	// The lower the pressure, the colder the wick in the same dry air.
	low := Config{Build: masonryRoom(), Ambient: 20, Wick: cabinet.WickOwnBlower, PressurePascal: 84560} // 1500 m
	sea, high := build(t, Config{Build: masonryRoom(), Ambient: 20, Wick: cabinet.WickOwnBlower}), build(t, low)
	a, _ := wicked(sea, 60, 0.3, 0)
	b, _ := wicked(high, 60, 0.3, 0)
	assert.Less(t, float64(b), float64(a)-0.3)
}

func BenchmarkWick(b *testing.B) {
	p := build(b, smallLoad())
	fix(p, 60, 0.3)
	for b.Loop() {
		p.Wick()
	}
}
