// Package opened keeps on disk which outputs a real cabinet was last opened with. A
// cabinet file can be torn, lost or changed while an output is on; what hangs where is
// then known from here. It switches nothing.
package opened

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
)

// File is what the file in the state folder is called.
const File = "outputs.json"

// An Opening is what was opened last. The zero Opening is none.
type Opening struct {
	Cabinet string      `json:"cabinet"` // the file, with its whole path
	Pins    []relay.Pin `json:"outputs"`
}

// Of is the opening of a cabinet that was read from the file name.
func Of(name string, c *cabinet.Cabinet) Opening {
	o := Opening{Cabinet: whole(name)}
	if !c.Simulated() {
		o.Pins = relay.Pins(c)
	}
	return o
}

func whole(name string) string {
	if abs, err := filepath.Abs(name); err == nil {
		return abs
	}
	return name
}

// Beside are the pins that a cabinet, read from the file name, does not see to itself:
// those on lines that it does not name. A simulated cabinet of another file has nothing
// to do with them.
func (o Opening) Beside(name string, c *cabinet.Cabinet) []relay.Pin {
	switch {
	case c.Simulated() && whole(name) == o.Cabinet:
		return o.Pins
	case c.Simulated():
		return nil
	}
	named := relay.Pins(c)
	for _, input := range []cabinet.Wire{c.Heater.Feedback, c.Door} {
		if input.Fitted { // to drive it would work against what hangs there now
			named = append(named, relay.Pin{Chip: c.LineChip, Pin: input.Pin})
		}
	}
	return slices.DeleteFunc(slices.Clone(o.Pins), func(p relay.Pin) bool { return slices.ContainsFunc(named, p.SameLine) })
}

// By are the pins with the polarity that a cabinet gives their lines, where it names
// them: it is the last word on what hangs there, whatever else is wrong with it.
func (o Opening) By(c *cabinet.Cabinet) []relay.Pin {
	pins := slices.Clone(o.Pins)
	for i, p := range pins {
		for _, named := range relay.Pins(c) {
			if p.SameLine(named) {
				pins[i].ActiveLow = named.ActiveLow
			}
		}
	}
	return pins
}

// most is more than the pins of a cabinet take.
const most = 64 << 10

// Read gives the last opening; where none is on record, the zero Opening.
func Read(dir string) (Opening, error) {
	name := filepath.Join(dir, File)
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return Opening{}, nil
	}
	if err != nil {
		return Opening{}, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return Opening{}, err
	}
	var o Opening
	err = json.Unmarshal(data, &o)
	for _, p := range o.Pins {
		if p.Output == "" || p.Pin == "" {
			err = errors.Join(err, errors.New("an output without a name or a pin"))
		}
	}
	if err != nil {
		return Opening{}, fmt.Errorf("%s: %w", name, err)
	}
	return o, nil
}

// Write replaces the last opening, and returns when the new one is on disk. What is
// there already is not written again, so that a full disk does not stand in its way.
func Write(dir string, o Opening) (err error) {
	if is, err := Read(dir); err == nil && is.Cabinet == o.Cabinet && slices.Equal(is.Pins, o.Pins) {
		return sync(dir) // whoever wrote it may have been killed before that
	}
	if err := makeFolder(dir); err != nil {
		return err
	}
	data, err := json.MarshalIndent(o, "", "  ")
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, "."+File+"-") // readable by its owner only
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	_, err = f.Write(append(data, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), filepath.Join(dir, File)); err != nil {
		return err
	}
	return sync(dir)
}

// Forget takes the last opening away: nothing of it is on, and nothing real is opened.
func Forget(dir string) error {
	if err := os.Remove(filepath.Join(dir, File)); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}
	return sync(dir)
}

// makeFolder makes the state folder so that it outlives a power cut.
func makeFolder(dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return sync(filepath.Dir(dir))
}

func sync(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
