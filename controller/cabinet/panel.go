package cabinet

import "fumarium/profile/source"

// A Panel is what hangs at the front of the cabinet: a display of 128 by 64 points, and
// buttons. The zero Panel has neither.
type Panel struct {
	// Display is the I2C bus of an SSD1306 at its usual address; "simulated" in a cabinet
	// that exists only in rehearsal, empty for none.
	Display string
	Line    int // of the file, for messages
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
	if display := m.Take("display"); display.Present() {
		p.Display = display.Text()
		r.world(display, p.Display)
		if kind, _, _, ok := ParseBus(p.Display); p.Display != Simulated && (!ok || kind != I2C) {
			display.Fault("the display hangs on no such bus", "name the I2C bus of an SSD1306 at address 0x3C, such as display: I2C1")
		}
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
	if !p.Fitted() {
		m.Fault("a panel with nothing on it", "name what there is: display, confirm, silence, stop; or remove the key")
	}
	m.Done()
	return p
}
