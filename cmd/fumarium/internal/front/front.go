// Package front runs what hangs at the front of a cabinet: a display that shows the last
// snapshot, and buttons whose presses become commands like any other's. It stands beside
// the loop and never in it: a display that is dead, slow or unplugged costs no step, and
// is a fault that the next step is told of.
package front

import (
	"context"
	"fmt"
	"image"
	"log/slog"
	"sync/atomic"
	"time"

	"fumarium/controller"
	"fumarium/controller/panel"
	"fumarium/controller/relay"
	"fumarium/controller/snapshot"
)

// How it paces itself: own magnitudes, no source.
const (
	lookEvery   = 100 * time.Millisecond // at the buttons
	drawEvery   = time.Second            // unless a button is held
	againEvery  = 10 * time.Second       // a display that failed is opened again
	freshEvery  = time.Minute            // one that lost its power cannot say so: it is set up anew
	saidFor     = 4 * time.Second        // what became of a press is to be read
	answerFor   = 10 * time.Second       // a command that takes longer is not known
	deadAfter   = 15 * time.Second       // without a picture that went through
	bright, dim = 0xCF, 0x20             // contrast with something to do, and without
)

// A Display takes pictures.
type Display interface {
	Draw(r image.Rectangle, src image.Image, at image.Point) error
	SetContrast(level byte) error
	Halt() error
	Close() error // lets go of its bus
}

// A Loop is what a Front shows and sends to.
type Loop interface {
	Snapshot() *snapshot.Snapshot
	Do(context.Context, snapshot.Request) (snapshot.Reply, error)
}

// Config is what there is at the front.
type Config struct {
	// Display opens the display, again and again if it fails; nil is none.
	Display func() (Display, error)
	// Buttons are the inputs that there are, and Missing those that could not be opened.
	Buttons map[panel.Button]relay.Watched
	Missing map[panel.Button]error
	Edges   func() time.Duration // the clock of their edges
}

// A Front is the display and the buttons of one cabinet.
type Front struct {
	cfg    Config
	loop   Loop
	log    *slog.Logger
	faults atomic.Uint32
	shown  atomic.Pointer[panel.Frame]

	pictures chan shot // one slot: a slow display gets the latest
	drawn    atomic.Int64
	began    time.Time
}

// A shot is a picture on its way to the display.
type shot struct {
	picture *image.Gray
	bright  bool
}

// New starts nothing.
func New(c Config) *Front {
	return &Front{cfg: c, pictures: make(chan shot, 1)}
}

// Faults is what is wrong with it now, for the next step.
func (f *Front) Faults() controller.PanelFaults {
	if f == nil {
		return 0
	}
	return controller.PanelFaults(f.faults.Load())
}

// Frame is what the display shows, or would; nil before the first.
func (f *Front) Frame() *panel.Frame {
	if f == nil {
		return nil
	}
	return f.shown.Load()
}

// Run works until ctx ends.
func (f *Front) Run(ctx context.Context, l Loop, log *slog.Logger) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	f.loop, f.log, f.began = l, log, time.Now()
	if f.cfg.Display != nil {
		done := make(chan struct{})
		go func() { defer close(done); f.paint(ctx) }()
		defer func() {
			cancel()
			select {
			case <-done:
			case <-time.After(time.Second): // a bus that hangs holds up no end
			}
		}()
	}
	edges := make(chan panel.Edge, 64)
	for k, w := range f.cfg.Buttons {
		go f.listen(ctx, k, w, edges)
	}
	f.watch(ctx, edges)
	for _, w := range f.cfg.Buttons {
		_ = w.Close() // an input: nothing is on
	}
}

// listen hands on the edges of one button.
func (f *Front) listen(ctx context.Context, k panel.Button, w relay.Watched, to chan<- panel.Edge) {
	for {
		e, err := w.Next()
		if err != nil {
			if ctx.Err() == nil {
				f.log.Warn("a button is not listened to any more", "button", k, "err", err)
				f.fault(controller.ButtonBad, true)
			}
			return
		}
		select {
		case to <- panel.Edge{Button: k, Down: e.On, At: e.At}:
		case <-ctx.Done():
			return
		}
	}
}

func (f *Front) fault(which controller.PanelFaults, is bool) {
	for {
		was := f.faults.Load()
		now := was &^ uint32(which)
		if is {
			now = was | uint32(which)
		}
		if f.faults.CompareAndSwap(was, now) {
			return
		}
	}
}

// A hand is what the buttons have been told and what came of it.
type hand struct {
	buttons panel.Buttons
	panel.Hands
	held     panel.Button        // that is pressed now
	question controller.Question // that was shown when confirm was pressed
	asked    bool
	saidAt   time.Time
}

func (h *hand) take(e panel.Edge) {
	h.buttons.Take(e)
	h.Touched = time.Now()
}

// watch looks at the buttons, draws, and sends what they ask for.
func (f *Front) watch(ctx context.Context, edges <-chan panel.Edge) {
	h := &hand{}
	h.Touched = time.Now()
	for k, w := range f.cfg.Buttons {
		down, err := w.Read()
		h.buttons.First(k, down || err != nil, f.cfg.Edges())
	}
	for k, err := range f.cfg.Missing {
		f.log.Warn("a button could not be opened", "button", k, "err", err)
	}
	answers := make(chan string, 4)
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	var last time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case e := <-edges:
			h.take(e)
			continue
		case text := <-answers:
			h.Said, h.saidAt = text, time.Now()
		case <-tick.C:
		}
		f.drain(edges, h)
		now := time.Now()
		if h.Said != "" && now.Sub(h.saidAt) >= saidFor {
			h.Said = ""
		}
		s := f.loop.Snapshot()
		was := h.held
		h.Held = h.buttons.Held(f.cfg.Edges())
		if h.held = h.Held.Button; h.held != was && h.held == panel.Confirm {
			h.question, h.asked = controller.Question{}, false
			if frame := f.shown.Load(); frame != nil {
				h.question, h.asked = frame.Question, frame.Asks
			}
		}
		if does := h.buttons.At(f.cfg.Edges()); does != panel.NoButton {
			f.act(ctx, does, h, s, answers)
		}
		_, bad := h.buttons.Bad()
		f.fault(controller.ButtonBad, bad || len(f.cfg.Missing) > 0)
		f.fault(controller.DisplayDead, f.cfg.Display != nil && now.Sub(f.lastDrawn()) > deadAfter)
		if h.held != panel.NoButton || h.held != was || now.Sub(last) >= drawEvery {
			last = now
			frame := panel.Look(s, now, h.Hands)
			f.shown.Store(&frame)
			f.show(shot{frame.Picture, frame.Asks || h.held != panel.NoButton || s != nil && len(s.Pressing()) > 0})
		}
	}
}

// drain takes the edges that wait, so that a press is looked at with all of them.
func (f *Front) drain(edges <-chan panel.Edge, h *hand) {
	for {
		select {
		case e := <-edges:
			h.take(e)
		default:
			return
		}
	}
}

// act sends what a press means. What it may not do has no button: reset a trip, swear that
// something is mended, start.
func (f *Front) act(ctx context.Context, does panel.Button, h *hand, s *snapshot.Snapshot, answers chan<- string) {
	r := snapshot.Request{Who: "the panel"}
	switch does {
	case panel.Confirm:
		now, _, stands := panel.Asks(s)
		if !h.asked || !stands || now != h.question {
			h.Said, h.saidAt = "Nothing done: not the question that was shown.", time.Now()
			return
		}
		r.Command = controller.Command{Kind: controller.Confirm, Question: h.question}
	case panel.Silence:
		r.Command = controller.Command{Kind: controller.Acknowledge}
	case panel.Stop:
		r.Command = controller.Command{Kind: controller.Stop}
	}
	go func() {
		ctx, cancel := context.WithTimeout(ctx, answerFor)
		defer cancel()
		reply, err := f.loop.Do(ctx, r)
		text := map[panel.Button]string{panel.Confirm: "Done, it goes on.", panel.Silence: "Silent.", panel.Stop: "Stopped."}[does]
		switch {
		case err != nil:
			text = "Not known whether it was done: look."
			f.log.Warn("a press of a button got no answer", "button", does, "err", err)
		case !reply.Accepted:
			text = "Not done: " + reply.Why
		}
		select {
		case answers <- text:
		case <-ctx.Done():
		}
	}()
}

// lastDrawn is when the display last took a picture.
func (f *Front) lastDrawn() time.Time {
	if at := f.drawn.Load(); at != 0 {
		return time.Unix(0, at)
	}
	return f.began
}

// show puts a picture into the slot, in the place of one that the display has not taken.
func (f *Front) show(s shot) {
	select {
	case <-f.pictures:
	default:
	}
	select {
	case f.pictures <- s:
	default: // the display took the old one this moment, and nothing else puts any in
	}
}

// paint draws what is in the slot, however long the display takes.
func (f *Front) paint(ctx context.Context) {
	var d Display
	var opened, tried time.Time
	var level byte
	said := false
	fail := func(err error) {
		if d != nil {
			_ = d.Close() // it has failed already
		}
		d = nil
		if !said {
			f.log.Warn("the display does not answer; it is tried again", "err", err)
			said = true
		}
	}
	for {
		var s shot
		select {
		case <-ctx.Done():
			if d != nil {
				_ = d.Halt() // dark: what it shows is old from now on
				_ = d.Close()
			}
			return
		case s = <-f.pictures:
		}
		now := time.Now()
		if d == nil && !tried.IsZero() && now.Sub(tried) < againEvery {
			continue
		}
		if d == nil || now.Sub(opened) >= freshEvery {
			tried = now
			if d != nil {
				_ = d.Close()
			}
			var err error
			if d, err = f.cfg.Display(); err != nil {
				d = nil
				fail(fmt.Errorf("opening it: %w", err))
				continue
			}
			opened, level = now, 0
		}
		want := byte(dim)
		if s.bright {
			want = bright
		}
		if want != level {
			if err := d.SetContrast(want); err != nil {
				fail(err)
				continue
			}
			level = want
		}
		if err := d.Draw(s.picture.Rect, s.picture, image.Point{}); err != nil {
			fail(err)
			continue
		}
		if said {
			f.log.Info("the display answers again")
			said = false
		}
		f.drawn.Store(time.Now().UnixNano())
	}
}

// Drawn reports whether the display has taken a picture, if there is one.
func (f *Front) Drawn() bool { return f.cfg.Display == nil || f.drawn.Load() != 0 }
