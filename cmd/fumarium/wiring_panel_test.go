package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"

	"fumarium/controller/relay"
	"fumarium/sim/chips"
)

// A front side of lines that a test presses, and a display.
type pressed struct {
	*board
	began   time.Time
	keys    map[string]chan relay.Edge
	display *chips.SSD1306
}

func (p *pressed) EdgeClock() time.Duration { return time.Since(p.began) }
func (p *pressed) I2C(int) (i2c.Bus, error) { return chips.I2C{p.display}, nil }
func (p *pressed) Watch(o relay.Opts) (relay.Watched, error) {
	if o.Pin == p.refuse {
		return nil, errors.New("held by another; end it")
	}
	k := make(chan relay.Edge, 10)
	p.keys[o.Pin] = k
	return &pressedLine{edges: k}, nil
}

type pressedLine struct {
	edges chan relay.Edge
	once  sync.Once
}

func (l *pressedLine) Read() (bool, error) { return false, nil }
func (l *pressedLine) Close() error        { l.once.Do(func() { close(l.edges) }); return nil }
func (l *pressedLine) Next() (relay.Edge, error) {
	if e, open := <-l.edges; open {
		return e, nil
	}
	return relay.Edge{}, errors.New("closed")
}

const withFront = wired + "panel: {display: I2C1, confirm: {pin: GPIO5}, silence: {pin: GPIO6}, stop: {pin: GPIO13}}\n"

func TestWiringPanel(t *testing.T) {
	name := file(t, "front.yaml", withFront)
	synctest.Test(t, func(t *testing.T) {
		p := &pressed{board: newBoard(20), began: time.Now(), keys: map[string]chan relay.Edge{}, display: chips.NewSSD1306()}
		var out bytes.Buffer
		b := p.board.bench(&out)
		b.lines, b.buses = p, p
		done := make(chan error, 1)
		go func() { done <- b.panel(context.Background(), panelOptions{cabinet: name, last: 20 * time.Second}) }()
		time.Sleep(2 * time.Second)
		for pin, held := range map[string]time.Duration{"GPIO5": 1200 * time.Millisecond, "GPIO6": 300 * time.Millisecond, "GPIO13": 3200 * time.Millisecond} {
			p.keys[pin] <- relay.Edge{On: true, At: p.EdgeClock()}
			time.Sleep(held)
			p.keys[pin] <- relay.Edge{At: p.EdgeClock()}
			time.Sleep(time.Second)
		}
		lit := bytes.Count(p.display.Picture().Pix, []byte{255})
		assert.Greater(t, lit, 500)
		require.NoError(t, <-done)
		for _, said := range []string{"confirm was held", "acknowledge was held", "stop was held"} {
			assert.Equal(t, 1, strings.Count(out.String(), said), out.String())
		}
	})
	synctest.Test(t, func(t *testing.T) { // nothing answers where the display is to be
		p := &pressed{board: newBoard(20), began: time.Now(), keys: map[string]chan relay.Edge{}, display: chips.NewSSD1306()}
		p.display.Break(chips.BusError)
		var out bytes.Buffer
		b := p.board.bench(&out)
		b.lines, b.buses = p, p
		assert.Equal(t, exitBad, status(b.panel(context.Background(), panelOptions{cabinet: name, last: 5 * time.Second})))
		assert.Contains(t, out.String(), "no display at address 0x3C")
	})
	p := &pressed{board: newBoard(20), began: time.Now(), keys: map[string]chan relay.Edge{}, display: chips.NewSSD1306()}
	p.refuse = "GPIO6"
	var out bytes.Buffer
	b := p.board.bench(&out)
	b.lines, b.buses = p, p
	err := b.panel(t.Context(), panelOptions{cabinet: name})
	assert.Equal(t, exitCouldNo, status(err))
	assert.ErrorContains(t, err, "silence")
	assert.Equal(t, exitUsage, status(b.panel(t.Context(), panelOptions{})))
	assert.Equal(t, exitUsage, status(b.panel(t.Context(), panelOptions{cabinet: file(t, "bare.yaml", wired)})))
	assert.Equal(t, exitCouldNo, status(b.panel(t.Context(), panelOptions{cabinet: defaultCabinet})))
}
