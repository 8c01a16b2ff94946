package wiring

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// onChips has the usual mix of front ends on simulated buses.
var onChips = func() string {
	data, err := os.ReadFile("../../../../testdata/cabinets/on-chips.yaml")
	if err != nil {
		panic(err)
	}
	return string(data)
}()

func parse(t testing.TB, text string) *cabinet.Cabinet {
	t.Helper()
	c, err := cabinet.Parse("bench.yaml", []byte(text))
	require.NoError(t, err)
	return c
}

// withoutChips is the same cabinet as the simulator alone has it.
func withoutChips(c *cabinet.Cabinet) *cabinet.Cabinet {
	bare := *c
	bare.Probes = nil
	for _, p := range c.Probes {
		bare.Probes = append(bare.Probes, cabinet.Probe{Name: p.Name, Role: p.Role, Chip: cabinet.Simulated, Sheath: p.Sheath})
	}
	return &bare
}

type batch struct {
	state    controller.State
	log10    float64
	required bool
	faults   int // readings that were not good once all had been
	tripped  trip.Code
	ember    quantity.Celsius // hottest
	emberOut bool
}

// cook runs one batch on virtual time, as the live loop would.
func cook(t testing.TB, c *cabinet.Cabinet, p *profile.Product) batch {
	t.Helper()
	w, err := Open(c, Options{Product: p, Seed: 6})
	require.NoError(t, err)
	defer w.Close()
	m, err := controller.New(p, c)
	require.NoError(t, err)
	var b batch
	var out controller.Outputs
	rest, _ := p.Rest()
	for elapsed := time.Duration(0); elapsed < 40*time.Hour; elapsed += time.Second {
		require.NoError(t, w.Drive(out))
		in := w.Sample(elapsed)
		in.Elapsed = elapsed
		in.Command = w.Person().Answer(&b.state)
		if elapsed == 10*time.Second {
			in.Command = controller.Command{Kind: controller.Start, Rested: rest}
		}
		if elapsed > 10*time.Second {
			for _, ch := range w.Channels() {
				if ch.Reading.Status() != sensors.Good {
					b.faults++
				}
			}
		}
		b.state, out, _ = m.Step(b.state, in)
		if v, ok := in.Ember.Value(); ok {
			b.ember = max(b.ember, v)
		}
		b.emberOut = b.emberOut || b.state.Alarms[trip.EmberOut].Phase != trip.Normal
		if b.state.Tripped != trip.None {
			b.tripped = b.state.Tripped
		}
		if elapsed > 20*time.Second && !b.state.Batch.Active() {
			break
		}
	}
	b.log10, b.required = b.state.LethalityLog10(p)
	return b
}

// otherChips has the same probes on other front ends, so that between the two every
// chip that can follow a core into ice water has measured one.
var otherChips = strings.NewReplacer(
	"chip: MAX31856, bus: simulated", "chip: MCP9600, bus: simulated, type: N",
	"role: core, chip: MAX31855, bus: simulated", "role: core, chip: ADS1115, bus: simulated, thermistor: {resistor: 10 kΩ, beta: 3950 K, at 25: 10 kΩ}",
	"chip: MCP9601, bus: simulated, address: 0x60", "chip: MAX31856, bus: simulated",
).Replace(onChips)

// TestBatchThroughChips holds that a whole batch comes to the same verdict with
// the chips, their bytes and their drivers in between as without them.
func TestBatchThroughChips(t *testing.T) {
	entry, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	p := entry.Value
	rule := p.ChillRule(profile.UnitedStates)
	require.NotNil(t, rule)
	without := cook(t, withoutChips(parse(t, onChips)), p)
	took := func(b batch) float64 { return (b.state.Ended - b.state.Started).Seconds() }
	batches := map[string]batch{"without": without, "with": cook(t, parse(t, onChips), p), "with others": cook(t, parse(t, otherChips), p)}
	for name, b := range batches {
		assert.Equal(t, controller.Complete, b.state.Batch, name)
		assert.Equal(t, trip.None, b.tripped, name)
		assert.Zero(t, b.faults, name)
		require.True(t, b.required, name)
		assert.GreaterOrEqual(t, b.log10, 6.5, name)
		assert.True(t, b.ember > 450 && b.ember < 600, "%s: the wood got as hot as %v", name, b.ember)
		assert.False(t, b.emberOut, name)
		assert.True(t, rule.Pass(b.state.Chill), name)
		assert.InEpsilon(t, took(without), took(b), 0.03, "%s takes about as long", name)
		t.Logf("%s: %v, log10 %.2f", name, b.state.Ended-b.state.Started, b.log10)
	}
}
