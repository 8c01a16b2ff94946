package plant

import (
	"fmt"
	"math"

	"fumarium/controller/cabinet"
	"fumarium/profile/conduction"
	"fumarium/profile/quantity"
)

// A wall is all the chamber's walls as one, in layers. Its end is the lining, the
// inner surface that chamber air, element and product see; node 0 of the chain is
// the outer surface.
type wall struct {
	chain    conduction.Chain
	area     float64 // m²
	lining   float64 // temperature, °C
	capacity float64 // of the lining, J/K
}

const (
	maxLayers  = 7
	cellsLayer = 8
	cellsFloor = 3 // of a layer of the floor, which no product hangs before
	// The first cell of a layer is as thick as heat travels in some seconds; each
	// next one is wider, since what it feels is slower.
	firstCellSeconds = 15.0
	cellGrowth       = 1.6
)

// newWall has so many cells in a layer at most.
func newWall(layers []cabinet.Layer, area float64, most int, start quantity.Celsius) (wall, error) {
	if len(layers) == 0 {
		return wall{}, fmt.Errorf("plant: Build.Wall has no layer; give at least one, from the inside out")
	}
	if len(layers) > maxLayers {
		return wall{}, fmt.Errorf("plant: Build.Wall has %d layers; at most %d can be reckoned", len(layers), maxLayers)
	}
	var capacity, conduct []float64 // nodes and gaps from the inside out, for 1 m²
	capacity = append(capacity, 0)
	for i, layer := range layers {
		m, known := cabinet.Materials[layer.Material]
		if !known {
			return wall{}, fmt.Errorf("plant: Build.Wall layer %d: material %q is not known; use one that the cabinet file allows", i+1, layer.Material)
		}
		thick := float64(layer.Thickness)
		if !(thick > 0) || !quantity.Finite(thick) {
			return wall{}, fmt.Errorf("plant: Build.Wall layer %d (%s): thickness %v m; it must be above zero", i+1, layer.Material, thick)
		}
		first := math.Sqrt(firstCellSeconds * m.Conductivity / (m.Density * m.SpecificHeat))
		cells := 1
		for sum, next := first, first*cellGrowth; sum < thick && cells < most; cells++ {
			sum += next
			next *= cellGrowth
		}
		width := thick * (cellGrowth - 1) / (math.Pow(cellGrowth, float64(cells)) - 1)
		for range cells {
			half := width * m.Density * m.SpecificHeat / 2
			capacity[len(capacity)-1] += half
			capacity = append(capacity, half)
			conduct = append(conduct, m.Conductivity/width)
			width *= cellGrowth
		}
	}
	w := wall{area: area, lining: float64(start), capacity: capacity[0] * area}
	n := len(capacity) - 1
	w.chain.Resize(n, start)
	for i := range n {
		w.chain.SetCapacity(i, capacity[n-i]*area)
		w.chain.SetConductance(i, conduct[n-1-i]*area)
	}
	return w, nil
}
