package cabinet

import (
	"math"
	"time"

	"fumarium/profile/quantity"
)

// How wood smoulders, from a balance of air and of heat. Smouldering is short of air,
// so the wood that goes follows the air that comes. The ember is taken for one lump of
// chips that is heated by what smoulders and loses heat in proportion to its
// temperature, so it nears its glow as a first-order lag does. Its size is the loosest
// figure: a twentieth of the filling is as likely as a fifth, hence a factor of two
// either way on the time that it takes to glow. On how long a filling lasts the factor
// is two as well, for nobody knows how much of the air passes the ember by. Whoever has
// measured writes what was measured.
const (
	airDensity = 1.2 // kg/m³ of a room
	// airForWood is the air that goes for a kilogram of air-dry wood. To burn up 24.0 g
	// of dry wood, CH1.44O0.66, takes 33.0 g of oxygen, so a kilogram takes 5.9 kg of
	// air, and with a sixth of water in it 4.9 kg (own arithmetic, the formula of wood
	// from memory). What leaves unburnt as smoke takes less, what air passes unused
	// takes more; own magnitude, no source: the two cancel.
	airForWood = 4.9
	// smoulderHeat is what a kilogram gives off where it smoulders, 6 to 12 MJ/kg (from
	// memory); the rest of woodHeat leaves in the smoke.
	smoulderHeat = 9e6 // J/kg
	// glowing is the share of a filling that glows or is heated up at one time; own
	// magnitude, no source.
	glowing = 0.1
	// chipHeat is what such chips take up on the way: 550 K at 1500 J/(kg·K), between
	// wood and its char, and a sixth of their mass of water that boils off at
	// 2.45 MJ/kg (handbook magnitudes, from memory).
	chipHeat = emberRise*1500 + 2.45e6/6 // J/kg
	// emberRise is the ember above the room at full air: own magnitude, no source,
	// within the 300 to 600 °C of smouldering wood.
	emberRise = 550.0 // K
	// emberLag is the ember's time constant over the time that the filling lasts at
	// full air. The heat that keeps it up, fuel·smoulderHeat/time, is emberRise times
	// the loss per kelvin; its heat capacity is fuel·glowing·chipHeat/emberRise. The
	// fuel cancels: 0.0137.
	emberLag = glowing * chipHeat / smoulderHeat
)

// glowLags is how many time constants the ember takes to nineteen twentieths of its
// rise.
var glowLags = math.Log(20)

// byAir is how long the filling lasts at full air, by its fuel and air.
func (g *Generator) byAir() time.Duration {
	return seconds(float64(g.Fuel) * airForWood / (float64(g.Air) * airDensity))
}

// measuredAtFull is how long a filling would last at full air that lasts as measured
// with full air until its ember glows.
func (g *Generator) measuredAtFull() time.Duration {
	full := glowLags * emberLag
	return seconds(g.Lasts.Seconds() / (full + (1-full)/float64(g.Share())))
}

// glowTime is how long an ember takes to glow at full air, at which its filling lasts
// for so long; to the second, that another processor reckons the same.
func glowTime(atFull time.Duration) time.Duration {
	return seconds(glowLags * emberLag * atFull.Seconds()).Round(time.Second)
}

// seconds is a duration that stays finite whatever a file says.
func seconds(s float64) time.Duration {
	return time.Duration(min(s, 1e8) * float64(time.Second))
}

// Share is how much of full air the generator gets once it is turned down.
func (g *Generator) Share() quantity.Ratio {
	if g.TurnedDown == 0 {
		return 1
	}
	return g.TurnedDown
}

// PumpTime is how long the pump runs until one filling is gone, which is how long it
// would last at full air.
func (g *Generator) PumpTime() time.Duration {
	full := min(g.FullAir, g.Lasts)
	return full + time.Duration(float64(g.Share())*float64(g.Lasts-full))
}

// EmberLag is the time constant with which the ember warms at full air.
func (g *Generator) EmberLag() time.Duration {
	return seconds(emberLag * g.PumpTime().Seconds())
}
