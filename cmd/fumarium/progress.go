package main

import (
	"fmt"
	"io"
	"time"

	"fumarium/controller"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// progress writes one line over and over on a terminal, and nothing elsewhere.
type progress struct {
	w    io.Writer
	on   bool
	last time.Time
}

func newProgress(w io.Writer) *progress {
	return &progress{w: w, on: isTerminal(w), last: time.Now()}
}

// due limits the line to ten a second and hides it in runs that are over at once.
func (p *progress) due() bool {
	if !p.on || time.Since(p.last) < 100*time.Millisecond {
		return false
	}
	p.last = time.Now()
	return true
}

func (p *progress) rehearsal(elapsed time.Duration, s *controller.State, product *profile.Product) {
	if !p.due() {
		return
	}
	name := ""
	if stage := s.CurrentStage(product); stage != nil {
		name = stage.Name
	}
	fmt.Fprintf(p.w, "\r\033[Krehearsing %s: %s", name, quantity.FormatDuration(elapsed))
}

func (p *progress) count(done, of int, what string) {
	if !p.due() {
		return
	}
	fmt.Fprintf(p.w, "\r\033[K%d of %d %s", done, of, what)
}

func (p *progress) clear() {
	if p.on {
		fmt.Fprint(p.w, "\r\033[K")
	}
}
