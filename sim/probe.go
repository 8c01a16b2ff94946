package sim

import (
	"time"

	"fumarium/profile/quantity"
)

// at is what a probe in a spot touches: a core probe may not have come to the middle.
func (w *World) at(spot Spot) quantity.Celsius {
	if spot == InCore && w.setup.OffCentre > 0 {
		if ours := w.Built(); ours != nil {
			return ours.Within(w.setup.OffCentre)
		}
	}
	return w.plant.At(spot)
}

// feels lets probes follow the truth by a Step or a Stride.
func feels(probes []probe, t quantity.Celsius, dt time.Duration) {
	for i := range probes {
		pr := &probes[i]
		if !pr.warm {
			pr.value, pr.warm = float64(t), true
			continue
		}
		keep := pr.keep
		if dt == Stride {
			keep = pr.keepLong
		}
		pr.value = float64(t) + (pr.value-float64(t))*keep
	}
}

// feels lets probes follow what there is in a place, and those that are misplaced another.
func (w *World) feels(probes []probe, misplaced uint8, place, elsewhere Spot, dt time.Duration) {
	if misplaced == 0 {
		feels(probes, w.at(place), dt)
		return
	}
	for i := range probes {
		touches := place
		if misplaced&(1<<i) != 0 {
			touches = elsewhere
		}
		feels(probes[i:i+1], w.at(touches), dt)
	}
}
