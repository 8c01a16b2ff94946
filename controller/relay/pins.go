package relay

import (
	"errors"
	"fmt"

	"fumarium/controller/cabinet"
)

// A Pin is one output as it hangs on the machine: all that it takes to switch it off
// without the cabinet file.
type Pin struct {
	Output    string `json:"output"`         // heater, heater 2, smoke, humidifier, cooler, damper, fan, sounder or light
	Chip      string `json:"chip,omitempty"` // as in Opts
	Pin       string `json:"pin"`
	ActiveLow bool   `json:"active_low,omitempty"`
}

// String names a pin to people.
func (p Pin) String() string {
	text := p.Output + " on " + p.Pin
	if p.Chip != "" {
		text += " of " + p.Chip
	}
	return text
}

// SameLine reports whether both hang on one line, whatever they switch there.
func (p Pin) SameLine(other Pin) bool {
	return cabinet.SameLine(p.Chip, p.Pin, other.Chip, other.Pin)
}

// Pins are the outputs of a real cabinet, those that matter most first.
func Pins(c *cabinet.Cabinet) []Pin {
	var pins []Pin
	add := func(output, pin string, fitted, activeLow bool) {
		if fitted {
			pins = append(pins, Pin{output, c.LineChip, pin, activeLow})
		}
	}
	series := c.Heater.Series
	add("heater", c.Heater.Pin, c.Heater.Fitted, c.Heater.ActiveLow)
	add("heater 2", series.Pin, series.Fitted, series.ActiveLow)
	add("smoke", c.Smoke.Pin, c.Smoke.Fitted, c.Smoke.ActiveLow)
	add("humidifier", c.Humidifier.Pin, c.Humidifier.Fitted, c.Humidifier.ActiveLow)
	add("cooler", c.Cooler.Pin, c.Cooler.Fitted, c.Cooler.ActiveLow)
	add("damper", c.Damper.Pin, c.Damper.Fitted, c.Damper.ActiveLow)
	add("fan", c.Fan.Pin, c.Fan.Fitted, c.Fan.ActiveLow)
	add("sounder", c.Sounder.Pin, c.Sounder.Fitted, c.Sounder.ActiveLow)
	add("light", c.Light.Pin, c.Light.Fitted, c.Light.ActiveLow)
	return pins
}

// CutPins switches off every pin that it can get hold of, whatever may be wrong with
// the others, reads it back and lets go of it. It is Cut for when there is no cabinet
// file to go by.
func CutPins(pins []Pin, h Host) error {
	var all error
	for _, p := range pins {
		o := output{name: p.Output}
		line, err := h.Output(Opts{Chip: p.Chip, Pin: p.Pin, ActiveLow: p.ActiveLow, User: "fumarium " + p.Output})
		if err != nil {
			all = errors.Join(all, fmt.Errorf("relay: %s: %w", p, err))
			continue
		}
		o.line = line
		all = errors.Join(all, o.set(false))
		if err := line.Close(); err != nil {
			all = errors.Join(all, fmt.Errorf("relay: %s: %w", p, err))
		}
	}
	return all
}
