package lethality

import (
	"errors"
	"fmt"
	"math"
	"time"

	"fumarium/profile/quantity"
)

// LowHeat is the temperature below which a claimed kill is doubtful: at 54.4 °C
// the reduction that the red-meat table promises was not observed (McMinn et al.,
// Meat and Muscle Biology, D-values for Salmonella, L. monocytogenes and E. coli,
// abstract), at 60 °C it was about right.
const LowHeat quantity.Celsius = 57

// What food can be. A temperature outside is a fault of the reading and counts
// as not seen. Common practice, no source.
const (
	coldest quantity.Celsius = -100
	hottest quantity.Celsius = 200
)

// maxRows is the length of the longest table.
const maxRows = 30

// rounding is the part of a requirement that may be lost in adding up floats.
const rounding = 1e-9

// A Criterion says when a product counts as cooked. It is a table of holding times of
// which one row must be met, or an integral of the kill rate. With a table the integral,
// if there is one, is only told: to go by it is for a process authority. Criteria are
// comparable and are never written to; those of this package come as pointers, so that
// one can be kept at no cost.
//
// A row's time is all the time at or above its temperature, because the dead stay dead
// and FSIS lets a missed endpoint be judged by "the time spent at or above" another row
// (Cooking Guideline, 2021). The one exception is hot-smoked fish, whose rule says
// "continuous". Below its lowest row a table gives no credit, and an integral with a
// Floor none below that: the rows are minimum temperatures, from 50 to 130 °F bacteria
// grow, and at 54.4 °C the promised kill was not seen (McMinn, at LowHeat). Cumulative
// counting knows nothing of growth: that is what the come-up is for.
type Criterion struct {
	Name   string
	Source string
	// Required is the log10 reduction that must be reached; 0 where the source
	// states a time and no reduction.
	Required float64
	// Kinetics count only when Integrates is set.
	Kinetics   Kinetics
	Integrates bool
	// Floor is the temperature below which the integral counts nothing.
	Floor quantity.Celsius
	// Continuous criteria take the longest unbroken stay for a row's time.
	Continuous bool
	// ProbeError lowers every temperature before it counts, which is the same as
	// adding it to every limit (FSIS Cooking Guideline, 2021).
	ProbeError quantity.Kelvin

	rows  [maxRows]Row // rising temperature
	count int
}

// A Count is what a criterion has counted so far. The zero Count has seen nothing.
// It holds no pointer and no NaN and compares with ==. It belongs to the criterion
// that made it.
type Count struct {
	equivalent float64                `record:"equivalent_seconds"` // seconds at the reference temperature
	low        float64                `record:"low_seconds"`        // those of them gathered below LowHeat
	below      float64                `record:"below_seconds"`      // and below the floor
	at         [maxRows]time.Duration `record:"row_time"`
	run        time.Duration          `record:"run"`          // the unbroken stay under way
	reached    uint32                 `record:"reached_mask"` // rows that were touched, one bit each; records hold it, and nothing goes by it
}

// Rows are the rows of the criterion's table, lowest temperature first.
func (c *Criterion) Rows() []Row { return append([]Row(nil), c.rows[:c.count]...) }

// Allowing is the criterion for a probe that may read so much too high.
func (c *Criterion) Allowing(probeError quantity.Kelvin) Criterion {
	d := *c
	d.ProbeError = probeError
	return d
}

// Add counts a straight line from temperature from to temperature to that lasts
// dt and was seen at both ends. Splitting a line changes nothing. A reading that
// food cannot have counts as not seen.
func (c *Criterion) Add(s Count, from, to quantity.Celsius, dt time.Duration) Count {
	// Written so that NaN fails it.
	if !(from >= coldest && from <= hottest && to >= coldest && to <= hottest) || dt < 0 {
		return c.Gap(s)
	}
	from -= quantity.Celsius(c.ProbeError)
	to -= quantity.Celsius(c.ProbeError)
	if c.Integrates {
		s.equivalent += c.Kinetics.Segment(from, to, dt)
		s.low += c.killedBelow(LowHeat, from, to, dt)
		s.below += c.killedBelow(c.Floor, from, to, dt)
	}
	if c.Continuous {
		return c.hold(s, from, to, dt)
	}
	for i := 0; i < c.count; i++ {
		row := c.rows[i].At
		if from < row && to < row {
			break
		}
		s.reached |= 1 << i
		if from >= row && to >= row { // the usual case, spared the call
			s.at[i] += dt
			continue
		}
		s.at[i] += above(from, to, row, dt)
	}
	return s
}

// killedBelow is the part of a line's kill that was gathered below a temperature.
func (c *Criterion) killedBelow(limit, from, to quantity.Celsius, dt time.Duration) float64 {
	switch {
	case from >= limit && to >= limit:
		return 0
	case from < limit && to < limit:
		return c.Kinetics.Segment(from, to, dt)
	case from < to:
		return c.Kinetics.Segment(from, limit, dt-above(from, to, limit, dt))
	}
	return c.Kinetics.Segment(limit, to, dt-above(from, to, limit, dt))
}

// counted is the heat at or above the floor.
func (s *Count) counted() float64 { return max(0, s.equivalent-s.below) }

// hold counts unbroken stays at or above the only row.
func (c *Criterion) hold(s Count, from, to quantity.Celsius, dt time.Duration) Count {
	row := c.rows[0].At
	if from < row {
		s.run = 0
	}
	s.run += above(from, to, row, dt)
	s.at[0] = max(s.at[0], s.run)
	if to < row {
		s.run = 0
	}
	return s
}

// Gap says that the product was not seen for a while. Heat that nobody saw does
// not count, and it breaks a stay that must be continuous.
func (c *Criterion) Gap(s Count) Count {
	s.run = 0
	return s
}

// Held is how long the core was at or above a row's temperature, in all or, where the rule
// asks for one stay, in the longest.
func (c *Criterion) Held(s Count, row int) time.Duration { return s.at[row] }

// above is how much of dt a straight line spends at or above a temperature. The
// crossing is rounded to the microsecond, so that a crossing on a whole second
// comes out as one.
func above(from, to, at quantity.Celsius, dt time.Duration) time.Duration {
	switch {
	case from >= at && to >= at:
		return dt
	case from < at && to < at:
		return 0
	}
	high := max(from, to)
	part := float64(high-at) / math.Abs(float64(to-from))
	return time.Duration(part * float64(dt)).Round(time.Microsecond)
}

// Equivalent is F, the counted heat as time at the reference temperature.
func (c *Criterion) Equivalent(s Count) time.Duration {
	return time.Duration(min(s.counted(), 1e9) * float64(time.Second))
}

// LowShare is the part of the integrated kill, 0 to 1, that was gathered below
// LowHeat. When it is most of it, the claim stands on weak ground.
func (c *Criterion) LowShare(s Count) float64 {
	all := s.counted()
	if all <= 0 {
		return 0
	}
	return min(1, max(0, s.low-s.below)/all)
}

// Best is the row of the table that is nearest to being met and the time that
// counts for it. It is false for a criterion without a table.
func (c *Criterion) Best(s Count) (Row, time.Duration, bool) {
	best, most := 0, -1.0
	for i := 0; i < c.count; i++ {
		if f := c.rowFraction(s, i); f > most {
			best, most = i, f
		}
	}
	return c.rows[best], s.at[best], c.count > 0
}

func (c *Criterion) rowFraction(s Count, i int) float64 {
	return float64(s.at[i]) / float64(c.rows[i].Hold)
}

// Fraction is how much of the requirement is met: 1 is all of it.
func (c *Criterion) Fraction(s Count) float64 {
	if c.count == 0 {
		return c.Integral(s) / c.Required
	}
	most := 0.0
	for i := 0; i < c.count; i++ {
		most = max(most, c.rowFraction(s, i))
	}
	return most
}

// Integral is the reduction by the integral alone, 0 where there is none.
func (c *Criterion) Integral(s Count) float64 {
	if !c.Integrates {
		return 0
	}
	return c.Kinetics.Log10(s.counted())
}

// Log10 is the reduction that may be claimed, 0 for a criterion whose source names
// none. The requirement is met when it reaches Required.
//
// For a table it is Required times the best fraction of any one row's time. That
// claims too little rather than too much: the kill rate at or above a row's
// temperature is at least the row's, so that part of its time is worth at least
// that part of its reduction, and heat below the row counts nothing.
func (c *Criterion) Log10(s Count) float64 { return c.Required * c.Fraction(s) }

// HoldAt is how long a core of this temperature has to stay there: by the highest row that
// it reaches, and without end below the lowest.
func (c *Criterion) HoldAt(core quantity.Celsius) time.Duration {
	hold := time.Duration(math.MaxInt64)
	for i := 0; i < c.count && c.rows[i].At <= core; i++ {
		hold = c.rows[i].Hold
	}
	return hold
}

// Met reports whether the product counts as cooked.
func (c *Criterion) Met(s Count) bool { return c.Fraction(s) >= 1-rounding }

// MetAt reports whether a row of at least such a temperature was met.
func (c *Criterion) MetAt(s Count, least quantity.Celsius) bool {
	for i := 0; i < c.count; i++ {
		if c.rows[i].At >= least && c.rowFraction(s, i) >= 1-rounding {
			return true
		}
	}
	return false
}

// NewCriterion counts with kinetics of one's own.
func NewCriterion(name string, k Kinetics, required float64) (*Criterion, error) {
	var faults []error
	refuse := func(what string, v, low, high float64, unit string) {
		if !(v >= low && v <= high) {
			faults = append(faults, fmt.Errorf("lethality: %s %g %s is outside %g to %g %s; take the constants of one organism in one food from one source",
				what, v, unit, low, high, unit))
		}
	}
	refuse("reference temperature", float64(k.Reference), 40, 150, "°C")
	refuse("z", float64(k.Z), 1, 50, "K")
	refuse("D", k.D.Seconds(), 1e-3, 86400, "s")
	refuse("required reduction", required, 0.1, MostShown, "log10")
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return &Criterion{Name: name, Source: "stated by the user", Required: required, Kinetics: k, Integrates: true}, nil
}
