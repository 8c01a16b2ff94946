package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"fumarium/controller/history"
	"fumarium/controller/trip"
	"fumarium/profile"
)

// head is the last link of a batch's chain.
type head struct {
	number int64
	hash   []byte
}

// write is the writer's goroutine: the only place that waits for the disk.
func (r *Recorder) write() {
	defer close(r.done)
	again := time.NewTicker(lookEvery)
	defer again.Stop()
	for {
		group := r.pop()
		if len(group) > 0 {
			if !r.insist(group) {
				return
			}
			continue
		}
		select {
		case <-r.wake:
		case <-again.C:
			r.look()
		case n := <-r.notes:
			n.reply <- r.note(n)
		case <-r.closing:
			if r.waiting.Load() == 0 {
				return
			}
		}
	}
}

// lookEvery is the pace at which an idle writer looks at the free space.
const lookEvery = time.Minute

// look sees how much room there is. An answer that does not come is no answer.
func (r *Recorder) look() {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(filepath.Dir(r.file), &fs); err == nil {
		r.diskLow.Store(fs.Bavail*uint64(fs.Bsize) < r.o.lowBytes)
	}
}

// insist writes a group of blocks, again and again if need be. False means that
// Close waits no longer.
func (r *Recorder) insist(group []*block) bool {
	for {
		err := r.commit(func(c *commit) error {
			for _, b := range group {
				if err := r.rows(c, b); err != nil {
					return err
				}
			}
			return nil
		})
		r.look()
		if err == nil {
			r.writing.Store(0)
			for _, b := range group {
				tell(b.told, nil)
			}
			if last := group[len(group)-1]; r.o.committed != nil {
				r.o.committed(last.first + last.steps)
			}
			return true
		}
		r.unkept(group, err)
		retry := time.NewTimer(r.o.retry)
		for waiting := true; waiting; {
			select {
			case <-retry.C:
				waiting = false
			case n := <-r.notes:
				n.reply <- fmt.Errorf("record: the note was not written: %w", err)
			case <-r.forsake:
				retry.Stop()
				r.mu.Lock()
				r.waiting.Store(int32(len(r.queue) + len(group)))
				r.mu.Unlock()
				return false
			}
		}
	}
}

// unkept tells whoever waits for a block of the group, or for one behind it.
func (r *Recorder) unkept(group []*block, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, blocks := range [...][]*block{group, r.queue} {
		for _, b := range blocks {
			tell(b.told, err)
		}
	}
}

// A commit is the rows of one transaction with the heads that they lead to.
type commit struct {
	r     *Recorder
	rows  []row
	heads map[int64]head
}

// head is the end of a batch's chain as it will be.
func (c *commit) head(batch int64) (head, error) {
	if h, ok := c.heads[batch]; ok {
		return h, nil
	}
	if h, ok := c.r.heads[batch]; ok {
		return h, nil
	}
	return c.r.headOnDisk(batch)
}

// begin adds a batch's header.
func (c *commit) begin(header row) error {
	number := header.int("number")
	if number > 1 {
		rows, err := query(context.Background(), c.r.writer, batchTable, "number = ?", number-1)
		if err != nil {
			return err
		}
		if len(rows) > 0 { // so that a batch that is taken out leaves a hole
			before, err := c.head(number - 1)
			if err != nil {
				return err
			}
			header.set("previous", rows[0].text("id"))
			header.set("previous_hash", before.hash)
		}
	}
	sum := chain([]byte(genesis), []row{header})
	header.set("hash", sum[:])
	c.rows = append(c.rows, header)
	c.heads[number] = head{hash: sum[:]}
	return nil
}

// link adds a link with the rows that belong to it.
func (c *commit) link(batch int64, link row, belonging ...row) error {
	before, err := c.head(batch)
	if err != nil {
		return err
	}
	number := before.number + 1
	link.set("batch", batch)
	link.set("number", number)
	for i, row := range belonging {
		row.set("batch", batch)
		row.set("link", number)
		row.set("row", i)
	}
	sum := chain(before.hash, append([]row{link}, belonging...))
	link.set("hash", sum[:])
	c.rows = append(append(c.rows, link), belonging...)
	c.heads[batch] = head{number: number, hash: sum[:]}
	return nil
}

// commit writes what build adds, all of it or nothing, and keeps the health. Where
// a commit fails, SQLite has taken it back: the same may be tried again.
func (r *Recorder) commit(build func(*commit) error) error {
	c, err := r.try(build)
	if err != nil {
		r.failure.Store(&err)
		r.errors.Add(1)
		return err
	}
	for batch, h := range c.heads {
		r.heads[batch] = h
	}
	r.failure.Store(nil)
	r.wrote.Store(r.now())
	return nil
}

func (r *Recorder) try(build func(*commit) error) (*commit, error) {
	if now, err := os.Stat(r.file); err != nil || !os.SameFile(now, r.inode) {
		return nil, fmt.Errorf("%s was removed or replaced while in use; put it back or start the program again", r.file)
	}
	c := &commit{r: r, heads: map[int64]head{}}
	if err := build(c); err != nil {
		return nil, err
	}
	tx, err := r.writer.Begin()
	if err != nil {
		return nil, err
	}
	for _, row := range c.rows {
		if _, err := tx.Exec(row.table.insert(), row.values...); err != nil {
			return nil, errors.Join(err, tx.Rollback())
		}
	}
	return c, tx.Commit()
}

// headOnDisk reads the end of a batch's chain.
func (r *Recorder) headOnDisk(batch int64) (head, error) {
	var h head
	err := r.writer.QueryRow("SELECT number, hash FROM link WHERE batch = ? ORDER BY number DESC LIMIT 1", batch).Scan(&h.number, &h.hash)
	if errors.Is(err, sql.ErrNoRows) {
		err = r.writer.QueryRow("SELECT hash FROM batch WHERE number = ?", batch).Scan(&h.hash)
	}
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("%w: number %d", ErrNoBatch, batch)
	}
	return h, err
}

// rows adds one block to a commit.
func (r *Recorder) rows(c *commit, b *block) error {
	if b.header != nil {
		if err := c.begin(*b.header); err != nil {
			return err
		}
	}
	s := &b.state
	link := newRow(linkTable, "wall", b.moment.Wall.Format(timeLayout), "clock_set", b.moment.trust(), "steps", b.steps)
	if r.o.Boot != "" {
		link.set("uptime_seconds", b.uptime.Seconds())
	}
	if b.steps > 0 {
		sum := r.memory.hash(s)
		link.set("first_step", b.first)
		link.set("elapsed_seconds", (s.Elapsed - s.Started).Seconds())
		link.set("batch_state", s.Batch.String())
		if stage := s.CurrentStage(b.product); stage != nil {
			link.set("stage", stage.Name)
		}
		link.set("chamber_celsius", celsius(s.Chamber.Reading))
		link.set("core_celsius", celsius(s.Core.Coldest))
		if s.Heater.HasSetpoint {
			link.set("setpoint_celsius", float64(s.Heater.Setpoint))
		}
		link.set("heater_duty", s.Heater.Relay.Delivered())
		link.set("data", b.data)
		link.set("state_hash", sum[:])
	}
	var rows []row
	if g := b.gap; g != nil {
		gap := newRow(gapTable, "why", g.why, "first_step", g.first, "from_elapsed_seconds", (g.from - s.Started).Seconds(),
			"seconds", g.length.Seconds(), "seconds_known", g.known, "boot", optional(r.o.Boot), "program", r.o.Program,
			"layout", r.layout(), "state", g.state)
		if g.steps > 0 {
			gap.set("steps", g.steps)
		}
		rows = append(rows, gap)
	}
	for _, h := range b.events {
		rows = append(rows, eventRow(h, b.product))
	}
	for _, k := range b.commands {
		command := newRow(commandTable, "step", k.step, "wall", k.wall.Format(timeLayout), "elapsed_seconds", k.elapsed.Seconds(),
			"command", k.command.Kind.String(), "alarm", optional(k.command.Alarm.String()), "who", optional(k.by.Who), "reason", optional(k.by.Reason),
			"refused", optional(k.refused))
		rows = append(rows, command)
	}
	if e := b.ending; e != nil {
		rows = append(rows, conclude(r.memory, b.moment, s, b.course)...) // in the order in which they are hashed
		rows = append(rows, newRow(endingTable, "wall", b.moment.Wall.Format(timeLayout), "elapsed_seconds", (s.Elapsed-s.Started).Seconds(),
			"state", e.state.String(), "why", optional(e.why)))
	}
	return c.link(b.batch, link, rows...)
}

func eventRow(h happened, p *profile.Product) row {
	e := h.event
	row := newRow(eventTable, "step", h.step, "wall", h.wall.Format(timeLayout), "elapsed_seconds", (e.At - h.started).Seconds(),
		"kind", history.KindName(e.Kind), "text", e.Text(p))
	if stage := history.StageName(e, p); stage != "" {
		row.set("stage", stage)
	}
	if e.Alarm != trip.None {
		row.set("alarm", e.Alarm.String())
	}
	if priority := history.PriorityOf(e); priority != 0 {
		row.set("priority", priority.String())
	}
	return row
}
