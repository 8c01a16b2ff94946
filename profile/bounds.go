package profile

import (
	"time"

	"fumarium/profile/fish"
	"fumarium/profile/quantity"
)

// ChamberBounds is how warm a stage of the product may be: what its file may ask for, for
// one who asks for another temperature while it runs.
func (p *Product) ChamberBounds() (low, high quantity.Celsius) {
	if p.Process == ColdSmoked {
		return chamberRange.Low, fish.ColdSmoked.Chamber
	}
	return chamberRange.Low, chamberRange.High
}

// CoreBounds is what a stage may wait for in the core.
func CoreBounds() (low, high quantity.Celsius) { return coreRange.Low, coreRange.High }

// LongestStage is how long a stage may last at the most.
func LongestStage() time.Duration { return stageRange.High }
