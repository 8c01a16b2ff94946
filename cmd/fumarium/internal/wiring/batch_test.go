package wiring

import (
	"fmt"
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
}

// cook runs one batch on virtual time, as the live loop would.
func cook(t testing.TB, c *cabinet.Cabinet, p *profile.Product) batch {
	t.Helper()
	w, err := Open(c, Options{Product: p, Seed: 6})
	require.NoError(t, err)
	defer w.Close()
	var b batch
	var out controller.Outputs
	rest, _ := p.Rest()
	for elapsed := time.Duration(0); elapsed < 40*time.Hour; elapsed += time.Second {
		require.NoError(t, w.Drive(out))
		in := w.Sample(elapsed)
		in.Elapsed = elapsed
		in.Command = w.Person(&b.state)
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
		b.state, out, _ = controller.Step(p, c, b.state, in)
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

// TestBatchThroughEachChip holds the same of every front end that may follow a core
// into ice water, as the only kind of the chamber and the core.
func TestBatchThroughEachChip(t *testing.T) {
	entry, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	p := entry.Value
	without := cook(t, withoutChips(parse(t, onChips)), p)
	for name, keys := range map[string]string{
		"MAX31855": "type: J", "MAX31856": "type: T", "MCP9601": "type: N", "MCP9600": "type: E",
		"ADS1115": "thermistor: {resistor: 10 kΩ, points: [{at: 0 °C, is: 32.65 kΩ}, {at: 25 °C, is: 10 kΩ}, {at: 100 °C, is: 678 Ω}]}",
	} {
		t.Run(name, func(t *testing.T) {
			lines := strings.Split(onChips, "\n")
			place := 0x62
			if name == "ADS1115" {
				place = 0x49
			}
			for i, line := range lines {
				for _, role := range []string{"chamber", "core 1", "core 2"} {
					if !strings.HasPrefix(line, "  - {name: "+role+",") {
						continue
					}
					where := ""
					if !strings.HasPrefix(name, "MAX") {
						where = fmt.Sprintf("address: %#x, ", place)
						place++
					}
					lines[i] = fmt.Sprintf("  - {name: %s, role: %s, chip: %s, bus: simulated, sheath: 8 s, %s%s}", role, strings.Fields(role)[0], name, where, keys)
				}
			}
			b := cook(t, parse(t, strings.Join(lines, "\n")), p)
			assert.Equal(t, without.state.Batch, b.state.Batch)
			assert.Equal(t, without.tripped, b.tripped)
			assert.Zero(t, b.faults)
			assert.Equal(t, without.log10 >= 6.5, b.log10 >= 6.5)
			assert.Equal(t, p.ChillRule().Pass(without.state.Chill), p.ChillRule().Pass(b.state.Chill))
			assert.InEpsilon(t, (without.state.Ended - without.state.Started).Seconds(), (b.state.Ended - b.state.Started).Seconds(), 0.05)
		})
	}
}

// TestBatchThroughChips holds that a whole batch comes to the same verdict with
// four kinds of chip, their bytes and their drivers in between as without them.
func TestBatchThroughChips(t *testing.T) {
	entry, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	p := entry.Value
	c := parse(t, onChips)
	with, without := cook(t, c, p), cook(t, withoutChips(c), p)
	for name, b := range map[string]batch{"with": with, "without": without} {
		assert.Equal(t, controller.Complete, b.state.Batch, name)
		assert.Equal(t, trip.None, b.tripped, name)
		assert.Zero(t, b.faults, name)
		require.True(t, b.required, name)
		assert.GreaterOrEqual(t, b.log10, 6.5, name)
	}
	rule := p.ChillRule()
	require.NotNil(t, rule)
	assert.True(t, rule.Pass(without.state.Chill))
	assert.True(t, rule.Pass(with.state.Chill))
	took := func(b batch) float64 { return (b.state.Ended - b.state.Started).Seconds() }
	assert.InEpsilon(t, took(without), took(with), 0.03, "and takes about as long")
	t.Logf("with chips %v, log10 %.2f; without %v, log10 %.2f", with.state.Ended-with.state.Started, with.log10, without.state.Ended-without.state.Started, without.log10)
}
