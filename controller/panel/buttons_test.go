package panel_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"fumarium/controller/panel"
)

// play puts edges to the buttons, looks every 100 ms, and gives what was done when.
func play(first map[panel.Button]bool, until time.Duration, edges ...panel.Edge) (does []panel.Button, when []time.Duration, b *panel.Buttons) {
	b = &panel.Buttons{}
	for k, down := range first {
		b.First(k, down, 0)
	}
	for now := time.Duration(0); now <= until; now += 100 * time.Millisecond {
		for len(edges) > 0 && edges[0].At <= now {
			b.Take(edges[0])
			edges = edges[1:]
		}
		if k := b.At(now); k != panel.NoButton {
			does, when = append(does, k), append(when, now)
		}
	}
	return does, when, b
}

func down(b panel.Button, at time.Duration) panel.Edge {
	return panel.Edge{Button: b, Down: true, At: at}
}
func up(b panel.Button, at time.Duration) panel.Edge { return panel.Edge{Button: b, At: at} }

func TestPresses(t *testing.T) {
	const s, ms = time.Second, time.Millisecond
	for name, c := range map[string]struct {
		first map[panel.Button]bool
		edges []panel.Edge
		does  []panel.Button
		at    time.Duration
		bad   panel.Button
	}{
		"a tap does nothing":               {edges: []panel.Edge{down(panel.Confirm, s), up(panel.Confirm, 1900*ms)}},
		"a second confirms":                {edges: []panel.Edge{down(panel.Confirm, s), up(panel.Confirm, 2000*ms)}, does: []panel.Button{panel.Confirm}, at: 2 * s},
		"once a press":                     {edges: []panel.Edge{down(panel.Confirm, s), up(panel.Confirm, 20*s)}, does: []panel.Button{panel.Confirm}, at: 20 * s},
		"twice for two":                    {edges: []panel.Edge{down(panel.Confirm, s), up(panel.Confirm, 3*s), down(panel.Confirm, 4*s), up(panel.Confirm, 6*s)}, does: []panel.Button{panel.Confirm, panel.Confirm}, at: 3 * s},
		"a tap ends the noise":             {edges: []panel.Edge{down(panel.Silence, s), up(panel.Silence, 1200*ms)}, does: []panel.Button{panel.Silence}, at: 1200 * ms},
		"two seconds do not stop":          {edges: []panel.Edge{down(panel.Stop, s), up(panel.Stop, 3900*ms)}},
		"three stop":                       {edges: []panel.Edge{down(panel.Stop, s), up(panel.Stop, 5*s)}, does: []panel.Button{panel.Stop}, at: 5 * s},
		"a hand that wipes does nothing":   {edges: []panel.Edge{down(panel.Confirm, s), down(panel.Stop, 1500*ms), up(panel.Confirm, 9*s), up(panel.Stop, 9*s)}},
		"nor once one of them is let go":   {edges: []panel.Edge{down(panel.Confirm, s), down(panel.Stop, 1500*ms), up(panel.Confirm, 2*s), up(panel.Stop, 9*s)}},
		"pressed from the beginning":       {first: map[panel.Button]bool{panel.Stop: true}, edges: []panel.Edge{up(panel.Stop, 20*s)}},
		"from the beginning, then pressed": {first: map[panel.Button]bool{panel.Stop: true}, edges: []panel.Edge{up(panel.Stop, s), down(panel.Stop, 2*s), up(panel.Stop, 6*s)}, does: []panel.Button{panel.Stop}, at: 6 * s},
		"one while another is let go":      {edges: []panel.Edge{down(panel.Silence, s), up(panel.Silence, 1200*ms), down(panel.Confirm, 1250*ms), up(panel.Confirm, 1500*ms)}, does: []panel.Button{panel.Silence}, at: 1200 * ms},
		"wiped between two looks":          {edges: []panel.Edge{down(panel.Silence, s), down(panel.Confirm, 1010*ms), up(panel.Confirm, 1020*ms), up(panel.Silence, 1190*ms)}},
		"stuck is said, and does nothing":  {edges: []panel.Edge{down(panel.Confirm, s)}, bad: panel.Confirm},
		"one sticks, the next works":       {edges: []panel.Edge{down(panel.Silence, s), down(panel.Confirm, 40*s), up(panel.Confirm, 42*s)}, does: []panel.Button{panel.Confirm}, at: 42 * s, bad: panel.Silence},
		"nearly stuck":                     {edges: []panel.Edge{down(panel.Stop, s), up(panel.Stop, 30900*ms)}, does: []panel.Button{panel.Stop}, at: 30900 * ms},
		"stuck from the beginning is said": {first: map[panel.Button]bool{panel.Silence: true}, bad: panel.Silence},
		"stuck, then let go for long":      {edges: []panel.Edge{down(panel.Confirm, s), up(panel.Confirm, 40*s)}},
	} {
		t.Run(name, func(t *testing.T) {
			does, when, b := play(c.first, time.Minute, c.edges...)
			assert.Equal(t, c.does, does)
			if len(when) > 0 {
				assert.Equal(t, c.at, when[0])
			}
			bad, is := b.Bad()
			assert.Equal(t, c.bad, bad)
			assert.Equal(t, c.bad != panel.NoButton, is)
		})
	}
}

// A contact that chatters is not believed, until it has been quiet.
func TestAChatteringButtonDoesNothing(t *testing.T) {
	var edges []panel.Edge
	at := time.Second
	for range 40 {
		edges = append(edges, down(panel.Stop, at), up(panel.Stop, at+50*time.Millisecond))
		at += 100 * time.Millisecond
	}
	edges = append(edges, down(panel.Stop, at), up(panel.Stop, at+5*time.Second))
	does, _, b := play(nil, at+6*time.Second, edges...)
	assert.Empty(t, does)
	_, bad := b.Bad()
	assert.True(t, bad)
	at += 30 * time.Second
	does, _, b = play(nil, at+6*time.Second, append(edges, down(panel.Stop, at), up(panel.Stop, at+5*time.Second))...)
	assert.Equal(t, []panel.Button{panel.Stop}, does, "after a rest")
	_, bad = b.Bad()
	assert.False(t, bad)
}

// Whatever hands do, nothing is done that was not held for its time, alone.
func TestNothingIsDoneThatWasNotHeld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type press struct {
			b        panel.Button
			from, to time.Duration
		}
		var edges []panel.Edge
		var presses []press
		at := map[panel.Button]time.Duration{}
		is := map[panel.Button]bool{}
		now := time.Duration(0)
		for range rapid.IntRange(0, 60).Draw(t, "edges") {
			now += time.Duration(rapid.IntRange(1, 5000).Draw(t, "ms")) * time.Millisecond
			b := panel.Button(rapid.IntRange(1, 3).Draw(t, "button"))
			is[b] = !is[b]
			edges = append(edges, panel.Edge{Button: b, Down: is[b], At: now})
			if is[b] {
				at[b] = now
			} else {
				presses = append(presses, press{b, at[b], now})
			}
		}
		for b, down := range is {
			if down {
				presses = append(presses, press{b, at[b], now + time.Hour})
			}
		}
		least := map[panel.Button]time.Duration{panel.Confirm: time.Second, panel.Silence: 100 * time.Millisecond, panel.Stop: 3 * time.Second}
		does, when, _ := play(nil, now+10*time.Second, edges...)
		for i, b := range does {
			held := false
			for _, p := range presses {
				looked := when[i] - 100*time.Millisecond
				held = held || p.b == b && p.to-p.from >= least[b] && looked < p.to && p.to <= when[i]
			}
			if !held {
				t.Fatalf("%v was done at %v", b, when[i])
			}
		}
		seen := map[[2]time.Duration]bool{} // no press does two things
		for i, b := range does {
			for _, p := range presses {
				if p.b == b && when[i]-100*time.Millisecond < p.to && p.to <= when[i] {
					key := [2]time.Duration{p.from, time.Duration(b)}
					if seen[key] {
						t.Fatalf("one press of %v did two things", b)
					}
					seen[key] = true
				}
			}
		}
	})
}
