package snapshot_test

import (
	"fmt"

	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
	"fumarium/sensors"
)

// What could not be read says so, and before a batch there is nothing to judge.
func ExampleSnapshot_Probes() {
	s := snapshot.Snapshot{Cabinet: &cabinet.Cabinet{Probes: []cabinet.Probe{
		{Name: "upper rack", Role: cabinet.ChamberProbe}, {Name: "thick end", Role: cabinet.CoreProbe},
	}}}
	s.Inputs.Chamber[0] = sensors.At(60)
	for _, p := range s.Probes() {
		t, ok := p.Reading.Value()
		fmt.Println(p.Name, t, ok)
	}
	_, judged := s.Verdict()
	fmt.Println("judged:", judged)
	// Output:
	// upper rack 60 °C true
	// thick end 0 °C false
	// judged: false
}
