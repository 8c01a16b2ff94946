package record

import "testing"

// HungDisk makes o's file lie on a disk whose next write or sync never comes back
// until answer is called. It begins to hang with hang.
func HungDisk(t testing.TB, o *Options) (hang, answer func()) {
	d := newDisk(t)
	o.vfs = faultVFS
	answers := make(chan struct{})
	return func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.fail = func(int, operation) int32 {
			<-answers
			return 0
		}
	}, func() { close(answers) }
}
