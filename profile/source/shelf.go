package source

import (
	"embed"
	"fmt"
	"path"
	"slices"
	"strings"
)

// A Shelf is a folder of embedded files of one kind, each found by its name.
type Shelf[T any] struct {
	Kind  string // what one file holds, for messages
	Files embed.FS
	Parse func(file string, data []byte) (T, error)
	Title func(T) string // what the file calls itself
}

// An Item is one file of a shelf.
type Item[T any] struct {
	Key   string // file name without its ending
	File  string // file name, for messages
	Data  []byte // the file as shipped
	Value T
}

// Names lists the keys in order.
func (s Shelf[T]) Names() []string {
	entries, err := s.Files.ReadDir(".")
	if err != nil { // an embedded folder cannot fail to be read
		panic(err)
	}
	names := make([]string, 0, len(entries))
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), path.Ext(e.Name())))
	}
	slices.Sort(names)
	return names
}

// All reads every file.
func (s Shelf[T]) All() ([]Item[T], error) {
	var all []Item[T]
	for _, key := range s.Names() {
		item := Item[T]{Key: key, File: key + ".yaml"}
		var err error
		if item.Data, err = s.Files.ReadFile(item.File); err != nil {
			return nil, err
		}
		if item.Value, err = s.Parse(item.File, item.Data); err != nil {
			return nil, err
		}
		all = append(all, item)
	}
	return all, nil
}

// Find returns the item of that key or title, or the only one whose key or title
// begins so. Capitals do not matter.
func (s Shelf[T]) Find(name string) (Item[T], error) {
	all, err := s.All()
	if err != nil {
		return Item[T]{}, err
	}
	wanted := strings.ToLower(strings.TrimSpace(name))
	var fits []Item[T]
	var keys []string
	for _, item := range all {
		key, title := strings.ToLower(item.Key), strings.ToLower(s.Title(item.Value))
		if wanted == key || wanted == title {
			return item, nil
		}
		if wanted != "" && (strings.HasPrefix(key, wanted) || strings.HasPrefix(title, wanted)) {
			fits = append(fits, item)
			keys = append(keys, item.Key)
		}
	}
	switch len(fits) {
	case 1:
		return fits[0], nil
	case 0:
		return Item[T]{}, fmt.Errorf("no shipped %s is called %q; there are %s", s.Kind, name, strings.Join(s.Names(), ", "))
	}
	return Item[T]{}, fmt.Errorf("%q fits the %ss %s; write more of the name", name, s.Kind, strings.Join(keys, ", "))
}
