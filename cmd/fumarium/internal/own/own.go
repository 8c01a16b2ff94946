// Package own keeps the products that people wrote themselves, one file each, in a folder
// of the state. A file is there whole or not at all, and is never written over in silence.
// What may be in it others judge: here it is only kept and found.
package own

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"fumarium/profile"
	"fumarium/profile/source"
)

// Folder is where own products lie, below the folder of the state.
const Folder = "products"

// What is kept at most; common practice, no source.
const (
	MostFiles = 500
	MostBytes = 64 << 10
)

// ErrTaken says that another product has the name.
var ErrTaken = errors.New("another product has this name already")

// name is what a product may be kept as: it is a file's name on every system, and needs no
// quotes on a command line.
var name = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,58}[a-z0-9])?$`)

// A Shelf is a folder of own products.
type Shelf struct {
	dir     string
	shipped func() []string // their names are taken
}

// In is the shelf of a state folder. It need not exist.
func In(state string, shipped func() []string) *Shelf {
	return &Shelf{filepath.Join(state, Folder), shipped}
}

// NameOf makes a name of a file's, or of what a product is called: small letters, digits
// and hyphens.
func NameOf(text string) string {
	base := strings.ToLower(text[strings.LastIndexAny(text, `/\`)+1:])
	base = strings.TrimSuffix(strings.TrimSuffix(base, ".yaml"), ".yml")
	base = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss").Replace(base)
	base = regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(base, "-")
	return strings.Trim(base[:min(len(base), 60)], "-")
}

// Check says why a product cannot be kept under a name.
func (s *Shelf) Check(as string) error {
	switch {
	case !name.MatchString(as):
		return fmt.Errorf("%q is no name for a product; write small letters, digits and hyphens, 60 at most", as)
	case slices.Contains(s.shipped(), as):
		return fmt.Errorf("%s is the name of a shipped product; give yours another", as)
	}
	return nil
}

// Names lists what is kept, in order. A folder that is not there holds nothing.
func (s *Shelf) Names() ([]string, error) {
	entries, err := os.ReadDir(s.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		key, ok := strings.CutSuffix(e.Name(), ".yaml")
		if ok && name.MatchString(key) && e.Type().IsRegular() {
			names = append(names, key)
		}
	}
	slices.Sort(names)
	return names, nil
}

// Find reads the product of that name; ok is false where there is none.
func (s *Shelf) Find(as string) (item source.Item[*profile.Product], ok bool, err error) {
	if !name.MatchString(as) {
		return item, false, nil
	}
	item = source.Item[*profile.Product]{Key: as, File: as + ".yaml"}
	item.Data, err = read(filepath.Join(s.dir, item.File))
	if errors.Is(err, fs.ErrNotExist) {
		return item, false, nil
	}
	if err == nil && slices.Contains(s.shipped(), as) {
		err = fmt.Errorf("%s is shipped, and a product of yours has that name; rename %s", as, filepath.Join(s.dir, item.File))
	}
	if err == nil {
		item.Value, err = profile.Parse(item.File, item.Data)
	}
	return item, true, err
}

// read takes a file that is no larger than it may be, and no link or device.
func read(file string) ([]byte, error) {
	info, err := os.Lstat(file)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() || info.Size() > MostBytes {
		return nil, fmt.Errorf("%s is no file of at most %d bytes", file, MostBytes)
	}
	return os.ReadFile(file)
}

// Add keeps a product. Where the name is taken by another it is ErrTaken, unless it shall
// be replaced. The same file again is no error.
func (s *Shelf) Add(as string, data []byte, replace bool) (err error) {
	if err := s.Check(as); err != nil {
		return err
	}
	if len(data) > MostBytes {
		return fmt.Errorf("the product file has more than %d bytes; check that it is the right one", MostBytes)
	}
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return err
	}
	file := filepath.Join(s.dir, as+".yaml")
	if there, err := os.ReadFile(file); err == nil && bytes.Equal(there, data) {
		return nil
	}
	if names, err := s.Names(); err != nil {
		return err
	} else if len(names) >= MostFiles && !slices.Contains(names, as) {
		return fmt.Errorf("%d products are kept already; take some out of %s", MostFiles, s.dir)
	}
	next, err := os.CreateTemp(s.dir, ".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(next.Name()) // gone already when it was renamed
	_, err = next.Write(data)
	err = errors.Join(err, next.Sync(), next.Close())
	if err != nil {
		return err
	}
	if replace {
		err = os.Rename(next.Name(), file)
	} else if err = os.Link(next.Name(), file); errors.Is(err, fs.ErrExist) { // who comes second loses
		return ErrTaken
	}
	if err != nil {
		return err
	}
	return syncDir(s.dir)
}

// Remove takes a product away; ok is false where there was none.
func (s *Shelf) Remove(as string) (ok bool, err error) {
	if !name.MatchString(as) {
		return false, nil
	}
	err = os.Remove(filepath.Join(s.dir, as+".yaml"))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	return true, syncDir(s.dir)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
