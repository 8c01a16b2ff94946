package plant

import (
	"math"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
	"fumarium/sim/plant/film"
)

const (
	airHeat    = psychrometer.AirSpecificHeat
	vapourHeat = psychrometer.VapourSpecificHeat
)

// vapourEnthalpy in J/kg over liquid water at 0 °C.
func vapourEnthalpy(celsius float64) float64 {
	return psychrometer.VapourEnthalpyAtZero + vapourHeat*celsius
}

// thin limits a vapour conductance in m³/s so that one step takes no more than a
// share of what there is in kg.
func thin(conductance, drive, there, seconds float64) float64 {
	if limit := largestFilmTakeOff * there; conductance*drive*seconds > limit {
		return limit / (drive * seconds)
	}
	return conductance
}

func radiation(a, b float64) float64 {
	return film.Radiative(emissivity, quantity.Celsius(a), quantity.Celsius(b))
}

// step moves everything on by p.seconds.
//
// Unknown are the temperatures at the end of the step of element, tray, floor, racks,
// chamber air, lining and product surface, and the vapour in the air; behind floor,
// lining and surface hang the chains of walls and product, already eliminated. Radiation is
// linear about the old temperatures, saturation about the old surface
// temperatures. The equations are
//
//	element  C·dT/dt = P - g·(T - T_air) - Σ r·(T - T_i), i tray, floor, lining, surface
//	tray     C·dT/dt = -g·(T - T_air) - Σ r·(T - T_i), i element, floor, lining, surface
//	floor    C·dT/dt = wall - g·(T - T_air) - Σ r·(T - T_i), i element, tray, lining, surface
//	racks    C·dT/dt = -g·(T - T_air) - r·(T - T_lining)
//	air      C·dT/dt = sources + flows·c·(T_in - T) + Σ g·(T_i - T) + fog
//	lining   C·dT/dt = wall + Σ g·(T_i - T) - j·L
//	surface  C·dT/dt = product + Σ g·(T_i - T) - j·L
//	vapour   dm/dt = flows + sources + Σ j - out·m,  j = K·(a·ρ_sat(T) - m/V)
//
// with everything on the right taken at the end of the step. Weighted with the
// latent heat the matrix is column diagonally dominant with no positive entry off
// its diagonal, for any step and any coefficient (but for the few percent by which
// latent heats at different places differ): that is what makes the scheme stable,
// and lets it be solved without pivoting.
//
// The chamber is at the pressure of the room. Its enthalpy is that of dry air and
// vapour above 0 °C; since pressure times volume does not change, enthalpy is what
// the flows and sources add up to.
func (p *Plant) step() {
	var (
		dt, inv = p.seconds, 1 / p.seconds
		d       = &p.drive
		f       = &p.films
		l       = &p.product
		ta, tl  = p.air.t, p.wall.lining
		ts, te  = l.surface, p.element.t
		tr, tt  = p.racks.t, p.tray.t
		tf      = p.floor.lining
		vapour  = p.air.vapour / p.volume // kg/m³
		inside  = d.Place == profile.Chamber
	)

	// What goes in and out.
	power := 0.0
	if d.Heater {
		power = p.power
	}
	steam := 0.0
	if d.Humidifier {
		steam = p.steam
	}
	// Warm and moist air is light. Through two equal openings, one low and one high, it
	// drives itself: each takes its part of the difference in pressure, so that as much
	// comes in as goes out (orifice and hydrostatic equations).
	room, here := p.ambient.dry+p.ambient.vapour, (p.air.dry+p.air.vapour)/p.volume
	stack := math.Sqrt(2 * gravity * p.height * math.Abs(room-here) * here / (room * (room + here)))
	damper := float64(d.Damper)
	flow := p.leak * cabinet.Discharge * stack
	through := p.vent * cabinet.Discharge * stack
	if d.Fan {
		// Their pressures add up, and a flow goes with the root of its pressure.
		through = math.Sqrt(through*through + p.exchange*p.exchange)
	}
	flow += damper * through
	burning := float64(d.Fire)
	if d.Cooler {
		burning -= p.cooler * min(max(ta/coolerAir, 0), coolerMost)
	}
	if d.Smoke {
		flow += p.generator.air
	}
	if share := p.generator.step(dt, d, p.ambient.t); share > 0 {
		burning += share * p.generator.heat
		steam += share * p.generator.steam
	}
	if d.DoorOpen {
		flow += p.opening * (doorDischarge/3*stack + doorDraught)
	}
	inDry, inVapour := flow*p.ambient.dry, flow*p.ambient.vapour
	gas := p.air.dry + vapourOverAir*p.air.vapour
	out := (inDry + vapourOverAir*inVapour) / gas // share of the air, 1/s
	// What the last step warmed or moistened expands out now; what it cooled or
	// condensed draws room air in.
	absolute := ta + kelvin
	full := p.pressure * p.volume / (psychrometer.AirGasConstant * absolute)
	if gas > full {
		out += (gas/full - 1) * inv
	} else {
		drawn := (full - gas) * absolute / (p.ambient.t + kelvin) * inv / (p.ambient.dry + vapourOverAir*p.ambient.vapour)
		inDry += drawn * p.ambient.dry
		inVapour += drawn * p.ambient.vapour
	}

	// Radiation, W/K. The tray catches what of the element's glow goes up to it; of what it
	// does not catch half a rod's goes down to the floor, and only the rest to what is above
	// the tray. From there the tray is seen in the floor's place, but for the gap beside it.
	past, up := p.element.area*p.pastTray, p.shines()
	elementTray := radiation(te, tt) * (p.element.area - past)
	elementFloor := radiation(te, tf) * (past - up)
	trayFloor := radiation(tt, tf) * p.tray.area
	rackLining := radiation(tr, tl) * p.racks.area
	share := 0.0 // of what is to be seen from above that is product
	var elementProduct, trayProduct, floorProduct, airProduct, liningProduct, farProduct float64
	if inside {
		// Pieces that fill the chamber see each other instead of the walls.
		share = l.area / p.around
		elementProduct = radiation(te, ts) * up * share
		trayProduct = radiation(tt, ts) * p.tray.area * share
		floorProduct = radiation(tf, ts) * p.gap * share
		airProduct = f.product
		liningProduct = radiation(ts, tl) * p.wall.area * share
	} else {
		farProduct = f.product
		if d.Place != profile.IceWater {
			farProduct += radiation(ts, p.medium.t) * l.area
		}
	}
	elementLining := radiation(te, tl) * up * (1 - share)
	trayLining := radiation(tt, tl) * p.tray.area * (1 - share)
	floorLining := radiation(tf, tl) * p.gap * (1 - share)

	// Vapour: conductances K in m³/s, saturation and its slopes.
	fogDensity, fogSlope := saturation(ta)
	fog := 0.0
	if vapour > fogDensity {
		fog = p.volume / fogSeconds
	}
	liningDensity, liningSlope := saturation(tl)
	wet := f.liningVapour
	if drive := liningDensity - vapour; drive > 0 {
		wet = thin(wet*min(1, p.water/(coveringFilm*p.wall.area)), drive, p.water, dt)
	}
	surfaceDensity, surfaceSlope := saturation(ts)
	near, nearTemperature := vapour, ta
	if !inside {
		near, nearTemperature = p.medium.vapour, p.medium.t
	}
	wetted, bare := f.filmVapour, 0.0
	activity, activitySlope := 1.0, 0.0
	if drive := surfaceDensity - near; drive > 0 {
		cover := min(1, l.film/(coveringFilm*l.area))
		wetted = thin(wetted*cover, drive, l.film, dt)
		activity, activitySlope = l.activity()
		// The surface dries within the step as well: its activity is taken at the end.
		bare = f.cellVapour * (1 - cover)
		bare /= 1 + bare*surfaceDensity*activitySlope*dt/l.solids[nodes-1]
		if drive = activity*surfaceDensity - near; drive > 0 {
			bare = thin(bare, drive, max(l.water[nodes-1], 0), dt)
		}
	}
	fromAir := vapourEnthalpy(ta)
	wetLatent := fromAir - waterSpecificHeat*tl
	fogLatent := wetLatent // what fogs up settles on the walls
	latent := vapourEnthalpy(nearTemperature) - l.liquid
	// j = constant + slope·T - m·conductance/V for fog, lining and product.
	perVolume := 1 / p.volume
	fogConst, fogRise := fog*(fogDensity-fogSlope*ta), fog*fogSlope
	wetConst, wetRise := wet*(liningDensity-liningSlope*tl), wet*liningSlope
	rate := wetted + activity*bare
	surfaceConst, surfaceRise := rate*(surfaceDensity-surfaceSlope*ts), rate*surfaceSlope
	surfaceTake := (wetted + bare) * perVolume // times m, in the chamber
	surfaceFar := 0.0                          // kg/s taken from air elsewhere
	if !inside {
		surfaceTake, surfaceFar = 0, (wetted+bare)*near
	}
	fogTake, wetTake := fog*perVolume, wet*perVolume

	// The chains.
	wallPull, wallSource := p.wall.chain.Forward(p.ambient.t)
	floorPull, floorSource := p.floor.chain.Forward(p.ambient.t)
	corePull, coreSource := l.chain.Forward(0)

	// Element, tray, floor, racks and vapour in terms of the rest: the element first, which
	// hands tray and floor some of what it is tied to, and then the tray, which hands it on.
	element := 1 / (p.element.capacity*inv + f.element + elementTray + elementFloor + elementLining + elementProduct)
	elementHas := p.element.capacity*inv*te + power
	handed := elementTray * element
	tray := 1 / (p.tray.capacity*inv + f.tray + trayFloor + trayLining + trayProduct + elementTray - handed*elementTray)
	trayHas := p.tray.capacity*inv*tt + handed*elementHas
	trayAir, trayWall, trayMeat := f.tray+handed*f.element, trayLining+handed*elementLining, trayProduct+handed*elementProduct
	trayDown := trayFloor + handed*elementFloor
	handed = elementFloor * element
	further := trayDown * tray
	floor := 1 / (p.floor.capacity*inv + floorPull + f.floor + elementFloor + trayFloor + floorLining + floorProduct - handed*elementFloor - further*trayDown)
	floorHas := p.floor.capacity*inv*tf + floorSource + handed*elementHas + further*trayHas
	floorAir, floorWall, floorMeat := f.floor+handed*f.element+further*trayAir, floorLining+handed*elementLining+further*trayWall, floorProduct+handed*elementProduct+further*trayMeat
	racks := 1 / (p.racks.capacity*inv + f.racks + rackLining)
	racksHave := p.racks.capacity * inv * tr
	moist := 1 / (inv + out + fogTake + wetTake + surfaceTake)
	moistHas := p.air.vapour*inv + inVapour + steam + fogConst + wetConst
	moistSurface := 0.0
	if inside {
		moistHas += surfaceConst
		moistSurface = surfaceRise
	}

	// Air, lining and surface: a·x = b. What is eliminated ties each two of them.
	toElement, toTray, toFloor, toRacks := f.element*element, trayAir*tray, floorAir*floor, f.racks*racks
	airLining := f.lining + toElement*elementLining + toTray*trayWall + toFloor*floorWall + toRacks*rackLining
	airSurface := airProduct + toElement*elementProduct + toTray*trayMeat + toFloor*floorMeat
	flows := inDry*airHeat + inVapour*vapourHeat
	store := (p.air.dry*airHeat + p.air.vapour*vapourHeat) * inv
	fogMoist := fogLatent * fogTake * moist
	aa := store + flows + steam*vapourHeat + f.element + f.tray + f.floor + f.racks + f.lining + airProduct + fogLatent*fogRise -
		toElement*f.element - toTray*trayAir - toFloor*floorAir - toRacks*f.racks - fogMoist*fogRise
	al := airLining + fogMoist*wetRise
	as := airSurface + fogMoist*moistSurface
	ab := store*ta + flows*p.ambient.t + steam*vapourHeat*steamTemperature + burning + p.owed*inv -
		fogLatent*fogConst + toElement*elementHas + toTray*trayHas + toFloor*floorHas + toRacks*racksHave + fogMoist*moistHas

	metal := p.wall.capacity + p.water*waterSpecificHeat
	toElement, toTray, toFloor, toRacks = elementLining*element, trayWall*tray, floorWall*floor, rackLining*racks
	liningSurface := liningProduct + toElement*elementProduct + toTray*trayMeat + toFloor*floorMeat
	wetMoist := wetLatent * wetTake * moist
	ll := metal*inv + wallPull + f.lining + elementLining + trayLining + floorLining + rackLining + liningProduct + wetLatent*wetRise -
		toElement*elementLining - toTray*trayWall - toFloor*floorWall - toRacks*rackLining - wetMoist*wetRise
	la := airLining + wetMoist*fogRise
	ls := liningSurface + wetMoist*moistSurface
	lb := metal*inv*tl + wallSource - wetLatent*wetConst + toElement*elementHas + toTray*trayHas + toFloor*floorHas + toRacks*racksHave + wetMoist*moistHas

	toElement, toTray, toFloor = elementProduct*element, trayMeat*tray, floorMeat*floor
	surfaceMoist := latent * surfaceTake * moist
	ss := l.end*inv + corePull + airProduct + liningProduct + elementProduct + trayProduct + floorProduct + farProduct + latent*surfaceRise -
		toElement*elementProduct - toTray*trayMeat - toFloor*floorMeat - surfaceMoist*moistSurface
	sa := airSurface + surfaceMoist*fogRise
	sl := liningSurface + surfaceMoist*wetRise
	sb := l.end*inv*ts + coreSource + farProduct*p.medium.t - latent*(surfaceConst-surfaceFar) + toElement*elementHas + toTray*trayHas + toFloor*floorHas + surfaceMoist*moistHas

	pivot := 1 / aa
	k := la * pivot
	ll -= k * al
	ls += k * as
	lb += k * ab
	k = sa * pivot
	ss -= k * as
	sl += k * al
	sb += k * ab
	pivotL := 1 / ll
	k = sl * pivotL
	newS := (sb + k*lb) / (ss - k*ls)
	newL := (lb + ls*newS) * pivotL
	newA := (ab + al*newL + as*newS) * pivot

	// The rest follows.
	newF := (floorHas + floorAir*newA + floorWall*newL + floorMeat*newS) * floor
	newT := (trayHas + trayDown*newF + trayAir*newA + trayWall*newL + trayMeat*newS) * tray
	newE := (elementHas + elementTray*newT + elementFloor*newF + f.element*newA + elementLining*newL + elementProduct*newS) * element
	newR := (racksHave + f.racks*newA + rackLining*newL) * racks
	newM := (moistHas + fogRise*newA + wetRise*newL + moistSurface*newS) * moist
	p.wall.chain.Back(newL)
	p.floor.chain.Back(newF)
	l.chain.Back(newS)

	// Water that changed sides, kg/s away from the surface.
	fogged := fogConst + fogRise*newA - fogTake*newM
	wetLoss := wetConst + wetRise*newL - wetTake*newM
	density := surfaceDensity + surfaceSlope*(newS-ts)
	if inside {
		near = newM * perVolume
	}
	filmLoss := wetted * (density - near)
	bareLoss := bare * (activity*density - near)
	loss := filmLoss + bareLoss
	p.water += dt * (-wetLoss - fogged)
	l.film -= dt * filmLoss
	l.water[nodes-1] -= dt * bareLoss
	l.gone += dt * loss

	dry := (p.air.dry + dt*inDry) / (1 + dt*out)
	outDry, outVapour := out*dry, out*newM

	// What a linear step cannot book: vapour was charged at the enthalpy it had in
	// the air before the step, water on the walls at theirs. The next step gets the
	// difference.
	intoAir := fogged + wetLoss
	if inside {
		intoAir += loss
	}
	p.owed = -dt * (intoAir*vapourHeat*(newA-ta) + (wetLoss+fogged)*waterSpecificHeat*(tl-newL))

	b := &p.books
	b.inJoules += dt * (power + burning + steam*vapourEnthalpy(steamTemperature) +
		inDry*airHeat*p.ambient.t + inVapour*vapourEnthalpy(p.ambient.t))
	outer := f.outer*(p.wall.chain.Temperature(0)-p.ambient.t) + f.under*(p.floor.chain.Temperature(0)-p.ambient.t)
	leaves := outDry*airHeat*newA + outVapour*vapourEnthalpy(newA) + outer
	b.inKilograms += dt * (inVapour + steam)
	b.outKilograms += dt * outVapour
	if !inside {
		leaves += farProduct*(newS-p.medium.t) + loss*vapourEnthalpy(p.medium.t)
		b.outKilograms += dt * loss
	}
	b.outJoules += dt * leaves

	// A surface that was condensing when the step began may end it drying (the door
	// opens), by more than the film that was there. That much never left.
	if p.water < 0 {
		newL -= p.water * (vapourEnthalpy(newA) - waterSpecificHeat*newL) / p.wall.capacity
		newM += p.water
		p.water = 0
	}
	if l.film < 0 {
		l.gone += l.film
		if inside {
			newS -= l.film * (vapourEnthalpy(newA) - l.liquid) / l.end
			newM += l.film
		} else {
			newS -= l.film * (vapourEnthalpy(p.medium.t) - l.liquid) / l.end
			b.outKilograms += l.film
			b.outJoules += l.film * vapourEnthalpy(p.medium.t)
		}
		l.film = 0
	}

	p.air = air{t: newA, dry: dry, vapour: newM}
	p.wall.lining, p.floor.lining = newL, newF
	p.element.t, p.tray.t, p.racks.t = newE, newT, newR
	l.surface = newS
}
