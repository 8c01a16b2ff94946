package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/sensors"
)

// Options say where and as what to record.
type Options struct {
	Dir     string // the state folder; it must exist
	World   World
	Program string  // version of this program
	Pace    float64 // simulated seconds per second; 1 in the real world
	// Boot and Uptime identify this run of the computer; see ThisBoot.
	Boot   string
	Uptime time.Duration
	// Up is the computer's clock since boot, which counts while it sleeps. Nil goes on
	// from Uptime by the monotonic clock, which does not.
	Up func() time.Duration

	// For tests. Zero is the constant of the same sense.
	vfs       string
	pageBytes int
	retry     time.Duration
	blocks    int
	lowBytes  uint64
	now       func() time.Time
	mark      func(slot []byte, at int64) error // instead of writing it
	committed func(step int64)                  // after a commit: the number of steps on disk
}

// A Moment is the wall clock at a step. Records go by elapsed time; the wall clock
// is for people and for the length of a gap.
type Moment struct {
	Wall     time.Time
	ClockSet bool // it looks like a time of day of today; good enough for a name
	// Synced says that the clock was synchronised since the computer was started. Only
	// then can a length be told by it.
	Synced bool
}

// What clock_set says.
const (
	clockUnset  = 0
	clockSet    = 1
	clockSynced = 2
)

// trust is what clock_set says of the moment.
func (m *Moment) trust() int64 {
	switch {
	case m.Synced:
		return clockSynced
	case m.ClockSet:
		return clockSet
	}
	return clockUnset
}

// A File is a product or cabinet file as used.
type File struct {
	Name string
	Data []byte
}

// A Start is what a batch begins with.
type Start struct {
	Product     *profile.Product
	ProductFile File
	Cabinet     *cabinet.Cabinet
	CabinetFile File
	// Before is the state that went into the step that started the batch.
	Before controller.State
}

// By is who gave a command, and why.
type By struct{ Who, Reason string }

// Health says whether what happens is being recorded.
type Health struct {
	// OK is false while the last attempt to write failed, or a step waits for longer
	// than LateAfter.
	OK          bool
	Err         error         // of the last attempt; nil when it worked
	Behind      time.Duration // age of the oldest step that is not on disk
	SinceCommit time.Duration // since the last commit, or since Open
	Waiting     int           // blocks in memory
	DiskLow     bool          // less than LowBytes are free where the file is
	Lost        uint64        // steps lost since Open
	Errors      uint64        // attempts to write that failed, since Open
}

// A Recorder writes batches, one at a time. Begin, Step, Resume and Close belong to
// the control loop's goroutine and, but for Close, never wait for the disk; the
// other methods may be called from anywhere.
type Recorder struct {
	*Reader
	o      Options
	notice []string
	lock   *os.File
	writer *sql.DB
	inode  os.FileInfo
	opened time.Time
	span   time.Duration
	quiet  time.Duration

	// The loop's side.
	coder   *stepCoder
	open    *block // takes the steps; nil without a batch
	next    int64  // number of the next batch
	ids     map[string]bool
	names   *memory
	last    controller.State // after the last step of the open batch
	gap     *gap             // before the next block
	course  *coreCourse      // of the open batch; nil where something is missing of it
	news    time.Duration    // Elapsed of the last step with an event or a command
	marks   *marker          // nil for a simulated cabinet
	latched trip.Code        // when it was opened

	// Both sides.
	mu      sync.Mutex
	queue   []*block
	waiting atomic.Int32 // length of queue
	since   atomic.Int64 // when the oldest step in the open block came; 0 is none
	queued  atomic.Int64 // the same of the oldest block in the queue
	writing atomic.Int64 // the same of the oldest block that is being written
	wrote   atomic.Int64 // when the last commit was
	lost    atomic.Uint64
	errors  atomic.Uint64
	failure atomic.Pointer[error]
	diskLow atomic.Bool
	wake    chan struct{}
	notes   chan *noteRequest
	closing chan struct{}
	forsake chan struct{} // Close waits no longer
	done    chan struct{}

	// The writer's side.
	memory *memory
	heads  map[int64]head
}

// Why a gap came to be.
const (
	gapNotRunning = "the program was not running"
	gapNotWritten = "the steps could not be written"
)

// Open opens the file of a world in the state folder, makes it where there is none,
// and starts the writer. A damaged file is set aside and a new one begun; Notice
// then says so.
func Open(o Options) (*Recorder, error) {
	if o.World != Real && o.World != Simulated {
		return nil, fmt.Errorf("record: %q is no world", o.World)
	}
	o.Pace = max(o.Pace, 1)
	if o.retry == 0 {
		o.retry = retryAfter
	}
	if o.blocks == 0 {
		o.blocks = mostBlocks
	}
	if o.lowBytes == 0 {
		o.lowBytes = LowBytes
	}
	if o.now == nil {
		o.now = time.Now
	}
	dir, err := filepath.Abs(o.Dir)
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	file := filepath.Join(dir, o.World.File())
	r := &Recorder{
		o: o, opened: o.now(), coder: newStepCoder(), names: newMemory(), memory: newMemory(), ids: map[string]bool{}, heads: map[int64]head{},
		span: time.Duration(float64(sealAfter) * o.Pace), quiet: time.Duration(float64(sealQuietAfter) * o.Pace),
		wake: make(chan struct{}, 1), notes: make(chan *noteRequest), closing: make(chan struct{}), forsake: make(chan struct{}), done: make(chan struct{}),
	}
	if r.lock, err = lock(file); err != nil {
		return nil, err
	}
	if err := r.openFile(file); err != nil {
		r.lock.Close()
		return nil, err
	}
	if o.World == Real {
		if r.marks, err = openMarks(r, dir); err != nil {
			return nil, errors.Join(fmt.Errorf("record: %w", err), r.Reader.Close(), r.writer.Close(), r.lock.Close())
		}
		r.latched = r.marks.last.trip
	}
	r.look()
	go r.write()
	return r, nil
}

func (r *Recorder) openFile(file string) error {
	err := r.openOnce(file)
	if !isDamaged(err) {
		return wrapFile(file, err)
	}
	to, asideErr := setAside(file, r.opened)
	if asideErr != nil {
		return fmt.Errorf("record: %s is damaged (%w) and cannot be set aside: %w", file, err, asideErr)
	}
	r.notice = append(r.notice, fmt.Sprintf("%s is damaged (%v); it was set aside as %s and a new file was begun; nothing of it was deleted, and any SQLite tool can look at what is left", file, err, to))
	return wrapFile(file, r.openOnce(file))
}

func (r *Recorder) openOnce(file string) error {
	var err error
	if r.writer, err = openWriter(&r.o, file); err != nil {
		return err
	}
	fail := func(err error) error {
		r.writer.Close()
		return err
	}
	if r.Reader, err = newReader(file, r.o.vfs); err != nil {
		return fail(err)
	}
	rows, err := query(context.Background(), r.writer, batchTable, "")
	if err != nil {
		r.Reader.Close()
		return fail(err)
	}
	r.next = 1
	for _, row := range rows {
		r.ids[row.text("id")] = true
		r.next = row.int("number") + 1
	}
	if r.inode, err = os.Stat(file); err != nil {
		r.Reader.Close()
		return fail(err)
	}
	return nil
}

// Notice is what Open had to do that people should know; usually nothing.
func (r *Recorder) Notice() []string { return r.notice }

func (r *Recorder) now() int64 { return int64(r.o.now().Sub(r.opened)) + 1 }

// uptime is how long the computer has been up.
func (r *Recorder) uptime() time.Duration {
	if r.o.Up != nil {
		return r.o.Up()
	}
	return r.o.Uptime + r.o.now().Sub(r.opened)
}

// Begin begins the record of a batch and returns its id. Call it before Step of the
// step that started the batch.
func (r *Recorder) Begin(m Moment, s Start) string {
	r.seal(nil)
	id := r.newID(m)
	header := newRow(batchTable,
		"number", r.next, "id", id, "world", string(r.o.World), "started", m.Wall.Format(timeLayout), "clock_set", m.trust(),
		"boot", optional(r.o.Boot), "program", r.o.Program, "pace", r.o.Pace,
		"product", s.Product.Name, "product_name", s.ProductFile.Name, "product_file", s.ProductFile.Data,
		"cabinet", s.Cabinet.Name, "cabinet_name", s.CabinetFile.Name, "cabinet_file", s.CabinetFile.Data,
		"layout", r.layout(), "state", string(r.names.text(&s.Before)))
	r.ids[id] = true
	r.last, r.gap, r.course = s.Before, nil, &coreCourse{held: controller.NewHeldHeat(s.Product, s.Cabinet)}
	r.open = &block{batch: r.next, header: &header, product: s.Product, moment: m}
	r.next++
	return id
}

// layout is that of this program.
func (r *Recorder) layout() string {
	return header(layoutVersion) + r.coder.layout() + r.names.layout()
}

// newID is the date and a number, or without a clock "undated" and a number.
// Rehearsed batches have "sim-" in front of it.
func (r *Recorder) newID(m Moment) string {
	day := "undated"
	if m.ClockSet {
		day = m.Wall.Format(time.DateOnly)
	}
	if r.o.World == Simulated {
		day = "sim-" + day
	}
	for n := 1; ; n++ {
		if id := fmt.Sprintf("%s-%d", day, n); !r.ids[id] {
			return id
		}
	}
}

func optional(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// Step records one step of the batch under way: what went in, what came out, and
// the state after it. Without a batch it does nothing. The batch ends by itself
// when the state says so. A step with a command gets a receipt to wait with.
//
// in and state are not kept; events is, and must not be changed afterwards.
func (r *Recorder) Step(m Moment, in *controller.Inputs, out controller.Outputs, events []controller.Event, state *controller.State, by By) Receipt {
	receipt := r.receipt(in, r.mark(state), state)
	b := r.open
	if b == nil {
		return receipt
	}
	if b.steps == 0 {
		b.begins = in.Elapsed
		b.since = r.now()
		r.since.Store(b.since)
		b.data = r.coder.begin(make([]byte, 0, 512))
		if b.gap = r.gap; b.gap != nil && b.gap.state == "" { // the gap ends here: what the step goes by
			b.gap.state = string(r.names.text(&r.last))
			b.gap.length = r.last.Elapsed - b.gap.from
			b.gap.known = true
		}
		r.gap = nil
	}
	b.data = r.coder.step(b.data, in, out, events)
	step := b.first + b.steps
	b.steps++
	b.moment = m
	r.last = *state
	if c := r.course; c != nil {
		if c.see(step, b.product, in, state, out, events); len(c.samples) > mostConcluded {
			r.course = nil
		}
	}
	for _, e := range events {
		b.events = append(b.events, happened{step: step, wall: m.Wall, started: state.Started, event: e})
	}
	if in.Command.Kind != controller.NoCommand {
		b.commands = append(b.commands, commanded{
			step: step, wall: m.Wall, elapsed: in.Elapsed - state.Started, command: in.Command, by: by, refused: refusal(events),
		})
	}
	if !state.Batch.Active() {
		receipt.Lost = !r.seal(&ending{state: state.Batch})
		return receipt
	}
	newsworthy := len(events) > 0 || in.Command.Kind != controller.NoCommand
	span := r.span
	switch passed := in.Elapsed - r.news; {
	case newsworthy || passed < 0: // a clock of another life
		r.news = in.Elapsed
	case passed >= quietAfter:
		span = r.quiet
	}
	roomy := r.waiting.Load() <= crowded
	if b.steps >= mostSteps || roomy && (newsworthy || in.Elapsed-b.begins >= span) {
		receipt.Lost = !r.seal(nil)
	} else {
		tell(b.told, errWaits)
	}
	return receipt
}

func refusal(events []controller.Event) string {
	for _, e := range events {
		if e.Kind == controller.Refused {
			return e.Why.String()
		}
	}
	return ""
}

// Health says how the writing goes. It takes a few nanoseconds.
func (r *Recorder) Health() Health {
	now := r.now()
	h := Health{Waiting: int(r.waiting.Load()), Lost: r.lost.Load(), Errors: r.errors.Load(), SinceCommit: time.Duration(now - r.wrote.Load()), DiskLow: r.diskLow.Load()}
	for _, since := range [...]int64{r.since.Load(), r.queued.Load(), r.writing.Load()} {
		if since > 0 {
			h.Behind = max(h.Behind, time.Duration(now-since))
		}
	}
	if err := r.failure.Load(); err != nil {
		h.Err = *err
	}
	r.marks.health(&h, now)
	h.OK = h.Err == nil && h.Behind <= LateAfter
	return h
}

// Finish ends an unfinished batch that will not go on.
func (r *Recorder) Finish(m Moment, u *Recovery, state controller.BatchState, why string) {
	if r.marks != nil {
		is := r.marks.last
		is.batch(u.Batch.Number, state)
		r.marks.set(is)
	}
	r.push(&block{
		batch: u.Batch.Number, moment: m, uptime: r.uptime(), first: u.Steps, state: u.State,
		ending: &ending{state: state, why: why}, since: r.now(),
	}, true)
}

// Resume goes on with an unfinished batch after the gap that the recovery found.
// state is what the next step goes by: that of the recovery, or what the caller has
// made of it. Its Elapsed must go on from there.
func (r *Recorder) Resume(u *Recovery, state controller.State) {
	r.seal(nil)
	r.last, r.course = state, nil
	r.gap = &gap{
		why: gapNotRunning, first: u.Steps, from: u.State.Elapsed, length: u.Unseen, known: u.Away != controller.AwayUnknown, state: string(r.names.text(&state)),
	}
	r.open = &block{batch: u.Batch.Number, product: u.Product, first: u.Steps}
}

// Close writes what is left, for as long as ctx allows, and closes the file. The
// error says what could not be written. A batch under way stays unfinished.
func (r *Recorder) Close(ctx context.Context) error {
	if b := r.open; b != nil && b.steps > 0 {
		b.state, b.uptime = r.last, r.uptime()
		r.push(b, true)
	}
	r.open = nil
	close(r.closing)
	marks := r.marks.close(ctx)
	select {
	case <-r.done:
	case <-ctx.Done():
		close(r.forsake)
		select {
		case <-r.done:
		case <-time.After(100 * time.Millisecond): // the disk hangs: leave it
			return errors.Join(fmt.Errorf("record: %s: the disk does not answer; what was not written is lost", r.file), marks)
		}
	}
	var err error
	if h := r.Health(); h.Waiting > 0 {
		err = fmt.Errorf("record: %s: %d blocks of steps could not be written and are lost: %w", r.file, h.Waiting, h.Err)
	}
	return errors.Join(err, marks, r.Reader.Close(), r.writer.Close(), r.lock.Close())
}

// ThisBoot is the computer's boot id and how long it has been up, or nothing where
// the kernel does not say.
func ThisBoot() (boot string, uptime time.Duration) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return "", 0
	}
	up, err := os.ReadFile("/proc/uptime")
	if err != nil {
		return "", 0
	}
	var seconds float64
	if _, err := fmt.Sscan(string(up), &seconds); err != nil || math.IsNaN(seconds) {
		return "", 0
	}
	return string(id[:max(len(id)-1, 0)]), time.Duration(seconds * float64(time.Second))
}

// celsius is a reading as a number of the file, NULL unless it is good.
func celsius(reading sensors.Reading) any {
	if v, ok := reading.Value(); ok {
		return float64(v)
	}
	return nil
}
