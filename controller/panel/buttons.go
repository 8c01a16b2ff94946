package panel

import "time"

// A Button is one of the three at the cabinet.
type Button uint8

// The buttons. What none of them can do: reset a trip, or swear that something is mended.
const (
	NoButton Button = iota
	Confirm
	Silence
	Stop
	ButtonCount
)

func (b Button) String() string {
	return [ButtonCount]string{"no button", "confirm", "silence", "stop"}[min(b, ButtonCount-1)]
}

// How long a button is held before it does something, and what makes one that nobody
// can have meant: own magnitudes, no source. A second is what a sleeve or a drop of water
// does not do; three leave time to read that a batch cannot be taken up again. It does it
// once it is let go: a button that sticks, or whose wire is short, never is.
var holds = [ButtonCount]time.Duration{Confirm: time.Second, Silence: 100 * time.Millisecond, Stop: 3 * time.Second}

const (
	stuckAfter  = 30 * time.Second // pressed so long
	chatterMost = 30               // edges
	chatterIn   = 10 * time.Second // in this time
	quietFor    = 10 * time.Second // and again believed after this without an edge
)

// An Edge is a button that was pressed or let go, at a time of the kernel's clock.
type Edge struct {
	Button Button
	Down   bool
	At     time.Duration
}

// Held is what a person is doing: which button, for how long, of how long it takes.
type Held struct {
	Button  Button
	For, Of time.Duration
}

// Over reports whether it is held for long enough: it is done once it is let go.
func (h Held) Over() bool { return h.Of > 0 && h.For >= h.Of }

// Share is how much of it is done.
func (h Held) Share() float64 {
	if h.Of <= 0 {
		return 0
	}
	return min(1, float64(h.For)/float64(h.Of))
}

// Buttons is what is known of the three. The zero value has seen none pressed.
type Buttons struct {
	each [ButtonCount]button
}

type button struct {
	down, seen bool
	since      time.Duration // of the last edge
	spent      bool          // this press does nothing
	done       bool          // a press was long enough and is over
	bad        bool          // stuck or chattering: it does nothing until it has rested
	edges      int           // since chatterFrom
	from       time.Duration
}

// First takes in how a button stands when the program begins. One that is pressed then
// does nothing until it is let go: nobody has pressed it at anything that was shown.
func (b *Buttons) First(k Button, down bool, at time.Duration) {
	b.each[k] = button{down: down, seen: true, since: at, from: at, spent: down}
}

// Take takes in an edge.
func (b *Buttons) Take(e Edge) {
	if e.Button == NoButton || e.Button >= ButtonCount {
		return
	}
	k := &b.each[e.Button]
	if e.At-k.from > chatterIn {
		k.from, k.edges = e.At, 0
	}
	if k.edges++; k.edges > chatterMost {
		k.bad = true
	}
	held := e.At - k.since
	k.done = k.done || !e.Down && k.down && !k.spent && !k.bad && held >= holds[e.Button] && held < stuckAfter
	k.since, k.seen, k.down = e.At, true, e.Down
	k.spent = false
	if !e.Down {
		return
	}
	for i := range b.each { // two at once are a hand that wipes; one that sticks is no hand
		if other := &b.each[i]; other != k && other.down && !other.bad {
			other.spent, k.spent = true, true
		}
	}
}

// At is what the buttons do at a time: the one that was let go after it had been held for
// long enough, alone, once a press.
func (b *Buttons) At(now time.Duration) (does Button) {
	for i := range b.each {
		k := &b.each[i]
		if k.down && now-k.since >= stuckAfter {
			k.bad = true
		}
		if k.bad && !k.down && now-k.since >= quietFor {
			k.bad, k.edges, k.from = false, 0, now
		}
		if k.done && !k.bad && does == NoButton {
			does = Button(i)
		}
		if k.bad || does == Button(i) {
			k.done = false
		}
	}
	return does
}

// Held is what a person is doing at a time.
func (b *Buttons) Held(now time.Duration) Held {
	for i := range b.each {
		if k := &b.each[i]; k.down && !k.spent && !k.bad {
			return Held{Button: Button(i), For: now - k.since, Of: holds[i]}
		}
	}
	return Held{}
}

// Bad names the first button that is stuck or chatters.
func (b *Buttons) Bad() (Button, bool) {
	for i := range b.each {
		if b.each[i].bad {
			return Button(i), true
		}
	}
	return NoButton, false
}
