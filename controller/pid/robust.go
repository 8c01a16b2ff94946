package pid

import (
	"errors"
	"math"
	"time"
)

// What Sensitivity looks at, and how finely Robust chooses. A coarse look misses some thousandths
// of Ms, and takes a machine that is made anew a tenth of a millisecond less.
const (
	lowest, highest = 0.02, 4.0              // times the inverse of what delays and no law takes away
	fine, coarse    = 300, 50                // frequencies
	closedLoopStep  = 500 * time.Millisecond // so that the last bit of an exponential chooses nothing
	slowestLoop     = 10                     // times what delays, beyond the fastest
)

// Sensitivity is Ms of the loop that a tuning makes with a model: the largest of
// |1/(1+L)| over the frequencies, L being law, measurement filter and model. The inverse is
// how near L comes to -1. It says nothing of a loop that is unstable.
func Sensitivity(t Tuning, m Model) float64 { return sensitivity(&t, &m, fine) }

func sensitivity(t *Tuning, m *Model, frequencies int) float64 {
	dead, lag, second := seconds(m.DeadTime), seconds(m.Lag), seconds(m.SecondLag)
	tf, td, ti := seconds(t.Filter), seconds(t.Derivative), seconds(t.Integral)
	scale := dead + tf
	if scale <= 0 {
		scale = lag / 10
	}
	gain, most := t.Gain*m.GainKelvin, 0.0
	w, next := lowest/scale, math.Pow(highest/lowest, 1/float64(frequencies-1))
	for range frequencies {
		sin, cos := math.Sincos(w * dead)
		law := complex(gain, gain*w*td)
		if ti > 0 {
			law -= complex(0, gain/(w*ti))
		}
		below := complex(1, w*lag) * complex(1, w*second) * complex(1-w*w*tf*tf/2, w*tf)
		difference := 1 + law*complex(cos, -sin)/below
		most = max(most, 1/math.Hypot(real(difference), imag(difference)))
		w *= next
	}
	return most
}

// Robust is the fastest SIMC tuning, behind a measurement filter of at least that, whose
// Sensitivity with the model is at most so large. It is never faster than SIMC's tight one for
// a dead time that is longer by the filter, so that all that it looks at are stable.
func Robust(m Model, filter time.Duration, most float64) (Tuning, error) {
	at := func(n int) (Tuning, bool, error) {
		t, err := SIMC(m, m.DeadTime+2*filter+time.Duration(n)*closedLoopStep)
		t.Filter = max(t.Filter, filter)
		return t, err == nil && sensitivity(&t, &m, coarse) <= most, err
	}
	if t, robust, err := at(0); robust || err != nil {
		return t, err
	}
	low, high := 0, int(slowestLoop*(m.DeadTime+filter+time.Second)/closedLoopStep) // low is too fast
	for high-low > 1 {
		middle := (low + high) / 2
		if _, robust, _ := at(middle); robust {
			high = middle
		} else {
			low = middle
		}
	}
	t, robust, err := at(high)
	if err == nil && !robust {
		err = errors.New("pid: no closed loop is robust enough with this model and filter; check the lags and the dead time")
	}
	return t, err
}
