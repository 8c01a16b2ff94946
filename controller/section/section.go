// Package section draws a cabinet cut open, from its file: chamber, wall, flue with damper,
// fan, element, generator, the product on its sticks or where it is instead, and a mark for
// each probe. It draws shape and no state: every part carries the class under which the page
// shows what it does, and every probe its name, so that the page can put the value beside it.
package section

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/quantity"
)

// Sizes that no file says, in centimetres; own magnitudes, no source. The wall is drawn as
// thick whatever it is.
const (
	wall      = 7.0
	flueWide  = 10.0
	flueHigh  = 12.0
	foot      = 4.0
	generator = 26.0 // from the wall to the outer edge of the generator
	beside    = 42.0 // room for a tub or a rail beside the cabinet
	margin    = 2.0
	mostSizes = 3.0 // a cabinet is drawn at most so much higher than wide
)

// escape keeps a name from being read as XML.
var escape = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

// pen writes shapes, in centimetres from the upper left corner.
type pen struct{ bytes.Buffer }

func (p *pen) put(format string, args ...any) { fmt.Fprintf(&p.Buffer, format+"\n", args...) }

func (p *pen) rect(class string, x, y, w, h float64) {
	p.put(`<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, class, x, y, w, h)
}

func (p *pen) line(class string, x1, y1, x2, y2 float64) {
	p.put(`<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, x1, y1, x2, y2)
}

// Draw draws the cabinet, with the product at its place; zero is no product there.
func Draw(c *cabinet.Cabinet, product *profile.Product, place profile.Place) []byte {
	w, h := float64(c.Rehearsal.Width)*100, float64(c.Rehearsal.Height)*100
	if w <= 0 || h <= 0 { // the file does not say; own magnitudes, no source
		w, h = 60, 120
	}
	// Thin lines and marks stay readable: every cabinet is drawn in the width of sixty
	// centimetres.
	h *= 60 / w
	h, w = math.Min(math.Max(h, 60*0.7), 60*mostSizes), 60
	left := margin
	if c.Smoke.Fitted {
		left += generator
	}
	aside := product != nil && place != 0 && place != profile.Chamber
	whole := left + w + 2*wall + margin
	if aside {
		whole += beside
	}
	high := flueHigh + 2*wall + h + foot + margin
	x, y := left+wall, flueHigh+wall // of the inside

	p := &pen{}
	p.put(`<svg xmlns="http://www.w3.org/2000/svg" class="section" viewBox="0 0 %.1f %.1f">`, whole, high)
	p.rect("wall", left, flueHigh, w+2*wall, h+2*wall)
	for at := -h; at < w+2*wall; at += 5 { // hatched where it is cut
		hatch(p, left, flueHigh, w+2*wall, h+2*wall, at)
	}
	p.rect("inside", x, y, w, h)
	p.rect("foot", left+4, flueHigh+h+2*wall, 5, foot)
	p.rect("foot", left+w+2*wall-9, flueHigh+h+2*wall, 5, foot)
	flue(p, x+w/2)
	if c.Damper.Fitted { // its drive sits beside the flue
		p.rect("drive", x+w/2+flueWide/2, flueHigh/2-3, 6, 6)
	}
	if c.Humidifier.Fitted {
		steamer(p, x+w-5, y+h-22)
	}
	if c.Cooler.Fitted {
		coil(p, x+4, y+6)
	}
	if c.Fan.Fitted {
		fan(p, x+w-11, y+11)
	}
	element(p, x, y+h-8, w)
	if c.Smoke.Fitted {
		smoke(p, left, y+h-14)
	}
	stick := y + h*0.27
	p.line("stick", x, stick, x+w, stick)
	px, py, cores := x, stick, place == 0 || place == profile.Chamber
	if aside {
		px, py = left+w+2*wall+6, high-margin-34
		if place == profile.IceWater {
			tub(p, px, py)
		} else {
			rail(p, px, py)
		}
	}
	spots := hang(p, product, px, py, h, aside)
	probes(p, c, x, y, w, h, cores, spots)
	p.put(`</svg>`)
	return p.Bytes()
}

// hatch draws one slanted line within a rectangle.
func hatch(p *pen, x, y, w, h, at float64) {
	x1, y1, x2, y2 := at, h, at+h, 0.0
	if x1 < 0 {
		y1, x1 = h+x1, 0
	}
	if x2 > w {
		y2, x2 = x2-w, w
	}
	if x1 < x2 {
		p.line("hatch", x+x1, y+y1, x+x2, y+y2)
	}
}

func flue(p *pen, x float64) {
	p.rect("flue", x-flueWide/2, 0, flueWide, flueHigh+wall)
	p.line("pipe", x-flueWide/2, 0, x-flueWide/2, flueHigh+wall)
	p.line("pipe", x+flueWide/2, 0, x+flueWide/2, flueHigh+wall)
	// The blade lies across the flue; the page turns it.
	p.put(`<g transform="translate(%.1f %.1f)"><line class="damper" x1="-4" y1="0" x2="4" y2="0"/></g>`, x, flueHigh/2)
}

func fan(p *pen, x, y float64) {
	p.put(`<g class="fan" transform="translate(%.1f %.1f)"><circle r="6.5"/>`, x, y)
	for turn := range 3 {
		p.put(`<ellipse cx="0" cy="-3" rx="1.7" ry="2.6" transform="rotate(%d)"/>`, turn*120)
	}
	p.put(`</g>`)
}

func element(p *pen, x, y, w float64) {
	p.put(`<path class="tray" d="M%.1f %.1fl3 4h%.1fl3 -4"/>`, x+8, y-12, w-22)
	p.put(`<path class="element" d="M%.1f %.1fh%.1f`, x, y, w*0.14)
	for range 5 {
		p.put(`l%.1f 5l%.1f -10l%.1f 5`, w*0.036, w*0.072, w*0.036)
	}
	p.put(`H%.1f"/>`, x+w)
	p.put(`<path class="locked" d="M%.1f %.1fl22 14m0 -14l-22 14"/>`, x+w/2-11, y-7)
}

func smoke(p *pen, wallAt, y float64) {
	p.put(`<g class="generator">`)
	p.rect("pot", wallAt-22, y-8, 14, 22)
	p.put(`<path class="pipe" d="M%.1f %.1fh%.1fm0 4h%.1f"/>`, wallAt-8, y-4, 8+wall, -8-wall)
	for i := range 6 {
		p.rect("chip", wallAt-20+float64(i%3)*3.6, y+8-float64(i/3)*3.6, 3, 3)
	}
	p.put(`</g>`)
}

// steamer is the humidifier's nozzle in the right wall, with the steam that shows when it is on.
func steamer(p *pen, x, y float64) {
	p.put(`<path class="nozzle" d="M%.1f %.1fh-4v3h4"/>`, x+5, y)
	p.put(`<path class="steam" d="M%.1f %.1fq-3 -2 0 -4t0 -4m-4 8q-3 -2 0 -4t0 -4"/>`, x-2, y)
}

// coil is the cooler's, with the cold that falls from it when it is on.
func coil(p *pen, x, y float64) {
	p.put(`<path class="coil" d="M%.1f %.1fh12q2 0 2 1.5t-2 1.5h-10q-2 0 -2 1.5t2 1.5h12"/>`, x, y)
	p.put(`<path class="chill" d="M%.1f %.1fv5m5 -5v5m5 -5v5"/>`, x+2, y+8)
}

func tub(p *pen, x, y float64) {
	p.put(`<path class="tub" d="M%.1f %.1fv30h34v-30"/>`, x-3, y+2)
	p.put(`<path class="water" d="M%.1f %.1fq4 -3 8.5 0t8.5 0t8.5 0t8.5 0"/>`, x-3, y+7)
}

func rail(p *pen, x, y float64) {
	p.put(`<path class="rail" d="M%.1f %.1fh36m-2 0v34m-32 0v-34"/>`, x-4, y)
}

// A spot is a place in the product where a core probe is drawn.
type spot struct{ x, y float64 }

// hang draws the product at its size, as many pieces as there is room for, and says where
// its cores are.
func hang(p *pen, product *profile.Product, x, y, h float64, aside bool) []spot {
	wide, across, long := 60.0, 4.0, h*0.36
	if aside {
		wide = 30
	}
	round := false
	if product != nil {
		across, long, round = sizes(&product.Shape, across, long)
	}
	across, long = min(max(across, 2.5), wide*0.5), min(max(long, 4), h*0.45)
	if aside {
		long = min(long, 24)
	}
	gap := max(across*0.35, 1.2)
	pieces := max(1, min(12, int((wide-4)/(across+gap))))
	first := x + (wide-float64(pieces)*(across+gap)+gap)/2
	p.put(`<g class="product">`)
	for i := range pieces {
		at := first + float64(i)*(across+gap)
		p.line("string", at+across/2, y, at+across/2, y+2.5)
		if round {
			p.put(`<circle cx="%.1f" cy="%.1f" r="%.1f"/>`, at+across/2, y+2.5+across/2, across/2)
			continue
		}
		p.put(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" rx="%.1f"/>`, at, y+2.5, across, long, min(across/2, 2))
	}
	p.put(`</g>`)
	spots := make([]spot, cabinet.MaxCoreProbes)
	for i := range spots {
		n := min(pieces-1, pieces*(len(spots)-i)/(len(spots)+1))
		spots[i] = spot{first + float64(n)*(across+gap) + across/2, y + 2.5 + long*(0.3+0.17*float64(i))}
		if round {
			spots[i].y = y + 2.5 + across/2
		}
	}
	return spots
}

// sizes are those of one piece as it hangs, in centimetres.
func sizes(s *profile.Shape, across, long float64) (float64, float64, bool) {
	cm := func(m quantity.Meters) float64 { return float64(m) * 100 }
	switch {
	case s.Diameter > 0 && s.Length > 0:
		across, long = cm(s.Diameter), cm(s.Length)
		if long > 10*across { // a ring hangs doubled over its stick
			long /= 2
		}
	case s.Diameter > 0:
		return cm(s.Diameter), cm(s.Diameter), true
	case s.Thickness > 0 && s.Length > 0:
		across, long = cm(s.Thickness), cm(s.Length)
	}
	return across, long, false
}

// probes marks each probe at the usual place of its role.
func probes(p *pen, c *cabinet.Cabinet, x, y, w, h float64, hung bool, spots []spot) {
	var chambers, cores int
	for i := range c.Probes {
		probe := &c.Probes[i]
		var at spot
		switch probe.Role {
		case cabinet.ChamberProbe:
			at = spot{x + 4, y + h*(0.42+0.2*float64(chambers))}
			chambers++
		case cabinet.CoreProbe:
			at = spots[min(cores, len(spots)-1)]
			cores++
		case cabinet.WetBulbProbe:
			at = spot{x + w*0.3, y + h*0.2}
		case cabinet.EmberProbe:
			at = spot{x - wall - 15, y + h - 10}
		default: // in the room
			at = spot{x + w + wall, y + h*0.06}
		}
		p.put(`<g class="probe" data-probe="%s" transform="translate(%.1f %.1f)"><circle class="spot" r="2.6"/><path class="cross" d="M-2 -2l4 4m0 -4l-4 4"/></g>`,
			escape.Replace(probe.Name), at.x, at.y)
	}
}
