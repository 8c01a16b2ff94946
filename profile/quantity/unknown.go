package quantity

// How it is said that something is not known: in these words wherever people read, and
// as null in JSON. It is never said with a number.
const (
	// NotRead is a value that a probe should give and does not, or not any more.
	NotRead = "not read"
	// Unknown is something whose kind has no name here.
	Unknown = "unknown"
	// Nothing fills the cell of a table where there is nothing to say.
	Nothing = "–"
)

// OrNull is v for JSON, or nil, which is null, when it is not known or is no number that
// JSON can hold.
func OrNull[T ~float64](v T, known bool) *float64 {
	if f := float64(v); known && Finite(f) {
		return &f
	}
	return nil
}
