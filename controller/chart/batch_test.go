package chart

import (
	"math"
	"time"
)

// busyBatch is the harder case: two nights, short stages that no label fits,
// many events, several probes of one kind, no time of day.
func busyBatch(width int) Figure {
	f := Figure{Title: "Cold smoke in six turns, then a slow cook <test & \"quotes\">", Width: width}
	names := []string{"rest overnight in the cold room", "dry", "smoke", "air out"}
	t := 0.0
	for i := range 22 {
		long := []float64{9 * 3600, 1500, 3 * 3600, 420}[i%4]
		f.Spans = append(f.Spans, Span{From: t, To: t + long, Label: names[i%4], Shade: i})
		f.Marks = append(f.Marks, Mark{X: t + long/3, Label: "Turn the rods end for end and look at the colour of the casing", Abnormal: i%9 == 4})
		t += long
	}
	var cores [3][]Point
	var chamber, forecast []Point
	for x := 0.0; x < t; x += 60 {
		for k := range cores {
			y := 4 + float64(k)*5 + 30*(1-math.Exp(-x/(4e4+2e4*float64(k))))
			if k == 2 && int(x/60)%700 > 500 {
				y = math.Inf(1)
			}
			cores[k] = append(cores[k], Point{x, y})
		}
		y := 22 + 9*math.Sin(x/9000)
		if int(x/60) == 3000 {
			y = 55 // one spike, one sample wide
		}
		chamber = append(chamber, Point{x, y})
	}
	for x := t; x < t+6*3600; x += 600 {
		forecast = append(forecast, Point{x, 34 + (x-t)/1200})
	}
	f.Panels = []Panel{
		{Title: "Temperature", Unit: "°C", Height: 220, Series: []Series{
			{Name: "chamber", Points: chamber, Style: Secondary},
			{Name: "core 1", Points: cores[0]}, {Name: "core 2", Points: cores[1]}, {Name: "core 3", Points: cores[2]},
			{Name: "forecast", Points: forecast, Style: Forecast},
			{Name: "wet bulb", Style: Tertiary},
		}},
		{Title: "Moisture in the air", Unit: "g of water per kg of dry air", Height: 60},
	}
	return f
}

// A batch of our own, for looking at: every temperature answers the one before
// it with a first-order lag, which is smooth where a real one is and nowhere
// flat. It is a picture to draw, not a model of meat.
func cureBatch(width int, every float64) Figure {
	type stage struct {
		name     string
		setpoint float64 // °C; NaN when the heater is off
		ambient  float64 // what surrounds the product, for heater-off stages
		least    float64 // s
		core     float64 // °C to reach; NaN for none
		falling  bool
	}
	none := math.NaN()
	stages := []stage{
		{"dry", 45, 0, 45 * 60, none, false},
		{"smoke", 60, 0, 2 * 3600, none, false},
		{"cook", 80, 0, 0, 71, false},
		{"chill", none, 1.5, 0, 4, true},
		{"bloom", none, 16, 3600, none, false},
	}
	chamber, surface, core := 14.0, 9.0, 6.0
	var (
		t                                    float64
		fChamber, fSetpoint, fSurface, fCore []Point
		fDuty, fHumidity                     []Point
		spans                                []Span
		noise                                = uint32(7)
		random                               = func() float64 { noise = noise*1664525 + 1013904223; return float64(noise>>8)/(1<<24) - 0.5 }
		wet, asked, doorOpenAt, doorShutAt   = 0.9, 14.0, 2*3600.0 + 600, 2*3600.0 + 780
	)
	for i, s := range stages {
		begin := t
		for {
			in := t - begin
			duty := 0.0
			ambient := s.ambient
			if !math.IsNaN(s.setpoint) {
				asked += math.Min(s.setpoint-asked, every*40/3600) // the ramp
				ask := asked
				duty = math.Max(0, math.Min(1, 0.08*(ask-chamber)+(ask-14)/110+0.02*random()))
				if t > doorOpenAt && t < doorShutAt {
					chamber -= every * 0.12
				}
				chamber += every / 420 * (14 + 118*duty - chamber)
				ambient = chamber
				fSetpoint = append(fSetpoint, Point{t, ask})
			} else {
				chamber += every / 2400 * (14 - chamber)
				fSetpoint = append(fSetpoint, Point{t, none})
			}
			lag := 900.0
			if s.falling {
				lag = 240
			}
			surface += every / lag * (ambient - surface)
			core += every / (lag * 2.6) * (surface - core)
			wet += every / 5000 * (0.35 - wet)
			seen := core + 0.08*random()
			if t > 4*3600+900 && t < 4*3600+1380 { // the probe fell out of reach for a while
				seen = none
			}
			fChamber = append(fChamber, Point{t, chamber + 0.25*random()})
			fSurface = append(fSurface, Point{t, surface + 0.1*random()})
			fCore = append(fCore, Point{t, seen})
			fDuty = append(fDuty, Point{t, math.Round(duty*100) / 100})
			fHumidity = append(fHumidity, Point{t, 100 * (wet + 0.02*random())})
			t += every
			done := in >= s.least
			if !math.IsNaN(s.core) {
				done = core >= s.core
				if s.falling {
					done = core <= s.core
				}
			}
			if done || in > 9*3600 {
				break
			}
		}
		spans = append(spans, Span{From: begin, To: t, Label: s.name, Shade: i})
	}
	return Figure{
		Title:    "Juniper venison sticks",
		Subtitle: "4.8 kg in the simulated cabinet, 21 mm collagen casing",
		Footer:   "Simulated batch. A verdict here is an aid: for sale to others, a process authority and the local inspector decide.",
		Width:    width,
		Panels: []Panel{
			{Title: "Temperature", Unit: "°C", Height: 300, Series: []Series{
				{Name: "chamber", Points: fChamber, Style: Secondary},
				{Name: "setpoint", Points: fSetpoint, Style: Reference},
				{Name: "surface", Points: fSurface, Style: Faint},
				{Name: "core", Points: fCore, Style: Primary},
			}, Rules: []Rule{{71, "core target 71 °C"}}},
			{Title: "Heater duty", Height: 76, Ratio: true, Series: []Series{{Name: "Heater duty", Points: fDuty, Style: Area, Step: true}}},
			{Title: "Chamber humidity", Unit: "%", Height: 76, Min: new(0.0), Max: new(100.0), Series: []Series{{Name: "Chamber humidity", Points: fHumidity, Style: Secondary}}},
		},
		Spans: spans,
		Marks: []Mark{
			{X: spans[1].From, Label: "Light the smoke generator and open the damper a quarter"},
			{X: spans[1].From + 240, Label: "Smoke generator lit"},
			{X: doorOpenAt, Label: "Door open for 3 min", Abnormal: true},
			{X: 4*3600 + 900, Label: "Core probe gave no reading for 8 min", Abnormal: true},
			{X: spans[3].From, Label: "Move the sticks into ice water"},
		},
		ClockStart: time.Date(2026, 3, 14, 6, 40, 0, 0, time.UTC),
	}
}
