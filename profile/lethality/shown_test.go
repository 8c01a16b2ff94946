package lethality

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestShownIsCapped(t *testing.T) {
	for _, c := range []struct {
		log10, shown float64
		capped       bool
		text         string
	}{
		{0, 0, false, "0.0"},
		{6.52, 6.52, false, "6.5"},
		{20, 20, false, "20.0"},
		{20.001, 20, true, "more than 20"},
		{203.55, 20, true, "more than 20"},
		{3594, 20, true, "more than 20"},
		{math.Inf(1), 20, true, "more than 20"},
	} {
		v, capped := Shown(c.log10)
		assert.Equal(t, c.shown, v)
		assert.Equal(t, c.capped, capped, "%v", c.log10)
		assert.Equal(t, c.text, Text(v, capped, 1))
	}
	v, capped := Shown(math.NaN()) // not known is neither little nor much
	assert.True(t, math.IsNaN(v))
	assert.False(t, capped)
}

// Whatever is asked for can be seen to be reached.
func TestNoRequirementIsAboveWhatIsShown(t *testing.T) {
	_, err := NewCriterion("own", RedMeat, MostShown)
	assert.NoError(t, err)
	_, err = NewCriterion("own", RedMeat, MostShown+0.1)
	assert.ErrorContains(t, err, "outside 0.1 to 20 log10")
}
