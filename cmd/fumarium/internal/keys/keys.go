// Package keys tells every key of a product and of a cabinet file. What may stand behind a
// key and whether it is needed is what the parsers ask of a file in which every key stands;
// only what a key means, and what is taken without it, is written down here.
package keys

import (
	"embed"
	"fmt"
	"path"
	"strings"

	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/profile/source"
)

//go:embed complete/*.yaml
var complete embed.FS

// A Key is one key of a file.
type Key struct {
	File    string   `json:"file"` // product or cabinet
	Path    string   `json:"path"` // from the root, with dots between
	Meaning string   `json:"meaning"`
	Needed  bool     `json:"needed"` // wherever what it belongs to stands
	Values  string   `json:"values"` // all that may stand there, in words
	Words   []string `json:"words"`  // those that it takes
	Range   string   `json:"range"`  // of a figure; empty for none
	Default string   `json:"default"`
	Without string   `json:"without"` // what it is without the key where no value says it
	Example string   `json:"example"` // empty for what has keys of its own
}

// A row is what is written down of a key: a value that the same file means without it, or
// in words what it means, or neither for one that is needed.
type row struct{ at, meaning, value, without, form string }

func need(at, meaning string) row { return row{at: at, meaning: meaning} }

func usual(at, meaning, value string) row { return row{at: at, meaning: meaning, value: value} }

func free(at, meaning, without string) row {
	return row{at: at, meaning: meaning, without: without}
}

// as says how a value is written that the parser reads by a form of its own.
func (r row) as(form string) row {
	r.form = form
	return r
}

// Files are the kinds of file, in the order in which they are told.
var Files = []string{"product", "cabinet"}

var files = map[string]struct {
	ask  func(file string, data []byte, notes *source.Asked) error
	rows []row
}{
	"product": {profile.Ask, product},
	"cabinet": {cabinet.Ask, cabinetRows()},
}

// Of gives every key of a kind of file in the order of the table.
func Of(kind string) ([]Key, error) {
	f := files[kind]
	asked, err := askedOf(kind)
	if err != nil {
		return nil, err
	}
	all := make([]Key, 0, len(f.rows))
	for _, r := range f.rows {
		a, known := asked[r.at]
		if !known {
			return nil, fmt.Errorf("keys: the parser of a %s asks for no key %s", kind, r.at)
		}
		k := Key{File: kind, Path: r.at, Meaning: r.meaning, Needed: a.Always, Values: a.May(), Words: a.Words, Range: a.Range,
			Default: r.value, Without: r.without, Example: a.Example}
		if k.Words == nil {
			k.Words = []string{}
		}
		if k.Values == "" {
			k.Values = r.form
		}
		all = append(all, k)
	}
	return all, nil
}

// askedOf is what the parser asks of the complete files, by path.
func askedOf(kind string) (map[string]source.AskedKey, error) {
	entries, err := complete.ReadDir("complete")
	if err != nil {
		return nil, err
	}
	var notes source.Asked
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), kind) {
			continue
		}
		name := path.Join("complete", e.Name())
		data, err := complete.ReadFile(name)
		if err != nil {
			return nil, err
		}
		if err := files[kind].ask(name, data, &notes); err != nil {
			return nil, err
		}
	}
	asked := map[string]source.AskedKey{}
	for _, k := range notes.Keys() {
		asked[k.Path] = k
	}
	return asked, nil
}

// Fits reports whether the key is the one that is named by its path or the end of it, or
// stands below that.
func (k *Key) Fits(name string) bool {
	return strings.Contains("."+k.Path+".", "."+name+".")
}

// Name is the key itself, without what it stands under.
func (k *Key) Name() string { return k.Path[strings.LastIndexByte(k.Path, '.')+1:] }
