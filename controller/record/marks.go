package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"fumarium/controller"
	"fumarium/controller/trip"
)

// MarksFile is what the file of marks is called, in the state folder. FORMAT.md says
// what stands in it.
const MarksFile = "marks"

// Marks are the little that a real cabinet must not forget though its record cannot be
// written, or though it has no batch. They are written in place into room that was taken
// when the file was made, so that a full disk does not stand in their way.
type marks struct {
	trip  trip.Code             // the latched trip
	over  int64                 // this batch of the record and all before it are over
	ended controller.BatchState // how batch over ended; Idle when only a later one has begun
}

// In the file there are two of them, a page each, written in turn: one that is torn
// leaves the other.
const (
	markBytes = 4096
	markSlots = 2
)

// A markLine is a mark as the file has it.
type markLine struct {
	Written int64  `json:"written"` // counts up: the higher one holds
	Trip    string `json:"trip,omitempty"`
	Over    int64  `json:"over,omitempty"`
	Ended   string `json:"ended,omitempty"`
}

func (m marks) slot(n int64) []byte {
	w := markLine{Written: n, Over: m.over}
	if m.trip != trip.None {
		w.Trip = m.trip.String()
	}
	if m.ended != controller.Idle {
		w.Ended = m.ended.String()
	}
	text, err := json.Marshal(w)
	if err != nil {
		panic(err) // numbers and names
	}
	sum := sha256.Sum256(text)
	slot := append(bytes.Repeat([]byte{' '}, markBytes-1), '\n')
	copy(slot, hex.EncodeToString(sum[:])+" "+string(text)+"\n")
	return slot
}

// readSlot is false for a slot that was not written whole.
func readSlot(slot []byte) (w markLine, ok bool) {
	line, _, _ := strings.Cut(string(slot), "\n")
	sum, text, _ := strings.Cut(line, " ")
	is := sha256.Sum256([]byte(text))
	return w, hex.EncodeToString(is[:]) == sum && json.Unmarshal([]byte(text), &w) == nil
}

func (w markLine) marks() (m marks, err error) {
	m.over = w.Over
	if w.Trip != "" {
		var ok bool
		if m.trip, ok = trip.Parse(w.Trip); !ok {
			return m, fmt.Errorf("this program knows no trip %q; use the one that wrote it", w.Trip)
		}
	}
	for b := range controller.BatchStates {
		if b.String() == w.Ended {
			m.ended = b
		}
	}
	return m, nil
}

// A marker writes the marks. set belongs to the loop's goroutine and never waits for
// the disk.
type marker struct {
	file  *os.File
	inode os.FileInfo
	retry time.Duration
	now   func() int64
	errs  *atomic.Uint64

	last marks // the loop's side

	mu      sync.Mutex
	want    marks
	waits   bool
	told    []chan error // who waits for want
	since   atomic.Int64 // when the oldest mark came that is not on disk; 0 is none
	failure atomic.Pointer[error]
	wake    chan struct{}
	closing chan struct{}
	done    chan struct{}

	count int64 // the writer's side: what the next slot is numbered
	write func(slot []byte, at int64) error
}

// openMarks opens the marks of a state folder and makes the file where there is none.
func openMarks(r *Recorder, dir string) (*marker, error) {
	name := filepath.Join(dir, MarksFile)
	k := &marker{retry: r.o.retry, now: r.now, errs: &r.errors, wake: make(chan struct{}, 1), closing: make(chan struct{}), done: make(chan struct{})}
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		if err := makeMarks(dir, name); err != nil {
			return nil, err
		}
	}
	f, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	if err := k.read(f); err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if k.inode, err = f.Stat(); err != nil {
		f.Close()
		return nil, err
	}
	k.file = f
	if k.write = k.overwrite; r.o.mark != nil {
		k.write = r.o.mark
	}
	go k.run()
	return k, nil
}

// makeMarks makes the file with all the room that it will ever take.
func makeMarks(dir, name string) (err error) {
	f, err := os.CreateTemp(dir, "."+MarksFile+"-") // readable by its owner only
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	_, err = f.Write(append(marks{}.slot(markSlots), marks{}.slot(1)...)) // each in its place
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return err
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// read finds the newest of the slots. Where none is whole nobody knows what was latched,
// and unknown is off: that is an error.
func (k *marker) read(f io.ReaderAt) error {
	var newest markLine
	slot := make([]byte, markBytes)
	for i := range int64(markSlots) {
		_, err := f.ReadAt(slot, i*markBytes)
		if w, ok := readSlot(slot); err == nil && ok && w.Written > newest.Written {
			newest = w
		}
	}
	if newest.Written == 0 {
		return errors.New("whether a trip was latched cannot be read; look at the cabinet, and delete the file once you have seen that nothing is wrong")
	}
	var err error
	k.last, err = newest.marks()
	k.count = newest.Written + 1
	return err
}

// set hands a mark to the writer, if it is another than the last. What is told is nil
// once it is on disk, or why it is not.
func (k *marker) set(m marks) <-chan error {
	if m == k.last {
		return nil
	}
	k.last = m
	told := make(chan error, 1)
	k.mu.Lock()
	k.want, k.waits, k.told = m, true, append(k.told, told)
	if k.since.Load() == 0 {
		k.since.Store(k.now())
	}
	k.mu.Unlock()
	select {
	case k.wake <- struct{}{}:
	default:
	}
	return told
}

// health adds how the writing of the marks goes.
func (k *marker) health(h *Health, now int64) {
	if k == nil {
		return
	}
	if since := k.since.Load(); since > 0 {
		h.Behind = max(h.Behind, time.Duration(now-since))
	}
	if err := k.failure.Load(); err != nil && h.Err == nil {
		h.Err = *err
	}
}

// close writes what is left, for as long as ctx allows and a moment besides.
func (k *marker) close(ctx context.Context) error {
	if k == nil {
		return nil
	}
	close(k.closing)
	select {
	case <-k.done:
	case <-ctx.Done():
		select {
		case <-k.done:
		case <-time.After(100 * time.Millisecond): // the disk hangs: leave it
			return fmt.Errorf("record: %s: the disk does not answer; what was latched last is lost", k.file.Name())
		}
	}
	var err error
	if failure := k.failure.Load(); failure != nil {
		err = fmt.Errorf("record: %s: what was latched last could not be written: %w", k.file.Name(), *failure)
	}
	return errors.Join(err, k.file.Close())
}

// run is the goroutine that waits for the disk.
func (k *marker) run() {
	defer close(k.done)
	for {
		select {
		case <-k.wake:
		case <-k.closing:
			k.put() // once more
			return
		}
		for !k.put() {
			retry := time.NewTimer(k.retry)
			select {
			case <-retry.C:
			case <-k.closing:
				retry.Stop()
				k.put()
				return
			}
		}
	}
}

// put writes what is wanted, and is true when nothing is wanted any more.
func (k *marker) put() bool {
	k.mu.Lock()
	m, waits, told := k.want, k.waits, k.told
	k.mu.Unlock()
	if !waits {
		return true
	}
	// A slot that failed is written again: the other is the last that is whole.
	err := k.write(m.slot(k.count), k.count%markSlots*markBytes)
	if err != nil {
		k.failure.Store(&err)
		k.errs.Add(1)
		tell(told, fmt.Errorf("%s: %w", MarksFile, err))
		return false
	}
	k.count++
	k.failure.Store(nil)
	tell(told, nil)
	k.mu.Lock()
	defer k.mu.Unlock()
	k.told = k.told[len(told):]
	k.waits = len(k.told) > 0 // a newer one came meanwhile
	if k.since.Store(0); k.waits {
		k.since.Store(k.now())
	}
	return !k.waits
}

func (k *marker) overwrite(slot []byte, at int64) error {
	if now, err := os.Stat(k.file.Name()); err != nil || !os.SameFile(now, k.inode) {
		return fmt.Errorf("%s was removed or replaced while in use; put it back or start the program again", k.file.Name())
	}
	if _, err := k.file.WriteAt(slot, at); err != nil {
		return err
	}
	return k.file.Sync()
}

// tell tells everyone who was not told anything yet.
func tell(told []chan error, err error) {
	for _, c := range told {
		select {
		case c <- err:
		default:
		}
	}
}

// over is how a batch in this state has ended, or will in its next step whatever
// happens; Idle is not.
func over(b controller.BatchState) controller.BatchState {
	switch b {
	case controller.Stopping, controller.Stopped:
		return controller.Stopped
	case controller.Aborting, controller.Aborted:
		return controller.Aborted
	case controller.Complete:
		return controller.Complete
	}
	return controller.Idle
}

// mark keeps what follows from a step for the marks.
func (r *Recorder) mark(s *controller.State) <-chan error {
	if r.marks == nil {
		return nil
	}
	m := r.marks.last
	m.trip = s.Tripped
	if b := r.open; b != nil {
		m.batch(b.batch, over(s.Batch))
	}
	return r.marks.set(m)
}

// batch marks how a batch ended, or with Idle that it goes on and those before do not.
func (m *marks) batch(number int64, ended controller.BatchState) {
	switch {
	case ended != controller.Idle:
		m.over, m.ended = number, ended
	case m.over != number-1:
		m.over, m.ended = number-1, controller.Idle
	}
}

// Latched is the trip that was latched when the record was last open; None is none.
// Only a real cabinet outlives the program, and its trip with it.
func (r *Recorder) Latched() trip.Code {
	if r.marks == nil {
		return trip.None
	}
	return r.latched
}

// marked is how a batch ended by the marks, or Idle.
func (r *Recorder) marked(number int64) controller.BatchState {
	switch {
	case r.marks == nil || number > r.marks.last.over:
		return controller.Idle
	case number == r.marks.last.over && r.marks.last.ended != controller.Idle:
		return r.marks.last.ended
	}
	return controller.Aborted // a later one had begun
}
