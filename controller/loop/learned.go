package loop

import (
	"fumarium/controller"
	"fumarium/controller/snapshot"
)

// experiment puts what the cabinet learns by into a request, or says why it cannot.
func (l *Loop) experiment(r *snapshot.Request) (why string) {
	s := l.Snapshot()
	if s == nil {
		return controller.ChamberUnread.String()
	}
	chamber, known := s.State.Chamber.Reading.Value()
	if !known {
		return controller.ChamberUnread.String()
	}
	p, file, err := controller.Experiment(s.Cabinet, chamber)
	if err != nil {
		return err.Error()
	}
	r.Product, r.ProductName, r.ProductFile = p, controller.ExperimentFile, file
	return ""
}

// Learned hands in what the cabinet has learned, to be shown from the next step on. Where
// it brings a cabinet, that one takes the place of the old as soon as no batch is under
// way: it must be the same but for what was learned. Any goroutine may call it.
func (l *Loop) Learned(found *snapshot.Learned) { l.learned.Store(found) }

// adopt goes by what the cabinet has learned, between two batches.
func (l *Loop) adopt() {
	found := l.learned.Load()
	if found == nil || found.Cabinet == nil || found.Cabinet == l.cfg.Cabinet || l.state.Batch.Active() {
		return
	}
	next, err := controller.New(l.machine.Product(), found.Cabinet)
	if err != nil { // it was parsed and can be controlled, or it would not have been handed in
		l.cfg.Log.Error("what was learned cannot be gone by", "err", err)
		l.learned.Store(nil)
		return
	}
	l.cfg.Cabinet, l.cfg.CabinetFile.Data, l.machine = found.Cabinet, found.File, next
}
