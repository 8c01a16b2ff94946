package sheet

import (
	"fmt"
	"math"
	"time"

	"fumarium/profile"
	"fumarium/profile/diffusion"
)

// middle says when a cure that comes in from outside has come to the middle.
func (s Sheet) middle(w *wall, rest time.Duration) {
	in, ok := s.product.CuredFromOutside()
	if !ok {
		return
	}
	w.line("")
	start := ""
	if in.Start > 0 {
		start = fmt.Sprintf("%.0f %% of the salt is pumped in; ", 100*in.Start)
	}
	w.par("   ", fmt.Sprintf("The middle of the piece, %.0f mm from outside: %ssalt has come to it (90 %% of what it will hold) on day %d, after %s. When the rest is over it holds %.0f %%. By diffusion, D %s m²/s (%s). Skin, fat and bone hold it up, and no figure for them is known.",
		float64(in.Half)*1000, start, day(in.Needed), long(in.Needed.Round(time.Hour)), 100*in.Middle(diffusion.Salt, rest), coefficient(diffusion.Salt), diffusion.Salt.Source))
	in.Start = 0 // of salt; nitrite and nitrate may be rubbed on alone
	if takes := in.Takes(diffusion.Nitrite); takes > rest && !s.product.Formula.PumpedNitrite() {
		w.par("   ", fmt.Sprintf("NOT SHOWN: nitrite in the middle. By the published coefficient it has come there on day %d only (D %s m²/s at 2 °C, %s). Only what is pumped in is shown to be there.",
			day(takes), coefficient(diffusion.Nitrite), diffusion.Nitrite.Source))
	}
	if s.product.Formula.Curing().NitrateSalts() > 0 {
		w.par("   ", fmt.Sprintf("Nitrate in the middle: day %d if it goes across the fibre, day %d along it (%s; the other likewise).", day(in.Takes(diffusion.NitrateAcross)), day(in.Takes(diffusion.NitrateAlong)),
			diffusion.NitrateAcross.Source))
	}
}

// day is the day of a time, the first one day 1.
func day(d time.Duration) int { return int(math.Ceil(d.Hours() / 24)) }

// coefficient writes the coefficient at the rest's temperature.
func coefficient(c diffusion.Coefficient) string {
	return fmt.Sprintf("%.3g", c.D(profile.RestsAt))
}
