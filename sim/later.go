package sim

import (
	"time"

	"fumarium/profile/quantity"
)

// Later is what is otherwise from a moment on, whatever the stages ask for: a damper that
// somebody has set by hand, and the room.
type Later struct {
	At        time.Duration // since the start of the batch
	HasDamper bool
	Damper    quantity.Ratio
	Room      quantity.Kelvin // warmer by so much
}
