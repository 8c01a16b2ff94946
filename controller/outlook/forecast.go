package outlook

import "time"

// A Forecast is when the stages that are left will end, by how well rehearsals explain the
// batch so far. Who made it is not this package's matter.
type Forecast struct {
	Batch   string
	Made    time.Time // on the cabinet's clock
	Stage   int       // under way when it was made
	Ends    []Range   // of that stage and of each after it
	Missing string    // why nothing can be said yet
}

// A Range is a time with its spread: one in ten is sooner, one in ten later.
type Range struct {
	Earliest time.Time `json:"earliest"`
	Middle   time.Time `json:"middle"`
	Latest   time.Time `json:"latest"`
}

// What the times of a plan come from.
const (
	FromRehearsals = "rehearsals" // made before, and moved along
	FromForecast   = "forecast"   // those weighted by the batch so far
)

// oldest is how old a forecast may be: it comes every minute, and one that stopped coming
// says nothing any more.
const oldest = 5 * time.Minute

// Foretell takes the times of what is left from a forecast, if there is one of this stage
// that is not too old; else it says why not. A plan without a finish gets none.
func (p *Plan) Foretell(f *Forecast, stage int) {
	p.From = FromRehearsals
	missing := ""
	switch {
	case p.Finish == nil:
		p.From = ""
		return
	case f == nil:
		missing = "none was made yet"
	case f.Missing != "":
		missing = f.Missing
	case f.Stage != stage || len(f.Ends) != len(p.Stages)-stage:
		missing = "the stage has just begun"
	case p.Made.Sub(f.Made) > oldest:
		missing = "the last is too old"
	}
	if missing != "" {
		p.ForecastMissing = &missing
		return
	}
	p.From = FromForecast
	moved := make(map[string]time.Duration) // by how much each stage begins elsewhere
	for i, r := range f.Ends {
		for _, t := range []*time.Time{&r.Earliest, &r.Middle, &r.Latest} {
			*t = latest(t.Truncate(time.Second), p.Made) // what is left is not past
		}
		s := &p.Stages[stage+i]
		s.End, s.EndEarliest, s.EndLatest = &r.Middle, &r.Earliest, &r.Latest
		if next := stage + i + 1; next < len(p.Stages) {
			if was := p.Stages[next].Start; was != nil {
				moved[p.Stages[next].Name] = r.Middle.Sub(*was)
			}
			p.Stages[next].Start = &r.Middle
		}
	}
	for i := range p.Hands {
		h := &p.Hands[i]
		by := moved[h.Stage]
		h.At, h.Earliest, h.Latest = h.At.Add(by), h.Earliest.Add(by), h.Latest.Add(by)
	}
	last := &p.Stages[len(p.Stages)-1]
	p.Finish, p.Earliest, p.Latest = last.End, last.EndEarliest, last.EndLatest
}

// A Finish is a forecast of a batch's end, as it is told elsewhere: with the moment at which it
// was made, so that nobody needs the cabinet's clock to be right.
type Finish struct {
	Batch string    `json:"batch"`
	Made  time.Time `json:"made"`
	Range
}

// Finish is the end that the forecast of a running batch has, or nil where it says none or
// stopped coming.
func (f *Forecast) Finish(now time.Time) *Finish {
	if f == nil || f.Missing != "" || len(f.Ends) == 0 || now.Sub(f.Made) > oldest {
		return nil
	}
	return &Finish{f.Batch, f.Made, f.Ends[len(f.Ends)-1]}
}

func latest(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
