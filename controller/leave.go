package controller

// leaveOut goes on without the core probes that do not answer: a spare that was
// unplugged, a broken cable, a piece that was taken out early. The person answers for
// it, and the record says so. One that answers again counts again. The last one cannot
// be left out: a stage that waits for a core would never end, or end for nothing.
func (t *step) leaveOut() {
	var answering uint8
	for i, r := range t.in.Core {
		if _, ok := r.Value(); ok {
			answering |= 1 << i
		}
	}
	if answering &= t.s.coresInUse; answering == 0 {
		t.refuse(LastCore)
		return
	}
	t.s.coresInUse = answering
}
