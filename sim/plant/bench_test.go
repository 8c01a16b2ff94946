package plant

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
	"fumarium/sim/plant/film"
)

// A bench is a product alone, in air of one temperature, humidity and film coefficient,
// between walls as warm as the air: what an oven of a laboratory is. No cabinet answers
// back, so that what is wrong here is wrong in the product.
type bench struct {
	p       *Plant
	w       Witness
	film    float64 // W/(m²·K) by convection alone
	seconds int
}

// newBench hangs a product. The film is that of convection; the walls' radiation comes
// on top of it.
func newBench(t testing.TB, l Load, air, humidity, filmBy float64) *bench {
	t.Helper()
	if l.Mass == 0 {
		l.Mass = 1
	}
	w, err := NewWitness(l)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{p: build(t, Config{Build: masonryRoom(), Ambient: 20}), w: w, film: filmBy}
	fix(b.p, air, humidity)
	b.p.wall.lining, b.p.floor.lining, b.p.tray.t = air, air, air
	b.p.drive.Place = profile.Chamber
	return b
}

// second lets one pass.
func (b *bench) second() {
	l := &b.w.load
	if b.seconds%30 == 0 {
		transfer := film.Between(quantity.Celsius(l.surface), b.p.Chamber(), b.p.pressure).VapourTransfer(b.film)
		b.w.heat, b.w.film = b.film*l.area, transfer*l.area
		b.w.cell = l.area / (1/transfer + l.resistance)
		l.chain.Factor(1, 0)
	}
	b.w.step(b.p, 1)
	if b.seconds++; b.seconds%settleSeconds == 0 {
		l.settle(settleSeconds)
		if b.seconds%(settleSeconds*propertyTurns) == 0 {
			l.refreshProperties()
		}
		l.chain.Factor(1, 0)
	}
}

// until lets time pass up to a core, at most a day, and reports how long it took.
func (b *bench) until(core float64) (seconds float64) {
	for b.w.Core() < core && b.seconds < 24*3600 {
		b.second()
	}
	return float64(b.seconds)
}

// loss is what the product has lost of its mass, in percent.
func (b *bench) loss() float64 { return 100 * (1 - b.w.load.mass()/b.w.load.startMass) }

// What is hung in the bench. Compositions are handbook magnitudes, common practice, no
// source.
var (
	leanBeef     = composition.Mix{Water: .74, Protein: .22, Fat: .03, Ash: .01}
	chickenThigh = composition.Mix{Water: .725, Protein: .19, Fat: .06, Carbohydrate: .005, Ash: .020}
)

// beefA is a piece of 9.3 × 5.0 × 2.6 cm as the cylinder of 29 mm with as much volume to
// its surface.
func beefA() Load {
	return Load{Shape: profile.Shape{Form: profile.Cylinder, Diameter: 0.029, Length: 0.18}, Mix: leanBeef, Mass: 0.143, Start: 14, Flesh: RawMuscle}
}

// The film of that oven: h was measured as 33.4 W/(m²·K) with radiation in it (Feyissa
// and others 2009), of which black walls at 175 °C give 12 to a surface near 60 °C.
const (
	ovenFilm     = 21.0
	ovenHumidity = 0.0015 // room air of 20 °C and 60 % at 175 °C
)

func bareChicken() Load {
	return Load{Shape: profile.Shape{Form: profile.Slab, Thickness: 0.026, Length: 0.13, Width: 0.09}, Mix: chickenThigh, Mass: 4, Start: 8, Flesh: CuredMuscle}
}

func casedSausage() Load {
	return Load{Shape: stick(profile.CollagenCasing, 25), Mix: sausageMeat, Mass: 1, Start: 10, Flesh: SaltedComminuted}
}

// A finding is what the model says about something published.
type finding struct {
	what, source string
	low, high    float64 // published, with the tolerance taken
	model        float64
	// now is what the model said when this was written, where it misses the published
	// band; it may not wander off further. NaN where it meets it.
	now float64
}

// judge holds findings against what is published, and prints the table. A row that is
// missed must say so and stay where it was: one that comes to be met, too, is a change to
// be written down.
func judge(t *testing.T, rows []finding) {
	t.Helper()
	for _, r := range rows {
		met := r.model >= r.low && r.model <= r.high
		word := "met"
		if !met {
			word = "MISSED"
		}
		t.Logf("%-6s %-62s published %7.4g to %-7.4g model %7.4g  (%s)", word, r.what, r.low, r.high, r.model, r.source)
		switch known := !math.IsNaN(r.now); {
		case met && known:
			t.Errorf("%s: met now; write NaN for what it was", r.what)
		case !met && !known:
			t.Errorf("%s: %v is outside %v to %v (%s)", r.what, r.model, r.low, r.high, r.source)
		case !met && math.Abs(r.model-r.now) > 0.05*math.Abs(r.now)+0.005:
			t.Errorf("%s: %v, where it was %v", r.what, r.model, r.now)
		}
	}
}

var met = math.NaN()

// TestBenchAgainstPublished holds the product alone against what is published of it.
func TestBenchAgainstPublished(t *testing.T) {
	beef := newBench(t, beefA(), 175, ovenHumidity, ovenFilm)
	var marks [4]float64
	for i, core := range []float64{30, 40, 50, 60} {
		marks[i] = beef.until(core)
	}
	done := beef.until(65)

	// The abstract says neither how hot the air was for most of the cook nor when it was
	// weighed. At its 97 °C and 40 % the dew point, 73.5 °C, is above the core it ends at:
	// nothing can evaporate on the way, and 11 % cannot be lost. Taken here is the air that
	// cooks to 70 °C in practice, and a scale that waits until the sausage is cold: what is
	// hot gives off as much again on the way down. Weighed so, the loss falls by 36 % of
	// itself at 80 °C, 25 % at 85 °C and 12 % at 90 °C.
	sausage := func(humidity float64) (seconds, loss float64) {
		b := newBench(t, casedSausage(), 75, humidity, 12)
		seconds = b.until(70)
		b.p.drive.Place, b.film = profile.Room, 6
		for b.w.Core() > 25 {
			b.second()
		}
		return seconds, b.loss()
	}
	drySeconds, dry := sausage(0.40)
	moistSeconds, moist := sausage(0.80)
	assert.Greater(t, psychrometer.DewPoint(0.40*psychrometer.SaturationPressure(97)), quantity.Celsius(70))

	// No conduction brings the middle of that beef to 30 °C in 120 s: with its whole surface
	// at 100 °C from the first second, hotter than wet meat can be, it takes longer (closed
	// form of the brick, Carslaw and Jaeger, Conduction of Heat in Solids, chapter VI; from
	// memory). The sensor of that experiment was not in the middle, or led heat to its tip.
	away := func(half, seconds float64) (share float64) {
		const diffusivity = 1.35e-7 // m²/s, of lean beef; from memory
		for n := range 200 {
			k := (float64(n) + 0.5) * math.Pi
			share += 2 * math.Cos(float64(n)*math.Pi) / k * math.Exp(-k*k*diffusivity*seconds/(half*half))
		}
		return share
	}
	soonest := 0.0
	for 100-(100-14)*away(0.013, soonest)*away(0.025, soonest)*away(0.0465, soonest) < 30 {
		soonest++
	}
	t.Logf("beef A with its surface at 100 °C at once: 30 °C after %v s", soonest)
	assert.Greater(t, soonest, 156.0)

	// The wettest demand on the surface: 40 % in the air, and a core that is still cold.
	driest := 1.0
	for wet := newBench(t, bareChicken(), 80, 0.40, 12); wet.w.Core() < 55; {
		wet.second()
		if wet.seconds > 60 { // it starts cold and takes up dew
			driest = min(driest, wet.w.load.outside())
		}
	}

	// The last degrees against the one constant that is known least.
	cook := func(mobility float64) float64 {
		b := newBench(t, bareChicken(), 88, 0.30, 12)
		b.w.load.mobility *= mobility
		b.w.load.refreshProperties()
		return b.until(75)
	}
	plain := cook(1)
	// The wet bulb of 88 °C and 70 % is 79 °C, above the core that is wanted.
	damp := newBench(t, bareChicken(), 88, 0.70, 12)
	arid := newBench(t, bareChicken(), 88, 0.05, 12)
	dampSeconds, aridSeconds := damp.until(75), arid.until(75)
	judge(t, []finding{
		{"beef A: centre at 65 °C after, s", "student data, BeefSimulator, unreviewed; ±15 %", 663, 897, done, met},
		{"beef A: mass lost then, %", "the same; ±3 points", 7.5, 13.5, beef.loss(), met},
		{"beef A: centre at 30 °C after, s", "the same; ±30 %", 84, 156, marks[0], 361},
		{"beef A: centre at 40 °C after, s", "the same; ±25 %", 232, 388, marks[1], 472},
		{"beef A: centre at 50 °C after, s", "the same; ±20 %", 400, 600, marks[2], met},
		{"beef A: centre at 60 °C after, s", "the same; ±15 %", 586, 794, marks[3], met},
		{"sausage of 25 mm, 75 °C, weighed cold, RH 40 %: loss, %", "smoked chicken sausage, abstract; ±20 %", 8.9, 13.3, dry, met},
		{"the same at RH 80 %", "the same; ±20 %", 6, 9, moist, met},
		{"the same, RH 40 to 80 %: loss falls by, share of itself", "the same, 11.1 to 7.5 %", 0.25, 0.45, 1 - moist/dry, met},
		{"the same: time at RH 80 % over that at 40 %", "the same: the core rises faster", 0, 1, moistSeconds / drySeconds, met},
		{"bare chicken, 88 °C, RH 70 over 5 %: time", "humid air cooks faster: Murphy 2001, Gredell 2018, abstracts", 0, 1, dampSeconds / aridSeconds, met},
		{"bare chicken, 80 °C, RH 40 %: least surface a_w, core under 55 °C", "wet-bulb period of Bengtsson 1976 and Godsalve 1977", 0.9, 1, driest, met},
		{"bare chicken, 88 °C, RH 30 %: end at half the diffusivity over plain", "own demand", 0.75, 1.25, cook(0.5) / plain, met},
		{"the same at double", "own demand", 0.75, 1.25, cook(2) / plain, met},
	})
}

// hung is the shipped plywood cabinet with bare chicken in it, after some change.
func hung(t *testing.T, change func(*Config)) *Plant {
	t.Helper()
	entry, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	c := entry.Value
	config := Config{Build: c.Rehearsal, HeaterPower: c.Heater.Power, Generator: c.Generator, Ambient: c.Ambient, Load: bareChicken()}
	if change != nil {
		change(&config)
	}
	return build(t, config)
}

// cooked holds the chamber at 88 °C with the fan on until the core has 75 °C, at most a
// day, and reports the hours, the yield and the mean humidity.
func cooked(t *testing.T, damper quantity.Ratio, change func(*Config)) (hours, yield, humidity float64) {
	p := hung(t, change)
	minutes := 0.0
	for p.Core() < 75 && minutes < 24*60 {
		hold(p, 88, time.Minute, Drive{Fan: true, Damper: damper})
		humidity += float64(p.Humidity())
		minutes++
	}
	return minutes / 60, float64(p.Yield()), humidity / minutes
}

// TestCabinetAgainstPublished holds what a cook depends on in the cabinet against what is
// published, or what must hold of any cabinet.
func TestCabinetAgainstPublished(t *testing.T) {
	hours, yield, humidity := cooked(t, 0, nil)
	open, openYield, openHumidity := cooked(t, 0.25, nil)
	t.Logf("shut: %.2f h, yield %.3f, RH %.2f; a quarter open: %.2f h, %.3f, %.2f", hours, yield, humidity, open, openYield, openHumidity)
	tray, _, _ := cooked(t, 0, func(c *Config) { c.Build.PastTray = 0 })
	power, _, _ := cooked(t, 0, func(c *Config) { c.HeaterPower *= 2 })
	wool, _, _ := cooked(t, 0, func(c *Config) { c.Build.Wall[1].Thickness *= 2 })

	p := hung(t, func(c *Config) { c.Load.Mass = 5 })
	hold(p, 80, time.Hour, Drive{Fan: true})
	held := 0.0
	for range 120 {
		hold(p, 80, time.Minute, Drive{Fan: true})
		held += float64(p.Humidity()) / 120
	}
	judge(t, []finding{
		// Missed because shut comes to 36 % here, whose wet bulb, 65 °C, is below the core that
		// is wanted: until the juice on the surface is gone the meat stalls there, and dry air
		// takes it off sooner. From 60 % on, where the wet bulb passes 75 °C, humid air is the
		// faster by far (the row of the bench with 70 %), and Murphy's had 40 to 95 % at 149 °C and above.
		{"bare chicken, 88 °C held: time shut over a quarter open", "humid air cooks faster: Murphy 2001, Gredell 2018, abstracts", 0, 1, hours / open, 1.216},
		{"the same: yield shut less that a quarter open", "the same", 0, 1, yield - openYield, met},
		{"the same, no radiation past the tray: time over plain", "own demand: equal air, equal cook", 0.9, 1.1, tray / hours, met},
		{"the same, heater of twice the power: time over plain", "the same", 0.95, 1.05, power / hours, met},
		{"the same, twice the wool: time over plain", "the same, but for the lining's share", 0.9, 1.1, wool / hours, met},
		{"shut, 80 °C, 5 kg: mean RH of the second and third hour", "steady balance by hand for a gasketed door, no measurement found", 0.40, 0.60, held, met},
	})
}
