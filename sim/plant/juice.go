package plant

import (
	"math"

	"fumarium/profile/composition"
	"fumarium/profile/quantity"
)

// Flesh is what a product is as to the juice that heat squeezes out of it. The zero Flesh
// keeps its water: cheese, and whatever is tight.
type Flesh uint8

// The kinds of flesh.
const (
	Keeps            Flesh = iota
	RawMuscle              // whole, neither salted nor cured
	CuredMuscle            // whole, cured, brined or salted through
	Ground                 // without salt
	SaltedComminuted       // sausage meat: salt has dissolved protein, which sets and holds water
)

// squeezed is the part of raw muscle's juice that a kind gives up. Fitted to published
// losses, which juice_test.go shows with what is left over; wrong by up to 40 % of itself.
var squeezed = [...]float64{Keeps: 0, RawMuscle: 1, CuredMuscle: 0.64, Ground: 0.31, SaltedComminuted: 0.21}

// rendered is the part of melted fat that runs out. Muscle and belly hang open; in a
// sausage the protein keeps it. Own magnitude, no source: no one gives it by temperature.
var rendered = [...]float64{RawMuscle: 0.06, CuredMuscle: 0.06, Ground: 0.06, SaltedComminuted: 0}

// What lean raw muscle loses at a temperature, of its raw mass: logistic, fitted to beef
// cubes of 75 % water that were held for 40 min with no evaporation (Honikel's table in
// Toldrá, Handbook of Meat Processing, 2010). It meets those within a point. A product of
// other composition gives the same share of its own water.
const (
	juiceMost, juiceMiddle, juiceWidth = 0.48, 71.0, 10.75
	juiceWater                         = 0.75
	// juiceSeconds is how fast what no longer is held comes to the surface; own
	// magnitude, no source.
	juiceSeconds = 600.0
	// drips is the share of it that drops off; the rest stays on the surface and
	// evaporates, or drips when it is too much. The loosest number here: most of the loss
	// in a fan oven with steam was juice and not vapour (Kondjoyan and others 2013), while
	// in a dry hot one nearly all evaporates up to 65 °C (Bengtsson and others 1976), and
	// neither abstract gives a share. Fitted to how long one piece of beef took in a dry oven:
	// from 0.4 to 0.8 its time and its loss are met (juice_test.go).
	drips = 0.6
	// Fat melts from fatMelts on and is all liquid at fatMolten (pork back fat, from
	// memory).
	fatMelts, fatMolten = 35.0, 75.0
)

// fatHeat is the specific heat polynomial of fat.
var fatHeat = composition.Mix{Fat: 1}.SpecificHeatPolynomial()

// released is the share of its water that raw muscle has given up for having been at a
// temperature, by whole degrees: it is wanted for each node in each settling.
var released = func() (table [hottestProperties + 1]float64) {
	for t := range table {
		table[t] = juiceMost / juiceWater / (1 + math.Exp((juiceMiddle-float64(t))/juiceWidth))
	}
	// Nothing is squeezed out of what was never warm: the curve's foot is cut off where
	// meat is still raw.
	const raw = 20
	foot := table[raw]
	for t := range table {
		table[t] = max(0, table[t]-foot)
	}
	return table
}()

func releasedAt(celsius float64) float64 {
	x := min(max(celsius, 0), hottestProperties-1e-9)
	i := int(x)
	return released[i] + (released[i+1]-released[i])*(x-float64(i))
}

// juices is what the product still holds against the heat, and what left it as a liquid.
// What is lost is lost: the hottest that a node was counts.
type juices struct {
	part   float64        // of raw muscle's juice
	melts  float64        // share of the solids that is fat and can run out
	drips  float64        // share of the juice that drops off
	still  float64        // kg of water in each kg of solids of the raw product
	hold   [nodes]float64 // kg of water that is held
	ran    [nodes]float64 // kg of fat that ran out
	fallen float64        // kg of water that dripped since the start
	lost   float64        // kg of fat that ran out since the start
}

func newJuices(f Flesh, fat, still float64, water *[nodes]float64) juices {
	return juices{part: squeezed[f], melts: rendered[f] * fat, drips: drips, still: still, hold: *water}
}

// squeeze lets what is no longer held come to the surface, where a share of it drips off
// and the rest stays as a film, and lets fat run out, which takes no latent heat. What
// moves carries its enthalpy. It reports water and fat that are gone, and what they held.
func (p *load) squeeze(seconds float64) (water, fat, joules float64) {
	const last = nodes - 1
	j := &p.juices
	share := seconds / (seconds + juiceSeconds)
	sum := 0.0
	for i := range nodes {
		t := p.temperature(i)
		if held := p.solids[i] * j.still * max(0, 1-j.part*releasedAt(t)); held < j.hold[i] {
			j.hold[i] = held
		}
		if over := p.water[i] - j.hold[i]; over > 0 {
			moved := over * share
			heat := moved * enthalpy(&waterHeat, t)
			p.water[i] -= moved
			p.energy[i] -= heat
			p.energy[last] += heat
			sum += moved
		}
		if j.melts == 0 || t <= fatMelts {
			continue
		}
		if over := p.solids[i]*j.melts*min((t-fatMelts)/(fatMolten-fatMelts), 1) - j.ran[i]; over > 0 {
			moved := over * share
			heat := moved * enthalpy(&fatHeat, t)
			j.ran[i] += moved
			p.energy[i] -= heat
			joules += heat
			fat += moved
		}
	}
	water = j.drips * sum
	heat := water * enthalpy(&waterHeat, p.surface)
	p.film += sum - water
	p.energy[last] -= heat
	j.lost += fat
	return water, fat, joules + heat
}

// Losses is what the product has lost since it was hung, as shares of its mass then:
// what evaporated less what condensed on it, what dripped off as a liquid, and fat that ran
// out. With the yield they make one.
type Losses struct{ Evaporation, Drip, Fat quantity.Ratio }

// Losses reports what the product has lost, and how.
func (p *Plant) Losses() Losses {
	l := &p.product
	drip, fat := l.juices.fallen/l.startMass, l.juices.lost/l.startMass
	return Losses{Evaporation: quantity.Ratio(1 - l.mass()/l.startMass - drip - fat), Drip: quantity.Ratio(drip), Fat: quantity.Ratio(fat)}
}
