package bootclock

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"fumarium/controller/record"
)

// /proc/uptime counts what CLOCK_BOOTTIME does (proc_uptime(5) and clock_gettime(2)), in
// hundredths of a second.
func TestUpIsTheTimeSinceBoot(t *testing.T) {
	this := This()
	before := this.Up()
	boot, uptime := record.ThisBoot()
	after := this.Up()
	require.NotEmpty(t, this.Boot)
	assert.Equal(t, boot, this.Boot)
	assert.LessOrEqual(t, before-10*time.Millisecond, uptime)
	assert.LessOrEqual(t, uptime, after)
}

// The states and flags are those of adjtimex(2).
func TestTheKernelsStateOfItsClock(t *testing.T) {
	for _, k := range []struct {
		state  int
		status int32
		want   bool
	}{
		{unix.TIME_OK, unix.STA_PLL, true},
		{unix.TIME_INS, unix.STA_PLL | unix.STA_INS, true}, // a leap second comes
		{unix.TIME_OK, 0, true},
		{unix.TIME_ERROR, unix.STA_UNSYNC, false}, // as after boot, and after setting it by hand
		{unix.TIME_OK, unix.STA_UNSYNC | unix.STA_PLL, false},
		{unix.TIME_ERROR, unix.STA_PLL, false},
	} {
		assert.Equal(t, k.want, disciplined(k.state, &unix.Timex{Status: k.status}), "%+v", k)
	}
	_, err := Disciplined()
	assert.NoError(t, err, "asking needs no privilege")
}
