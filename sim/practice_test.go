package sim

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Three rules of thumb, each with a product and a schedule made up for it. One
// practice, no source: that the simulator agrees shows that it is not far off, no more.

// link is a mutton sausage in a collagen casing with the stages of one test.
func link(millimeters float64, core quantity.Celsius, stages ...profile.Stage) *profile.Product {
	return &profile.Product{
		Name: "mutton link", Species: profile.RedMeat,
		Shape: profile.Shape{Form: profile.Cylinder, Diameter: quantity.Meters(millimeters / 1000), Length: 0.18, Casing: profile.CollagenCasing},
		Formula: profile.Formula{
			Cut:   []profile.Meat{{Name: "mutton leg", Mass: 3, Water: 0.66, Protein: 0.18, Fat: 0.15}},
			Other: []profile.Ingredient{{Name: "salt", Mass: 0.055, As: profile.Salt}, {Name: "water", Mass: 0.2, As: profile.Water}},
		},
		Targets: profile.Targets{HasCore: true, Core: core},
		Stages:  stages,
	}
}

func lasting(d time.Duration) profile.Until {
	return profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: d}}}
}

func heated(name string, chamber quantity.Celsius, d time.Duration) profile.Stage {
	return profile.Stage{Name: name, Heat: true, ChamberSetpoint: chamber, Place: profile.Chamber, HasDamper: true, Damper: 0.2, Until: lasting(d)}
}

// coreAfter rehearses a product and gives the core at the end of a stage.
func coreAfter(t *testing.T, p *profile.Product, stage string) float64 {
	t.Helper()
	r, err := Rehearse(context.Background(), Setup{Product: p, Cabinet: builtCabinet(t, "fridge-body"), Seed: 3}, nil, nil)
	require.NoError(t, err)
	require.Equal(t, "complete", r.Outcome, "%s %+v", r.Reason, r.Alarms)
	for _, s := range r.Stages {
		if s.Name == stage {
			return s.CoreEndCelsius
		}
	}
	t.Fatalf("no stage %s", stage)
	return 0
}

// One practice, no source: an hour with the fan dries a casing. Air that moves dries it
// further than air that stands.
func TestAnHourWithTheFanDriesACasing(t *testing.T) {
	activity := func(fan quantity.Ratio) float64 {
		dry := heated("dry", 44, time.Hour)
		dry.Fan, dry.Damper = fan, 1
		at := 1.0
		_, err := Watch(context.Background(), Setup{Product: link(27, 69, dry), Cabinet: builtCabinet(t, "fridge-body"), Seed: 3},
			func(m *Moment) { at = m.World.Built().SurfaceActivity() })
		require.NoError(t, err)
		return at
	}
	windy, still := activity(1), activity(0)
	t.Logf("surface activity %.3f with the fan, %.3f without", windy, still)
	assert.Less(t, windy, 0.97)
	assert.Less(t, windy, still)
}

// One practice, no source: two middle stages alone leave a thin link short of its
// target, though the second is hotter than that.
func TestTwoMiddleStagesLeaveAThinLinkShort(t *testing.T) {
	const core = 69.0
	p := link(30, core, heated("smoke", 61, 100*time.Minute), heated("step", 76, 80*time.Minute))
	p.Stages[0].Smoke = true
	after := coreAfter(t, p, "step")
	t.Logf("core %.1f °C", after)
	assert.Less(t, after, core-1)
	assert.Greater(t, after, 55.0, "and yet it is being cooked")
}

// One practice, no source: ice water ends the cooking. 54.4 °C is where the lethality
// tables of FSIS Appendix A (1999) begin; a link that is left in the air of a room is
// still above it.
func TestIceWaterEndsTheCooking(t *testing.T) {
	after := func(place profile.Place) float64 {
		cook := heated("cook", 82, 6*time.Hour)
		cook.Until = profile.Until{Conditions: []profile.Condition{{Kind: profile.CoreAtLeast, Core: 70}}}
		return coreAfter(t, link(38, 70, cook, profile.Stage{Name: "chill", Place: place, Until: lasting(7 * time.Minute)}), "chill")
	}
	ice, room := after(profile.IceWater), after(profile.Room)
	t.Logf("core %.1f °C in ice water, %.1f °C in the room", ice, room)
	assert.Less(t, ice, 54.4)
	assert.Greater(t, room, 54.4)
}
