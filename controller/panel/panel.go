// Package panel draws the small display that hangs at the cabinet, 128 by 64 points of
// one bit each, from a snapshot: chamber and core large, the question that waits or the
// alarm that presses most in words, and what its buttons are doing. It also decides what
// a press of a button means. It knows no bus and no clock: when it is, is handed in.
package panel

import (
	"fmt"
	"image"
	"math"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/proof"
	"fumarium/profile/quantity"
)

// Width and Height of the display in points.
const Width, Height = 128, 64

// How the display behaves: own magnitudes, no source.
const (
	turnEvery = 4 * time.Second  // a page stands so long
	oldAfter  = 5 * time.Second  // the controller's own limit for a late step
	restAfter = 30 * time.Minute // without a batch, an alarm or a press, until only a line wanders
	orbit     = time.Minute      // everything moves by a point, so that no point wears out
)

// A Frame is what the display shows.
type Frame struct {
	Picture *image.Gray // lit is 255
	// Question is what waits for a person and is in the words shown, on this page or
	// another; a press of confirm answers it and no other.
	Question controller.Question
	Asks     bool
}

// Hands are what people do at the display.
type Hands struct {
	Held    Held      // what a button that is pressed brings
	Touched time.Time // when one was last pressed
	Said    string    // what became of the last press, as long as it is to be read
}

// Look draws what the display shows of s at now.
func Look(s *snapshot.Snapshot, now time.Time, hands Hands) Frame {
	f := Frame{}
	f.Question, _, f.Asks = Asks(s)
	pages := pagesOf(s, now, hands)
	turn := int(now.Unix() / int64(turnEvery.Seconds()))
	p := pages[turn%len(pages)]
	if len(pages) > 1 {
		p.count = [2]int{turn%len(pages) + 1, len(pages)}
	}
	if s != nil && len(pages) == 1 && s.State.Batch == controller.Idle && hands.quiet() && now.Sub(hands.Touched) > restAfter && p.big != [2]string{} {
		f.Picture = wandering(s, now)
		return f
	}
	shift := int(now.Unix()/int64(orbit.Seconds())) % 4
	f.Picture = p.draw([4]image.Point{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}}[shift], s != nil && s.Simulated)
	return f
}

func (h Hands) quiet() bool { return h.Held.Button == NoButton && h.Said == "" }

// Asks is the question that a button can answer, with its words. How long somebody was away
// none can.
func Asks(s *snapshot.Snapshot) (q controller.Question, text string, asks bool) {
	if s == nil {
		return q, "", false
	}
	p, waits := s.State.Waiting(s.Product)
	if !waits || p.Question.Absence > 0 {
		return q, "", false
	}
	return p.Question, p.Text, true
}

// A page is one picture before it is drawn: a head, and either words or two numbers.
type page struct {
	head  string
	sign  sign
	count [2]int // which of how many
	body  []string
	big   [2]string
	under [2]string // below each number
	foot  string
	bar   float64 // share of a press that has been held
	loud  bool    // light ground
}

// pagesOf says what there is to show, one page after the other.
func pagesOf(s *snapshot.Snapshot, now time.Time, hands Hands) []page {
	switch {
	case s == nil:
		return words(page{head: "starting"}, "No step yet. The heater is off.")
	case now.Sub(s.Stepped) > oldAfter:
		return words(page{head: "OLD", loud: true}, "No step for "+quantity.FormatDuration(now.Sub(s.Stepped).Round(time.Second))+". Look at the cabinet itself.")
	}
	switch {
	case hands.Held.Button != NoButton:
		return []page{pressed(s, hands.Held)}
	case hands.Said != "":
		return []page{{head: "panel", body: fitted(hands.Said, perPage), loud: true}}
	}
	numbers := numbersOf(s)
	st := &s.State
	if s.Stopping {
		return words(page{head: "ending"}, "The program ends. The heater is off.")
	}
	if pressing := s.Pressing(); len(pressing) > 0 {
		code := pressing[0]
		e := code.Entry()
		here := controller.PartsOf(s.Cabinet)
		head := page{head: e.Priority.String(), sign: sign(e.Priority)}
		// An alarm that somebody knows of leaves the display to a question.
		if st.Alarms[code].Calls() || !st.Asking {
			return append(words(head, firstSentence(e.Meaning)+" "+e.Do(here)), numbers)
		}
	}
	if p, ok := st.Waiting(s.Product); ok {
		if p.Question.Absence > 0 {
			return append(words(page{head: "to do", sign: askSign}, p.Text+" Answer it on the page: it wants a length of time."), numbers)
		}
		return append(words(page{head: "to do", sign: askSign}, strings.TrimSuffix(p.Text, ".")+". Then hold CONFIRM."), numbers)
	}
	if good, _, known := s.Ending(); known {
		return append(words(page{head: map[bool]string{true: "good", false: "NOT GOOD"}[good]}, ending(s)), numbers)
	}
	return []page{numbers}
}

// numbersOf is the page that stands when nothing presses.
func numbersOf(s *snapshot.Snapshot) page {
	st := &s.State
	p := page{head: st.Batch.String(), big: [2]string{large(st.Chamber.Reading.Value()), large(st.Core.Coldest.Value())}, under: [2]string{"chamber", "core"}}
	if st.Heater.HasSetpoint {
		p.under[0] = "of " + short(st.Heater.Setpoint)
	}
	stage := st.CurrentStage(s.Product)
	if stage == nil {
		p.foot = "heater off"
		return p
	}
	if st.Batch == controller.Running {
		p.head = stage.Name
	}
	for _, c := range stage.Until.Conditions {
		switch c.Kind {
		case profile.After:
			if left := c.After - s.StageElapsed(); left > 0 && !st.Asking {
				p.foot = quantity.FormatDuration(left.Round(time.Minute))
			}
		case profile.CoreAtLeast, profile.CoreAtMost:
			p.under[1] = "to " + short(c.Core)
		}
	}
	if next := st.Stage + 1; next < len(s.Product.Stages) && st.Batch == controller.Running {
		then := s.Product.Stages[next].Name
		if p.foot == "" {
			p.foot = "then " + then
		} else if longer := p.foot + ", " + then; len([]rune(longer)) <= perLine {
			p.foot = longer
		}
	}
	if st.Tripped != trip.None {
		p.foot = "heat locked off"
	}
	return p
}

// pressed is what a held button brings, and how far it is.
func pressed(s *snapshot.Snapshot, held Held) page {
	p := page{bar: held.Share(), loud: true}
	switch held.Button {
	case Confirm:
		p.head = "confirm"
		if _, text, asks := Asks(s); asks {
			p.body = fitted(text, 2)
		} else {
			p.body, p.bar = fitted("Nothing waits for an answer.", 2), 0
			return p
		}
	case Silence:
		p.head, p.body = "silence", fitted("Ends the noise of every alarm.", 2)
	case Stop:
		p.head = fmt.Sprintf("stop in %d", int(math.Ceil((held.Of - held.For).Seconds())))
		p.body = fitted("Let go to keep the batch.", 2)
		if !s.State.Batch.Active() {
			p.head, p.body, p.bar = "stop", fitted("There is no batch to stop.", 2), 0
			return p
		}
	}
	if held.Over() {
		p.head = "let go"
		if held.Button == Stop {
			p.body = fitted("Now the batch ends.", 2)
		}
	}
	return p
}

// large writes a temperature for the big digits: without decimals from 100 up, where
// there is no room, and a dash where nothing is read.
func large(t quantity.Celsius, ok bool) string {
	switch {
	case !ok:
		return "--"
	case t >= 99.95 || t <= -9.95:
		return quantity.Fixed(float64(t), 0)
	}
	return quantity.Fixed(float64(t), 1)
}

func short(t quantity.Celsius) string {
	if t == quantity.Celsius(int(t)) {
		return quantity.Fixed(float64(t), 0)
	}
	return quantity.Fixed(float64(t), 1)
}

// ending says in a few words what the page says in full.
func ending(s *snapshot.Snapshot) string {
	text := s.State.Batch.String() + "."
	v, ok := s.Verdict()
	if !ok {
		return text
	}
	for _, a := range []struct {
		answer proof.Answer
		word   string
	}{{proof.NotMet, " Not met: "}, {proof.NotShown, " Not shown: "}, {proof.Met, " Met: "}} {
		if rules := v.Answering(a.answer); len(rules) > 0 {
			text += a.word + strings.Join(rules, ", ") + "."
		}
	}
	return text + " The page says why. An aid, no release of food."
}

// firstSentence is what an alarm means, in short.
func firstSentence(text string) string {
	if i := strings.IndexAny(text, ".:;"); i > 0 {
		return text[:i] + "."
	}
	return text
}
