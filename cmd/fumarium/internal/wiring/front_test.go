package wiring

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fumarium/cmd/fumarium/internal/front"
	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/loop"
	"fumarium/controller/panel"
	"fumarium/controller/relay"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/sensors"
	"fumarium/sim/chips"
	"fumarium/sim/fault"
)

const withPanel = "\npanel: {display: simulated, confirm: {pin: simulated}, silence: {pin: simulated}, stop: {pin: simulated}}\n"

// A key is a button under the test's thumb; its edges have the bubble's clock.
type key struct {
	began time.Time
	edges chan relay.Edge
	once  sync.Once
	stuck bool
}

func (k *key) Read() (bool, error) { return k.stuck, nil }
func (k *key) Close() error        { k.once.Do(func() { close(k.edges) }); return nil }
func (k *key) Next() (relay.Edge, error) {
	if e, open := <-k.edges; open {
		return e, nil
	}
	return relay.Edge{}, errors.New("closed")
}

func (k *key) set(on bool) { k.edges <- relay.Edge{On: on, At: time.Since(k.began)} }

func (k *key) hold(d time.Duration) {
	k.set(true)
	time.Sleep(d)
	k.set(false)
}

// hands carry the product about and light the smoke, and leave every answer to the buttons.
type hands struct{ person loop.Person }

func (h hands) Answer(s *controller.State) controller.Command {
	h.person.Answer(s)
	return controller.Command{}
}

// stand is a cabinet with its loop and its front, in a bubble.
type stand struct {
	t     *testing.T
	panel string // of the file
	fails []fault.Fault
	bare  bool // the buttons are the world's own
	world *World
	loop  *loop.Loop
	front *front.Front
	keys  map[panel.Button]*key
	wrap  func(front.Display) front.Display
	end   context.CancelFunc
	done  chan struct{}
}

func standUp(t *testing.T, p *profile.Product, pace float64, change func(*stand)) *stand {
	s := &stand{t: t, panel: withPanel, keys: map[panel.Button]*key{}, done: make(chan struct{})}
	if change != nil {
		change(s)
	}
	c := parse(t, onChips+s.panel)
	w, err := Open(c, Options{Product: p, Seed: 3, Faults: s.fails})
	require.NoError(t, err)
	s.world = w
	cfg := w.Front(nil)
	began := time.Now()
	if !s.bare {
		cfg.Edges = func() time.Duration { return time.Since(began) }
	}
	for b := panel.Confirm; b < panel.ButtonCount && !s.bare; b++ {
		k := &key{began: began, edges: make(chan relay.Edge, 100)}
		s.keys[b], cfg.Buttons[b] = k, k
	}
	if open := cfg.Display; s.wrap != nil {
		cfg.Display = func() (front.Display, error) {
			d, err := open()
			if err == nil {
				d = s.wrap(d)
			}
			return d, err
		}
	}
	s.front = front.New(cfg)
	s.loop, err = loop.New(loop.Config{World: w, Person: hands{w.Person()}, Cabinet: c, Pace: pace, Log: slog.New(slog.DiscardHandler), Panel: s.front.Faults})
	require.NoError(t, err)
	var ctx context.Context
	ctx, s.end = context.WithCancel(t.Context())
	var both sync.WaitGroup
	both.Go(func() { assert.NoError(t, s.loop.Run(ctx)) })
	both.Go(func() { s.front.Run(ctx, s.loop, slog.New(slog.DiscardHandler)) })
	go func() { both.Wait(); close(s.done) }()
	time.Sleep(3 * time.Second)
	return s
}

func (s *stand) down() {
	s.end()
	<-s.done
	require.NoError(s.t, s.world.Close())
}

func (s *stand) start(p *profile.Product) {
	rest, _ := p.Rest()
	reply, err := s.loop.Do(s.t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Start, Rested: rest}, Product: p, Who: "the command line", Reason: "a test"})
	require.NoError(s.t, err)
	require.True(s.t, reply.Accepted, reply.Why)
}

func (s *stand) state() *controller.State { return &s.loop.Snapshot().State }

// seen is what the display shows.
func (s *stand) seen() *image.Gray { return s.world.display.Picture() }

func product(t *testing.T, name string) *profile.Product {
	entry, err := catalog.Find(name)
	require.NoError(t, err)
	return entry.Value
}

// A whole batch is carried through by the buttons alone, each answer by what the display
// shows: its chip, the driver and the loop are the real ones.
func TestABatchByTheButtons(t *testing.T) {
	p := product(t, "caraway-sticks")
	synctest.Test(t, func(t *testing.T) {
		s := standUp(t, p, 120, nil)
		defer s.down()
		s.start(p)
		asked, answered := 0, 0
		for range 4 * 3600 {
			time.Sleep(2 * time.Second)
			snap := s.loop.Snapshot()
			if !snap.State.Batch.Active() {
				break
			}
			require.Zero(t, snap.StepsLate)
			if alarms := snap.Pressing(); len(alarms) > 0 && snap.State.Alarms[alarms[0]].Calls() {
				s.keys[panel.Silence].hold(200 * time.Millisecond)
				time.Sleep(time.Second)
				assert.False(t, s.state().Alarms[alarms[0]].Calls(), alarms[0])
			}
			shown := s.front.Frame()
			if !shown.Asks { // the display shows it within a second
				continue
			}
			asked++
			before := s.seen()
			s.keys[panel.Confirm].set(true)
			time.Sleep(700 * time.Millisecond)
			assert.False(t, bytes.Equal(before.Pix, s.seen().Pix), "the display follows the thumb")
			time.Sleep(700 * time.Millisecond)
			_, still := s.state().Question()
			assert.True(t, still, "nothing is done while it is held")
			s.keys[panel.Confirm].set(false)
			time.Sleep(5 * time.Second)
			if q, still := s.state().Question(); !still || q != shown.Question {
				answered++
			}
		}
		assert.Equal(t, controller.Complete, s.state().Batch)
		assert.Greater(t, asked, 2)
		assert.Equal(t, asked, answered)
		t.Logf("%d questions, each answered by one press", asked)
	})
}

// Stop wants three seconds, and a tap of confirm answers nothing.
func TestStopByTheButton(t *testing.T) {
	p := product(t, "caraway-sticks")
	synctest.Test(t, func(t *testing.T) {
		s := standUp(t, p, 1, nil)
		defer s.down()
		s.start(p)
		time.Sleep(5 * time.Second)
		_, waits := s.state().Waiting(p)
		require.True(t, waits)
		s.keys[panel.Confirm].hold(700 * time.Millisecond)
		time.Sleep(2 * time.Second)
		_, waits = s.state().Waiting(p)
		assert.True(t, waits)
		s.keys[panel.Stop].hold(2800 * time.Millisecond)
		time.Sleep(3 * time.Second)
		assert.True(t, s.state().Batch.Active())
		s.keys[panel.Stop].hold(3300 * time.Millisecond)
		time.Sleep(3 * time.Second)
		assert.Equal(t, controller.Stopped, s.state().Batch)
		h := s.loop.Snapshot().History
		assert.NotEmpty(t, h.Events())
	})
}

// slow is a display whose bus hangs for a minute at each picture.
type slow struct{ front.Display }

func (d slow) Draw(r image.Rectangle, src image.Image, at image.Point) error {
	time.Sleep(time.Minute)
	return d.Display.Draw(r, src, at)
}

// A display that is unplugged, without power or slow costs no step, is said, and shows
// what stands as soon as it is back.
func TestADisplayPulledAndPutBack(t *testing.T) {
	p := product(t, "caraway-sticks")
	synctest.Test(t, func(t *testing.T) {
		s := standUp(t, p, 1, nil)
		defer s.down()
		s.start(p)
		time.Sleep(10 * time.Second)
		steps := s.state().Elapsed
		s.world.display.Break(chips.BusError)
		time.Sleep(2 * time.Minute)
		assert.InDelta(t, 120, (s.state().Elapsed - steps).Seconds(), 1, "not one step was waited for")
		assert.True(t, s.state().Alarms[trip.DisplayDead].Calls())
		s.world.display.PowerCycle()
		s.world.display.Break(chips.Sound)
		time.Sleep(30 * time.Second)
		assert.False(t, s.state().Alarms[trip.DisplayDead].Standing)
		assert.True(t, bytes.Equal(s.front.Frame().Picture.Pix, s.seen().Pix))
		s.world.display.PowerCycle() // no error tells of it
		time.Sleep(2 * time.Second)
		assert.False(t, bytes.Equal(s.front.Frame().Picture.Pix, s.seen().Pix))
		time.Sleep(time.Minute)
		assert.True(t, bytes.Equal(s.front.Frame().Picture.Pix, s.seen().Pix), "it is set up anew each minute")
		assert.Zero(t, s.loop.Snapshot().StepsLate)
	})
	synctest.Test(t, func(t *testing.T) {
		s := standUp(t, p, 1, func(s *stand) { s.wrap = func(d front.Display) front.Display { return slow{d} } })
		s.start(p)
		time.Sleep(2 * time.Minute)
		assert.True(t, s.state().Alarms[trip.DisplayDead].Calls())
		assert.Zero(t, s.loop.Snapshot().StepsLate)
		s.keys[panel.Stop].hold(3300 * time.Millisecond)
		time.Sleep(2 * time.Second)
		assert.Equal(t, controller.Stopped, s.state().Batch, "the buttons do not wait for it")
		began := time.Now()
		s.down()
		assert.Less(t, time.Since(began), 3*time.Second, "nor does the end")
		time.Sleep(2 * time.Minute) // the picture that hung
	})
}

// A stuck or chattering button does nothing and is said.
func TestAStuckButton(t *testing.T) {
	p := product(t, "caraway-sticks")
	synctest.Test(t, func(t *testing.T) {
		s := standUp(t, p, 1, nil)
		defer s.down()
		s.start(p)
		time.Sleep(5 * time.Second)
		for range 50 {
			s.keys[panel.Stop].hold(20 * time.Millisecond)
			time.Sleep(20 * time.Millisecond)
		}
		s.keys[panel.Stop].set(true)
		time.Sleep(20 * time.Second)
		assert.True(t, s.state().Batch.Active())
		assert.True(t, s.state().Alarms[trip.ButtonStuck].Calls())
		s.keys[panel.Stop].set(false)
		time.Sleep(20 * time.Second)
		assert.False(t, s.state().Alarms[trip.ButtonStuck].Standing)
		s.keys[panel.Stop].set(true) // for good, and at once
		time.Sleep(40 * time.Second)
		assert.True(t, s.state().Batch.Active())
		assert.True(t, s.state().Alarms[trip.ButtonStuck].Calls())
		s.keys[panel.Stop].set(false)
		time.Sleep(20 * time.Second)
		assert.False(t, s.state().Alarms[trip.ButtonStuck].Standing)
		s.keys[panel.Stop].hold(3300 * time.Millisecond)
		time.Sleep(2 * time.Second)
		assert.Equal(t, controller.Stopped, s.state().Batch)
	})
}

// What the driver and the chip show is the picture that a person has looked at, on either
// bus, and it is dark when the program has ended.
func TestTheDisplayShowsThePicture(t *testing.T) {
	p := product(t, "caraway-sticks")
	for _, also := range []string{"", "data line: {pin: simulated}, "} {
		synctest.Test(t, func(t *testing.T) {
			s := standUp(t, p, 1, func(s *stand) { s.panel = strings.Replace(withPanel, "confirm", also+"confirm", 1) })
			frame := s.front.Frame()
			require.NotNil(t, frame)
			assert.True(t, bytes.Equal(frame.Picture.Pix, s.seen().Pix))
			if dir := os.Getenv("SCREENSHOTS"); dir != "" {
				var b bytes.Buffer
				require.NoError(t, png.Encode(&b, s.seen()))
				require.NoError(t, os.WriteFile(filepath.Join(dir, "panel.png"), b.Bytes(), 0o644))
			}
			s.down()
			assert.Zero(t, bytes.Count(s.seen().Pix, []byte{255}))
		})
	}
}

// spiBench is a machine with a display on SPI, at a port that says how fast it was made.
type spiBench struct {
	Buses
	display *chips.SSD1306
	at      [2]int
	open    int
	speed   physic.Frequency
}

type spiPort struct {
	spi.Port
	of *spiBench
}

func (b *spiBench) SPI(bus, chipSelect int) (spi.Port, error) {
	b.at = [2]int{bus, chipSelect}
	b.open++
	return spiPort{b.display.Port(), b}, nil
}
func (p spiPort) LimitSpeed(f physic.Frequency) error { p.of.speed = f; return nil }
func (p spiPort) Close() error                        { p.of.open--; return nil }

// dataLines is a host with one line, that of the display.
type dataLines struct {
	relay.Host
	asked relay.Opts
	line  relay.Line
	err   error
}

func (l *dataLines) Output(o relay.Opts) (relay.Line, error) {
	l.asked = o
	return l.line, l.err
}

// A display on SPI of a real cabinet is opened on its port and its line, drawn and let go
// of; what cannot be opened leaves nothing open.
func TestADisplayOnSPI(t *testing.T) {
	c := parse(t, strings.Replace(wired, "ADDRESS", "0x1c0000031edd2a28", 1)+"panel: {display: /dev/spidev1.2, data line: {pin: GPIO24, polarity: active low}}\n")
	machine := &spiBench{display: chips.NewSSD1306()}
	lines := &dataLines{line: machine.display.DataLine()}
	w := &World{cabinet: c, buses: newShared(machine)}
	d, err := w.Front(lines).Display()
	require.NoError(t, err)
	assert.Equal(t, [2]int{1, 2}, machine.at)
	assert.Equal(t, relay.Opts{Pin: "GPIO24", ActiveLow: true, User: "fumarium display"}, lines.asked)
	assert.Equal(t, displaySpeed, machine.speed)
	pic := image.NewGray(image.Rect(0, 0, 128, 64))
	pic.Pix[77] = 255
	require.NoError(t, d.Draw(pic.Rect, pic, image.Point{}))
	assert.Equal(t, pic.Pix, machine.display.Picture().Pix)
	require.NoError(t, d.Close())
	assert.Zero(t, machine.open)
	assert.Equal(t, pic.Pix, machine.display.Picture().Pix, "it stays as it is")

	lines.err = errors.New("held by another; end it")
	_, err = w.Front(lines).Display()
	assert.ErrorContains(t, err, "data line: held by another")
	assert.Zero(t, machine.open)
	lines.err = nil
	machine.display.Break(chips.BusError)
	_, err = w.Front(lines).Display()
	assert.ErrorContains(t, err, "the display on SPI")
	assert.Zero(t, machine.open)
}

// A room chip that is pulled and put back is said and costs no step; what it measured
// before is not passed on.
func TestARoomChipPulledAndPutBack(t *testing.T) {
	c := parse(t, regexp.MustCompile(`(?m)^.*role: ambient.*$`).ReplaceAllString(onChips, "  - {name: in the room, role: ambient, chip: BME280, bus: simulated}"))
	w, err := Open(c, Options{Product: product(t, "caraway-sticks"), Seed: 3})
	require.NoError(t, err)
	defer w.Close()
	var chip *Channel
	for _, ch := range w.Channels() {
		if ch.Probe.Role == cabinet.AmbientProbe {
			chip = ch
		}
	}
	require.NotNil(t, chip)
	now := time.Duration(0)
	sample := func() controller.Inputs {
		now += time.Second
		return w.Sample(now)
	}
	for range 10 {
		sample()
	}
	in := sample()
	v, ok := in.Ambient.Value()
	require.True(t, ok, "%v", chip.Err())
	assert.InDelta(t, float64(c.Ambient), float64(v), 1)
	assert.InDelta(t, c.Pressure(), in.AirPascal, 50)
	assert.InDelta(t, 0.6, float64(in.AirHumidity), 0.01)
	chip.tip.snap(chips.BusError)
	w.room.world.Advance()
	chip.tip.snap = func(chips.Fault) {} // the simulator's probe is sound, the chip is pulled
	in = sample()
	assert.Equal(t, sensors.BusError, in.Ambient.Status())
	assert.Zero(t, in.AirPascal)
	assert.Zero(t, in.AirHumidity)
}

// Faults of a rehearsal go the whole way: the simulated chip and button, the driver, what
// runs beside the loop, the alarm; and back.
func TestFaultsAtTheFront(t *testing.T) {
	p := product(t, "caraway-sticks")
	for spec, alarm := range map[string]trip.Code{
		"display-unplugged@1m+2m": trip.DisplayDead, "i2c-stuck@1m+2m": trip.DisplayDead, "button-stuck@1m+2m": trip.ButtonStuck, "button-chattering@1m+2m": trip.ButtonStuck,
	} {
		f, err := fault.Parse(spec)
		require.NoError(t, err)
		synctest.Test(t, func(t *testing.T) {
			s := standUp(t, p, 1, func(s *stand) { s.bare, s.fails = true, []fault.Fault{f} })
			defer s.down()
			s.start(p)
			time.Sleep(50 * time.Second)
			assert.False(t, s.state().Alarms[alarm].Standing, spec)
			time.Sleep(time.Minute)
			assert.True(t, s.state().Alarms[alarm].Standing, spec)
			time.Sleep(2 * time.Minute)
			assert.False(t, s.state().Alarms[alarm].Standing, spec)
			assert.True(t, s.state().Batch.Active(), spec)
			assert.True(t, bytes.Equal(s.front.Frame().Picture.Pix, s.seen().Pix), spec)
			assert.Zero(t, s.loop.Snapshot().StepsLate, spec)
		})
	}
}
