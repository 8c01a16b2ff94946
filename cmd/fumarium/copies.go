package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"fumarium/cmd/fumarium/internal/album"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
)

// copiesFile says in the state folder how the copies of batches went the last time.
const copiesFile = "copies.json"

// copies is how they went. Failed is empty while they work.
type copies struct {
	Folder string    `json:"folder"`
	Tried  time.Time `json:"tried"`
	Good   time.Time `json:"good"` // the last time that every batch had its copy
	Failed string    `json:"failed,omitempty"`
}

func (s *copies) words() string {
	last := "never since copies are kept"
	if !s.Good.IsZero() {
		last = "last on " + s.Good.Format("2006-01-02 15:04")
	}
	return fmt.Sprintf("not every batch has its copy in %s: %s; whole %s; see that the folder is there and has room, it is tried again in an hour", s.Folder, s.Failed, last)
}

// readCopies gives nil where none are kept.
func readCopies(state string) (*copies, error) {
	data, err := os.ReadFile(filepath.Join(state, copiesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	s := &copies{}
	return s, json.Unmarshal(data, s)
}

// tellCopies keeps how it went.
func tellCopies(state, folder string, now time.Time, failed error) error {
	before, _ := readCopies(state) // what cannot be read is written anew
	s := copies{Folder: folder, Tried: now, Good: now}
	if failed != nil {
		s.Failed, s.Good = failed.Error(), time.Time{}
		if before != nil && before.Folder == folder {
			s.Good = before.Good
		}
	}
	data, err := json.Marshal(s)
	if err != nil {
		return err
	}
	part := filepath.Join(state, copiesFile+".part")
	return errors.Join(os.WriteFile(part, data, 0o600), os.Rename(part, filepath.Join(state, copiesFile)))
}

// copyPhotos copies the photographs that a folder lacks.
func copyPhotos(from, to string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) && path == from {
			return nil
		}
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		there := filepath.Join(to, name)
		if _, err := os.Stat(there); err == nil {
			return nil
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Dir(there), 0o700); err != nil {
			return err
		}
		return errors.Join(os.WriteFile(there+".part", data, 0o600), os.Rename(there+".part", there))
	})
}

// copyEvery is how often the daemon looks whether a batch lacks its copy. It does not while
// one is under way.
const copyEvery = time.Hour

// A copier keeps an export of each batch in a folder, such as of a stick; nil keeps none.
type copier struct {
	state, from, folder string
	log                 *slog.Logger
	failing             atomic.Bool
}

// newCopier knows how it went before the program was started anew. It is nil without a folder.
func newCopier(state, from, folder string, log *slog.Logger) *copier {
	if folder == "" {
		return nil
	}
	c := &copier{state: state, from: from, folder: folder, log: log}
	if before, err := readCopies(state); err == nil && before != nil && before.Folder == folder {
		c.failing.Store(before.Failed != "")
	}
	return c
}

// Failing reports whether not every batch has its copy.
func (c *copier) Failing() bool { return c != nil && c.failing.Load() }

// Run copies soon after a batch is over, and every hour what was added since or failed.
func (c *copier) Run(ctx context.Context, latest func() *snapshot.Snapshot) {
	if c == nil {
		return
	}
	due := time.Now()
	last := "" // the batch that was over the last time
	look := time.NewTicker(5 * time.Second)
	defer look.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-look.C:
		}
		s := latest()
		if s == nil || s.State.Batch.Active() || s.BatchID == last && time.Now().Before(due) {
			continue
		}
		last, due = s.BatchID, time.Now().Add(copyEvery)
		c.copy(ctx)
	}
}

func (c *copier) copy(ctx context.Context) {
	r, err := record.OpenReader(c.from)
	if errors.Is(err, fs.ErrNotExist) {
		return
	}
	var written []string
	if err == nil {
		written, err = r.Copy(ctx, c.folder)
		err = errors.Join(err, r.Close(), copyPhotos(filepath.Join(c.state, album.Folder), filepath.Join(c.folder, album.Folder)))
	}
	if ctx.Err() != nil {
		return
	}
	c.failing.Store(err != nil)
	if kept := tellCopies(c.state, c.folder, time.Now(), err); kept != nil {
		c.log.Warn("how the copies went was not kept", "err", kept)
	}
	for _, id := range written {
		c.log.Info("the batch was copied", "batch", id, "to", filepath.Join(c.folder, id+".db"))
	}
	if err != nil {
		c.log.Warn("not every batch has its copy", "err", err, "do", "see that the folder is there and has room; it is tried again in an hour")
	}
}
