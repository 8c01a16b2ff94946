package main

import (
	"fmt"
	"io"

	"fumarium/controller/record"
	"fumarium/sim"
)

// learn applies what batches have taught of the setup's product in its cabinet: those of a
// real one, or else simulated ones.
func (o *rehearseOptions) learn(s sim.Setup) (sim.Setup, error) {
	for _, world := range []record.World{record.Real, record.Simulated} {
		l, err := lessonFor(o.taught, world, s.Cabinet, s.Product)
		if err != nil {
			return s, couldNot(err)
		}
		if l != nil {
			o.lesson = l
			return l.Learned.Of(s), nil
		}
	}
	return s, usage("--taught %s: no batch of %s in the %s has taught anything; see fumarium teach", o.taught, familyOf(s.Product), s.Cabinet.Name)
}

// printLesson says what was rehearsed with.
func (o *rehearseOptions) printLesson(w io.Writer) {
	if o.lesson != nil {
		fmt.Fprintf(w, "%s\n", shown(o.lesson.String()))
	}
}
