// Package courier brings what a board has recorded to a hub, when it can. The record is all
// that it keeps: links are numbered and hashed, so the hub says how far it has them, and they
// are sent from there on. It reads the record as any other program would, yields to all other
// threads, and no step, no command and no page waits for it or hears of it. Nothing that a hub
// answers does anything here but say how far it has come.
package courier

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"runtime"
	"time"

	"golang.org/x/sys/unix"

	"fumarium/controller/outlook"
	"fumarium/controller/record"
)

// All common practice, no source.
const (
	// lookEvery is how often it looks for new links while all are sent, and for a hub.
	lookEvery = 30 * time.Second
	// compareEvery is how often the board tells the hub all its heads; compareStuck while the
	// hub refuses a batch, which may be right again: it went back to an older backup, or a
	// person settled it.
	compareEvery = time.Hour
	compareStuck = 10 * time.Minute
	firstPause   = 5 * time.Second // after what failed; each is twice the one before
	mostPause    = 5 * time.Minute
	// mostInPost bounds one post, before it is packed, in bytes.
	mostInPost = 128 << 10
)

// A Courier brings one record to the hub that its board has joined.
type Courier struct {
	Dir   string // the state folder, where it is told which hub
	File  string // the record
	World record.World
	Log   *slog.Logger
	// Look is how often it looks for new links while all are sent; zero is lookEvery. Pauses
	// after what failed go along.
	Look time.Duration
	// Finish is the forecast of the batch under way, told to the hub's people with each post:
	// it is no part of the record. It may be nil, and give nil.
	Finish func() *outlook.Finish

	hub      Hub
	client   *client
	kept     map[string]record.Head // at the hub, as it said last; nil is not known
	stuck    map[string]bool        // batches that the hub refuses, until heads are compared again
	compared time.Time
	said     string
}

// Run brings links until ctx ends.
func (c *Courier) Run(ctx context.Context) {
	runtime.LockOSThread() // which ends with this goroutine, so that no other gets its priority
	lowest()
	look := cmp.Or(c.Look, lookEvery)
	first, most := scaled(firstPause, look), scaled(mostPause, look)
	pause := first
	for {
		more, err := c.round(ctx)
		wait := look
		switch {
		case ctx.Err() != nil:
			return
		case errors.Is(err, ErrNone):
		case err != nil:
			c.say(slog.LevelWarn, "the hub does not have all of the record, which stays here until it does", err.Error())
			wait = pause/2 + rand.N(pause) // many boards shall not come back at once
			pause = min(2*pause, most)
		default:
			if pause = first; more {
				wait = 0
			} else if len(c.stuck) == 0 {
				c.say(slog.LevelInfo, "the hub has all of the record", c.hub.URL)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

func scaled(pause, look time.Duration) time.Duration {
	return max(time.Duration(float64(pause)*float64(look)/float64(lookEvery)), time.Millisecond)
}

// say says what is new.
func (c *Courier) say(level slog.Level, what, why string) {
	if text := what + why; text != c.said {
		c.said = text
		c.Log.Log(context.Background(), level, what, "hub", why)
	}
}

// lowest makes this thread yield to all others, also at the disk. Where the system refuses,
// it yields less.
func lowest() {
	const least = 19
	_ = unix.Setpriority(unix.PRIO_PROCESS, 0, least)
	// ioprio_set(2): who 1 is a process or thread, 0 this one; class 3, from bit 13 on, is idle.
	_, _, _ = unix.Syscall(unix.SYS_IOPRIO_SET, 1, 0, 3<<13)
}

// round sends one post, if there is something to send. more says that there may be.
func (c *Courier) round(ctx context.Context) (more bool, err error) {
	hub, err := Read(c.Dir)
	if err != nil {
		c.client, c.kept = nil, nil
		return false, err
	}
	if c.client == nil || *hub != c.hub {
		c.hub, c.client, c.kept = *hub, newClient(hub), nil
	}
	if hub.World != string(c.World) {
		return false, fmt.Errorf("this board joined the hub as a %s cabinet and runs a %s one; join with a code for the other", hub.World, c.World)
	}
	r, err := record.OpenReader(c.File)
	if err != nil {
		return false, err
	}
	defer r.Close()
	heads, err := r.Heads(ctx)
	if err != nil {
		return false, err
	}
	old := time.Since(c.compared)
	if c.kept == nil || old >= compareEvery || len(c.stuck) > 0 && old >= scaled(compareStuck, cmp.Or(c.Look, lookEvery)) {
		kept, err := c.client.compare(ctx, heads)
		if err != nil {
			return false, err
		}
		c.kept, c.stuck, c.compared = map[string]record.Head{}, map[string]bool{}, time.Now()
		if err := c.know(ctx, r, heads, kept); err != nil {
			return false, err
		}
	}
	links, err := c.next(ctx, r, heads)
	if err != nil {
		return false, err
	}
	var finish *outlook.Finish
	if c.Finish != nil {
		finish = c.Finish()
	}
	kept, err := c.client.send(ctx, links, finish) // none says that this board is there
	conflict := Conflict("")
	if errors.As(err, &conflict) {
		batch := links[0].Batch
		for _, l := range links { // the first that did not come through
			if c.kept[l.Batch].Links <= l.Number && !contains(kept, l) {
				batch = l.Batch
				break
			}
		}
		c.stuck[batch] = true
		c.say(slog.LevelError, "the hub refuses batch "+batch+"; a person must look into it there", string(conflict))
	} else if err != nil {
		return false, err
	}
	return len(links) > 0, c.know(ctx, r, nil, kept)
}

func contains(heads []record.Head, l record.Link) bool {
	for _, h := range heads {
		if h.Batch == l.Batch && h.Links > l.Number {
			return true
		}
	}
	return false
}

// know takes the hub's word for how far it has a batch, if that is this record's. It asks the
// record for what is none of the heads: a hub has all of most batches.
func (c *Courier) know(ctx context.Context, r *record.Reader, heads, kept []record.Head) error {
	mine := make(map[record.Head]bool, len(heads))
	for _, h := range heads {
		mine[h] = true
	}
	for _, h := range kept {
		if mine[h] {
			c.kept[h.Batch] = h
			continue
		}
		hash, found, err := r.HashOf(ctx, h.Batch, h.Links-1)
		if err != nil {
			return err
		}
		if !found || hash != h.Hash {
			c.stuck[h.Batch] = true
			c.say(slog.LevelError, "the hub keeps another record of batch "+h.Batch+", or more of it; a person must look into it: fumarium batches --verify-against", c.hub.URL)
		}
		c.kept[h.Batch] = h
	}
	return nil
}

// next gives what to send: of the oldest batches first, as one follows the other.
func (c *Courier) next(ctx context.Context, r *record.Reader, heads []record.Head) (links []record.Link, err error) {
	room := mostInPost
	for _, h := range heads {
		if c.stuck[h.Batch] || h.Links <= c.kept[h.Batch].Links {
			continue
		}
		more, err := r.LinksFrom(ctx, h.Batch, c.kept[h.Batch].Links, room)
		if err != nil {
			return nil, err
		}
		if len(more) == 0 {
			continue
		}
		links = append(links, more...)
		for _, l := range more {
			room -= len(l.Rows)
		}
		if last := more[len(more)-1]; room <= 0 || last.Number+1 < h.Links {
			return links, nil
		}
	}
	return links, nil
}
