//go:build !race

package campaign

const batchesByDefault = 60

// liesByDefault is how many batches each wrong probe gets.
const liesByDefault = 20
