package record

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller"
	"fumarium/profile/quantity"
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
			for l.at.OverflowInt(int64(w.bits)) { // an int of a board with 32 bits
				w.bits = uint64(int64(w.bits) >> 8)
			}
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
		d, err := newStepDecoder(header(2) + c.layout())
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
		"flavour=1\n":                         "its layout has not",
		"Begun=true\n":                        "its layout has not", // a name of the program is no stored name
		"stage.index":                         "not name=value",
		"stage.index=x\n":                     "field stage.index",
		"begun=maybe\n":                       "field begun",
		"batch.trip=300\n":                    "cannot hold 300",
		"chamber.reading=-300\n":              "cannot hold",
		"chamber.reading=status 900\n":        "field chamber.reading",
		"heater.relay.on=1.5\n":               "field heater.relay.on",
		"heater.pid.integral_ratio=seventeen": "field heater.pid.integral_ratio",
	} {
		_, err := m.parse(text)
		assert.ErrorContains(t, err, why, text)
	}
}

// A field that a later version adds must not make old records unreadable, and one
// that this version lacks must not be dropped in silence.
func TestLayoutsOfOtherVersions(t *testing.T) {
	type older struct {
		Elapsed time.Duration `record:"elapsed"`
		Heater  bool          `record:"heater"`
	}
	type newer struct {
		Door bool          `record:"door"` // in front, so that every field has moved
		Time time.Duration `record:"elapsed"`
		Fire bool          `record:"heater"` // the program calls it otherwise today
		Fan  float64       `record:"fan"`
	}
	header := header(2)
	var o older
	c := newCoder(&o)
	layout := header + layoutOf("step", c.leaves)
	o = older{Elapsed: time.Second, Heater: true}
	b := c.encode(nil, false)
	o.Elapsed = 2 * time.Second
	b = c.encode(b, true)

	var n newer
	d, err := newDecoder("step", layout, &n)
	require.NoError(t, err)
	in := &input{b: b}
	more, err := d.decode(in)
	require.NoError(t, err)
	assert.False(t, more)
	assert.Equal(t, newer{Time: time.Second, Fire: true}, n)
	more, err = d.decode(in)
	require.NoError(t, err)
	assert.True(t, more)
	assert.Equal(t, newer{Time: 2 * time.Second, Fire: true}, n)
	assert.Empty(t, in.b)

	// The other way round: fine while the unknown field is zero, an error once it says
	// something.
	n = newer{Time: time.Second}
	nc := newCoder(&n)
	layout = header + layoutOf("step", nc.leaves)
	b = nc.encode(nil, false)
	n.Door = true
	b = nc.encode(b, false)
	o = older{}
	d, err = newDecoder("step", layout, &o)
	require.NoError(t, err)
	in = &input{b: b}
	_, err = d.decode(in)
	require.NoError(t, err)
	assert.Equal(t, older{Elapsed: time.Second}, o)
	_, err = d.decode(in)
	assert.ErrorContains(t, err, "field door was recorded and this program has none")

	for layout, why := range map[string]string{
		header + "step.heater number\n": "field heater was recorded as number and is boolean",
		header + "step.heater colour\n": "not a name and a kind",
		header:                          "no line",
		"":                              "no line",
		"layout 3\nstep.heater boolean": "knows layouts up to 2; use the program that recorded it",
		"layout x\nstep.heater boolean": "knows layouts up to 2",
	} {
		_, err = newDecoder("step", layout, &o)
		assert.ErrorContains(t, err, why, layout)
	}
	assert.PanicsWithValue(t, "record: field Name has no stored name; declare one in its tag", func() { leavesOf(&struct{ Name int }{}) })
	assert.Panics(t, func() {
		leavesOf(&struct {
			Name string `record:"name"`
		}{})
	})
	assert.PanicsWithValue(t, "record: two fields have the stored name same", func() {
		leavesOf(&struct {
			A int `record:"same"`
			B int `record:"same"`
		}{})
	})
}

// The decoder sees bytes of a disk: whatever they are, it must not panic.
func FuzzBlock(f *testing.F) {
	c := newStepCoder()
	b := c.begin(nil)
	in := controller.Inputs{Elapsed: time.Second}
	in.Chamber[0] = sensors.At(20.0625)
	b = c.step(b, &in, controller.Outputs{On: controller.SetOf(controller.Heater)}, []controller.Event{{At: time.Second, Kind: controller.BatchChanged}})
	f.Add(b, int64(1))
	for range 20 {
		in.Elapsed += time.Second
		in.Chamber[0] = sensors.At(20.0625 + quantity.Celsius(in.Elapsed.Seconds())/8)
		in.Core[0] = sensors.Reading{}
		var out controller.Outputs
		out.On.Set(controller.Heater, in.Elapsed%(2*time.Second) == 0)
		b = c.step(b, &in, out, nil)
	}
	f.Add(b, int64(21))
	f.Add([]byte{1}, int64(0))
	f.Add([]byte{2, 0xff, 0xff}, int64(3))
	f.Fuzz(func(t *testing.T, data []byte, steps int64) {
		d, err := newStepDecoder(header(2) + newStepCoder().layout())
		require.NoError(t, err)
		_ = d.block(data, min(steps, 1000), func(*frame, []controller.Event) error { return nil })
	})
}
