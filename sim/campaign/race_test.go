//go:build race

package campaign

// batchesByDefault is small under the race detector, which makes each ten times as
// long.
const batchesByDefault = 12

// matrixByDefault is how many cells of the matrix are run.
const matrixByDefault = 6

// liesByDefault is how many batches each wrong probe gets.
const liesByDefault = 2
