package web

import (
	"net"
	"net/http"
	"time"
)

// Routes lists the paths of h and their methods, for the test of the description.
func Routes(h http.Handler) map[string][]string {
	all := map[string][]string{}
	for _, r := range h.(*server).routes {
		all[r.path] = append(all[r.path], r.method)
	}
	return all
}

// Rendered is how often h has rendered something: charts, and all else.
func Rendered(h http.Handler) (charts, texts int) {
	s := h.(*server)
	for _, p := range []*press{s.charts, s.texts} {
		p.turn <- struct{}{}
		defer func() { <-p.turn }()
	}
	return s.charts.runs, s.texts.runs
}

// Narrow makes a gate smaller.
func (g *Gate) Narrow(most, reserved int, sure time.Duration) *Gate {
	g.most, g.reserved, g.sure = most, reserved, sure
	return g
}

// Admit gives c a place, or nil.
func (g *Gate) Admit(c net.Conn) net.Conn {
	if v := g.admit(c); v != nil {
		return v
	}
	return nil
}

// The limits that tests look at.
const (
	MaxBody        = maxBody
	MaxPhoto       = maxPhoto
	MostCommands   = mostCommands
	MostHeaderTime = mostHeaderTime
	MostReading    = mostReading
	MostWriting    = mostWriting
	MostIdle       = mostIdle
	MostHeader     = mostHeader
)
