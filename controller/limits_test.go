package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/trip"
	"fumarium/profile/lethality"
)

// TestAlarmsSayTheLimits holds the words of the catalogue, which are fixed, against the
// limits that the step acts on.
func TestAlarmsSayTheLimits(t *testing.T) {
	hours := map[time.Duration]string{5 * time.Hour: "five", 6 * time.Hour: "six"}
	band := lethality.ComeUpBand
	limit, warned := hours[band.Limit], hours[band.Limit-comeUpWarning]
	assert.Contains(t, trip.ComeUpLong.Entry().Meaning, "between "+band.From.String()+" and "+band.To.String()+" for "+warned+" of the "+limit+" hours")
	assert.Contains(t, trip.ComeUpLong.Entry().Action, "after "+limit+" hours")
	assert.Contains(t, trip.ComeUpOver.Entry().Meaning, "more than "+limit+" hours from "+band.From.String()+" to "+band.To.String())
	assert.InDelta(t, 4./5, chillWarning, 1e-9)
	assert.Contains(t, trip.ChillLong.Entry().Meaning, "four fifths")
}
