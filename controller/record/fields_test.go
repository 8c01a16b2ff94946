package record

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller"
	"fumarium/sensors"
)

// drawn fills every field below pointer with something that fits it, often zero and
// often extreme.
func drawn(t *rapid.T, pointer any) {
	leaves := leavesOf(pointer)
	for i := range leaves {
		l := &leaves[i]
		w := word{}
		switch l.kind {
		case boolean:
			w.bits = rapid.Uint64Range(0, 1).Draw(t, l.name)
		case integer, duration:
			w.bits = uint64(rapid.Int64().Draw(t, l.name))
		case natural:
			w.bits = rapid.Uint64().Draw(t, l.name)
			for l.at.OverflowUint(w.bits) {
				w.bits >>= 8
			}
		case number:
			w.bits = math.Float64bits(rapid.Float64().Draw(t, l.name))
		case reading:
			w.status = sensors.Status(rapid.Uint8().Draw(t, l.name))
			if w.status == sensors.Good {
				w.bits = math.Float64bits(rapid.Float64Range(-273.15, 1e300).Draw(t, l.name))
			}
		}
		if err := l.set(w); err != nil {
			t.Fatal(err)
		}
	}
}

func TestStepsComeBackBitForBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := newStepCoder()
		var want []frame
		var events [][]controller.Event
		b := c.begin(nil)
		for range rapid.IntRange(0, 12).Draw(t, "steps") {
			var f frame
			drawn(t, &f)
			var happened []controller.Event
			for range rapid.IntRange(0, 3).Draw(t, "events") {
				var e controller.Event
				drawn(t, &e)
				happened = append(happened, e)
			}
			b = c.step(b, &f.In, f.Out, happened)
			want, events = append(want, f), append(events, happened)
		}
		d, err := newStepDecoder(c.layout())
		require.NoError(t, err)
		n := 0
		require.NoError(t, d.block(b, int64(len(want)), func(f *frame, happened []controller.Event) error {
			require.Equal(t, want[n], *f)
			require.Equal(t, math.Float64bits(float64(want[n].Out.Damper)), math.Float64bits(float64(f.Out.Damper)), "also -0")
			require.Equal(t, events[n], happened)
			n++
			return nil
		}))
		require.Equal(t, len(want), n)
		if len(want) > 0 {
			require.Error(t, d.block(b[:len(b)-1], int64(len(want)), func(*frame, []controller.Event) error { return nil }))
		}
		require.Error(t, d.block(append(b, 0), int64(len(want)), func(*frame, []controller.Event) error { return nil }))
	})
}

func TestStateComesBackWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want controller.State
		drawn(t, &want)
		m := newMemory()
		text := m.text(&want)
		got, err := newMemory().parse(string(text))
		require.NoError(t, err)
		require.True(t, want == got, "%s", text)
		require.Equal(t, text, m.text(&got))
	})
}

func TestStateHashesTellStatesApart(t *testing.T) {
	m := newMemory()
	var zero controller.State
	assert.Empty(t, m.text(&zero))
	var s controller.State
	leaves := leavesOf(&s)
	seen := map[string]string{}
	for i := range leaves {
		s = controller.State{}
		w := word{bits: 1}
		if leaves[i].kind == reading {
			w = word{status: sensors.Open}
		}
		require.NoError(t, leaves[i].set(w))
		text := string(m.text(&s))
		assert.NotContains(t, seen, text)
		seen[text] = leaves[i].name
	}
	assert.Greater(t, len(leaves), 50)
}

func TestStateOfAnotherProgramIsRefused(t *testing.T) {
	m := newMemory()
	for text, why := range map[string]string{
		"Flavour=1\n":             "this program has none",
		"Stage":                   "not name=value",
		"Stage=x\n":               "field Stage",
		"Begun=maybe\n":           "field Begun",
		"Tripped=300\n":           "cannot hold 300",
		"Chamber=-300\n":          "cannot hold",
		"Chamber=status 900\n":    "field Chamber",
		"HeaterDuty.On=1.5\n":     "field HeaterDuty.On",
		"PID.Integral=seventeen,": "field PID.Integral",
	} {
		_, err := m.parse(text)
		assert.ErrorContains(t, err, why, text)
	}
}

// A field that a later version adds must not make old records unreadable, and one
// that this version lacks must not be dropped in silence.
func TestLayoutsOfOtherVersions(t *testing.T) {
	type older struct {
		Elapsed time.Duration
		Heater  bool
	}
	type newer struct {
		Door    bool // in front, so that every field has moved
		Elapsed time.Duration
		Heater  bool
		Fan     float64
	}
	oldCoder := func(v *older) (*coder, []field) {
		c := newCoder(v)
		fields, err := parseLayout("step", layoutOf("step", c.leaves))
		require.NoError(t, err)
		return c, fields
	}
	var o older
	c, fields := oldCoder(&o)
	o = older{Elapsed: time.Second, Heater: true}
	b := c.encode(nil, false)
	o.Elapsed = 2 * time.Second
	b = c.encode(b, true)

	var n newer
	d, err := newDecoder(fields, &n)
	require.NoError(t, err)
	in := &input{b: b}
	more, err := d.decode(in)
	require.NoError(t, err)
	assert.False(t, more)
	assert.Equal(t, newer{Elapsed: time.Second, Heater: true}, n)
	more, err = d.decode(in)
	require.NoError(t, err)
	assert.True(t, more)
	assert.Equal(t, newer{Elapsed: 2 * time.Second, Heater: true}, n)
	assert.Empty(t, in.b)

	// The other way round: fine while the unknown field is zero, an error once it says
	// something.
	n = newer{Elapsed: time.Second}
	nc := newCoder(&n)
	fields, err = parseLayout("step", layoutOf("step", nc.leaves))
	require.NoError(t, err)
	b = nc.encode(nil, false)
	n.Door = true
	b = nc.encode(b, false)
	d, err = newDecoder(fields, &o)
	require.NoError(t, err)
	in = &input{b: b}
	_, err = d.decode(in)
	require.NoError(t, err)
	assert.Equal(t, older{Elapsed: time.Second}, o)
	_, err = d.decode(in)
	assert.ErrorContains(t, err, "field Door was recorded and this program has none")

	_, err = newDecoder([]field{{name: "Heater", kind: number}}, &o)
	assert.ErrorContains(t, err, "field Heater was recorded as number and is boolean")
	_, err = parseLayout("step", "step.Heater colour\n")
	assert.ErrorContains(t, err, "not a name and a kind")
	_, err = parseLayout("step", "")
	assert.ErrorContains(t, err, "no line")
	assert.Panics(t, func() { leavesOf(&struct{ Name string }{}) })
}

// The decoder sees bytes of a disk: whatever they are, it must not panic, and what it
// accepts must be what the coder writes for it.
func FuzzBlock(f *testing.F) {
	c := newStepCoder()
	b := c.begin(nil)
	in := controller.Inputs{Elapsed: time.Second}
	in.Chamber[0] = sensors.At(20.0625)
	b = c.step(b, &in, controller.Outputs{Heater: true}, []controller.Event{{At: time.Second, Kind: controller.BatchChanged}})
	f.Add(b, int64(1))
	f.Add([]byte{1}, int64(0))
	f.Add([]byte{2, 0xff, 0xff}, int64(3))
	f.Fuzz(func(t *testing.T, data []byte, steps int64) {
		d, err := newStepDecoder(newStepCoder().layout())
		require.NoError(t, err)
		_ = d.block(data, min(steps, 1000), func(*frame, []controller.Event) error { return nil })
	})
}
