package record

import (
	"context"
	"errors"
	"fmt"

	"fumarium/controller"
)

// A Receipt is for a step that took a command: with it, whoever gave the command waits
// until it is on disk. The step itself does not wait.
type Receipt struct {
	// Lost says that the step is lost, because too many wait to be written.
	Lost bool

	batch        bool         // there is one, whose record the command belongs to
	record, mark <-chan error // nil is nothing to wait for
	over         bool         // mark says that the batch is over
}

// ErrNoRecord is the error of a command that nothing keeps.
var ErrNoRecord = errors.New("no batch is under way whose record could hold it, and a restart forgets it")

// Wait waits until the command is on disk. The error says why it is not, and what
// becomes of it then.
func (r Receipt) Wait(ctx context.Context) error {
	mark := answered(ctx, r.mark)
	if !r.batch {
		if r.mark == nil {
			return ErrNoRecord
		}
		return undone(mark)
	}
	switch err := answered(ctx, r.record); {
	case err == nil:
		return undone(mark)
	case mark == nil && r.over:
		return fmt.Errorf("%w; all the same no restart goes on with the batch", err)
	default:
		return undone(err)
	}
}

func undone(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w; a crash or a power cut before it is there undoes it", err)
}

func answered(ctx context.Context, told <-chan error) error {
	if told == nil {
		return nil
	}
	select { // what is known already counts, also when ctx is over
	case err := <-told:
		return err
	default:
	}
	select {
	case err := <-told:
		return err
	case <-ctx.Done():
		return errors.New("the disk has not answered yet")
	}
}

// errWaits is why a step in a crowd of blocks is not handed on at once.
var errWaits = errors.New("many steps wait to be written")

// receipt readies the open block for whoever waits for this step.
func (r *Recorder) receipt(in *controller.Inputs, mark <-chan error, s *controller.State) Receipt {
	got := Receipt{mark: mark, batch: r.open != nil, over: mark != nil && over(s.Batch) != controller.Idle}
	if r.open != nil && in.Command.Kind != controller.NoCommand {
		told := make(chan error, 1)
		r.open.told = append(r.open.told, told)
		got.record = told
	}
	return got
}
