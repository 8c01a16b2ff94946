package chart_test

import (
	"bytes"
	"fmt"
	"strings"

	"fumarium/controller/chart"
)

func Example() {
	figure := chart.Figure{
		Title: "Juniper venison sticks",
		Width: 700,
		Panels: []chart.Panel{{
			Title: "Temperature", Unit: "°C",
			Series: []chart.Series{
				{Name: "core", Points: []chart.Point{{X: 0, Y: 6}, {X: 3600, Y: 31}, {X: 9000, Y: 58}, {X: 14400, Y: 71}}},
				{Name: "setpoint", Style: chart.Reference, Step: true, Points: []chart.Point{{X: 0, Y: 45}, {X: 2700, Y: 60}, {X: 9900, Y: 80}, {X: 14400, Y: 80}}},
			},
			Rules: []chart.Rule{{Y: 71, Label: "core target 71 °C"}},
		}},
		Spans: []chart.Span{
			{From: 0, To: 2700, Label: "dry", Shade: 0},
			{From: 2700, To: 9900, Label: "smoke", Shade: 1},
			{From: 9900, To: 14400, Label: "cook", Shade: 2},
		},
		Marks: []chart.Mark{{X: 2700, Label: "Light the smoke generator"}},
	}
	var svg bytes.Buffer
	if err := figure.WriteSVG(&svg); err != nil {
		fmt.Println(err)
		return
	}
	_, rest, _ := strings.Cut(svg.String(), "<desc>")
	description, _, _ := strings.Cut(rest, "</desc>")
	fmt.Println(strings.ReplaceAll(description, ". ", ".\n"))
	// Output:
	// Time from 0 s to 4 h.
	// Temperature, °C: core 6.0 to 71.0, last 71.0; setpoint 45.0 to 80.0, last 80.0.
	// Stages: dry 45 min, smoke 2 h, cook 1 h 15 min.
	// Events: at 45 min Light the smoke generator.
}
