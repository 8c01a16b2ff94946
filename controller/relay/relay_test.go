package relay

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller"
	"fumarium/controller/cabinet"
)

// circuit is a heater circuit with two contacts and an element, and the lines that
// go to it. It fails where it is told to.
type circuit struct {
	on      map[string]bool // by pin, as written
	welded  map[string]bool // contacts that stay closed
	log     []string
	failing map[string]bool // pins whose writes fail
	unread  map[string]bool // pins that cannot be read back
	broken  int             // the write, counted from 1, that fails; 0 is none
	count   int
	open    int
	shut    bool // the door
}

func newCircuit() *circuit {
	return &circuit{on: map[string]bool{}, welded: map[string]bool{}, failing: map[string]bool{}, unread: map[string]bool{}}
}

// element has voltage when both contacts are closed; a contact that is not fitted
// is a piece of wire.
func (c *circuit) element() bool {
	closed := func(pin string) bool { return c.on[pin] || c.welded[pin] }
	_, series := c.on["S"]
	return closed("H") && (!series || closed("S"))
}

type fakeLine struct {
	c      *circuit
	pin    string
	output bool
}

func (c *circuit) Output(o Opts) (Line, error) {
	if c.failing["open "+o.Pin] {
		return nil, errors.New("no such line")
	}
	c.on[o.Pin] = false
	c.open++
	return &fakeLine{c, o.Pin, true}, nil
}

func (c *circuit) Input(o Opts) (Line, error) {
	c.open++
	return &fakeLine{c, o.Pin, false}, nil
}

func (l *fakeLine) Set(on bool) error {
	l.c.count++
	if l.c.failing[l.pin] || l.c.count == l.c.broken {
		return errors.New("write failed")
	}
	if l.c.on[l.pin] != on {
		l.c.log = append(l.c.log, map[bool]string{true: "+", false: "-"}[on]+l.pin)
	}
	l.c.on[l.pin] = on
	return nil
}

func (l *fakeLine) Read() (bool, error) {
	if l.c.unread[l.pin] {
		return false, errors.New("read failed")
	}
	if l.pin == "D" {
		return l.c.shut, nil
	}
	if !l.output {
		return l.c.element(), nil
	}
	return l.c.on[l.pin], nil
}

func (l *fakeLine) Close() error {
	l.c.open--
	if l.output {
		return l.Set(false)
	}
	return nil
}

func (c *circuit) wait(d time.Duration) { c.log = append(c.log, fmt.Sprintf("(%v)", d)) }

func (c *circuit) took() string {
	s := strings.Join(c.log, " ")
	c.log = nil
	return s
}

func (c *circuit) anyOn() bool {
	for _, on := range c.on {
		if on {
			return true
		}
	}
	return false
}

func full() *cabinet.Cabinet {
	on := func(pin string) cabinet.Relay { return cabinet.Relay{Fitted: true, Pin: pin} }
	c := &cabinet.Cabinet{Heater: on("H"), Fan: on("F"), Smoke: on("P"), Humidifier: on("W"), Damper: on("K"), Cooler: on("C"), Sounder: on("B")}
	c.Heater.Series = cabinet.Wire{Fitted: true, Pin: "S"}
	c.Heater.Feedback = cabinet.Wire{Fitted: true, Pin: "V"}
	return c
}

func TestOrder(t *testing.T) {
	c := newCircuit()
	b, err := Open(full(), c, c.wait)
	require.NoError(t, err)
	assert.Empty(t, c.took(), "every line is off from the start")
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan, controller.Smoke)}))
	assert.Equal(t, "+P +F +S (100ms) +H", c.took(), "the series relay closes without load")
	assert.Equal(t, Readback{Heater: On, Series: On, Fan: On, Smoke: On, Humidifier: Off, Damper: Off, Cooler: Off, Sounder: Off, Element: On}, b.Readback())
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan, controller.Smoke)}))
	assert.Empty(t, c.took(), "nothing moves when nothing changes")
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Sounder)}))
	assert.Equal(t, "-H -P -F (100ms) -S +B", c.took(), "heat goes first; the series relay opens without load")
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Humidifier)}))
	assert.Equal(t, "-B +W", c.took())
	require.NoError(t, b.Close())
	assert.Equal(t, "-W", c.took())
	assert.Zero(t, c.open)
	assert.ErrorContains(t, b.Drive(controller.Outputs{}), "closed")
	assert.Equal(t, Readback{}, b.Readback())
}

// One contact and no feedback: the simplest cabinet waits for nothing.
func TestSimplest(t *testing.T) {
	c := newCircuit()
	b, err := Open(&cabinet.Cabinet{Heater: cabinet.Relay{Fitted: true, Pin: "H"}}, c, c.wait)
	require.NoError(t, err)
	require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan), Damper: 1}))
	require.NoError(t, b.Drive(controller.Outputs{Damper: 1}))
	assert.Equal(t, "+H -H", c.took(), "what is not fitted is not missed")
	assert.Equal(t, Readback{Heater: Off}, b.Readback())
}

func TestDoor(t *testing.T) {
	c, cab := newCircuit(), full()
	cab.Door = cabinet.Wire{Fitted: true, Pin: "D"}
	b, err := Open(cab, c, c.wait)
	require.NoError(t, err)
	assert.Equal(t, Off, b.Readback().Door, "open")
	c.shut = true
	assert.Equal(t, On, b.Readback().Door)
	c.unread["D"] = true
	assert.Equal(t, Unknown, b.Readback().Door)
	require.NoError(t, b.Close())
	assert.Zero(t, c.open)
}

func TestWeldedContact(t *testing.T) {
	t.Run("the first of two", func(t *testing.T) {
		c := newCircuit()
		b, err := Open(full(), c, c.wait)
		require.NoError(t, err)
		require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)}))
		c.welded["H"] = true
		err = b.Drive(controller.Outputs{On: controller.SetOf(controller.Fan)})
		require.ErrorIs(t, err, ErrWelded)
		assert.NotErrorIs(t, err, ErrLive)
		assert.False(t, c.element(), "the series relay cut the heat")
		assert.False(t, c.anyOn())
		assert.True(t, b.Readback().Welded)
		require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Fan)}), "all but heat goes on working")
		require.ErrorIs(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), ErrWelded, "and heat is refused from then on")
		assert.False(t, c.on["S"])
	})
	t.Run("found when switched on", func(t *testing.T) {
		c := newCircuit()
		c.welded["H"] = true // since before the start
		b, err := Open(full(), c, c.wait)
		require.NoError(t, err)
		require.ErrorIs(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), ErrWelded)
		assert.False(t, c.element())
	})
	t.Run("both", func(t *testing.T) {
		c := newCircuit()
		b, err := Open(full(), c, c.wait)
		require.NoError(t, err)
		require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}))
		c.welded["H"], c.welded["S"] = true, true
		for range 2 {
			require.ErrorIs(t, b.Drive(controller.Outputs{}), ErrLive)
		}
		require.ErrorIs(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), ErrWelded)
		assert.Equal(t, On, b.Readback().Element)
	})
	t.Run("the only one", func(t *testing.T) {
		c := newCircuit()
		cab := full()
		cab.Heater.Series = cabinet.Wire{}
		b, err := Open(cab, c, c.wait)
		require.NoError(t, err)
		require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}))
		c.welded["H"] = true
		require.ErrorIs(t, b.Drive(controller.Outputs{}), ErrLive)
		require.ErrorIs(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), ErrWelded)
	})
	t.Run("before the start", func(t *testing.T) {
		c := newCircuit()
		cab := full()
		cab.Heater.Series = cabinet.Wire{}
		c.welded["H"] = true
		b, err := Open(cab, c, c.wait)
		require.NoError(t, err, "someone must be left to sound the sounder")
		assert.True(t, b.Readback().Welded)
		assert.Equal(t, ErrLive, b.Drive(controller.Outputs{On: controller.SetOf(controller.Sounder, controller.Fan)}), "itself: nothing else is wrong")
		assert.Equal(t, Readback{Heater: Off, Fan: Off, Smoke: Off, Humidifier: Off, Damper: Off, Cooler: Off, Sounder: On, Element: On, Welded: true}, b.Readback())
		require.ErrorIs(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), ErrLive)
		c.welded["H"] = false
		require.ErrorIs(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), ErrWelded, "a contact that has stuck once is not used again")
		c.welded["H"] = true
		require.Error(t, b.Drive(controller.Outputs{}))
		require.NoError(t, b.Close())
		require.ErrorIs(t, Cut(cab, c, c.wait), ErrLive)
		assert.Zero(t, c.open)
	})
	t.Run("feedback unreadable", func(t *testing.T) {
		c := newCircuit()
		b, err := Open(full(), c, c.wait)
		require.NoError(t, err)
		c.unread["V"] = true
		require.ErrorContains(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan)}), "relay: feedback: read failed")
		assert.False(t, c.anyOn())
		assert.False(t, b.Readback().Welded, "not known is not welded")
	})
}

// A heater that is on before any program has run is refused, unless the file
// insists.
func TestRefused(t *testing.T) {
	for name, wire := range map[string]func(*cabinet.Relay){
		"heater": func(r *cabinet.Relay) { r.ActiveLow = true },
		"series": func(r *cabinet.Relay) { r.Series.ActiveLow = true },
	} {
		cab, c := full(), newCircuit()
		wire(&cab.Heater)
		_, err := Open(cab, c, c.wait)
		require.ErrorContains(t, err, "is active low", name)
		assert.Zero(t, c.open)
		cab.Heater.Insist, cab.Heater.Series.Insist = true, true
		_, err = Open(cab, c, c.wait)
		require.NoError(t, err)
		cab.Heater.Insist = false
		require.NoError(t, Cut(cab, c, c.wait), "switching off is never refused")
	}
}

// TestEveryWriteMayFail lets one write after the other fail: whatever can be
// switched off then is off, and the error is said.
func TestEveryWriteMayFail(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := newCircuit()
		b, err := Open(full(), c, c.wait)
		if err != nil {
			t.Fatal(err)
		}
		flags := rapid.SliceOfN(rapid.Bool(), int(controller.OutputCount), int(controller.OutputCount))
		for range rapid.IntRange(1, 6).Draw(t, "steps") {
			f := flags.Draw(t, "outputs")
			c.broken = 0
			if rapid.Bool().Draw(t, "breaks") {
				c.broken = c.count + rapid.IntRange(1, 18).Draw(t, "at")
			}
			var want controller.Outputs
			for o := range controller.OutputCount {
				want.On.Set(o, f[o])
			}
			err := b.Drive(want)
			fired := c.broken > 0 && c.count >= c.broken
			if fired != (err != nil) {
				t.Fatalf("write failed: %v, error: %v", fired, err)
			}
			if err != nil {
				// A second try must finish what the broken write left.
				if err := b.Drive(controller.Outputs{}); err != nil {
					t.Fatal(err)
				}
				if c.anyOn() {
					t.Fatalf("still on: %v", c.on)
				}
				continue
			}
			if c.on["H"] != f[0] || c.on["S"] != f[0] || c.on["F"] != f[1] || c.on["P"] != f[2] || c.on["W"] != f[3] || c.on["B"] != f[4] || c.on["K"] != f[controller.DamperDrive] || c.on["C"] != f[controller.Cooler] {
				t.Fatalf("wanted %v, is %v", want, c.on)
			}
		}
	})
}

// A relay whose line cannot be written does not keep the others on.
func TestOneDeadLine(t *testing.T) {
	for _, dead := range []string{"H", "S", "F", "P", "W", "K", "C", "B"} {
		c := newCircuit()
		b, err := Open(full(), c, c.wait)
		require.NoError(t, err)
		require.NoError(t, b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater, controller.Fan, controller.Smoke, controller.Humidifier, controller.DamperDrive, controller.Cooler, controller.Sounder)}))
		c.failing[dead] = true
		require.Error(t, b.Drive(controller.Outputs{}), dead)
		for pin, on := range c.on {
			assert.Equal(t, pin == dead, on, "line %s while %s is dead", pin, dead)
		}
		require.Error(t, b.Close())
		assert.Zero(t, c.open)
	}
	c := newCircuit()
	c.failing["open F"] = true
	_, err := Open(full(), c, c.wait)
	require.EqualError(t, err, "relay: fan: no such line")
	assert.Zero(t, c.open)
}

func ExampleBank() {
	c := newCircuit() // a Kernel on a real board
	b, err := Open(full(), c, func(time.Duration) {})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer b.Close()
	fmt.Println(b.Drive(controller.Outputs{On: controller.SetOf(controller.Heater)}), b.Readback().Element)
	c.welded["H"] = true // the contact sticks
	fmt.Println(errors.Is(b.Drive(controller.Outputs{}), ErrWelded), b.Readback().Element)
	// Output:
	// <nil> on
	// true off
}
