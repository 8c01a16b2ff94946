package plant

import (
	"math"

	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sensors/psychrometer"
)

// Chamber is the temperature of the chamber air.
func (p *Plant) Chamber() quantity.Celsius { return quantity.Celsius(p.air.t) }

// WetBulb is the thermodynamic wet bulb of the chamber air.
func (p *Plant) WetBulb() quantity.Celsius {
	t := p.air.t
	w := p.air.vapour / p.air.dry
	// Newton's rule on ASHRAE Fundamentals 2017, chapter 1, equation 33, times its
	// denominators. Below the boiling point the excess bends upwards, so that from
	// above every step stays above the root.
	wet := min(t, 99)
	for range 40 {
		density, slope := saturation(wet)
		k := wet + kelvin
		e := density * psychrometer.VapourGasConstant * k
		rise := psychrometer.VapourGasConstant * (density + k*slope)
		gap := p.pressure - e
		if gap <= 0 {
			wet -= 2
			continue
		}
		ratio := psychrometer.MassRatio * e / gap
		latent := 2501 - 2.326*wet
		excess := latent*ratio - 1.006*(t-wet) - w*(2501+1.86*t-4.186*wet)
		step := excess / (latent*psychrometer.MassRatio*p.pressure/(gap*gap)*rise - 2.326*ratio + 1.006 + 4.186*w)
		wet -= step
		if math.Abs(step) < 1e-6 {
			break
		}
	}
	return quantity.Celsius(min(wet, t))
}

// Humidity is the relative humidity of the chamber air.
func (p *Plant) Humidity() quantity.Ratio {
	density, _ := saturation(p.air.t)
	return quantity.Ratio(min(p.air.vapour/p.volume/density, 1))
}

// Core is the temperature in the middle of the product.
func (p *Plant) Core() quantity.Celsius { return quantity.Celsius(p.product.chain.Temperature(0)) }

// Within is the temperature of the product so far from its middle, as a share of the way
// to its surface.
func (p *Plant) Within(share quantity.Ratio) quantity.Celsius {
	l := &p.product
	x := float64(share) * l.grid.X[nodes-1]
	for i := 1; i < nodes; i++ {
		if near, far := l.grid.X[i-1], l.grid.X[i]; x <= far {
			part := (x - near) / (far - near)
			return quantity.Celsius(float64(l.temperature(i-1)*(1-part)) + float64(l.temperature(i)*part))
		}
	}
	return p.Surface()
}

// Surface is the temperature of the product's surface.
func (p *Plant) Surface() quantity.Celsius { return quantity.Celsius(p.product.surface) }

// Surroundings is the temperature of what the product is in: chamber air, ice
// water, the room or the cold room.
func (p *Plant) Surroundings() quantity.Celsius {
	if p.drive.Place == profile.Chamber {
		return p.Chamber()
	}
	return quantity.Celsius(p.medium.t)
}

// Yield is the mass of the product now, water on it included, over that at the
// start.
func (p *Plant) Yield() quantity.Ratio {
	return quantity.Ratio(p.product.mass() / p.product.startMass)
}

// SurfaceActivity is the water activity at the product's surface: 1 while it is
// wet, falling as it dries.
func (p *Plant) SurfaceActivity() float64 {
	return p.product.outside()
}
