package record

import (
	"time"

	"fumarium/controller"
	"fumarium/profile"
)

const (
	// CommitEvery is the longest that a step waits in memory before it is written,
	// in wall time, as long as writing works.
	CommitEvery = 10 * time.Second
	// sealAfter is the age at which a block is sealed, so that with the step after
	// it CommitEvery is kept.
	sealAfter = CommitEvery - 1500*time.Millisecond
	// QuietEvery is the same once nothing has happened for quietAfter: no event and no
	// command. It spares the card a third of what a long cook writes, and a power cut
	// costs at most that much of the course more. It stays below LateAfter by what a slow
	// card may need. All own magnitudes.
	QuietEvery     = 15 * time.Second
	sealQuietAfter = QuietEvery - 1500*time.Millisecond
	quietAfter     = 5 * time.Minute
	// LateAfter is the age of a step that is still not on disk at which Health says
	// so. A fault shows within this and one block.
	LateAfter = 20 * time.Second
	// LowBytes is how little free space counts as low: about ten batches of twelve
	// hours with their log. Common practice, no source.
	LowBytes = 64 << 20
	// retryAfter is the wait between two attempts to write. Common practice, no source.
	retryAfter = 2 * time.Second
	// mostSteps bounds a block, and with it the memory that a step of a simulated
	// batch at high pace may wait in.
	mostSteps = 600
	// crowded is how many blocks may wait before blocks grow to mostSteps: writing
	// does not work then, and at once is no longer possible.
	crowded = 32
	// mostBlocks bounds what waits in memory: about forty hours of a batch in about
	// 3 MB. Beyond it steps are lost, and a gap says so.
	mostBlocks = 256
	// mostInCommit bounds one transaction.
	mostInCommit = 64
)

// A block is what is committed at once: steps and all that belongs to them.
type block struct {
	batch   int64
	header  *row // when the batch begins here
	product *profile.Product
	gap     *gap // before the first step

	first, steps int64
	begins       time.Duration // Elapsed of the first step
	data         []byte
	moment       Moment
	uptime       time.Duration
	state        controller.State
	events       []happened
	commands     []commanded
	ending       *ending
	course       *coreCourse // with the ending, where nothing is missing
	since        int64
	told         []chan error // who waits for it to be on disk
}

type happened struct {
	step    int64
	wall    time.Time
	started time.Duration
	event   controller.Event
}

type commanded struct {
	step    int64
	wall    time.Time
	elapsed time.Duration
	command controller.Command
	by      By
	refused string
}

type ending struct {
	state controller.BatchState
	why   string
}

type gap struct {
	why    string
	first  int64
	steps  int64 // 0 is not known
	from   time.Duration
	length time.Duration
	known  bool
	state  string
}

// seal hands the open block to the writer and opens the next, or none after the
// end. A block that begins or ends a batch always finds room.
func (r *Recorder) seal(end *ending) bool {
	b := r.open
	if b == nil {
		return true
	}
	r.open = nil
	r.since.Store(0)
	if end == nil {
		r.open = &block{batch: b.batch, product: b.product, first: b.first + b.steps}
	}
	if b.steps == 0 && end == nil {
		r.open.header = b.header
		return true
	}
	b.state, b.ending = r.last, end
	if end != nil {
		b.course, r.course = r.course, nil
	}
	b.uptime = r.uptime()
	if r.push(b, b.header != nil || end != nil) {
		return true
	}
	tell(b.told, errWaits)
	r.lost.Add(uint64(b.steps))
	r.course = nil // there will be a gap
	lost := &gap{why: gapNotWritten, first: b.first, steps: b.steps, from: b.begins}
	if g := b.gap; g != nil { // two gaps without a step between them are one
		lost.first, lost.from = g.first, g.from
		if g.steps = g.steps + b.steps; g.why == gapNotWritten {
			lost.steps = g.steps
		} else {
			lost.why, lost.steps = g.why+"; then "+gapNotWritten, 0
		}
	}
	r.gap = lost
	return false
}

func (r *Recorder) push(b *block, must bool) bool {
	r.mu.Lock()
	room := must || len(r.queue) < r.o.blocks
	if room {
		r.queue = append(r.queue, b)
		r.queued.Store(r.queue[0].since)
		r.waiting.Store(int32(len(r.queue)))
	}
	r.mu.Unlock()
	select {
	case r.wake <- struct{}{}:
	default:
	}
	return room
}

// pop takes the oldest blocks, for one transaction.
func (r *Recorder) pop() []*block {
	r.mu.Lock()
	defer r.mu.Unlock()
	n := min(len(r.queue), mostInCommit)
	group := append([]*block(nil), r.queue[:n]...)
	r.queue = append(r.queue[:0:0], r.queue[n:]...)
	if n > 0 { // before the count goes down, so that nobody sees nothing waiting
		r.writing.Store(group[0].since)
	}
	r.queued.Store(0)
	if len(r.queue) > 0 {
		r.queued.Store(r.queue[0].since)
	}
	r.waiting.Store(int32(len(r.queue)))
	return group
}
