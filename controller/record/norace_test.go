//go:build !race

package record

// everyNth of the disk's operations is tried: all of them.
const everyNth = 1
