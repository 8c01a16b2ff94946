package bootclock

import (
	"fmt"
	"time"

	"golang.org/x/sys/unix"
)

// up is CLOCK_BOOTTIME: unlike the monotonic clock it goes on while the computer sleeps.
func up() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		panic(fmt.Sprintf("bootclock: CLOCK_BOOTTIME: %v", err)) // Linux has it since 2.6.39
	}
	return time.Duration(t.Nano())
}

// Disciplined asks the kernel whether its clock follows a reference now. At boot it does
// not, whatever a clock chip said; systemd-timesyncd, and chrony with rtcsync, say so once
// they have set it; to set it by hand takes that back, and so do some hours without a word
// from the reference. Asking needs no privilege, but a system call that ProtectClock= of
// systemd forbids.
func Disciplined() (bool, error) {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	if err != nil {
		return false, fmt.Errorf("the kernel does not say whether its clock is synchronised: %w; allow the system call adjtimex", err)
	}
	return disciplined(state, &t), nil
}

func disciplined(state int, t *unix.Timex) bool {
	return state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
}
