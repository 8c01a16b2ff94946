//go:build !linux

package bootclock

import (
	"errors"
	"time"
)

var began = time.Now()

func up() time.Duration { return time.Since(began) }

// Disciplined is known on Linux only.
func Disciplined() (bool, error) {
	return false, errors.New("only Linux says whether its clock is synchronised")
}
