package conduction

import "fumarium/profile/quantity"

// Surface is the temperature at the surface.
func (b *Body) Surface() quantity.Celsius { return quantity.Celsius(b.surface) }

// Mean is the temperature averaged over the volume.
func (b *Body) Mean() quantity.Celsius {
	heat, capacity := b.chain.Heat()+b.end*b.surface, b.end
	for i := range b.chain.Len() {
		capacity += b.chain.Capacity(i)
	}
	return quantity.Celsius(heat / capacity)
}
