package controller

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// cooking is a batch whose core stands at a temperature, seen by a probe of a tolerance
// that a calibration speaks for, while its board has 17 °C.
func cooking(t *testing.T, core quantity.Celsius) *rig {
	r := resting(t)
	for i := range r.c.Probes {
		r.c.Probes[i].Error, r.c.Probes[i].Chip, r.c.Probes[i].Type = 0.5, "MCP9601", "K"
	}
	r.run(time.Minute)
	r.in.Command = Command{Kind: Start, Edition: proof.Current}
	r.s, _, _ = stepped(r.p, r.c, r.s, r.in)
	r.in.Elapsed += time.Second
	require.Equal(t, Running, r.s.Batch)
	r.step(Confirm)
	r.coreIs(0, core)
	r.run(5 * time.Second)
	return r
}

// unplugged is a core that reads open for a while and another temperature after it.
func (r *rig) unplugged(d time.Duration, then quantity.Celsius) (parted int) {
	r.in.Core[0] = sensors.Fault(sensors.Open)
	before := len(r.events)
	r.run(d)
	r.in.Core[0] = sensors.At(then)
	r.run(10 * time.Second)
	for _, e := range r.events[before:] {
		if e.Kind == Parted {
			parted++
			assert.Equal(r.t, uint8(1), e.Probe)
			assert.Contains(r.t, e.Text(r.p), "hold it in ice water")
		}
	}
	return parted
}

// cookedBy is what the verdict says of a core that was hot enough now, or already.
func cookedBy(r *rig, heat time.Duration) proof.Answer {
	rules := r.s.Rules(r.p)
	s := r.s
	if heat > 0 {
		s.Claim.Heat = rules.Criterion.Add(s.Claim.Heat, 75, 75, heat)
	}
	v := s.Verdict(&rules, false)
	return v[proof.Cooked].Answer
}

// A core probe that was unplugged for seconds proves nothing from then on, unless it reads as
// it did where another one would not.
func TestACoreThatWasUnpluggedMayBeAnother(t *testing.T) {
	for name, c := range map[string]struct {
		core, then quantity.Celsius
		open       time.Duration
		board      sensors.Reading
		want       proof.Answer
	}{
		"never":                            {17, 17, 0, sensors.At(17), proof.Met},
		"a loose contact":                  {17, 17, 2 * time.Second, sensors.At(17), proof.Met},
		"as warm as its board":             {17, 17, 5 * time.Second, sensors.At(17), proof.NotShown},
		"not far from it":                  {36, 36, 5 * time.Second, sensors.At(17), proof.NotShown},
		"far from it, as before":           {60, 60, 5 * time.Second, sensors.At(17), proof.Met},
		"as before but for what it moved":  {60, 60.9, 30 * time.Second, sensors.At(17), proof.Met},
		"far from it, and a little off":    {60, 61.5, 5 * time.Second, sensors.At(17), proof.NotShown},
		"of type J":                        {40, 46.4, 5 * time.Second, sensors.At(17), proof.NotShown},
		"of type N":                        {60, 45.8, 5 * time.Second, sensors.At(17), proof.NotShown},
		"for so long that it may have met": {60, 60, 5 * time.Minute, sensors.At(17), proof.NotShown},
		"nobody knows how warm its board":  {60, 60, 5 * time.Second, sensors.Reading{}, proof.NotShown},
	} {
		t.Run(name, func(t *testing.T) {
			r := cooking(t, c.core)
			r.in.Board = c.board
			parted := r.unplugged(c.open, c.then)
			assert.Equal(t, c.want, cookedBy(r, time.Hour))
			assert.Equal(t, c.want != proof.Met, parted == 1)
			if c.want == proof.Met {
				return
			}
			require.Len(t, Unshown(r.c, &r.s), 1)
			r.s.Stage, r.p.Stages[3].Until = 3, after(9*time.Hour)
			r.in.Board = sensors.At(17)
			r.s.Core.probes[0].out = false
			r.coreIs(0, 0.2)
			r.run(restsAfter + 2*time.Minute)
			assert.Equal(t, proof.Met, cookedBy(r, time.Hour), "shown at rest in the ice")
		})
	}
}

// An exchange while the power is off, or while the controller is not there, is the same.
func TestACoreMayBeAnotherAfterAnAbsence(t *testing.T) {
	for name, c := range map[string]struct {
		core quantity.Celsius
		away time.Duration
		how  Evidence
		want proof.Answer
	}{
		"at once back":          {17, 2 * time.Second, AwayByClock, proof.Met},
		"as warm as its board":  {17, 20 * time.Second, AwayByClock, proof.NotShown},
		"far from it":           {60, 20 * time.Second, AwayByClock, proof.Met},
		"soon started again":    {17, 30 * time.Second, AwayByBoot, proof.Met},
		"started later":         {17, 50 * time.Second, AwayByBoot, proof.NotShown},
		"for long":              {60, 20 * time.Minute, AwayByClock, proof.NotShown},
		"nobody knows how long": {60, 20 * time.Second, AwayUnknown, proof.NotShown},
	} {
		t.Run(name, func(t *testing.T) {
			r := cooking(t, c.core)
			r.in.Away = c.how
			r.away(c.away)
			r.in.Away = AwayAsGiven
			r.run(10 * time.Second)
			assert.Equal(t, c.want, cookedBy(r, time.Hour))
		})
	}
}

// What was cooked while the probe was shown stays cooked: who carries the product to its chill
// pulls the plug. What a probe counted that was never shown, ice does not show of the next.
func TestWhatWasMetBeforeStaysMet(t *testing.T) {
	r := cooking(t, 17)
	rules := r.s.Rules(r.p)
	r.s.Claim.Heat = rules.Criterion.Add(r.s.Claim.Heat, 75, 75, time.Hour)
	assert.Equal(t, 1, r.unplugged(time.Minute, 17))
	assert.Equal(t, proof.Met, cookedBy(r, time.Hour))
	assert.Zero(t, r.unplugged(time.Minute, 17), "that is known already")
	assert.Equal(t, proof.Met, cookedBy(r, time.Hour))
	r.s.Core.probes[0].hasSeen = true
	r.coreIs(0, 17)
	r.run(time.Second)
	r.in.Core[0] = sensors.At(40)
	r.run(30 * time.Second)
	require.True(t, r.s.Core.probes[0].out)
	assert.Equal(t, proof.NotShown, cookedBy(r, time.Hour), "what is not claimed any more was not met")

	iced := func(r *rig) {
		r.s.Core.probes[0].out = true
		r.coreIs(0, 0.2)
		r.run(5 * time.Minute)
		assert.Empty(t, r.iced(cabinet.MaxChamberProbes))
	}
	r = cooking(t, 17)
	r.unplugged(5*time.Second, 17)
	r.unplugged(5*time.Second, 17)
	iced(r)
	assert.Equal(t, proof.Met, cookedBy(r, time.Hour), "the first two have read nothing that counts")

	r = cooking(t, 17)
	r.unplugged(5*time.Second, 17)
	r.coreIs(0, 70)
	r.run(time.Minute)
	r.unplugged(5*time.Second, 17)
	iced(r)
	assert.Equal(t, proof.NotShown, cookedBy(r, time.Hour), "the second has")
	r.step(Stop)
	r.run(5 * time.Second)
	r.in.Command = Command{Kind: Start, Edition: proof.Current, Excused: true}
	r.s, _, _ = stepped(r.p, r.c, r.s, r.in)
	assert.Equal(t, parting{}, r.s.Evidence.parting, "of the batch, not of the probe")
}

// One that was left out, and answers again, may be another; before the product is hung a probe
// that was unplugged is shown at once.
func TestALeftOutCoreIsShownAnew(t *testing.T) {
	r := cooking(t, 60)
	r.in.Core[0] = sensors.Fault(sensors.Open)
	r.run(time.Minute)
	r.s.Core.probes[0], r.s.Core.without = coreProbe{silent: time.Minute}, 1
	r.in.Core[0] = sensors.At(60)
	r.run(10 * time.Second)
	assert.Equal(t, proof.NotShown, cookedBy(r, time.Hour))

	r = resting(t)
	r.p.Stages[0].Ask = "Hang it"
	r.run(time.Minute)
	r.in.Command = Command{Kind: Start, Edition: proof.Current}
	r.s, _, _ = stepped(r.p, r.c, r.s, r.in)
	r.in.Elapsed += time.Second
	require.True(t, r.s.Asking)
	r.run(5 * time.Second)
	require.Equal(t, 1, r.unplugged(10*time.Second, 10))
	r.coreIs(0, 0.3)
	r.run(5 * time.Minute)
	assert.Empty(t, r.iced(cabinet.MaxChamberProbes))
	assert.Equal(t, proof.Met, cookedBy(r, time.Hour))
}
