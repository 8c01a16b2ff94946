package main

import (
	"slices"

	"fumarium/controller/cabinet"
	"fumarium/sim/fault"
)

// notLive are faults of what a running daemon has for real: its person, its clock, its
// disk and its own steps.
var notLive = []fault.Kind{fault.PowerCut, fault.Stall, fault.Away, fault.Careless, fault.RecordFailing, fault.DiskLow, fault.ClockStep}

// practice is what shall go wrong in each batch. In a real cabinet nothing is made up, and
// a fault is for a person who practises: the demonstration's own answers only what is
// asked.
func (o *runOptions) practice(c *cabinet.Cabinet) (faults []fault.Fault, err error) {
	if !c.Simulated() && (o.byHand || len(o.faults) > 0) {
		return nil, usage("--by-hand and --fault are for simulated cabinets; %q is a real one", c.Name)
	}
	if len(o.faults) > 0 && !o.byHand {
		return nil, usage("--fault is for practice; add --by-hand, and mend it yourself")
	}
	for _, text := range o.faults {
		f, err := fault.Parse(text)
		if err != nil {
			return nil, usage("--fault: %w", err)
		}
		if slices.Contains(notLive, f.Kind) {
			return nil, usage("--fault %s does not exist in a running daemon; rehearse has it", f.Kind)
		}
		faults = append(faults, f)
	}
	return faults, nil
}
