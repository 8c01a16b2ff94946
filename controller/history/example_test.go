package history_test

import (
	"fmt"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/sensors"
)

// Whoever steps a machine hands each step on, and draws and lists what comes of it.
func Example() {
	product := &profile.Product{Name: "caraway sticks", Stages: []profile.Stage{{Name: "dry"}, {Name: "cook"}}}
	state := controller.State{Batch: controller.Running}
	state.Chamber.Reading = sensors.At(52)

	var h history.History
	h.Begin("2026-11-25-1", product, state.Started)
	h.Add(time.Time{}, 0, &state, controller.Outputs{}, []controller.Event{{Kind: controller.StageBegan}})
	h.Add(time.Time{}, time.Second, &state, controller.Outputs{}, []controller.Event{
		{At: time.Second, Kind: controller.StageEnded, By: controller.EndedByTime},
		{At: time.Second, Kind: controller.StageBegan, Stage: 1},
	})
	events := h.Events()
	for i := range events {
		e := &events[i]
		fmt.Println(e.ID, history.KindName(e.Kind)+":", e.Text())
	}
	fmt.Println(h.Stages()[0].Name, "took", h.Stages()[0].Ended-h.Stages()[0].Began)
	// Output:
	// 2026-11-25-1/0.0 stage began: stage dry begins
	// 2026-11-25-1/1.0 stage ended: stage dry ends: its time is over
	// 2026-11-25-1/1.1 stage began: stage cook begins
	// dry took 1s
}
