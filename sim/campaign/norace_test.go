//go:build !race

package campaign

const batchesByDefault = 60
