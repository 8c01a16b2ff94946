package desk

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// How long a batch may yet take is said of what took as long, and of nothing else.
func TestToCome(t *testing.T) {
	h := time.Hour
	assert.Contains(t, toCome(h, nil), "not known")
	assert.Contains(t, toCome(h, []time.Duration{2 * h, 3 * h}), "not known", "two are none")
	assert.Equal(t, "some 2 h to come, 1 h to 4 h, by the last 3 of it in this cabinet", toCome(h, []time.Duration{2 * h, 3 * h, 5 * h}))
	assert.Equal(t, "some 0 s to come, 0 s to 1 h, by the last 3 of it in this cabinet", toCome(4*h, []time.Duration{2 * h, 3 * h, 5 * h}))
	assert.Contains(t, toCome(6*h, []time.Duration{2 * h, 3 * h, 5 * h}), "longer than any")
}
