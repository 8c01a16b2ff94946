package controller

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/trip"
)

// bare is the simplest cabinet that a file can describe: a heater and one chamber probe.
const bare = `cabinet: Bare box
ambient: 15 °C
probes: [{name: chamber, role: chamber, chip: simulated, sheath: 20 s, offset: 0 K}]
heater: {pin: simulated, power: 800 W, window: 2 s, least on: 0.1 s, least off: 0.1 s}
limits: {chamber: 105 °C}
response: {gain: 102 K, lag: 6 min, second lag: 75 s, dead time: 15 s}
`

// everyCabinet is the shipped ones, the simplest, and one that has all that there is.
func everyCabinet(t *testing.T) map[string]*cabinet.Cabinet {
	boxes := map[string]*cabinet.Cabinet{}
	entries, err := shipped.All()
	require.NoError(t, err)
	require.Len(t, entries, 4)
	for _, e := range entries {
		boxes[e.Key] = e.Value
	}
	box, err := cabinet.Parse("bare.yaml", []byte(bare))
	require.NoError(t, err)
	boxes["bare"] = box
	whole := *boxes["masonry-walk-in"]
	whole.Door = cabinet.Wire{Fitted: true}
	whole.Heater.Feedback = cabinet.Wire{Fitted: true}
	whole.Panel = cabinet.Panel{Display: cabinet.Simulated, Confirm: cabinet.Wire{Fitted: true}}
	boxes["whole"] = &whole
	return boxes
}

// What is not written here may be named in every cabinet: chamber, door, damper, element,
// heater, relay, mains, thermal cut-out, product, ice, thermometer.
var named = []struct {
	words string
	parts trip.Parts
}{
	{`display`, trip.Display},
	{`\bbuttons?\b`, trip.Buttons},
	{`two chamber probes|one of the chamber probes|side by side|the other\b|another still`, trip.ChamberPair},
	{`core probe|core reading|core and chamber|a core is|at core|come-up`, trip.CoreProbe},
	{`the others sit|another core|mended core-lost`, trip.MoreCores},
	{`mended core-out`, trip.CoreProbe},
	{`mended chamber-`, trip.ChamberPair},
	{`mended (ember|smoke)-`, trip.SmokePump},
	{`wick|wet bulb|its well|the well`, trip.WetBulb},
	{`probe in the room`, trip.RoomProbe},
	{`ember\b.*probe|its probe has slipped|put the probe back into the wood|its probe and the plug`, trip.EmberProbe},
	{`smoke generator|light it|refill`, trip.SmokePump},
	{`its switch|door switch`, trip.DoorSwitch},
	{`feedback`, trip.HeatFeedback},
	{`humidifier`, trip.Moistens},
	{`damper is open meanwhile|damper moves`, trip.DrivenDamper},
	{`cooler`, trip.Cooled},
}

// never is what nobody can do in any cabinet: the stages of a batch under way are fixed.
var never = regexp.MustCompile(`(?i)raise the|lower the|(raise|lower|change) .*setpoint|\bfan\b`)

// An alarm names nothing that the cabinet does not have and asks for nothing that cannot
// be done there; and of what is there it leaves out nothing that helps.
func TestAlarmsNameOnlyWhatIsThere(t *testing.T) {
	for name, box := range everyCabinet(t) {
		here := PartsOf(box)
		for c := trip.None + 1; c < trip.Count; c++ {
			e := c.Entry()
			if !e.Arises(here) {
				continue
			}
			text := e.Meaning + " " + e.Do(here) + " " + e.Says(here)
			assert.False(t, never.MatchString(text), "%s in %s: %s", c, name, text)
			for _, n := range named {
				if here&n.parts == n.parts {
					continue
				}
				found := regexp.MustCompile(`(?i)` + n.words).FindString(text)
				assert.Empty(t, found, "%s in %s has no %s: %s", c, name, n.parts, text)
			}
			if m := regexp.MustCompile(`\(mended ([a-z-]+)\)`).FindStringSubmatch(e.Do(here)); m != nil {
				said, ok := trip.Parse(m[1])
				assert.True(t, ok && said.Entry().Says(here) != "", "%s in %s sends to %s, which cannot be said there", c, name, m[0])
			}
		}
	}
	// Were the words of a cabinet that has all shown in the bare one, this would be seen.
	wrong := 0
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		for _, n := range named {
			if n.parts != 0 && regexp.MustCompile(`(?i)`+n.words).MatchString(e.Do(^trip.Parts(0))) {
				wrong++
			}
		}
	}
	assert.Greater(t, wrong, 15)
}

// A cabinet without the parts that an alarm needs does not have it in a whole batch: what
// is not fitted is never read.
func TestAlarmsThatNeedPartsDoNotArise(t *testing.T) {
	long(t)
	boxes := everyCabinet(t)
	for _, name := range []string{"bare", "steel-box", "fridge-body"} {
		box := boxes[name]
		here := PartsOf(box)
		r := &rig{t: t, p: testProduct(), c: box, chamber: 20}
		r.step(Start)
		for range 5 * 3600 {
			if r.s.Asking {
				r.step(Confirm)
			}
			r.step()
			for c := range r.s.stirred.Each {
				require.True(t, c.Entry().Arises(here), "%s in %s", c, name)
			}
		}
		require.Greater(t, r.s.Stage, 1, "%s: %s", name, r.s.Batch)
	}
}

// The word for one person in one cabinet goes with the event, so that log, record and
// page say the same.
func TestAnEventSpeaksOfItsCabinet(t *testing.T) {
	boxes := everyCabinet(t)
	said := map[string]string{}
	for name, box := range boxes {
		r := (&rig{t: t, p: testProduct(), c: box, chamber: 20}).started(2)
		for range 60 {
			for _, e := range r.step() {
				if e.Kind == AlarmRaised && e.Alarm == trip.CoreLost {
					said[name] = e.Text(r.p)
				}
			}
		}
	}
	assert.Contains(t, said["bare"], "none to read it with")
	assert.NotContains(t, said["bare"], "mended core")
	assert.Contains(t, said["steel-box"], "If it cannot be mended, stop the batch.")
	assert.Contains(t, said["masonry-walk-in"], "(mended core-lost)")
}
