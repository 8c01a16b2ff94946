package forecast

import "math"

const (
	// stiff holds the slopes at what is expected where members differ too little to tell
	// them: as if so much of the weight had said so.
	stiff = 0.2
	// swing is that slope for lateTrait: what a member lately was slower than the batch, it
	// is expected to be for the rest; for all others it is none.
	swing = 1.1
	// farOff is how far what a member took may be put right, as a logarithm.
	farOff = 2.5
)

// adjust puts right how long the members took by how they differ from the batch: a linear
// regression of the logarithm over the members, each with its weight, read where a member
// would not differ (Beaumont, Zhang and Balding, Genetics 162, 2002). It returns by how
// much each was put right, as a logarithm.
func adjust(took []float64, traits [][]float64, weights []float64) []float64 {
	const n = len(sigmas)
	var means, slopes [n]float64
	level := 0.0
	logs := make([]float64, len(took)) // as expected where the batch is
	for i, t := range took {
		logs[i] = math.Log(max(t, 1)) + swing*traits[i][lateTrait]
		level += weights[i] * logs[i]
		for j := range n {
			means[j] += weights[i] * traits[i][j] / sigmas[j]
		}
	}
	var a [n][n + 1]float64
	for i := range logs {
		for j := range n {
			x := traits[i][j]/sigmas[j] - means[j]
			for k := range n {
				a[j][k] += weights[i] * x * (traits[i][k]/sigmas[k] - means[k])
			}
			a[j][n] += weights[i] * x * (logs[i] - level)
		}
	}
	for j := range n {
		a[j][j] += stiff
	}
	solve(&a, &slopes)
	for i := range took {
		by := 0.0
		for j := range n {
			by -= slopes[j] * traits[i][j] / sigmas[j]
		}
		before := math.Log(max(took[i], 1))
		by = min(max(logs[i]+by-before, -farOff), farOff)
		took[i], logs[i] = math.Exp(before+by), by
	}
	return logs
}

// solve is Gauss's elimination; the matrix is symmetric and positive definite, so that no
// rows need to change places.
func solve(a *[len(sigmas)][len(sigmas) + 1]float64, x *[len(sigmas)]float64) {
	const n = len(sigmas)
	for i := range n {
		for j := i + 1; j < n; j++ {
			f := a[j][i] / a[i][i]
			for k := i; k <= n; k++ {
				a[j][k] -= f * a[i][k]
			}
		}
	}
	for i := n - 1; i >= 0; i-- {
		x[i] = a[i][n]
		for k := i + 1; k < n; k++ {
			x[i] -= a[i][k] * x[k]
		}
		x[i] /= a[i][i]
	}
}
