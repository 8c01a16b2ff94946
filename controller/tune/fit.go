package tune

import (
	"errors"
	"fmt"
	"math"
	"time"

	"fumarium/profile/quantity"
)

// A Sample is one second of the experiment: what the chamber read at its end, and whether
// the heater was on in it. Door says that the door was open, Late that the step was, and
// Cycling that the relay cycled: what comes before only brings the lags to where they are.
type Sample struct {
	Chamber    quantity.Celsius
	Known, On  bool
	Door, Late bool
	Cycling    bool
}

// Learned is how a chamber answers, as Gain·e^(-DeadTime·s)/((Lag·s+1)(SecondLag·s+1)),
// and how sure that is. Gain and Lag are sure only together, as Slope: an evening does not
// show where the chamber would come to in days.
type Learned struct {
	Gain                     quantity.Kelvin
	Lag, SecondLag, DeadTime time.Duration

	Slope           quantity.KelvinPerSecond // at full duty, once the element is hot: Gain/Lag
	SlopeLeast      quantity.KelvinPerSecond // that would fit nearly as well,
	SlopeMost       quantity.KelvinPerSecond
	DelayLeast      time.Duration // of SecondLag and DeadTime together
	DelayMost       time.Duration
	RMS             quantity.Kelvin          // of what the fit leaves
	Noise           quantity.Kelvin          // from second to second
	Drift           quantity.KelvinPerSecond // by what the two lags do not know: walls
	Duration        time.Duration
	Rested, Settled quantity.Celsius // what it read at rest, and on the mean at the end
}

// What a record has to be. Own magnitudes, no source.
const (
	every         = 5    // seconds between the samples that count in the sums
	before        = 0.03 // weight of a sample before the relay cycles: walls and racks, which two lags do not know, take part in it
	leastSeconds  = 900  // of record
	mostMissing   = 0.02
	mostRMS       = 1.0 // K
	leastOverRMS  = 20  // the rise over what the fit leaves
	nearlyAsGood  = 6.0 // times the least sum of squares: the grid is coarse, and with less the truth lies outside
	leastRise     = 10.0
	restMoves     = 0.3 // K within one and a half minutes: it is not at rest
	restedSamples = 120
)

// The grid of lags, in seconds. The sum of squares is flat in the longest.
var (
	lags       = []float64{180, 270, 400, 600, 900, 1350, 2000, 3000, 4500, 7000}
	secondLags = []float64{4, 7, 10, 14, 20, 28, 40, 55, 75, 100, 140, 200, 280, 400}
	deadTimes  = []int{0, 3, 6, 10, 15, 22, 30, 45, 60, 90}
)

// Fit makes constants of the record of an experiment that is done. For every lag of a grid
// gain, bias and a linear drift follow by linear least squares. It refuses a record that
// does not support them, and says why.
func Fit(s State, record []Sample) (Learned, error) {
	if err := supports(s, record); err != nil {
		return Learned{}, err
	}
	fill(record)
	l := Learned{Duration: time.Duration(len(record)) * time.Second, Noise: noise(record)}
	for _, r := range record[:restedSamples] {
		l.Rested += r.Chamber / restedSamples
	}
	for _, r := range record[len(record)-restedSamples:] {
		l.Settled += r.Chamber / restedSamples
	}
	warm := moves(record)
	type candidate struct {
		squares, slope, delay float64
	}
	var all []candidate
	best, count := math.Inf(1), 0.0
	for _, lag := range lags {
		for _, second := range secondLags {
			for _, dead := range deadTimes {
				sums := normal{warm: warm}
				response(record, lag, second, dead, &sums)
				gain, drift, squares, ok := sums.solve()
				if !ok || gain <= 0 {
					continue
				}
				all = append(all, candidate{squares, gain / lag, second + float64(dead)})
				if squares < best {
					best, count = squares, sums.n
					l.Gain, l.Lag, l.SecondLag, l.DeadTime = quantity.Kelvin(gain), seconds(lag), seconds(second), seconds(float64(dead))
					l.Drift = quantity.KelvinPerSecond(drift)
				}
			}
		}
	}
	if count == 0 {
		return l, errors.New("no gain above zero fits; was the heater connected")
	}
	l.RMS = quantity.Kelvin(math.Sqrt(best / count))
	l.Slope = quantity.KelvinPerSecond(float64(l.Gain) / l.Lag.Seconds())
	l.SlopeLeast, l.SlopeMost, l.DelayLeast, l.DelayMost = l.Slope, l.Slope, l.SecondLag+l.DeadTime, l.SecondLag+l.DeadTime
	for _, c := range all {
		if c.squares > nearlyAsGood*best {
			continue
		}
		l.SlopeLeast, l.SlopeMost = min(l.SlopeLeast, quantity.KelvinPerSecond(c.slope)), max(l.SlopeMost, quantity.KelvinPerSecond(c.slope))
		l.DelayLeast, l.DelayMost = min(l.DelayLeast, seconds(c.delay)), max(l.DelayMost, seconds(c.delay))
	}
	rise := float64(l.Settled - l.Rested)
	switch {
	case l.RMS > mostRMS || rise < leastOverRMS*float64(l.RMS):
		return l, fmt.Errorf("two lags leave %.2f K rms of a rise of %.0f K: something else moved the chamber; repeat it with the door shut and nothing changed", float64(l.RMS), rise)
	case l.SecondLag >= seconds(secondLags[len(secondLags)-1]):
		return l, fmt.Errorf("the second lag is %v or more: the probe hangs too far from the air, or is too slow", l.SecondLag)
	}
	return l, nil
}

// supports says why a record cannot be fitted.
func supports(s State, record []Sample) error {
	missing, doors, late := 0, 0, 0
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range record {
		if !r.Known {
			missing++
		} else {
			low, high = min(low, float64(r.Chamber)), max(high, float64(r.Chamber))
		}
		if r.Door {
			doors++
		}
		if r.Late {
			late++
		}
	}
	n := len(record)
	switch {
	case s.Phase == Failed && s.Cycles == 0:
		return errors.New("full power did not reach the target: aim lower, or look at the element")
	case s.Phase != Done || s.Cycles < Cycles:
		return fmt.Errorf("the relay cycled %d times and %d are wanted: let the experiment end by itself", s.Cycles, Cycles)
	case n < leastSeconds:
		return fmt.Errorf("%d s of record are too short, %d are wanted", n, leastSeconds)
	case doors > 0:
		return fmt.Errorf("the door was open for %d s: repeat it with the door shut", doors)
	case float64(late) > mostMissing*float64(n):
		return fmt.Errorf("%d of %d steps were late: relieve the computer and repeat it", late, n)
	case float64(missing) > mostMissing*float64(n) || !record[0].Known:
		return fmt.Errorf("%d of %d readings are missing: mend the chamber probe and repeat it", missing, n)
	case high-low < leastRise:
		return fmt.Errorf("the chamber rose by %.0f K only, %.0f are wanted", high-low, leastRise)
	}
	return nil
}

// fill puts the last reading where one is missing.
func fill(record []Sample) {
	for i := 1; i < len(record); i++ {
		if !record[i].Known {
			record[i].Chamber = record[i-1].Chamber
		}
	}
}

// moves reports a chamber that cooled, or warmed, before anything heated it.
func moves(record []Sample) (moved bool) {
	mean := func(r []Sample) (sum quantity.Celsius) {
		for i := range r {
			sum += r[i].Chamber / quantity.Celsius(len(r))
		}
		return sum
	}
	fell := mean(record[:restedSamples/4]) - mean(record[restedSamples*3/4:restedSamples])
	return max(fell, -fell) > restMoves
}

// noise is the standard deviation of a reading, by how much neighbours differ at rest.
func noise(record []Sample) quantity.Kelvin {
	sum := 0.0
	for i := 1; i < restedSamples; i++ {
		d := float64(record[i].Chamber - record[i-1].Chamber)
		sum += float64(d * d)
	}
	return quantity.Kelvin(math.Sqrt(sum / (2 * (restedSamples - 1))))
}

// normal are the sums for weighted least squares of y against the unit response, the time
// and, of a chamber that was not at rest, how it would have gone on by itself; the mean is
// taken off each.
type normal struct {
	warm bool // there is the third
	n    float64
	sum  [4]float64    // the three and y
	of   [4][4]float64 // products; the upper half
}

// response adds the unit response of two lags and a dead time to what the heater did.
func response(record []Sample, lag, second float64, dead int, n *normal) {
	fast, slow := math.Exp(-1/second), math.Exp(-1/lag)
	element, air, rest := 0.0, 0.0, 1.0
	base := float64(record[0].Chamber)
	for i := range record {
		on := 0.0
		if i >= dead && record[i-dead].On {
			on = 1
		}
		element = on + float64((element-on)*fast)
		air = element + float64((air-element)*slow)
		rest *= slow
		if i%every != 0 {
			continue
		}
		w := before
		if record[i].Cycling {
			w = 1
		}
		v := [4]float64{air, float64(i) / 3600, rest, float64(record[i].Chamber) - base}
		n.n += w
		for a := range v {
			n.sum[a] += float64(w * v[a])
			for b := a; b < len(v); b++ {
				n.of[a][b] += float64(w * v[a] * v[b])
			}
		}
	}
}

// solve gives gain, drift per second and the sum of squares that is left.
func (n *normal) solve() (gain, drift, squares float64, ok bool) {
	at := func(a, b int) float64 { return n.of[min(a, b)][max(a, b)] - float64(n.sum[a]*n.sum[b]/n.n) }
	size := 2
	if n.warm {
		size = 3
	}
	var m [3][4]float64 // rows of the normal equations, y last
	for a := range size {
		for b := range size {
			m[a][b] = at(a, b)
		}
		m[a][3] = at(a, 3)
	}
	for a := range size { // symmetric and positive: no pivoting, and what is left of each says how much of it the others do not tell
		if !(m[a][a] > 1e-9*at(a, a)) {
			return 0, 0, 0, false
		}
		for b := a + 1; b < size; b++ {
			f := m[b][a] / m[a][a]
			for k := range m[b] {
				m[b][k] -= float64(f * m[a][k])
			}
		}
	}
	var x [3]float64
	for a := size - 1; a >= 0; a-- {
		x[a] = m[a][3]
		for b := a + 1; b < size; b++ {
			x[a] -= float64(m[a][b] * x[b])
		}
		x[a] /= m[a][a]
	}
	squares = at(3, 3)
	for a := range size {
		squares -= float64(x[a] * at(a, 3))
	}
	return x[0], x[1] / 3600, max(0, squares), true
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
