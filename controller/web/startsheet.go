package web

import (
	"net/http"
	"slices"

	"fumarium/controller/snapshot"
	"fumarium/profile"
)

// A startSheet is what a person wants to know of a product before it is started: what to
// weigh, how long it yet rests, and what speaks against it. It is what the start would say.
type startSheet struct {
	Product        string       `json:"product"`
	MeatKilograms  float64      `json:"meat_kilograms"`
	BatchKilograms float64      `json:"batch_kilograms"`
	Weigh          []weighed    `json:"weigh"`
	Rest           restSheet    `json:"rest"`
	Findings       []string     `json:"findings"` // of check
	Doubts         []string     `json:"doubts"`   // of the probes
	Refused        bool         `json:"refused"`  // whatever reason is given
	ReasonNeeded   bool         `json:"reason_needed"`
	Stages         []sheetStage `json:"stages"`
}

// weighed is one thing on the scale. Part says where it goes.
type weighed struct {
	Name      string  `json:"name"`
	Kilograms float64 `json:"kilograms"`
	Part      string  `json:"part"` // meat, cure, pickle or other
}

// restSheet is how long the product has to lie in the cold before it is heated.
type restSheet struct {
	NeededSeconds float64  `json:"needed_seconds"`
	Why           string   `json:"why"`
	RestedSeconds *float64 `json:"rested_seconds"` // null: nobody has said when it was made
}

// sheetStage is one stage as the file has it.
type sheetStage struct {
	Name            string   `json:"name"`
	SetpointCelsius *float64 `json:"setpoint_celsius"` // null: no heat
}

// only says which field of an order is none of what is asked.
func (o *Order) only(what string, names ...string) *problem {
	for _, f := range append(o.fields(), field{"command", &o.Command, 0}) {
		if *f.value != "" && !slices.Contains(names, f.name) {
			return refuse(http.StatusUnprocessableEntity, "%s takes no %s; leave it out", what, f.name)
		}
	}
	return nil
}

// startSheet changes nothing, but reads and reckons: hence for who may start.
func (s *server) startSheet(w http.ResponseWriter, _ *http.Request, o *Order) *problem {
	if p := o.only("a start sheet", "product", "file", "product_yaml", "meat", "stuffed_at"); p != nil {
		return p
	}
	var request snapshot.Request
	if p := s.product(o, &request); p != nil {
		return p
	}
	rested, p := s.rested(o)
	if p != nil {
		return p
	}
	sheet := sheetOf(request.Product)
	need, why := request.Product.Rest()
	sheet.Rest = restSheet{NeededSeconds: need.Seconds(), Why: why}
	if o.StuffedAt != "" {
		v := rested.Seconds()
		sheet.Rest.RestedSeconds = &v
	}
	if s.Check != nil {
		s.parsing.Lock()
		_, found := s.Check(request.ProductName, request.ProductFile)
		s.parsing.Unlock()
		sheet.Findings, sheet.Refused = asked(found)
	}
	if snap := s.Loop.Snapshot(); snap != nil && snap.Cabinet != nil {
		sheet.Doubts = append(sheet.Doubts, NewStatus(snap, s.Now()).Doubts...)
	}
	sheet.ReasonNeeded = rested < need || len(sheet.Findings)+len(sheet.Doubts) > 0
	writeJSON(w, "application/json", http.StatusOK, sheet)
	return nil
}

func sheetOf(p *profile.Product) *startSheet {
	f := p.Formula
	sheet := &startSheet{Product: p.Name, MeatKilograms: float64(f.MeatMass()), BatchKilograms: float64(f.Mass()), Weigh: []weighed{}, Findings: []string{}, Doubts: []string{}, Stages: []sheetStage{}}
	for _, m := range f.Cut {
		sheet.Weigh = append(sheet.Weigh, weighed{m.Name, float64(m.Mass), "meat"})
	}
	pickled := len(f.Pickle.Items) > 0
	for _, c := range f.AllCures() {
		part := "cure"
		if pickled && c.Wet() {
			part = "pickle"
		}
		sheet.Weigh = append(sheet.Weigh, weighed{c.Name, float64(c.Mass), part})
	}
	for _, i := range f.Pickle.Items {
		sheet.Weigh = append(sheet.Weigh, weighed{i.Name, float64(i.Mass), "pickle"})
	}
	for _, i := range f.Other {
		sheet.Weigh = append(sheet.Weigh, weighed{i.Name, float64(i.Mass), "other"})
	}
	for _, stage := range p.Stages {
		one := sheetStage{Name: stage.Name}
		if stage.Heat {
			v := float64(stage.ChamberSetpoint)
			one.SetpointCelsius = &v
		}
		sheet.Stages = append(sheet.Stages, one)
	}
	return sheet
}
