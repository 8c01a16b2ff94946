package plant

import (
	"fumarium/controller/cabinet"
	"fumarium/profile/quantity"
)

// A generator is the smoke generator beside the chamber: a filling of wood that
// smoulders as long as it gets air. What it burns, and with it heat and vapour,
// follows the air; without air the ember dies within minutes, and nothing but Light
// brings it back. Smoke itself is not simulated.
type generator struct {
	heat, air, steam float64 // at full air: W, m³/s, kg/s
	filling          float64 // s that one filling lasts at full air; 0 without end
	burnt            float64 // s of full air that this filling has had
	breath           float64 // share of full air that reaches the ember
	glow             float64 // 1 smoulders well, 0 is out
	ember            float64 // °C where an ember probe is
	lag              float64 // s, of the ember that warms
}

// Magnitudes of the generator; own, no source.
const (
	breathSeconds = 60.0  // in which the air of a pump that starts or stops comes and goes
	glowSeconds   = 180.0 // in which an ember comes and goes
	leastBreath   = 0.05  // less air lets it die
	enoughBreath  = 0.3   // more does not make it livelier
	deadGlow      = 0.1   // below, it is out
	draughtBreath = 0.6   // of a generator that draws by itself
	// The ember over the room in still air, and what full air adds: smouldering wood
	// has 300 to 600 °C (from memory).
	emberRise, breathRise = 250.0, 300.0
	coolingLags           = 3.0 // the ember's lag in ash, with no air that carries heat off
)

func newGenerator(c *cabinet.Generator, room quantity.Celsius) generator {
	g := generator{heat: float64(c.Heat), air: float64(c.Air), filling: c.PumpTime().Seconds(), ember: float64(room), lag: c.EmberLag().Seconds()}
	if c.Moisture > 0 {
		g.steam = float64(c.Moisture) / g.filling
	}
	return g
}

// step passes dt seconds in a room and returns what share of full air smoulders.
func (g *generator) step(dt float64, d *Drive, room float64) float64 {
	air := 0.0
	switch {
	case d.Smoke:
		air = 1
	case d.Draught:
		air = draughtBreath
	}
	burning := 0.0
	if g.glow > 0 {
		burning = g.breath * g.glow
		g.burnt += burning * dt
		g.glow += (min(max((g.breath-leastBreath)/(enoughBreath-leastBreath), 0), 1) - g.glow) * dt / (dt + glowSeconds)
		if g.glow < deadGlow || d.Unlit || g.filling > 0 && g.burnt >= g.filling {
			g.glow = 0
		}
	}
	g.breath += (air - g.breath) * dt / (dt + breathSeconds)
	target, lag := room+g.glow*(emberRise+breathRise*g.breath), g.lag
	if target < g.ember {
		lag *= coolingLags
	}
	g.ember += (target - g.ember) * dt / (dt + lag)
	return burning
}

// Light fills the smoke generator and lights it, with a flame that brings its own
// air.
func (p *Plant) Light() {
	g := &p.generator
	g.burnt, g.breath, g.glow = 0, 1, 1
}

// Lit reports whether the smoke generator smoulders.
func (p *Plant) Lit() bool { return p.generator.glow > 0 }

// Ember is the temperature in the middle of the wood of the smoke generator.
func (p *Plant) Ember() quantity.Celsius { return quantity.Celsius(p.generator.ember) }
