package loop

import "fumarium/profile/weighed"

// A weighing is what people weighed for one batch.
type weighing struct {
	batch string
	tally *weighed.Tally
}

// of is the tally if it is of that batch.
func (w *weighing) of(batch string) *weighed.Tally {
	if w == nil || w.batch != batch {
		return nil
	}
	return w.tally
}

// Weighed hands in what is on record of the weights of a batch, from the next step on. No
// step decides by it; what is said of the batch does. Any goroutine may call it.
func (l *Loop) Weighed(batch string, t *weighed.Tally) { l.weighed.Store(&weighing{batch, t}) }
