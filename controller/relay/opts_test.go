package relay

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// asked keeps what a bank asks its host for.
type asked struct {
	*circuit
	outputs, inputs []Opts
}

func (a *asked) Output(o Opts) (Line, error) {
	a.outputs = append(a.outputs, o)
	return a.circuit.Output(o)
}

func (a *asked) Input(o Opts) (Line, error) {
	a.inputs = append(a.inputs, o)
	return a.circuit.Input(o)
}

// TestWhatIsAskedFor holds every option of every line: chip and polarity of the file,
// the guard against pins that are pulled up for the heater's two contacts alone, and
// the pulls of the two inputs, whose wires may come off.
func TestWhatIsAskedFor(t *testing.T) {
	c := full()
	c.LineChip = "pinctrl-x"
	c.Door = cabinet.Wire{Fitted: true, Pin: "D", ActiveLow: true}
	c.Heater.Feedback.ActiveLow = true
	c.Fan.ActiveLow, c.Smoke.ActiveLow, c.Humidifier.ActiveLow, c.Cooler.ActiveLow, c.Sounder.ActiveLow = true, true, true, true, true
	const chip = "pinctrl-x"
	outputs := func(guarded bool) []Opts {
		return []Opts{
			{Chip: chip, Pin: "H", User: "fumarium heater", LowAtReset: guarded},
			{Chip: chip, Pin: "S", User: "fumarium heater 2", LowAtReset: guarded},
			{Chip: chip, Pin: "P", User: "fumarium smoke", ActiveLow: true},
			{Chip: chip, Pin: "W", User: "fumarium humidifier", ActiveLow: true},
			{Chip: chip, Pin: "C", User: "fumarium cooler", ActiveLow: true},
			{Chip: chip, Pin: "K", User: "fumarium damper"},
			{Chip: chip, Pin: "F", User: "fumarium fan", ActiveLow: true},
			{Chip: chip, Pin: "B", User: "fumarium sounder", ActiveLow: true},
		}
	}
	inputs := []Opts{
		{Chip: chip, Pin: "V", User: "fumarium feedback", ActiveLow: true, Pull: ToOn},
		{Chip: chip, Pin: "D", User: "fumarium door", ActiveLow: true, Pull: ToOff},
	}
	h := &asked{circuit: newCircuit()}
	b, err := Open(c, h, h.wait)
	require.NoError(t, err)
	require.NoError(t, b.Close())
	assert.Equal(t, outputs(true), h.outputs)
	assert.Equal(t, inputs, h.inputs)

	// To switch off, no pin is refused.
	h = &asked{circuit: newCircuit()}
	require.NoError(t, Cut(c, h, h.wait))
	assert.Equal(t, outputs(false), h.outputs)

	// A file that insists gets its pins, active low as well.
	c.Heater.Insist, c.Heater.Series.Insist = true, true
	c.Heater.ActiveLow, c.Heater.Series.ActiveLow = true, true
	h = &asked{circuit: newCircuit()}
	b, err = Open(c, h, h.wait)
	require.NoError(t, err)
	require.NoError(t, b.Close())
	for _, o := range h.outputs[:2] {
		assert.False(t, o.LowAtReset, o.User)
		assert.True(t, o.ActiveLow, o.User)
	}
}

// A heater that stays on is read back with every step: something else that pulls its
// line is found although nothing is to be switched.
func TestSteadyHeatIsVerified(t *testing.T) {
	for _, pin := range []string{"H", "S"} {
		c := newCircuit()
		b, err := Open(full(), c, c.wait)
		require.NoError(t, err)
		require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}))
		c.unread[pin] = true
		require.ErrorContains(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), "read failed", pin)
		assert.False(t, c.anyOn())
	}
}

// A write that failed leaves the heater counted as on, so that voltage on the element
// is not taken for a welded contact.
func TestFailedWriteIsNoWeld(t *testing.T) {
	c, cab := newCircuit(), full()
	cab.Heater.Series = cabinet.Wire{}
	b, err := Open(cab, c, c.wait)
	require.NoError(t, err)
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}))
	c.failing["H"] = true
	err = b.Drive(controller.Outputs{})
	require.ErrorContains(t, err, "relay: heater: write failed")
	require.ErrorIs(t, err, ErrLive, "and it says that the element is live")
	c.failing["H"] = false
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}))
	require.NoError(t, b.Drive(controller.Outputs{}))
	assert.False(t, b.Readback().Welded)
}

// What is switched on and reads off, or the other way, is an error that says so.
func TestStuckPin(t *testing.T) {
	stuck := &stuckLine{level: false}
	o := output{name: "fan", line: stuck}
	assert.EqualError(t, o.set(true), "relay: fan: it was switched on and its pin reads off; something else drives the pin: check for a short")
	stuck.level = true
	assert.EqualError(t, o.set(false), "relay: fan: it was switched off and its pin reads on; something else drives the pin: check for a short")
}

type stuckLine struct{ level bool }

func (s *stuckLine) Set(bool) error      { return nil }
func (s *stuckLine) Read() (bool, error) { return s.level, nil }
func (s *stuckLine) Close() error        { return nil }
