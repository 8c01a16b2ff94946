package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
	"fumarium/sim/fault"
)

// driven is the fridge body with a damper that is driven.
func driven(t *testing.T) *cabinet.Cabinet {
	c := *builtCabinet(t, "fridge-body")
	c.Damper = cabinet.Relay{Fitted: true, Pin: cabinet.Simulated, Window: 3 * time.Minute, MinOn: 30 * time.Second, MinOff: 30 * time.Second}
	return &c
}

// aired is a product with one stage of three hours.
func aired(t *testing.T, stage profile.Stage) *profile.Product {
	p := *product(t, "caraway-sticks")
	stage.Name, stage.Place, stage.Heat, stage.ChamberSetpoint, stage.Fan = "hold", profile.Chamber, true, 60, 1
	stage.HasDamper = true
	stage.Until = profile.Until{Conditions: []profile.Condition{{Kind: profile.After, After: 3 * time.Hour}}}
	p.Stages = []profile.Stage{stage}
	return &p
}

// held is what was true of the air over the last hour of a batch.
type held struct {
	humidity, depression float64 // means of the plant's, not of the probes'
	venting, steaming    float64 // shares of the time
	both                 int     // seconds in which the humidifier is on and the damper is to be open
	alarms               map[string]bool
}

func hold(t *testing.T, p *profile.Product, c *cabinet.Cabinet, load quantity.Kilograms, faults ...fault.Fault) (h held) {
	n := 0.0
	if load == 0 {
		load = 3
	}
	r, err := Watch(t.Context(), Setup{Product: p, Cabinet: c, Seed: 5, Load: load, Answer: Brisk, Faults: faults}, func(m *Moment) {
		out := m.After.Out
		if m.After.Batch != controller.Running {
			assert.Zero(t, out.On&controller.SetOf(controller.Heater, controller.Humidifier, controller.DamperDrive, controller.Cooler), "at %v", m.Now)
		}
		if out.On.Has(controller.Humidifier) && out.Damper > 0 && m.After.Batch == controller.Running {
			h.both++
		}
		if m.After.Batch != controller.Running || m.After.StageClock < 2*time.Hour {
			return
		}
		n++
		h.humidity += float64(m.World.Built().Humidity())
		h.depression += float64(m.World.Built().Chamber() - m.World.Built().Wick())
		if m.World.Driven().Damper > 0 {
			h.venting++
		}
		if out.On.Has(controller.Humidifier) {
			h.steaming++
		}
	})
	require.NoError(t, err)
	require.Positive(t, n)
	h.humidity, h.depression, h.venting, h.steaming = h.humidity/n, h.depression/n, h.venting/n, h.steaming/n
	h.alarms = map[string]bool{}
	for _, a := range r.Alarms {
		h.alarms[a.Code] = true
	}
	return h
}

// Humidifier and damper hold what a stage asks for, in each way to ask, within what a wick in
// moving air is worth (TestHumidityAgainstThePlant) and the band; and where one of them or
// the wick fails, it is said, nothing humidifies without a measure, and nothing is on unless the batch runs.
func TestTheAirIsHeld(t *testing.T) {
	long(t)
	dry := profile.Stage{HasDepression: true, Depression: 12}
	moist := profile.Stage{HasHumidity: true, Humidity: 0.7}
	wet := profile.Stage{HasWetBulb: true, WetBulb: 54}
	at := func(k fault.Kind) []fault.Fault { return []fault.Fault{{Kind: k, At: 90 * time.Minute}} }
	for _, row := range []struct {
		name         string
		stage        profile.Stage
		load         quantity.Kilograms // zero is three
		faults       []fault.Fault
		depression   quantity.Kelvin // zero is not judged
		humidity     quantity.Ratio
		alarm        string
		open, steams bool // for all of the hour
		never        bool // does it humidify
	}{
		{name: "depression", stage: dry, depression: 12},
		{name: "humidity", stage: moist, humidity: 0.7},
		{name: "wet bulb", stage: wet, depression: 6},
		{name: "dry wick", stage: moist, faults: at(fault.WickDry), alarm: "wick-dry", open: true, never: true},
		{name: "no wet bulb", stage: wet, faults: at(fault.WetBulbOpen), alarm: "humidity-unmeasured", open: true, never: true},
		// So much heat goes out with the air that the chamber is not where the balance wants it.
		{name: "damper stuck open", stage: wet, faults: at(fault.DamperOpen), alarm: "heat-unanswered"},
		{name: "damper stuck shut", stage: profile.Stage{HasDepression: true, Depression: 25}, faults: at(fault.DamperShut), alarm: "humidity-not-reached", never: true},
		{name: "humidifier empty", stage: profile.Stage{HasHumidity: true, Humidity: 0.85}, load: 0.3, faults: []fault.Fault{{Kind: fault.HumidifierEmpty}}, alarm: "humidity-not-reached", steams: true},
		{name: "humidifier stuck", stage: profile.Stage{HasDepression: true, Depression: 25}, faults: at(fault.HumidifierStuck), never: true}, // the damper makes up for it
		{name: "fan dead", stage: dry, faults: at(fault.FanDead)},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := hold(t, aired(t, row.stage), driven(t), row.load, row.faults...)
			t.Logf("%.1f %%RH, %.1f K, damper open %.0f %%, humidifier on %.0f %% of the hour, %v", 100*h.humidity, h.depression, 100*h.venting, 100*h.steaming, h.alarms)
			if row.depression > 0 {
				assert.InDelta(t, float64(row.depression), h.depression, 1.5)
			}
			if row.humidity > 0 {
				assert.InDelta(t, float64(row.humidity), h.humidity, 0.05)
			}
			if row.alarm != "" {
				assert.True(t, h.alarms[row.alarm], "%v", h.alarms)
			} else {
				assert.Empty(t, h.alarms)
			}
			if row.open {
				assert.Equal(t, 1.0, h.venting)
			}
			if row.steams {
				assert.Greater(t, h.steaming, 0.95)
			}
			if row.never {
				assert.Zero(t, h.steaming)
			}
			assert.Zero(t, h.both, "they never work against each other")
		})
	}
}

// A drive that opens and shuts the damper holds the chamber nearly as a hand that leaves it part
// open, where its window is short against the air's half minute; one of minutes does not.
func TestADrivenDamperHoldsTheChamber(t *testing.T) {
	long(t)
	swing := func(name string, damper cabinet.Relay) float64 {
		c := *builtCabinet(t, "masonry-walk-in")
		require.True(t, c.Damper.Fitted)
		c.Damper = damper
		return *rehearse(t, Setup{Product: product(t, name), Cabinet: &c, Seed: 1, Answer: Brisk}).Control.HoldRMSKelvin
	}
	const slow = 3 * time.Minute
	drive := builtCabinet(t, "masonry-walk-in").Damper
	for _, name := range []string{"caraway-sticks", "dill-trout-sides", "orchard-bacon"} {
		byHand, driven := swing(name, cabinet.Relay{}), swing(name, drive)
		drive := drive
		drive.Window = slow
		slowly := swing(name, drive)
		t.Logf("%s: %.2f K rms by hand, %.2f driven, %.2f with a window of %v", name, byHand, driven, slowly, slow)
		assert.Less(t, driven, byHand+0.4)
		assert.Greater(t, slowly, driven+0.4, "or the window of the file needs no reason")
	}
}

// Fish that is smoked cold: in the rooms it is for its rules are met and only an analysis of
// the loin is left to show; what hung too warm is called that, and was said in time.
func TestColdSmokedSalmon(t *testing.T) {
	for ambient, met := range map[quantity.Celsius]bool{12: true, 27: false} {
		r := rehearse(t, Setup{Product: product(t, "yarrow-salmon"), Cabinet: builtCabinet(t, "plywood-cabinet"), Seed: 2, Ambient: &ambient, Answer: Brisk})
		said := false
		for _, a := range r.Alarms {
			said = said || a.Code == "chamber-too-warm"
		}
		assert.Equal(t, !met, said, "%v: %v", ambient, r.Alarms)
		assert.Equal(t, met, r.AsPlanned())
		want := proof.NotMet
		if met {
			want = proof.Met
		}
		assert.Equal(t, want, r.Verdict[proof.Process].Answer, r.Verdict[proof.Process].Why)
		assert.Equal(t, proof.Met, r.Verdict[proof.RawFish].Answer, r.Verdict[proof.RawFish].Why)
		assert.Equal(t, proof.NotShown, r.Verdict[proof.Keeping].Answer, r.Verdict[proof.Keeping].Why)
	}
}

// Cold smoke on a hot day: without a cooler it is said, with one the chamber stays as cold as
// the cheese must, and a cooler that does not run is said again.
func TestColdSmokeOnAHotDay(t *testing.T) {
	long(t)
	const hot quantity.Celsius = 33
	for _, row := range []struct {
		cabinet string
		ambient quantity.Celsius
		faults  []fault.Fault
		warm    bool
	}{
		{"plywood-cabinet", 12, nil, false},
		{"plywood-cabinet", hot, nil, true},
		{"fridge-body", hot, nil, false},
		{"fridge-body", hot, []fault.Fault{{Kind: fault.CoolerDead}}, true},
	} {
		mean, n, cooled := quantity.Celsius(0), 0, false
		p := product(t, "barn-loft-cheese")
		r, err := Watch(t.Context(), Setup{Product: p, Cabinet: builtCabinet(t, row.cabinet), Seed: 2, Ambient: &row.ambient, Answer: Brisk, Faults: row.faults}, func(m *Moment) {
			out := m.After.Out
			assert.False(t, out.On.Has(controller.Heater) && out.On.Has(controller.Cooler))
			if m.After.Batch != controller.Running {
				assert.False(t, out.On.Has(controller.Cooler))
			}
			cooled = cooled || out.On.Has(controller.Cooler)
			if stage := m.After.CurrentStage(p); stage != nil && stage.HasNotAbove && m.After.StageClock > 20*time.Minute {
				mean, n = mean+m.World.Built().Chamber(), n+1
			}
		})
		require.NoError(t, err)
		require.Positive(t, n)
		said := false
		mean /= quantity.Celsius(n)
		for _, a := range r.Alarms {
			said = said || a.Code == "chamber-too-warm"
			assert.Contains(t, []string{"chamber-too-warm", "prompt-waiting"}, a.Code, "%s at %v", row.cabinet, row.ambient)
		}
		t.Logf("%s at %v, %v: %.1f °C on average, said %v, cooled %v", row.cabinet, row.ambient, row.faults, float64(mean), said, cooled)
		assert.Equal(t, row.warm, said, "%s at %v", row.cabinet, row.ambient)
		assert.Equal(t, row.warm, mean > 25, "%s at %v: %v", row.cabinet, row.ambient, mean)
		assert.Equal(t, row.cabinet == "fridge-body", cooled)
	}
}
