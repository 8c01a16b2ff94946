package campaign

import (
	"context"
	"flag"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/trip"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fault"
)

var again = flag.Int("again", 12, "how many second batches to run in a cabinet that is still warm")

// second is a batch that is stopped while it heats, and another one in the same cabinet some
// minutes later, with another load, in a cabinet whose heater is not what its file says.
type second struct {
	sim.Setup
	power   float64            // of the file's
	stops   time.Duration      // the first batch; in full heat, if there is any by then
	carries time.Duration      // with the door open
	waits   time.Duration      // until the start
	load    quantity.Kilograms // of the second
	cold    quantity.Celsius
	swapped bool // the second cabinet has cooled down: as the simulated one of the daemon has
	now     time.Duration
}

func drawSecond(stock Stock, seed uint64) second {
	r := draws{rand.New(rand.NewPCG(seed, 0x616761696e))}
	s := second{Setup: stock.Draw(seed)}
	s.Faults = nil
	b := s.Cabinet.Rehearsal
	room := 20 * float64(b.Width*b.Depth*b.Height)
	s.load = quantity.Kilograms(min(max(room*r.log(0.05, 2.5), 0.3), 60))
	s.cold = quantity.Celsius(r.between(0, 20))
	s.power = r.between(0.7, 1.3)
	s.stops = time.Duration(r.between(20, 240)) * time.Minute
	s.carries = time.Duration(r.log(10, 600)) * time.Second
	s.waits = time.Duration(r.log(20, 600)) * time.Second
	if r.IntN(4) == 0 {
		s.carries = 0
	}
	s.swapped = r.IntN(4) == 0
	return s
}

// what came of it.
type came struct {
	seed uint64
	text string
	told trip.Code
	at   time.Duration // since its start
	over quantity.Kelvin
	end  controller.BatchState
	warm quantity.Celsius // when it began
}

func (s *second) run(faults []fault.Fault) (came, error) {
	c := came{text: Describe(s.Setup)}
	box := *s.Cabinet
	box.Heater.Power = quantity.Watts(float64(box.Heater.Power) * s.power)
	setup := s.Setup
	setup.Cabinet, setup.Faults = &box, append([]fault.Fault{{Kind: fault.DoorOpen, At: 100 * time.Hour, For: time.Second}}, faults...)
	w, err := sim.NewWorld(setup)
	if err != nil {
		return c, err
	}
	m, err := controller.New(s.Product, s.Cabinet)
	if err != nil {
		return c, err
	}
	var st controller.State
	ctx := context.Background()
	start := controller.Command{Kind: controller.Start, Rested: 100 * time.Hour, Excused: true}
	w.Order(start)
	var stopped time.Duration
	err = sim.Run(ctx, m, &st, w, func(t *sim.Moment) bool {
		s.now = t.Now
		if stopped == 0 && t.Now >= s.stops && (st.Heater.Demand > fullHeat || len(faults) > 0 || t.Now > s.stops+time.Hour) {
			stopped = t.Now
			w.Order(controller.Command{Kind: controller.Stop})
		}
		return st.Tripped == trip.None && t.Now < 20*time.Hour
	})
	if err != nil || st.Tripped != trip.None {
		return c, err
	}
	idle := func(d time.Duration) {
		for end := s.now + d; s.now < end && err == nil; {
			err = sim.Run(ctx, m, &st, w, func(t *sim.Moment) bool { s.now = t.Now; return false })
		}
	}
	if s.swapped {
		setup.Seed++
		if w, err = sim.NewWorld(setup); err != nil {
			return c, err
		}
		s.carries = 0
	} else {
		w.Open(s.carries)
		idle(s.carries / 2)
		if err == nil {
			err = w.Hang(s.load, s.cold)
		}
		idle(s.carries - s.carries/2)
	}
	idle(s.waits)
	if err != nil {
		return c, err
	}
	w.Order(start)
	began := s.now
	c.warm = w.Built().Chamber()
	c.over = -1000
	err = sim.Run(ctx, m, &st, w, func(t *sim.Moment) bool {
		s.now = t.Now
		c.over = max(c.over, quantity.Kelvin(w.Built().Chamber()-s.Cabinet.Limits.ChamberHigh))
		if st.Tripped != trip.None && c.told == trip.None {
			c.told, c.at = st.Tripped, t.Now-began
		}
		return st.Tripped == trip.None && t.Now-began < 20*time.Hour
	})
	c.end = st.Batch
	return c, err
}

const fullHeat = 0.98

// wrongAgain is how far over the limit a wrong chamber probe may bring the air of a second
// batch, where nobody knows how warm the cabinet still is.
const wrongAgain quantity.Kelvin = 25

// A chamber probe that is wrong from the end of the first batch on, in the second.
func TestWrongChamberProbesInAWarmCabinet(t *testing.T) {
	long(t)
	stock, err := Shipped()
	require.NoError(t, err)
	for _, l := range wrongProbes {
		worst, told := came{over: -1000}, map[string]int{}
		for _, c := range onAllCores(t, max(*again/4, 2), func(i int) (came, error) {
			s := drawSecond(stock, *first+uint64(650_000+i))
			s.swapped, s.power = false, 1
			faults := slices.Clone(l.fault)
			for k := range faults {
				faults[k].At = s.stops
				if l.later {
					faults[k].At += time.Duration(i%60*4) * time.Minute
				}
			}
			return s.run(faults)
		}) {
			told[c.told.String()]++
			if c.over > worst.over {
				worst = c
			}
		}
		t.Logf("%-31s the air %+.0f K from the limit at worst (%s); by %v", l.name, worst.over, worst.text, told)
		assert.LessOrEqual(t, worst.over, max(l.most, wrongAgain), "%s: %s", l.name, worst.text)
	}
}

// A second batch minutes after the first, in a cabinet that is still warm or was emptied and
// aired, with more or less in it than in the first and a heater that is a third off.
func TestASecondBatchInAWarmCabinet(t *testing.T) {
	long(t)
	stock, err := Shipped()
	require.NoError(t, err)
	told := map[string]int{}
	for _, c := range onAllCores(t, *again, func(i int) (came, error) {
		s := drawSecond(stock, *first+uint64(600_000+i))
		c, err := s.run(nil)
		c.seed = *first + uint64(600_000+i)
		return c, err
	}) {
		told[c.told.String()]++
		if c.told != trip.None {
			s := drawSecond(stock, c.seed)
			t.Logf("%d %s at %s, %s at its start: %s; power %.2f, stops %s, door %s, waits %s, then %s of %s, swapped %v", c.seed, c.told, c.at, c.warm, c.text, s.power, s.stops, s.carries, s.waits, s.load, s.cold, s.swapped)
		}
	}
	t.Logf("second batches, by what tripped them: %v", told)
	assert.LessOrEqual(t, *again-told[trip.None.String()], *again/50)
}
