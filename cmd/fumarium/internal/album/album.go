// Package album keeps the photographs of batches as files in the state folder, a folder for
// each batch, and says whether one is still what was taken in. What is said of them, and
// their hashes, stand in the record.
package album

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // their sizes are read
	_ "image/png"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
)

// Folder is where the photographs are in the state folder.
const Folder = "photos"

// What an album takes; common practice, no source. The page makes a photograph smaller before
// it sends it.
const (
	MostBytes  = 4 << 20
	mostPixels = 50_000_000
	mostPhotos = 99 // of a batch
)

// An Album is the photographs of one batch.
type Album struct{ dir string }

// Of is the album of a batch, by its whole id, in a state folder.
func Of(state, batch string) Album { return Album{filepath.Join(state, Folder, batch)} }

// Dir is its folder.
func (a Album) Dir() string { return a.dir }

// name is what a photograph may be called: nothing else is opened.
var name = regexp.MustCompile(`^[0-9]{2}\.(jpg|png)$`)

// kind is the ending and the media type of an image, or an error that says what is taken.
func kind(data []byte) (ending string, err error) {
	if len(data) == 0 || len(data) > MostBytes {
		return "", fmt.Errorf("the photograph has %d bytes, and 1 to %d are taken; make it smaller", len(data), MostBytes)
	}
	c, format, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return "", errors.New("this is no JPEG and no PNG; take a photograph in one of them")
	}
	if c.Width < 1 || c.Height < 1 || c.Width*c.Height > mostPixels {
		return "", fmt.Errorf("the photograph has %d x %d pixels, and at most %d are taken; make it smaller", c.Width, c.Height, mostPixels)
	}
	if format == "jpeg" {
		return "jpg", nil
	}
	return "png", nil
}

// Add keeps a photograph under the next name. It is on disk when Add returns.
func (a Album) Add(data []byte) (file, sum string, err error) {
	ending, err := kind(data)
	if err != nil {
		return "", "", err
	}
	if err := os.MkdirAll(a.dir, 0o700); err != nil {
		return "", "", err
	}
	for n := 1; n <= mostPhotos; n++ {
		taken := false
		for _, e := range []string{"jpg", "png"} {
			_, err := os.Lstat(filepath.Join(a.dir, fmt.Sprintf("%02d.%s", n, e)))
			taken = taken || !errors.Is(err, fs.ErrNotExist)
		}
		if taken {
			continue
		}
		file = fmt.Sprintf("%02d.%s", n, ending)
		f, err := os.OpenFile(filepath.Join(a.dir, file), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err != nil {
			return "", "", err
		}
		_, err = f.Write(data)
		if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
			return "", "", errors.Join(err, os.Remove(f.Name()))
		}
		return file, sumOf(data), nil
	}
	return "", "", fmt.Errorf("a batch keeps %d photographs at most", mostPhotos)
}

// Drop takes back one that the record did not take.
func (a Album) Drop(file string) error { return os.Remove(filepath.Join(a.dir, file)) }

func sumOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Type is the media type by the name.
func Type(file string) string {
	if filepath.Ext(file) == ".png" {
		return "image/png"
	}
	return "image/jpeg"
}

// States of a photograph.
const (
	Whole   = "as taken in"
	Changed = "CHANGED since it was taken in"
	Missing = "MISSING"
)

// Read gives a photograph, and how it stands against the hash that the record has of it. What
// was changed is not given away.
func (a Album) Read(file, sum string) (data []byte, state string) {
	if !name.MatchString(file) {
		return nil, Missing
	}
	data, err := os.ReadFile(filepath.Join(a.dir, file))
	switch {
	case err != nil:
		return nil, Missing
	case sumOf(data) != sum:
		return nil, Changed
	}
	return data, Whole
}
