//go:build !linux

package relay

import (
	"errors"
	"time"
)

// Kernel is a Host of the kernel's GPIO lines. Only Linux has them.
type Kernel struct{}

// A Chip is one GPIO chip of the machine.
type Chip struct {
	Path, Name, Label string
	Lines             int
	Err               error
}

var errSystem = errors.New("relay: this system has no GPIO character devices; relays need Linux")

// NewKernel opens nothing.
func NewKernel() *Kernel { return &Kernel{} }

// Chips finds none.
func (*Kernel) Chips() ([]Chip, error) { return nil, errSystem }

// Holder knows none.
func (*Kernel) Holder(Pin) (string, error) { return "", errSystem }

// Output refuses.
func (*Kernel) Output(Opts) (Line, error) { return nil, errSystem }

// Input refuses.
func (*Kernel) Input(Opts) (Line, error) { return nil, errSystem }

// Watch refuses.
func (*Kernel) Watch(Opts) (Watched, error) { return nil, errSystem }

// EdgeClock stands still.
func (*Kernel) EdgeClock() time.Duration { return 0 }
