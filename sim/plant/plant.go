// Package plant is the cabinet that a batch is rehearsed in: heating element, the tray over
// it and the floor, chamber air and its moisture, racks, layered walls, smoke generator,
// humidifier, cooler, damper, fan and door, and the product hung in it, which warms, dries and loses
// weight. It takes what the relays do and gives the true temperatures; probes, relays and
// faults are made elsewhere. It draws no random numbers and has no clock: equal calls give
// equal results.
//
// Heat and moisture are solved implicitly together, so that no chamber is too small or too
// heavy for the step, and booked so that every joule and every gram of water is accounted
// for; Balance says how well.
//
// Sources: conduction by finite volumes with food properties of Choi and Okos (package
// composition); films by textbook correlations and the Lewis analogy (package film); moist
// air as perfect gases (package psychrometer). Constants of the cabinet and of moisture in
// the product are common practice, no source; how the generator smoulders is in package
// cabinet.
//
// Left out: the heat that melts fat, the way that juice takes to the surface, what it holds
// beside water, shrinking of the pieces (a piece keeps its size while it dries), freezing,
// boiling within the product, uneven heat within the chamber, ends and edges of the pieces,
// the heat of the fan, smoke itself, water that condenses on a cooler. Water that condenses on the product weighs as product
// and drips off, out of the balance, above a tenth of a millimeter; so does that on the
// walls.
package plant

import (
	"fmt"
	"math"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// A Load is the product hung in the chamber. One without Mass is an empty
// chamber: core and surface then follow the chamber air.
type Load struct {
	Shape      profile.Shape
	Mix        composition.Mix
	Mass       quantity.Kilograms // all pieces together
	Start      quantity.Celsius   // uniform temperature when hung
	FilmFactor float64            // multiplies film coefficients; 0 means 1
	Flesh      Flesh              // what heat squeezes out of it
	Doubt      Doubt
}

// A Doubt is by what some figures of the product, which nobody knows well, differ from the
// package's: factors; 0 means 1.
type Doubt struct{ Juice, Drip, Diffusivity, Conductivity float64 }

func (d Doubt) check() error {
	for _, f := range []float64{d.Juice, d.Drip, d.Diffusivity, d.Conductivity} {
		if !(f >= 0 && f <= 10) {
			return fmt.Errorf("plant: Load.Doubt %+v; a factor must be zero (for 1) or above zero, up to 10", d)
		}
	}
	return nil
}

// or1 is a factor, or one where none is given.
func or1(factor float64) float64 {
	if factor == 0 {
		return 1
	}
	return factor
}

// A Config is what a Plant is made of.
type Config struct {
	Build           cabinet.Rehearsal
	HeaterPower     quantity.Watts
	Generator       cabinet.Generator
	Load            Load
	Ambient         quantity.Celsius
	AmbientHumidity quantity.Ratio // 0 means DefaultHumidity
	PressurePascal  float64        // 0 means 101325
	Wick            cabinet.WickAir
}

// A Drive is what the relays and the person do to the plant.
type Drive struct {
	Heater, Fan, Smoke, Humidifier, DoorOpen bool
	Cooler                                   bool
	Unlit                                    bool           // the smoke generator goes out, whatever it gets
	Draught                                  bool           // it draws air by itself while its pump is off
	Fire                                     quantity.Watts // heat of something that burns in the chamber
	Damper                                   quantity.Ratio
	Place                                    profile.Place // of the product; zero means Chamber
}

// A Plant is a simulated cabinet with product. It contains no pointers: a copy
// of a Plant is another plant in the same state. It is not safe for concurrent
// use.
type Plant struct {
	wall    wall // from the tray up
	floor   wall // with the strip of wall below the tray
	product load
	air     air
	element body
	tray    body    // over the element; its area is that of one side
	gap     float64 // m² between tray and walls, through which the floor is seen
	around  float64 // m² that there are to be seen from where the product hangs
	racks   body
	water   float64 // film on the lining, kg

	volume, height, speed, opening float64 // m³, m, m/s at the product with the fan, m² of the door
	section                        float64 // m², that the pieces leave free
	still                          float64 // m/s at the product without the fan
	leak, vent                     float64 // m² low, and as much high
	exchange                       float64 // m³/s
	power                          float64 // W
	pastTray                       float64 // share of the element's radiation that misses the tray
	steam                          float64 // humidifier, kg/s
	cooler                         float64 // W, from air of coolerAir
	generator                      generator

	pressure        float64 // Pa
	ambientHumidity float64
	ambient         outside
	medium          outside // where the product is when not in the chamber

	films   films
	wick    wick
	sight   sight
	drive   Drive
	seconds float64 // step that the chains are prepared for
	settled float64 // seconds since the last settling
	turns   int     // settlings so far

	owed  float64 // J that the linear step left over, handed to the next one
	books books
}

// air of the chamber.
type air struct {
	t           float64 // °C
	dry, vapour float64 // kg
}

// A body is a lump of metal.
type body struct {
	t        float64
	capacity float64         // J/K
	area     float64         // m²
	diameter quantity.Meters // of rods; the length of a plate
}

// outside is air of the room or the cold room, or water.
type outside struct {
	t           float64
	dry, vapour float64 // kg/m³
}

// Figures of the cabinet that its file does not hold; common practice, no source.
const (
	steelHeat = 500.0 // J/(kg·K)
	// elementLoad is the power that a rod element gives off by each m² of its
	// sheath.
	elementLoad     = 30e3
	elementDiameter = 8.5e-3
	// glowsDown is what of a rod's glow goes down. A tray that catches a share of all of it
	// is taken to cover that share of the floor, of sheet 1 mm thick.
	glowsDown  = 0.5
	trayWeighs = 7.9 // kg/m²
	// trayHeight is that of the tray over the floor, at most lowest of the chamber's: what of
	// the element's glow the tray does not catch and what the tray's underside gives falls on
	// the floor and on the wall up to there, and not on what the product sees.
	trayHeight, lowest = 0.15, 0.25
	// rackDiameter is that of the rods; area of round rods is 4/(d·ρ) for each kg.
	rackDiameter = 6e-3
	rackArea     = 4 / (rackDiameter * 7900)
	// emissivity of wet meat, sooty steel and oxidised elements.
	emissivity = 0.9
	gravity    = 9.80665
	// doorDischarge and doorDraught: exchange through an open door by the
	// difference in density, (C/3)·A·√(g·H·Δρ/ρ), and a little without any.
	doorDischarge = 0.6
	doorDraught   = 0.02 // m/s
	// freeWall is free convection on walls, h = 1.31·ΔT^(1/3), at least quietWall;
	// fanWall + fanWallSlope·v is that with the fan (McAdams; from memory).
	freeWall, quietWall   = 1.31, 1.5
	fanWall, fanWallSlope = 5.7, 3.8
	// jets is how much faster than on the mean over the empty section the air of a fan goes
	// where the product hangs: it blows in jets and does not fill the section, 3 to 5 times
	// (judgement, no source). Pieces narrow its way besides, by what they take of the
	// section, at most by mostBlocked.
	jets, mostBlocked = 4.0, 0.5
	// plume is how much air goes up over something warm, m = 0.071·Q^(1/3)·z^(5/3) kg/s with
	// Q in kW and z in m (the plume of NFPA 92 without its smaller term; from memory).
	plume            = 0.071
	steamTemperature = 100.0 // of humidifier and generator moisture
	// coolerAir is the air from which a cooler takes what its file says; from colder air it
	// takes less, and at 0 °C, where its fins ice up, nothing.
	coolerAir, coolerMost = 20.0, 1.5
	// Media other than the chamber.
	iceWater           = 0.5 // °C
	coldestRoom        = -40
	hottestRoom        = 60
	iceWaterFilm       = 650.0 // W/(m²·K)
	coldRoom           = 3.0
	coldRoomHumidity   = 0.85
	coldRoomSpeed      = 0.3 // m/s
	DefaultHumidity    = 0.6 // of a room of which nothing is known
	fogSeconds         = 1.0 // in which supersaturated air falls back to saturation
	slabHeight         = 0.3 // m, of a slab that gives no length
	longestStep        = 1.0 // s
	restingStep        = 5.0 // s, while all rests
	settleSeconds      = 10.0
	restingSettle      = 30.0 // while all rests
	calm               = 3.0  // K between the product's surface and what it lies in
	filmTurns          = 3    // settlings from one refresh to the next
	propertyTurns      = 6
	waterSpecificHeat  = 4186.0 // of condensate on the walls
	vapourOverAir      = 1.607858
	kelvin             = 273.15
	largestFilmTakeOff = 0.5 // share of a thin film that may evaporate in one step
)

// New builds a plant in which everything but the product has the temperature of
// the room. Errors name the field that is wrong.
func New(c Config) (*Plant, error) {
	b := c.Build
	for _, f := range []struct {
		name     string
		value    float64
		positive bool
	}{
		{"Build.Width", float64(b.Width), true},
		{"Build.Depth", float64(b.Depth), true},
		{"Build.Height", float64(b.Height), true},
		{"Build.Racks", float64(b.Racks), false},
		{"Build.Element", float64(b.Element), c.HeaterPower != 0},
		{"Build.Leak", float64(b.Leak), false},
		{"Build.Vent", float64(b.Vent), false},
		{"Build.FanFlow", float64(b.FanFlow), false},
		{"Build.FanExchange", float64(b.FanExchange), false},
		{"Build.Humidifier", float64(b.Humidifier), false},
		{"Build.Cooler", float64(b.Cooler), false},
		{"Build.PastTray", float64(b.PastTray), false},
		{"HeaterPower", float64(c.HeaterPower), false},
		{"Generator.Heat", float64(c.Generator.Heat), false},
		{"Generator.Air", float64(c.Generator.Air), false},
		{"Generator.Moisture", float64(c.Generator.Moisture), false},
		{"Generator.Lasts", c.Generator.Lasts.Seconds(), c.Generator.Moisture > 0},
		{"Generator.TurnedDown", float64(c.Generator.TurnedDown), false},
		{"PressurePascal", c.PressurePascal, false},
	} {
		if !quantity.Finite(f.value) || f.value < 0 || f.positive && f.value == 0 {
			limit := "zero or more"
			if f.positive {
				limit = "above zero"
			}
			return nil, fmt.Errorf("plant: %s is %v; it must be %s", f.name, f.value, limit)
		}
	}
	if b.PastTray > 1 {
		return nil, fmt.Errorf("plant: Build.PastTray is %v; it must be at most 1", float64(b.PastTray))
	}
	if c.PressurePascal == 0 {
		c.PressurePascal = psychrometer.StandardPressure
	}
	if c.PressurePascal < 50e3 || c.PressurePascal > 120e3 {
		return nil, fmt.Errorf("plant: PressurePascal is %v; air has 50000 to 120000 Pa where people live", c.PressurePascal)
	}
	if c.AmbientHumidity == 0 {
		c.AmbientHumidity = DefaultHumidity
	}
	if !(c.AmbientHumidity > 0 && c.AmbientHumidity <= 1) {
		return nil, fmt.Errorf("plant: AmbientHumidity is %v; it must be above 0 and at most 1", float64(c.AmbientHumidity))
	}
	if !(c.Ambient >= coldestRoom && c.Ambient <= hottestRoom) {
		return nil, fmt.Errorf("plant: Ambient is %v °C; it must be between %v and %v °C", float64(c.Ambient), float64(coldestRoom), float64(hottestRoom))
	}
	w, d, h := float64(b.Width), float64(b.Depth), float64(b.Height)
	strip := 2 * (w + d) * min(trayHeight, lowest*h)
	wall, err := newWall(b.Wall, w*d+2*(d+w)*h-strip, cellsLayer, c.Ambient)
	if err != nil {
		return nil, err
	}
	floor, err := newWall(b.Wall, w*d+strip, cellsFloor, c.Ambient)
	if err != nil {
		return nil, err
	}
	if c.Load.Mass == 0 {
		c.Load.Start = min(max(c.Ambient, -1), 60)
	}
	product, err := newLoad(c.Load)
	if err != nil {
		return nil, err
	}
	p := &Plant{
		wall: wall, floor: floor, product: product, gap: w * d * float64(b.PastTray), around: product.area + wall.area + w*d,
		element: body{
			t: float64(c.Ambient), capacity: max(float64(b.Element), 0.01) * steelHeat,
			area: max(float64(c.HeaterPower)/elementLoad, 1e-3), diameter: elementDiameter,
		},
		tray: newTray(w*d*(1-float64(b.PastTray)), c.Ambient),
		racks: body{
			t: float64(c.Ambient), capacity: max(float64(b.Racks), 0.01) * steelHeat,
			area: float64(b.Racks) * rackArea, diameter: rackDiameter,
		},
		volume: w * d * h, height: h, opening: w * h, section: w * d * (1 - product.blocks(w*d)),
		leak: float64(b.Leak) / 2, vent: float64(b.Vent), exchange: float64(b.FanExchange),
		power: float64(c.HeaterPower), pastTray: float64(b.PastTray), steam: float64(b.Humidifier) / 3600, cooler: float64(b.Cooler),
		generator: newGenerator(&c.Generator, c.Ambient),
		pressure:  c.PressurePascal, ambientHumidity: float64(c.AmbientHumidity),
		drive: Drive{Place: profile.Chamber},
	}
	p.speed = jets * float64(b.FanFlow) / p.section
	p.wick.air = c.Wick
	p.SetAmbient(c.Ambient)
	p.air = air{t: p.ambient.t, dry: p.ambient.dry * p.volume, vapour: p.ambient.vapour * p.volume}
	p.refreshFilms()
	p.books.startJoules, p.books.startKilograms = p.stored()
	return p, nil
}

// newTray is of sheet that lies flat; without an area there is none.
func newTray(area float64, start quantity.Celsius) body {
	return body{t: float64(start), capacity: max(area*trayWeighs, 0.01) * steelHeat, area: area, diameter: quantity.Meters(math.Sqrt(area))}
}

func (p *Plant) outside(celsius, humidity float64) outside {
	density, _ := saturation(celsius)
	o := outside{t: celsius, vapour: density * humidity}
	k := celsius + kelvin
	o.dry = p.pressure/(psychrometer.AirGasConstant*k) - o.vapour*vapourOverAir
	return o
}

// SetAmbient changes the temperature of the room; its relative humidity stays. A
// temperature outside -40..60 °C is a mistake of the caller and panics.
func (p *Plant) SetAmbient(t quantity.Celsius) {
	if !(t >= coldestRoom && t <= hottestRoom) {
		panic(fmt.Sprintf("plant: ambient %v °C is outside %v..%v °C", float64(t), float64(coldestRoom), float64(hottestRoom)))
	}
	p.ambient = p.outside(float64(t), p.ambientHumidity)
	p.place()
}

// Ambient is the temperature of the room.
func (p *Plant) Ambient() quantity.Celsius { return quantity.Celsius(p.ambient.t) }

// place looks up the medium around the product.
func (p *Plant) place() {
	switch p.drive.Place {
	case profile.IceWater:
		p.medium = outside{t: iceWater}
	case profile.ColdRoom:
		p.medium = p.outside(coldRoom, coldRoomHumidity)
	default:
		p.medium = p.ambient
	}
}

// rests reports whether nothing happens but what happens by itself, and that slowly: the
// product lies in air elsewhere and is about as warm, and the chamber is left alone.
func (p *Plant) rests() bool {
	d := &p.drive
	return math.Abs(p.product.surface-p.medium.t) < calm && (d.Place == profile.Room || d.Place == profile.ColdRoom) &&
		!d.Heater && !d.Fan && !d.Smoke && !d.Humidifier && !d.Cooler && !d.DoorOpen && !d.Draught && d.Fire == 0
}

// Advance moves the plant on by dt under an unchanging drive. Longer times are
// gone through in steps of at most a second, or five while all rests. A dt of zero or
// less does nothing.
func (p *Plant) Advance(dt time.Duration, d Drive) {
	if dt <= 0 {
		return
	}
	switch {
	case !(d.Damper > 0):
		d.Damper = 0
	case d.Damper > 1:
		d.Damper = 1
	}
	if d.Place < profile.Chamber || d.Place > profile.ColdRoom {
		d.Place = profile.Chamber
	}
	if !(d.Fire > 0) {
		d.Fire = 0
	}
	was := p.drive
	p.drive = d
	if d.Place != was.Place {
		p.place()
	}
	if d.Place != was.Place || d.Fan != was.Fan || d.Fire != was.Fire {
		p.refreshFilms()
	}
	steps, seconds := 1.0, dt.Seconds()
	if seconds > longestStep {
		longest := longestStep
		if p.rests() {
			longest = restingStep
		}
		steps = math.Ceil(seconds / longest)
		seconds /= steps
	}
	if seconds != p.seconds {
		p.seconds = seconds
		p.factorProduct()
		p.factorWall()
	}
	due := settleSeconds - 1e-6
	if seconds > longestStep {
		due = restingSettle - 1e-6
	}
	for ; steps > 0; steps-- {
		p.step()
		p.settled += seconds
		if p.settled >= due {
			p.settle()
		}
	}
}

// factorProduct prepares the product's chain for the step in use, whenever its heat
// capacities or conductances have changed.
func (p *Plant) factorProduct() {
	if p.seconds > 0 {
		p.product.chain.Factor(p.seconds, 0)
	}
}

// factorWall prepares the wall's and the floor's, whenever the films on their outside have changed.
func (p *Plant) factorWall() {
	if p.seconds > 0 {
		p.wall.chain.Factor(p.seconds, p.films.outer)
		p.floor.chain.Factor(p.seconds, p.films.under)
	}
}

// settle does what need not be done in every step.
func (p *Plant) settle() {
	kilograms, fat, joules := p.product.settle(p.settled)
	p.books.outFat += fat
	if limit := drippingFilm * p.wall.area; p.water > limit {
		kilograms += p.water - limit
		joules += (p.water - limit) * waterSpecificHeat * p.wall.lining
		p.water = limit
	}
	p.books.outKilograms += kilograms
	p.books.outJoules += joules
	p.settled = 0
	p.turns++
	if p.turns%propertyTurns == 0 {
		p.product.refreshProperties()
	}
	p.factorProduct()
	if p.turns%filmTurns == 0 {
		p.refreshFilms()
	}
}
