package cabinet

import (
	"fmt"

	"fumarium/profile/source"
)

// A Panel is what hangs at the front of the cabinet: a display of 128 by 64 points, and
// buttons. The zero Panel has neither.
type Panel struct {
	// Display is the bus of an SSD1306: on I2C it has its usual address, on SPI a chip
	// select and a line of its own besides; "simulated" in a cabinet that exists only in
	// rehearsal, empty for none.
	Display string
	// DataLine tells a display on SPI what it is sent: low is a command, high a picture.
	DataLine Wire
	Line     int // of the file, for messages
	// Confirm answers the hand step that is shown, Silence ends the noise, Stop the batch.
	// A button closes to ground against a pull-up unless the file says otherwise.
	Confirm, Silence, Stop Wire
}

// Buttons are those of the panel with their names, in the order of the file's keys.
func (p *Panel) Buttons() []struct {
	Name string
	Wire Wire
} {
	return []struct {
		Name string
		Wire Wire
	}{{"confirm", p.Confirm}, {"silence", p.Silence}, {"stop", p.Stop}}
}

// HasButtons reports whether there is any button.
func (p *Panel) HasButtons() bool { return p.Confirm.Fitted || p.Silence.Fitted || p.Stop.Fitted }

// Fitted reports whether there is any of it.
func (p *Panel) Fitted() bool {
	return p.Display != "" || p.HasButtons()
}

// panel reads what hangs at the front.
func (r *reader) panel(m *source.Map) Panel {
	if m == nil {
		return Panel{}
	}
	p := Panel{Line: m.Line()}
	display := m.Take("display")
	p.DataLine = r.wire(m.Take("data line").Map(), false)
	if display.Present() {
		p.Display = display.Text()
		r.world(display, p.Display)
		r.display(m, display, &p)
	} else if p.DataLine.Fitted {
		m.FaultAt("data line", "there is no display that it could belong to", "add display: …, or remove the key")
	}
	for _, b := range []struct {
		key string
		to  *Wire
	}{{"confirm", &p.Confirm}, {"silence", &p.Silence}, {"stop", &p.Stop}} {
		v := m.Take(b.key)
		if button := v.Map(); button != nil {
			said := button.Has("polarity")
			*b.to = r.wire(button, false)
			b.to.ActiveLow = b.to.ActiveLow || !said
		}
	}
	if !p.Fitted() && !p.DataLine.Fitted {
		m.Fault("a panel with nothing on it", "name what there is: display, confirm, silence, stop; or remove the key")
	}
	m.Done()
	return p
}

// display gives the display's bus its one name, and finds what does not go with it.
func (r *reader) display(m *source.Map, v source.Value, p *Panel) {
	if p.Display == Simulated {
		return
	}
	kind, bus, chipSelect, ok := ParseBus(p.Display)
	switch {
	case !ok || kind != I2C && kind != SPI:
		v.Fault("the display hangs on no such bus", "name the bus of an SSD1306, such as display: I2C1 for one at address 0x3C, or SPI1.0")
		return
	case kind == SPI && !p.DataLine.Fitted:
		m.Fault("a display on SPI needs the key data line", "name the pin that its D/C is wired to, such as data line: {pin: GPIO22}")
	case kind == I2C && p.DataLine.Fitted:
		m.FaultAt("data line", "a display on I2C has no line besides its bus", "remove the key")
	}
	p.Display = busName(kind, bus, chipSelect)
	if other, taken := r.places[p.Display]; taken && kind == SPI {
		v.Fault(fmt.Sprintf("the display and %q are both on %s", other.Name, p.Display), "give each a chip select of its own")
	}
}

// OnSPI reports whether the display hangs on SPI, where nobody hears whether it is there.
func (p *Panel) OnSPI() bool { return p.DataLine.Fitted }
