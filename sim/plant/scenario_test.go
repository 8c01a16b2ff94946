package plant

import (
	"testing"
	"time"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/composition"
	"fumarium/profile/quantity"
)

// Builds and loads of our own.

func woolCabinet() cabinet.Rehearsal { // the example cabinet of 0.6 × 0.6 × 1.2 m
	return cabinet.Rehearsal{
		PastTray: 0.6,
		Width:    0.6, Depth: 0.6, Height: 1.2,
		Wall: []cabinet.Layer{
			{Material: "stainless", Thickness: 0.001}, {Material: "mineral wool", Thickness: 0.03},
			{Material: "sheet steel", Thickness: 0.001},
		},
		Racks: 5, Element: 0.8, Leak: 0.0037, Vent: 0.019, FanFlow: 0.2, FanExchange: 0.01, Humidifier: 1.5,
	}
}

func sheetBox() cabinet.Rehearsal { // a bare box of 0.05 m³
	return cabinet.Rehearsal{
		PastTray: cabinet.DefaultPastTray,
		Width:    0.35, Depth: 0.35, Height: 0.41,
		Wall:  []cabinet.Layer{{Material: "sheet steel", Thickness: 0.001}},
		Racks: 0.8, Element: 0.3, Leak: 0.0056, Vent: 0.0094, FanFlow: 0.05, FanExchange: 0.005, Humidifier: 0.3,
	}
}

func masonryRoom() cabinet.Rehearsal { // a walk-in of 4 m³
	return cabinet.Rehearsal{
		PastTray: cabinet.DefaultPastTray,
		Width:    1.2, Depth: 1.5, Height: 2.25,
		Wall:  []cabinet.Layer{{Material: "lime plaster", Thickness: 0.015}, {Material: "brick", Thickness: 0.24}},
		Racks: 25, Element: 4, Leak: 0.019, Vent: 0.094, FanFlow: 0.8, FanExchange: 0.03, Humidifier: 4,
	}
}

var sausageMeat = composition.Mix{Water: .60, Protein: .16, Fat: .21, Carbohydrate: .005, Ash: .025}

func stick(casing profile.Casing, millimeters float64) profile.Shape {
	return profile.Shape{Form: profile.Cylinder, Diameter: quantity.Meters(millimeters / 1000), Length: 0.25, Casing: casing}
}

func smallLoad() Config {
	return Config{
		Build: woolCabinet(), HeaterPower: 1500, Ambient: 20,
		Generator: cabinet.Generator{Lasts: 3 * time.Hour, Heat: 60, Air: 0.0005, Moisture: 0.15},
		Load:      Load{Shape: stick(profile.CollagenCasing, 21), Mix: sausageMeat, Mass: 5, Start: 10},
	}
}

func largeLoad() Config {
	return Config{
		Build: masonryRoom(), HeaterPower: 9000, Ambient: 12,
		Generator: cabinet.Generator{Lasts: 6 * time.Hour, Heat: 400, Air: 0.002, Moisture: 1},
		Load:      Load{Shape: stick(profile.FibrousCasing, 110), Mix: sausageMeat, Mass: 40, Start: 6},
	}
}

func build(t testing.TB, c Config) *Plant {
	t.Helper()
	p, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// hold runs the plant for some time with a plain thermostat, half a kelvin wide.
func hold(p *Plant, setpoint quantity.Celsius, dt time.Duration, d Drive) {
	for range dt / time.Second {
		if p.Chamber() < setpoint-0.25 {
			p.drive.Heater = true
		} else if p.Chamber() > setpoint+0.25 {
			p.drive.Heater = false
		}
		d.Heater = p.drive.Heater
		p.Advance(time.Second, d)
	}
}
