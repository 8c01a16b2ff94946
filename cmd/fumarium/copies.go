package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
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
