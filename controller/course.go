package controller

import (
	"math"
	"time"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// What the middle of a piece of meat cannot do. Heat reaches it by conduction, so its
// temperature goes on as it went for the next half minute, whatever the air does; a
// probe that slips out has the air's temperature within seconds. All common practice,
// no source: in rehearsals of every shipped product in every shipped cabinet a core
// never left its course by more than 0.25 K in the chamber, and by 0.25 K and a
// twentieth of its distance from the ice in ice water (sticks of 15 mm).
const (
	courseInAir                    = 40 * time.Second // time constant of the course
	courseInIce                    = 20 * time.Second // of thin pieces in ice water
	courseSmooth                   = 5 * time.Second  // of the reading
	courseRough                    = 5 * time.Minute  // over which its noise is judged
	courseLearnt                   = 2 * time.Minute  // what it takes to know a course
	courseKept                     = 2 * time.Minute  // for so long a core goes on unseen
	offCourse      quantity.Kelvin = 0.5
	offByNoise                     = 2.0  // of the mean deviation of a sample
	roughest                       = 0.4  // K of mean deviation; what is rougher than that is soon not believed
	offByAir                       = 0.01 // of the distance from the chamber
	offByIce                       = 0.08 // of the distance from 0 °C
	offUnseen                      = 0.02 // K/s while no reading came
	offUnlearnt                    = 3.0  // K, until the course is learnt
	offUnlearntIce                 = 0.2
)

// course is where one core comes from and where it goes: level and trend of a
// critically damped tracker, which follows a straight line without lag.
type course struct {
	level  float64       `record:"level_celsius"` // °C, °C/s
	trend  float64       `record:"trend_kelvin_per_second"`
	smooth float64       `record:"smooth_celsius"` // of the last few seconds, °C
	rough  float64       `record:"rough_kelvin"`   // mean deviation of a sample from smooth, K
	known  time.Duration `record:"known"`
	gone   time.Duration `record:"gone"` // not seen for so long
}

// unseen lets the course go on as it went, for a while.
func (c *course) unseen(dt time.Duration) {
	if c.gone += dt; c.gone > courseKept {
		*c = course{}
	}
}

// learnt reports whether the course is known, so that leaving it would be seen.
func (c *course) learnt() bool { return c.known > courseLearnt }

// keptOf works out once what is kept after the usual steps of whole seconds.
func keptOf(tau time.Duration) (kept [LateAfter/time.Second + 1]float64) {
	for i := range kept {
		kept[i] = math.Exp(-float64(i) / tau.Seconds())
	}
	return kept
}

var keptInAir, keptInIce = keptOf(courseInAir), keptOf(courseInIce)

// kept is the share of a miss that a course in air, or else in ice water, keeps after dt.
// Most steps are whole seconds apart.
func kept(ice bool, dt time.Duration) float64 {
	tau, usual := courseInAir, &keptInAir
	if ice {
		tau, usual = courseInIce, &keptInIce
	}
	if n := dt / time.Second; n*time.Second == dt && n < time.Duration(len(usual)) {
		return usual[n]
	}
	return math.Exp(-dt.Seconds() / tau.Seconds())
}

// follow takes a reading in and says whether it left the course as no meat can.
func (c *course) follow(v, chamber quantity.Celsius, place profile.Place, dt time.Duration) (left bool) {
	if c.known == 0 {
		*c = course{level: float64(v), smooth: float64(v), known: 1}
		return false
	}
	if dt += c.gone; dt <= 0 {
		return false
	}
	ahead := seconds(dt)
	blind := seconds(c.gone)
	c.gone = 0
	ice := 0.0
	off := offByAir * math.Abs(float64(chamber)-c.level)
	if place != profile.Chamber {
		ice = math.Abs(c.level)
		off = offByIce * ice
	}
	c.smooth = lagged(c.smooth, float64(v), ahead, courseSmooth.Seconds())
	expected := c.level + c.trend*ahead
	miss := c.smooth - expected
	off += float64(offCourse) + offByNoise*min(c.rough, roughest) + offUnseen*blind
	keep := kept(place != profile.Chamber, dt)
	c.level = expected + (1-keep*keep)*miss
	c.trend += (1 - keep) * (1 - keep) * miss / ahead
	c.rough = lagged(c.rough, math.Abs(float64(v)-c.smooth), ahead, courseRough.Seconds())
	if !c.learnt() {
		off += offUnlearnt + offUnlearntIce*ice
	}
	c.known += dt
	return math.Abs(miss) > off
}
