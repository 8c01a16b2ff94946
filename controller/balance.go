package controller

import (
	"math"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// A chamber probe that is missing is seen at once; one that is wrong is not. Two things
// know something of the air beside it. The heat that went in says what the air has likely
// become, by the cabinet's response, which is known to within a factor. The middle of the
// meat says how hot the air must be at least: heat reaches it by a film and by conduction,
// and both have a fastest. Neither gives the temperature; both contradict a reading.
//
// How far good batches stay from these bounds, and which wrong probes pass them, is
// measured in rehearsals (sim/campaign). Own magnitudes, no source, unless one is said.
const (
	// The share of the response that the chamber follows rises as the product dries and
	// the walls get warm. It falls after something was changed, and hardly otherwise.
	shareRises     = 30 * time.Minute
	shareSettles   = 30 * time.Minute // after a change
	shareFallsAnew = 15 * time.Minute // meanwhile, and while the reading still climbs
	shareFalls     = 0.05             // of it in an hour, later

	heatSaysLeast                 = 10.0 // K of rise by heat; below that it says nothing
	heatSmooth                    = time.Minute
	heatMissing   quantity.Kelvin = 18 // the reading is so far below the likely air
	likelyOver    quantity.Kelvin = 12 // and so far, where the likely air is over the limit
	meterMissing  quantity.Kelvin = 8  // and so far, where heat is metered and not answered
	stillClimbs   quantity.Kelvin = 2  // from the setpoint
	restsWithin   quantity.Kelvin = 22 // of what the file expects of the room; a chamber that is not has not rested

	// Full heat is given only while the reading answers.
	meteredDuty                 = 0.25 // beyond the duty that holds the air, until it does,
	meteredFor                  = 2 * time.Minute
	answerFast                  = 20 * time.Second
	answerSlow                  = time.Minute
	answerLeast quantity.Kelvin = 0.07 // between both: it rises by 0.1 K a minute
	falls       quantity.Kelvin = 0.2  // between both: it falls by 0.3 K a minute
	fallsFast   quantity.Kelvin = 0.4  // from the faster one: by 1.2 K a minute
	// In noise a reading seems to rise and to fall all the time: then it has to by more than
	// chance makes of white noise in one second of 20 000, in averages and in a sample.
	noiseSmooth = 2 * time.Minute
	inNoise     = 0.5 // of its standard deviation, between both averages
	inSamples   = 4.0 // of it, from the faster one
	// A reading that falls although the heat is on shows an open door, or a probe that
	// has fallen out. So much is forgiven for a while, with no more heat than holds the air.
	droppedMost  quantity.Kelvin = 4
	droppedFor                   = 12 * time.Minute
	droppedFades                 = 5 * time.Minute

	// Without heat a chamber cools. One whose reading stays that far above the room for that
	// long, and falls by less, is not read by it: no reset gives it heat again.
	coolsAbove  quantity.Kelvin = 30 // and what the smoke generator may keep up
	coolsAfter                  = 3 * time.Minute
	coolsWithin                 = 10 * time.Minute
	coolsBy     quantity.Kelvin = 1

	coreBeyond         quantity.Kelvin = 2 // what both probes may be off by
	coreTrendFast                      = 30 * time.Second
	coreTrendSlow                      = 4 * time.Minute
	coreTrendKnown                     = 20 * time.Minute
	coreThinner                        = 0.8           // than the file says
	fastestDiffusivity                 = 1.5e-7        // m²/s; see meatDiffusivity
	leastHeatCapacity                  = 3.4e6         // J/(m³·K) of meat; a handbook magnitude, from memory
	fanFilm                            = 40.0          // W/(m²·K) with radiation: 2 m/s past a thin sausage
	stillFilmMost                      = 25.0          // W/(m²·K) with radiation
	chamberForgets                     = 10.0 / 3600   // K/s: how fast a hotter chamber of before stops to count
	radiantFilm                        = stillFilmMost // at what the element shines on
)

// airHeat is that of warm air, J/(m³·K): 1.1 kg/m³ at 50 °C and 1.0 kJ/(kg·K), handbook
// magnitudes, from memory.
const airHeat = 1100

// balanceMemory is what the step remembers of the heat and of what it must have done.
type balanceMemory struct {
	room    quantity.Celsius `record:"room_celsius"` // that the chamber rested at
	hasRoom bool             `record:"room_known"`
	judges  bool             `record:"judges"` // the batch has been met in its chamber

	heated  float64         `record:"heated_kelvin"`      // rise by the response behind its first lag,
	rise    float64         `record:"rise_kelvin"`        // and behind both
	left    float64         `record:"left_kelvin"`        // of the heat, what was left from before the start, and
	unsure  float64         `record:"unsure_kelvin"`      // of the rise: an opened door may have taken it,
	walls   float64         `record:"walls_kelvin"`       // and walls may keep more of it
	holds   float64         `record:"holding_duty_ratio"` // that keeps it where it is
	share   float64         `record:"share_ratio"`        // of it that the chamber follows
	missing quantity.Kelvin `record:"missing_kelvin"`     // the reading to the likely air
	stage   int             `record:"stage"`
	damper  quantity.Ratio  `record:"damper_ratio"`
	settled time.Duration   `record:"settled"` // since stage, damper or door changed

	fast     quantity.Celsius `record:"fast_celsius"` // the reading behind two lags: what it does now
	slow     quantity.Celsius `record:"slow_celsius"`
	noise    quantity.Kelvin  `record:"noise_kelvin"` // standard deviation of the reading
	last     quantity.Celsius `record:"last_celsius"`
	hottest  quantity.Celsius `record:"hottest_celsius"` // that it was of late
	hasTrend bool             `record:"trend_known"`
	before   quantity.Kelvin  `record:"missing_before_kelvin"` // what is missing, not smoothed, but for
	dropped  quantity.Kelvin  `record:"dropped_kelvin"`        // what is because the reading fell
	gone     time.Duration    `record:"dropped_time"`
	metered  bool             `record:"metered"` // more heat is wanted than it answers for
	waits    time.Duration    `record:"waits"`   // for so long it did not, and is short

	unheated time.Duration    `record:"unheated"`         // nothing was on for so long,
	cooled   quantity.Celsius `record:"cooled_celsius"`   // and the reading came to that,
	coolsFor time.Duration    `record:"not_cooling_time"` // and no lower since then
	fell     bool             `record:"cooled"`           // it has fallen since, or is not hot

	cores  [cabinet.MaxCoreProbes]coreTrend `record:"core"`
	beyond quantity.Kelvin                  `record:"beyond_kelvin"` // the least air by the cores to the reading
}

// coreTrend is how fast a core warms: it behind two lags.
type coreTrend struct {
	fast  quantity.Celsius `record:"fast_celsius"`
	slow  quantity.Celsius `record:"slow_celsius"`
	known time.Duration    `record:"known"`
}

// balanceRules are what follows from product and cabinet.
type balanceRules struct {
	least, most    float64         // share
	loss           float64         // W/K by the response
	vent, exchange float64         // W/K at full damper: at a stack of 1 m times 1 K, and by the fan
	height         float64         // m, of the stack
	walls          float64         // m², of the lining; 0 is not known
	pieceLag       float64         // s, by which the core lags behind the air at least
	radiant        float64         // K above the air at full duty, of what the element shines on
	beyond         quantity.Kelvin // of a core: see coreBeyond
	coolsAbove     quantity.Kelvin // see there
	metered        float64         // see meteredDuty
	adds           bool            // fan to stack; see Slack
}

func newBalanceRules(p *profile.Product, c *cabinet.Cabinet) balanceRules {
	r, h := c.Response, c.Rehearsal
	b := balanceRules{
		least: float64(r.Least), most: float64(r.Most),
		loss: float64(c.Heater.Power) / float64(max(r.Gain, 1)), vent: airHeat * cabinet.StackSpeed * float64(h.Vent), exchange: airHeat * float64(h.FanExchange),
		height: float64(h.Height), beyond: coreBeyond, metered: meteredDuty,
	}
	b.coolsAbove = coolsAbove + quantity.Kelvin(float64(c.Generator.Heat)/max(b.loss, 1))
	if b.most == 0 { // of a cabinet that no file describes
		b.least, b.most = float64(cabinet.DefaultLeast), float64(cabinet.DefaultMost)
	}
	if c.Ambient+quantity.Celsius(b.most*float64(r.Gain)) < c.Limits.ChamberHigh {
		b.metered = 1 // full heat does not get it too hot
	}
	if c.CanRehearse() {
		b.walls = 2 * float64(h.Width*h.Depth+h.Width*h.Height+h.Depth*h.Height)
		b.radiant = float64(c.Heater.Power) * float64(h.PastTray) / b.walls / radiantFilm
	}
	if p != nil {
		film := stillFilmMost
		if c.Fan.Fitted {
			film = fanFilm
		}
		b.pieceLag = leastLag(p.Shape, film)
	}
	return b
}

// leastLag is by how many seconds of its own warming the middle of a piece is behind the
// air around it at least: the time constant of its slowest mode. Before that mode alone is
// left, and while the air still rises, it lags by more.
func leastLag(shape profile.Shape, film float64) float64 {
	half := coreThinner * float64(shape.HalfThickness())
	root := slowestMode(shape.Form, film*half/(fastestDiffusivity*leastHeatCapacity))
	return half * half / fastestDiffusivity / (root * root)
}

// slowestMode is the first root of the series for conduction with a film of this Biot
// number: of x·tan x = Bi in a slab, x·J1(x)/J0(x) = Bi in a cylinder, and 1 - x·cot x = Bi
// in a sphere (Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, chapters III,
// VII and IX; from memory).
func slowestMode(form profile.Form, biot float64) float64 {
	below := func(x float64) bool {
		switch form {
		case profile.Cylinder:
			return x*math.J1(x) < biot*math.J0(x)
		case profile.Sphere:
			return math.Sin(x)-x*math.Cos(x) < biot*math.Sin(x)
		}
		return x*math.Sin(x) < biot*math.Cos(x)
	}
	low, high := 0.0, math.Sqrt(lastMode(form))
	for range 50 { // halves: all bits of a float64
		if middle := (low + high) / 2; below(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// lagged moves v to goal by a lag; a step as long as the lag gets there.
func lagged(v, goal, dt, lag float64) float64 { return v + (goal-v)*min(1, dt/lag) }

func laggedTo(v, goal quantity.Celsius, dt float64, lag time.Duration) quantity.Celsius {
	return quantity.Celsius(lagged(float64(v), float64(goal), dt, lag.Seconds()))
}

// follow takes in what the last step put out and what this one reads. Where the chamber is
// not read nothing is forgotten: a loose plug must not hide that the probe is wrong.
func (b *balanceMemory) follow(t *step) {
	b.followHeat(t)
	stage := t.stage()
	if stage == nil || stage.Place != profile.Chamber {
		*b = balanceMemory{heated: b.heated, rise: b.rise, left: b.left, unsure: b.unsure, walls: b.walls, share: b.share, room: b.room, hasRoom: b.hasRoom, judges: b.judges}
		return
	}
	if chamber, known := t.s.Chamber.Reading.Value(); known && !t.late {
		b.followReading(t, chamber)
		b.followCooling(t)
		b.followShare(t, stage, chamber)
		b.followCores(t, stage)
	}
}

// followHeat follows the rise that the heat would have brought by the response. An open
// damper makes it smaller and sooner. In a gap all was off.
func (b *balanceMemory) followHeat(t *step) {
	r, on := &t.m.balance, 0.0
	if !t.late && t.s.Out.On.Has(Heater) {
		on = t.m.gain
	}
	air := r.mostDraught(t.s.Out.Damper, b.share*b.rise, t.s.Out.On.Has(Fan))
	shut := 1.0
	if r.loss > 0 {
		shut = r.loss / (r.loss + air)
	}
	b.heated = lagged(b.heated, on*shut, t.seconds, t.m.lagSeconds*shut)
	b.rise = lagged(b.rise, b.heated, t.seconds, t.m.feltSeconds)
	b.left = lagged(b.left, 0, t.seconds, t.m.lagSeconds*shut)
	b.unsure = lagged(b.unsure, b.left, t.seconds, t.m.feltSeconds)
	b.walls = lagged(b.walls, 0, t.seconds, max(wallLag.Seconds(), t.m.lagSeconds))
	b.holds = min(1, b.shown()/(t.m.gain*shut))
}

// draught is what the air through the damper takes away at a rise, in W/K. Fan and stack
// push through one opening: their pressures add, and flow goes by the root of pressure.
func (r *balanceRules) draught(damper quantity.Ratio, rise float64, fan bool) float64 {
	if r.adds || !fan {
		return r.mostDraught(damper, rise, fan)
	}
	return float64(damper) * math.Hypot(r.stack(rise), r.exchange)
}

// mostDraught has fan and stack added up. The watch goes by it: with what truly flows, 14 of
// 1,961 drawn faultless batches tripped, all of more bare wet meat than their cabinet is meant
// to take; of these 14 one does with this.
func (r *balanceRules) mostDraught(damper quantity.Ratio, rise float64, fan bool) float64 {
	air := r.stack(rise)
	if fan {
		air += r.exchange
	}
	return float64(damper) * air
}

func (r *balanceRules) stack(rise float64) float64 { return r.vent * math.Sqrt(r.height*max(1, rise)) }

// followReading follows what the reading does now.
func (b *balanceMemory) followReading(t *step, chamber quantity.Celsius) {
	if !b.hasTrend {
		b.fast, b.slow, b.last, b.hottest, b.hasTrend = chamber, chamber, chamber, chamber, true
	}
	// Two samples of white noise are 2/√π of its standard deviation apart on average.
	apart := magnitude(quantity.Kelvin(chamber-b.last)) * math.SqrtPi / 2
	b.noise, b.last = quantity.Kelvin(lagged(float64(b.noise), float64(apart), t.seconds, noiseSmooth.Seconds())), chamber
	b.fast = laggedTo(b.fast, chamber, t.seconds, answerFast)
	b.slow = laggedTo(b.slow, chamber, t.seconds, answerSlow)
	b.hottest = max(chamber, b.hottest-quantity.Celsius(chamberForgets*t.seconds))
}

// followCooling follows how the reading falls while nothing heats.
func (b *balanceMemory) followCooling(t *step) {
	if b.unheated += t.dt; t.s.Out.On.Has(Heater) || t.in.Heater == FeedbackOn {
		b.unheated, b.fell = 0, false
	}
	hot := quantity.Kelvin(b.slow-b.rest(t)) > t.m.balance.coolsAbove
	b.coolsFor += t.dt
	switch {
	case b.unheated == 0 || !hot:
		b.cooled, b.coolsFor, b.fell = b.slow, 0, !hot
	case b.slow < b.cooled-quantity.Celsius(coolsBy):
		b.cooled, b.coolsFor, b.fell = b.slow, 0, true
	case b.unheated < coolsAfter, t.regains(coolsAfter): // what is hotter than the air still warms it
		b.cooled, b.coolsFor = max(b.cooled, b.slow), 0
	}
}

// holdsWith is the duty that keeps the rise with such a damper and fan.
func (b *balanceMemory) holdsWith(t *step, damper quantity.Ratio, fan bool) float64 {
	r := &t.m.balance
	if r.loss <= 0 {
		return 0
	}
	return min(1, b.rise/t.m.gain*(1+r.draught(damper, b.share*b.rise, fan)/r.loss))
}

// answers reports whether the reading rises now.
func (b *balanceMemory) answers() bool {
	return quantity.Kelvin(b.fast-b.slow) >= max(answerLeast, inNoise*b.noise)
}

// trend is what the reading rises by, in K/s.
func (b *balanceMemory) trend() float64 {
	return float64(b.fast-b.slow) / (answerSlow - answerFast).Seconds()
}

// shown is what of the rise by heat is sure.
func (b *balanceMemory) shown() float64 { return max(0, b.rise-b.unsure) }

// warmest is the likely air where nothing that was left from before the start has gone but
// by time.
func (b *balanceMemory) warmest(t *step) quantity.Celsius {
	return b.rest(t) + quantity.Celsius(b.share*b.rise)
}

// begin takes a chamber that has rested for as warm as the room, unless it is far from what
// the file expects of that. Of one that has not nobody knows how much of its warmth is left
// to it: the door was open, perhaps for long, and something cold hangs there. But its walls
// may still be hot.
func (b *balanceMemory) begin(t *step, chamber quantity.Celsius) {
	known := b.hasRoom && b.rise > heatSaysLeast
	if b.judges, b.hasRoom, b.share = true, true, 1; !known {
		b.room = t.m.cabinet.Ambient
	}
	above := quantity.Kelvin(chamber - b.room)
	switch {
	case b.rise > heatSaysLeast, above > restsWithin:
		b.rise = max(b.rise, float64(above))
		b.heated = max(b.heated, b.rise)
		b.left, b.unsure, b.walls = b.heated, b.rise, b.rise
	case above > -restsWithin:
		b.room = chamber
	}
}

// rest is the temperature from which the chamber rises.
func (b *balanceMemory) rest(t *step) quantity.Celsius {
	if v, ok := t.in.Ambient.Value(); ok {
		return v
	}
	return b.room
}

// followShare holds the reading against the heat.
func (b *balanceMemory) followShare(t *step, stage *profile.Stage, chamber quantity.Celsius) {
	s, r := t.s, &t.m.balance
	if !b.judges {
		b.begin(t, chamber)
	}
	own := s.Tripped == trip.HeatUnanswered // then nothing is forgiven: what is missing has to come
	if b.settled += t.dt; s.Stage != b.stage || t.damper() != b.damper || t.doorOpen() || s.Batch != Running && !own {
		b.stage, b.damper, b.settled = s.Stage, t.damper(), 0
	}
	missing, shown := 0.0, b.shown()
	if shown > heatSaysLeast && stage.Heat {
		rise := float64(chamber - b.rest(t))
		climbs := b.answers() && chamber < stage.ChamberSetpoint-quantity.Celsius(stillClimbs)
		most, least := rise/shown, rise/(b.rise+b.walls) // the share that it follows
		switch {
		case own:
		case s.Batch != Running: // what walls keep is no answer to heat
			b.walls = max(b.walls, rise/b.share-b.rise)
		case least > b.share:
			b.share = lagged(b.share, least, t.seconds, shareRises.Seconds())
		case most >= b.share:
		case b.settled < shareSettles || climbs:
			b.share = lagged(b.share, most, t.seconds, shareFallsAnew.Seconds())
		default:
			b.share = max(most, b.share*(1-shareFalls*t.seconds/3600))
		}
		b.share = min(max(b.share, r.least), r.most)
		missing = b.share*shown - rise
	}
	b.miss(t, chamber, quantity.Kelvin(missing))
}

// miss takes in what the reading is short of. What it fell by itself is set apart; not while
// a chamber that was warm from before cools by what hangs in it.
func (b *balanceMemory) miss(t *step, chamber quantity.Celsius, missing quantity.Kelvin) {
	fell := quantity.Kelvin(b.fast-chamber) > max(fallsFast, inSamples*b.noise) || quantity.Kelvin(b.slow-b.fast) > max(falls, inNoise*b.noise)
	if fell = fell && quantity.Kelvin(b.unsure) < droppedMost; fell || b.dropped > droppedMost {
		b.dropped = missing - b.before
	}
	if !fell && b.dropped <= droppedMost { // small falls do not add up
		b.dropped = quantity.Kelvin(lagged(float64(b.dropped), 0, t.seconds, droppedFades.Seconds()))
	}
	b.dropped = max(0, min(b.dropped, missing))
	b.before = missing - b.dropped
	b.missing = quantity.Kelvin(lagged(float64(b.missing), float64(b.before), t.seconds, heatSmooth.Seconds()))
	dropped, runs := b.dropped > droppedMost, t.s.Batch == Running && !t.doorOpen()
	if dropped {
		b.settled = 0
	}
	if b.gone += t.dt; !runs || !dropped || b.answers() {
		b.gone = 0
	}
	if b.waits += t.dt; !runs || dropped || b.missing < meterMissing || !b.metered && !t.s.Heater.short {
		b.waits = 0
	}
}

// followCores holds the reading against what the cores do.
func (b *balanceMemory) followCores(t *step, stage *profile.Stage) {
	b.beyond = 0
	shines := quantity.Celsius(t.m.balance.radiant * t.s.Heater.usual)
	said := false
	for i := range b.cores {
		c, p := &b.cores[i], &t.s.Core.probes[i]
		if !p.inUse || p.distrusted() || !p.course.learnt() || !stage.Heat {
			*c = coreTrend{}
			continue
		}
		if t.in.Core[i].Status() != sensors.Good {
			continue
		}
		v := quantity.Celsius(p.course.smooth)
		if c.known == 0 {
			c.fast, c.slow = v, v
		}
		c.known += t.dt
		c.fast = laggedTo(c.fast, v, t.seconds, coreTrendFast)
		c.slow = laggedTo(c.slow, v, t.seconds, coreTrendSlow)
		if c.known < coreTrendKnown {
			continue
		}
		// Of a steady rise each is behind by its own lag, so their distance shows its rate.
		rate := float64(c.fast-c.slow) / (coreTrendSlow - coreTrendFast).Seconds()
		least := v + quantity.Celsius(rate*t.m.balance.pieceLag)
		if beyond := quantity.Kelvin(least - b.hottest - shines); !said || beyond > b.beyond {
			b.beyond, said = beyond, true
		}
	}
}

// meter gives no more than some heat beyond that which holds the air, until the reading
// answers, no more than that while it has fallen, and none while a chamber that was warm from
// before may be over its limit.
func (b *balanceMemory) meter(t *step, wanted float64) float64 {
	most := b.holds + t.m.balance.metered
	if b.dropped > droppedMost {
		most = b.holds
	}
	if b.metered = wanted > most && !b.answers(); b.metered {
		if b.unsure > 0 && b.warmest(t) > t.m.cabinet.Limits.ChamberHigh {
			return 0
		}
		return most
	}
	return wanted
}

// Unanswered is by how much the chamber reading is short of what the heat has likely made
// of the air, and by how much of the least that a core says of it; negative where the
// reading is within its bounds, zero where nothing can be said.
func (s *State) Unanswered() (byHeat, byCore quantity.Kelvin) {
	return s.Balance.missing, s.Balance.beyond
}

// stands gives the alarms of the balance whose condition holds.
func (b *balanceMemory) stands(t *step) trip.Set {
	own := t.s.Tripped == trip.HeatUnanswered
	chamber, ok := t.s.Chamber.Reading.Value()
	if !ok { // what has tripped has not gone because nobody can see it
		return trip.HeatUnanswered.If(own)
	}
	// Who resets a trip of a reading that stood still, or was short, has seen it fall.
	still := !b.fell && (own || t.s.Tripped == trip.ChamberFrozen)
	over := chamber+quantity.Celsius(b.missing)+quantity.Celsius(b.share*b.unsure) > t.m.cabinet.Limits.ChamberHigh
	unanswered := b.missing > heatMissing || over && b.missing > likelyOver || b.waits > meteredFor || b.gone > droppedFor
	// A batch that is held is not heated, and its chamber cools as it likes.
	return trip.HeatUnanswered.If(t.s.Batch == Running && !t.doorOpen() && unanswered || own && b.before+b.dropped > meterMissing || b.coolsFor > coolsWithin || still) |
		trip.CoreOutrunsChamber.If(b.beyond > t.m.balance.beyond)
}

// Unbalanced is the machine without a heat balance, as programs were before there was
// one: for replaying what they recorded.
func (m *Machine) Unbalanced() *Machine {
	before := *m
	before.balance.least, before.balance.most = 0, 0
	before.balance.beyond, before.balance.metered = quantity.Kelvin(math.Inf(1)), 1
	before.balance.coolsAbove = quantity.Kelvin(math.Inf(1))
	return &before
}
