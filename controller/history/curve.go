package history

import (
	"cmp"
	"math"
	"slices"
	"time"

	"fumarium/controller"
)

const (
	// finest is the length of a bucket of the curve to begin with: longer than the
	// window in which a relay is switched, so that its share of the time says something.
	finest = time.Minute
	// mostBuckets is how many there may be: at twelve hours they become two minutes
	// long, at a day four.
	mostBuckets = 720
	// MostSamples is how many samples a curve has at most, however long the batch.
	MostSamples = 3*mostBuckets + 1
)

// A Sample is the batch at one moment, in °C. What was not read or did not exist is
// NaN, so that a drawn line breaks there.
type Sample struct {
	Elapsed                 time.Duration // since the batch was started
	Chamber, Setpoint, Core float64       // Core is the coldest
}

func sampleOf(s *controller.State, elapsed time.Duration) Sample {
	p := Sample{Elapsed: elapsed, Chamber: math.NaN(), Setpoint: math.NaN(), Core: math.NaN()}
	if v, ok := s.Chamber.Reading.Value(); ok {
		p.Chamber = float64(v)
	}
	if v, ok := s.Core.Coldest.Value(); ok {
		p.Core = float64(v)
	}
	if s.Heater.HasSetpoint {
		p.Setpoint = float64(s.Heater.Setpoint)
	}
	return p
}

// A Duty is the share of a stretch of time that the heater was on.
type Duty struct {
	From, To time.Duration
	Ratio    float64 // NaN where nobody saw it
}

// A bucket is what is kept of a stretch of the curve.
type bucket struct {
	number    int64  // its place in the curve
	low, high Sample // the coldest and the hottest chamber; a chamber of NaN is none
	odd       Sample // the first at which something was missing
	missing   missing
	on, seen  time.Duration
}

// missing is how much a sample lacks.
type missing uint8

const (
	nothing missing = iota
	coreMissing
	chamberMissing
	allMissing // nobody looked
)

// A curve keeps of each bucket the lowest and the highest chamber, and where something
// was not read. When it gets too long, two buckets become one.
type curve struct {
	span time.Duration
	past []bucket // shared with earlier copies: appended to, never changed
	now  bucket
	ends time.Duration // of the bucket that is open
	last Sample
	open bool // now holds something
}

// at makes the bucket of that time the open one.
func (c *curve) at(elapsed time.Duration) *bucket {
	if c.open && elapsed < c.ends {
		return &c.now
	}
	if c.span == 0 {
		c.span = finest
	}
	number := int64(elapsed / c.span)
	if c.open {
		c.past = append(c.past, c.now)
		for len(c.past) >= mostBuckets {
			c.halve()
			number = int64(elapsed / c.span)
		}
	}
	c.ends = time.Duration(number+1) * c.span
	none := Sample{Chamber: math.NaN()}
	c.open, c.now = true, bucket{number: number, low: none, high: none}
	if n := len(c.past); n > 0 && c.past[n-1].number == number { // halved into this one
		c.now = c.past[n-1]
		c.past = c.past[:n-1]
	}
	return &c.now
}

func (c *curve) add(s Sample) {
	b := c.at(s.Elapsed)
	c.last = s
	lacks := nothing
	if math.IsNaN(s.Core) {
		lacks = coreMissing
	}
	if math.IsNaN(s.Chamber) {
		lacks = chamberMissing
	}
	b.keep(s, lacks)
}

func (b *bucket) keep(s Sample, lacks missing) {
	if lacks > b.missing {
		b.odd, b.missing = s, lacks
	}
	if math.IsNaN(s.Chamber) {
		return
	}
	if !(s.Chamber >= b.low.Chamber) {
		b.low = s
	}
	if !(s.Chamber <= b.high.Chamber) {
		b.high = s
	}
}

// pass counts time that was seen, and how much of it the heater was on.
func (c *curve) pass(seen, on time.Duration) {
	if c.open {
		c.now.seen += seen
		c.now.on += on
	}
}

// tear breaks the lines after elapsed: nobody looked for a while.
func (c *curve) tear(elapsed time.Duration) {
	if !c.open {
		return
	}
	nan := math.NaN()
	c.last = Sample{elapsed, nan, nan, nan}
	c.now.keep(c.last, allMissing)
}

// halve joins each two buckets to one of twice the length.
func (c *curve) halve() {
	c.span *= 2
	var joined []bucket
	for _, b := range c.past {
		b.number /= 2
		n := len(joined)
		if n == 0 || joined[n-1].number != b.number {
			joined = append(joined, b)
			continue
		}
		to := &joined[n-1]
		for _, s := range [...]Sample{b.low, b.high} {
			to.keep(s, nothing)
		}
		if b.missing > nothing {
			to.keep(b.odd, b.missing)
		}
		to.on += b.on
		to.seen += b.seen
	}
	c.past = joined
}

// Samples is the curve: of each stretch the coldest and the hottest chamber, and where
// something was not read; at most MostSamples.
func (h *History) Samples() []Sample {
	c := &h.curve
	samples := make([]Sample, 0, 3*len(c.past)+4)
	put := func(b *bucket) {
		three := [...]Sample{b.low, b.high, b.odd}
		kept := three[:0]
		if !math.IsNaN(b.low.Chamber) {
			kept = three[:2]
		}
		if b.missing > nothing {
			kept = append(kept, b.odd)
		}
		slices.SortStableFunc(kept, func(a, b Sample) int { return cmp.Compare(a.Elapsed, b.Elapsed) })
		for i, s := range kept {
			if i == 0 || s.Elapsed != kept[i-1].Elapsed || s.Chamber != kept[i-1].Chamber { // one moment may be all three
				samples = append(samples, s)
			}
		}
	}
	for i := range c.past {
		put(&c.past[i])
	}
	if c.open {
		put(&c.now)
		if n := len(samples); n == 0 || samples[n-1].Elapsed < c.last.Elapsed {
			samples = append(samples, c.last)
		}
	}
	return samples
}

// Duties is the heater's share of each stretch of the curve.
func (h *History) Duties() []Duty {
	c := &h.curve
	duties := make([]Duty, 0, len(c.past)+1)
	put := func(b *bucket) {
		from := time.Duration(b.number) * c.span
		d := Duty{From: from, To: from + c.span, Ratio: math.NaN()}
		if b.seen > 0 {
			d.Ratio = min(1, b.on.Seconds()/b.seen.Seconds())
		}
		duties = append(duties, d)
	}
	for i := range c.past {
		put(&c.past[i])
	}
	if c.open && c.now.seen > 0 {
		put(&c.now)
		last := &duties[len(duties)-1]
		last.To = min(last.To, max(last.From, h.since(h.elapsed)))
	}
	return duties
}
