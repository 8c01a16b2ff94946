package film_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
	"fumarium/sensors/psychrometer/moistair"
	"fumarium/sim/plant/film"
)

const sea = 101325.0

// Dry air at atmospheric pressure, computed with separate software.
func TestDryAir(t *testing.T) {
	for _, row := range []struct {
		celsius                quantity.Celsius
		density, k, viscos, pr float64
	}{
		{50, 1.0923, 0.02803, 1.7883e-05, 0.702},
		{80, 0.9995, 0.03028, 2.0882e-05, 0.694},
	} {
		a := film.DryAir(row.celsius, sea)
		assert.InDelta(t, row.density, a.Density, 1e-4)
		assert.InEpsilon(t, row.k, a.Conductivity, 1e-3)
		assert.InEpsilon(t, row.viscos, a.Viscosity, 1e-3)
		// The constant specific heat costs 0.8 % of the Prandtl number at 80 °C.
		assert.InEpsilon(t, row.pr, a.Prandtl(), 0.01)
	}
}

// Horizontal cylinder in air: Churchill-Chu, Churchill-Bernstein and radiation
// at emissivity 0.9, computed with separate software at film temperature.
func TestCylinderFilmCoefficients(t *testing.T) {
	for _, row := range []struct {
		millimeters   float64
		surface, air  quantity.Celsius
		free, radiant float64
		cross         map[float64]float64 // speed: coefficient
	}{
		{26, 40, 75, 6.61, 7.40, nil},
		{32, 40, 75, 6.29, 7.40, map[float64]float64{0.25: 9.34, 0.5: 13.19, 2: 26.85}},
		{110, 40, 80, 5.23, 7.58, map[float64]float64{1: 10.40}},
	} {
		a := film.Between(row.surface, row.air, sea)
		d := quantity.Meters(row.millimeters / 1000)
		assert.InEpsilon(t, row.free, a.FreeCylinder(quantity.Kelvin(row.air-row.surface), d), 0.003)
		assert.InEpsilon(t, row.radiant, film.Radiative(0.9, row.surface, row.air), 0.001)
		for speed, h := range row.cross {
			assert.InEpsilon(t, h, a.CrossCylinder(speed, d), 0.003, "%v mm at %v m/s", row.millimeters, speed)
		}
	}
	assert.InDelta(t, 8.6142, film.Radiative(0.9, 75, 75), 1e-4)
	assert.InDelta(t, 5.1426, film.Radiative(0.9, 20, 20), 1e-4)
}

// Textbook ranges (McGraw-Hill/Cengel convection note): free convection of gases
// 2..25, forced 25..250 W/(m²·K); slow air lies in between.
func TestOtherFormsStayInTextbookRange(t *testing.T) {
	a := film.Between(40, 75, sea)
	for _, h := range []float64{
		a.FreePlate(35, 0.3), a.FreeSphere(35, 0.1), a.FreePlate(35, 1.2),
	} {
		assert.True(t, h > 2 && h < 25, "%v", h)
	}
	for _, h := range []float64{a.AlongPlate(3, 0.1), a.AcrossSphere(3, 0.05)} {
		assert.True(t, h > 20 && h < 250, "%v", h)
	}
	assert.InDelta(t, 2*a.Conductivity/0.05, a.AcrossSphere(0, 0.05), 1e-12) // Nu = 2 in still air
	assert.InDelta(t, 5, film.Mixed(5, 0), 1e-12)
	assert.InDelta(t, math.Cbrt(250), film.Mixed(5, 5), 1e-12)
}

// Evaporation by the Lewis analogy, water activity 1, h = 20, computed with
// separate software from the same definitions.
func TestEvaporationRows(t *testing.T) {
	for _, row := range []struct {
		surface              quantity.Celsius
		lewis, transfer      float64
		perHour              float64 // kg/(m²·h)
		latent, conv, airPct float64
	}{
		{20, 0.8637, 0.01989, -3.922, -2673.3, 1100, 30},
		{50, 0.8686, 0.02074, +0.803, +531.5, 500, 30},
		{60, 0.8701, 0.02103, +4.365, +2860.7, 300, 30},
	} {
		a := film.Between(row.surface, 75, sea)
		assert.InEpsilon(t, row.lewis, a.Lewis(), 0.002)
		transfer := a.VapourTransfer(20)
		assert.InEpsilon(t, row.transfer, transfer, 0.002)
		j := flux(transfer, row.surface, 75, row.airPct/100)
		assert.InEpsilon(t, row.perHour, j*3600, 0.003)
		assert.InEpsilon(t, row.latent, j*psychrometer.LatentHeat(row.surface), 0.003)
		assert.InDelta(t, row.conv, 20*float64(75-row.surface), 1e-9)
	}
}

func flux(transfer float64, surface, air quantity.Celsius, humidity float64) float64 {
	return transfer * (psychrometer.VapourDensity(psychrometer.SaturationPressure(surface), surface) -
		psychrometer.VapourDensity(humidity*psychrometer.SaturationPressure(air), air))
}

// wetSurface is where convection alone balances evaporation.
func wetSurface(air quantity.Celsius, humidity float64) quantity.Celsius {
	low, high := quantity.Celsius(0), air
	for range 60 {
		middle := (low + high) / 2
		transfer := film.Between(middle, air, sea).VapourTransfer(20)
		if 20*float64(air-middle) > flux(transfer, middle, air, humidity)*psychrometer.LatentHeat(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// The analogy puts a wet surface in air of 75 °C and 30 % at 49.9 °C (computed
// with separate software), 1.2 K below the thermodynamic wet bulb of 51.1 °C.
func TestWetSurfaceSettlesNearTheWetBulb(t *testing.T) {
	assert.InDelta(t, 49.9, float64(wetSurface(75, 0.30)), 0.1)
	for _, air := range []quantity.Celsius{55, 65, 75, 85} {
		for humidity, kelvin := range map[float64]float64{0.1: 2, 0.3: 1.5, 0.6: 1.5} {
			w := moistair.HumidityRatio(humidity*psychrometer.SaturationPressure(air), sea)
			assert.InDelta(t, float64(moistair.WetBulb(air, w, sea)), float64(wetSurface(air, humidity)), kelvin,
				"%v %v", air, humidity)
		}
	}
}

// A sausage of 32 mm at 40 °C in still air of 75 °C: radiation from the walls
// carries as much heat as the air does.
func Example() {
	air := film.Between(40, 75, 101325)
	free := air.FreeCylinder(35, 0.032)
	radiant := film.Radiative(0.9, 40, 75)
	fmt.Printf("air %.1f, walls %.1f W/(m²·K)\n", free, radiant)
	// Output: air 6.3, walls 7.4 W/(m²·K)
}
