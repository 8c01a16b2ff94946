package forecast_test

import (
	"math"
	"math/rand/v2"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/plant"
)

// cells are the shells of a piece, from its middle outwards.
const cells = 8

// foreign is a cabinet with product of quite another structure than package sim/plant:
// lumps for element, air and a wall of two layers, constant flows of air, a piece of two
// layers that conduct otherwise, water that leaves at a constant rate until the surface
// begins to dry and ever slower afterwards, and a piece with the probe that hangs in other
// air than the rest. The probe is off the middle, late, and warmed along its stem.
type foreign struct {
	element, air, lining, shell, room float64 // °C
	vapour                            float64 // kg/m³ in the chamber

	power, glow               float64 // W; share of it that falls on product and lining
	elementHas, airHas        float64 // J/K
	liningHas, shellHas       float64
	toAir, toLining, through  float64 // W/K
	toRoom                    float64
	leak, vent, drawn, volume float64 // m³/s, and m³
	steam, smoke              float64 // kg/s, W
	around                    float64
	bulk, pierced             piece
	tip, stem, late, felt     float64 // share of the radius, share of the air's excess, s, °C
	lit                       bool
	ember                     float64
}

// piece is a square metre of surface of what hangs, and the water behind it.
type piece struct {
	t         [cells]float64
	has       [cells]float64 // J/(m²·K)
	to        [cells]float64 // W/(m²·K) to the next outwards; the last to the surface
	film      float64        // W/(m²·K) with and without the fan
	still     float64
	outside   float64 // kg/m² of water near the surface
	inside    float64 // kg/m²
	critical  float64 // kg/m², below which it dries ever slower
	supply    float64 // 1/s, from inside
	tight     float64 // s/m of the casing
	area      float64 // m²
	radiative float64
}

func saturated(t float64) float64 { // kg/m³; Magnus form, as in physics of moist air
	return 610.94 * math.Exp(17.625*t/(t+243.04)) / (461.5 * (t + 273.15))
}

// step moves a piece on by a second, and says what it takes from the air: W and kg/s for
// each m².
func (p *piece) step(air, walls, vapour, shine float64, fan, inWater bool) (heat, water float64) {
	h, radiative := p.still, p.radiative
	if fan {
		h = p.film
	}
	if inWater {
		h, radiative = 450, 0
	}
	surface := p.t[cells-1]
	heat = h * (air - surface)
	into := heat + radiative*(walls-surface) + shine
	if !inWater {
		move := 1 / (1100/h + p.tight)
		wet := min(1, p.outside/p.critical)
		excess := saturated(surface) - vapour
		if excess < 0 {
			wet = 1
		}
		water = move * wet * excess
		into -= water * 2.4e6
		p.outside += -water + p.supply*p.inside
		p.inside -= p.supply * p.inside
		p.outside = min(max(p.outside, 0), 2)
	}
	flow := 0.0
	for i := range cells - 1 {
		next := p.to[i] * (p.t[i+1] - p.t[i])
		p.t[i] += (next - flow) / p.has[i]
		flow = next
	}
	p.t[cells-1] += (into - flow) / p.has[cells-1]
	return heat, water
}

func (f *foreign) Advance(dt time.Duration, d plant.Drive) {
	for left := dt.Seconds(); left > 0; left-- {
		f.second(d)
	}
}

func (f *foreign) second(d plant.Drive) {
	heat := 0.0
	if d.Heater {
		heat = f.power
	}
	shine := f.glow * f.toAir * (f.element - f.air) / (f.bulk.area + 2)
	gives := f.toAir * (f.element - f.air)
	f.element += (heat - gives) / f.elementHas
	smoke := 0.0
	if d.Smoke && f.lit {
		smoke = f.smoke
		f.ember += (480 - f.ember) / 120
	} else if f.lit {
		f.ember += (400 - f.ember) / 300
	} else {
		f.ember += (f.air - f.ember) / 300
	}
	flow := f.leak + f.vent*float64(d.Damper)
	if d.Fan {
		flow += f.drawn * float64(d.Damper)
	}
	if d.DoorOpen {
		flow += 0.05
	}
	outer := 0.6 * saturated(f.room)
	around, vapour, walls, at := f.air, f.vapour, f.lining, f.lining
	inChamber := d.Place == profile.Chamber || d.Place == 0
	inWater := d.Place == profile.IceWater
	switch {
	case inChamber:
	case inWater:
		around, shine = 0.5, 0
	case d.Place == profile.ColdRoom:
		around, vapour, walls, shine = 3, 0.85*saturated(3), 3, 0
	default:
		around, vapour, walls, shine = f.room, outer, f.room, 0
	}
	f.around = around
	takes, water := f.bulk.step(around, walls, vapour, shine, d.Fan && inChamber, inWater)
	f.pierced.step(around, walls, vapour, shine, d.Fan && inChamber, inWater)
	if !inChamber {
		takes, water = 0, 0
	}
	toLining := f.toLining * (f.air - f.lining)
	through := f.through * (f.lining - f.shell)
	f.lining += (toLining - through + f.glow*gives*2/(f.bulk.area+2) - f.bulk.radiative*f.bulk.area*(at-f.bulk.t[cells-1])*0.3) / f.liningHas
	f.shell += (through - f.toRoom*(f.shell-f.room)) / f.shellHas
	f.air += ((1-f.glow)*gives + smoke - toLining - takes*f.bulk.area - flow*1100*(f.air-f.room)) / f.airHas
	steam := 0.0
	if d.Humidifier {
		steam = f.steam
	}
	f.vapour += (steam + water*f.bulk.area - flow*(f.vapour-outer)) / f.volume
	f.vapour = min(max(f.vapour, 0), saturated(min(f.air, 99)))
	inMeat := f.pierced.at(f.tip)
	f.felt += (inMeat + f.stem*(around-inMeat) - f.felt) / f.late
}

// at is the temperature of a piece so far from its middle.
func (p *piece) at(share float64) float64 {
	x := share*cells - 0.5
	if x <= 0 {
		return p.t[0]
	}
	i := min(int(x), cells-2)
	return p.t[i] + (p.t[i+1]-p.t[i])*min(x-float64(i), 1)
}

func (f *foreign) SetAmbient(t quantity.Celsius) { f.room = float64(t) }

func (f *foreign) Light()    { f.lit = true }
func (f *foreign) Lit() bool { return f.lit }

func (f *foreign) At(s sim.Spot) quantity.Celsius {
	switch s {
	case sim.InChamber, sim.OnProbe:
		return quantity.Celsius(f.air)
	case sim.InCore:
		return quantity.Celsius(f.felt)
	case sim.OnSurface:
		return quantity.Celsius(f.pierced.t[cells-1])
	case sim.BesideProduct:
		return quantity.Celsius(f.around)
	case sim.InWick:
		wet := f.air
		for range 12 {
			excess := saturated(wet) - f.vapour - (f.air-wet)*4.5e-4
			wet -= excess / (saturated(wet)*0.055 + 4.5e-4)
		}
		return quantity.Celsius(min(wet, f.air))
	case sim.InRoom:
		return quantity.Celsius(f.room)
	}
	return quantity.Celsius(f.ember)
}

func (f *foreign) Copy() sim.Plant {
	c := *f
	return &c
}

// newForeign draws one: a cabinet about as large as the file's, with a load between seven
// tenths and one and four tenths of what the maker believes to hang. Magnitudes, no source.
func newForeign(p *profile.Product, c *cabinet.Cabinet, room float64, seed uint64) *foreign {
	r := rand.New(rand.NewPCG(seed, 0x666f726569676e))
	between := func(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }
	b := c.Rehearsal
	walls := 2 * float64(b.Width*b.Depth+b.Depth*b.Height+b.Height*b.Width)
	volume := float64(b.Width * b.Depth * b.Height)
	loss := 1.5 // W/(m²·K)
	if len(b.Wall) == 1 {
		loss = 5
	}
	f := &foreign{
		element: room, air: room, lining: room, shell: room, room: room, vapour: 0.6 * saturated(room), ember: room,
		power: float64(c.Heater.Power) * between(0.85, 1.1), glow: r.Float64() * 0.25,
		elementHas: float64(b.Element)*500 + 100, airHas: volume*1000 + float64(b.Racks)*500*0.7,
		liningHas: walls * 4e3 * between(0.6, 2), shellHas: walls * 9e3 * between(0.5, 2),
		toAir: float64(c.Heater.Power) / between(180, 400), toLining: walls * between(6, 12),
		through: walls * loss * between(0.7, 1.4), toRoom: walls * between(6, 10),
		leak: between(0.3, 2) / 3600 * volume * 2.5, vent: between(10, 40) / 3600 * volume * 2.5, drawn: float64(b.FanExchange) * between(0.5, 1.3),
		volume: volume, steam: float64(b.Humidifier) / 3600 * between(0.6, 1.2), smoke: float64(c.Generator.Heat) * between(0.5, 1.2),
		tip: r.Float64() * 0.3, stem: r.Float64() * 0.06, late: between(5, 90),
	}
	radius := float64(p.Shape.HalfThickness()) * between(0.93, 1.07)
	mix := p.Formula.Composition()
	density := 1050.0
	inner, outer := between(0.36, 0.52), between(0.25, 0.5) // W/(m·K)
	share := r.Float64() * 0.4                              // of the radius that the outer layer takes
	holds := between(3.0e6, 3.7e6)                          // J/(m³·K)
	exponent := p.Shape.Form.Exponent()
	var one piece
	dx := radius / cells
	for i := range cells {
		far, near := float64(i+1)*dx, float64(i)*dx
		one.has[i] = holds * (math.Pow(far, exponent+1) - math.Pow(near, exponent+1)) / ((exponent + 1) * math.Pow(radius, exponent))
		k := inner
		if far > radius*(1-share) {
			k = outer
		}
		one.to[i] = k / dx * math.Pow(far/radius, exponent)
		one.t[i] = float64(sim.DefaultStart)
	}
	one.film, one.still, one.radiative = between(9, 28), between(4, 9), between(3.5, 6)
	if b.FanFlow == 0 {
		one.film = one.still
	}
	water := float64(mix.Water) * density * radius / (exponent + 1)
	one.outside, one.inside = 0.06*water, 0.94*water
	one.critical, one.supply = water*between(0.02, 0.10), between(2e-6, 3e-5)
	one.tight = between(10, 120)
	if p.Shape.Casing == profile.PlasticCasing {
		one.tight = 1e9
	}
	load := float64(p.Formula.Mass()) * between(0.7, 1.4)
	one.area = load / density * (exponent + 1) / radius
	f.bulk, f.pierced = one, one
	uneven := between(0.75, 1.35)
	f.pierced.film, f.pierced.still = one.film*uneven, one.still*uneven
	f.felt = one.t[0]
	return f
}
