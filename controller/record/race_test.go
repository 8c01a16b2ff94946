//go:build race

package record

// everyNth thins the storage tests: the race detector slows SQLite down more than
// tenfold, and no race hides at one operation of the disk alone.
const everyNth = 19
