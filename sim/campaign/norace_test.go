//go:build !race

package campaign

const batchesByDefault = 60

// matrixByDefault is how many cells of the matrix are run.
const matrixByDefault = 100

// liesByDefault is how many batches each wrong probe gets.
const liesByDefault = 20
