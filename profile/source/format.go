package source

import (
	"fmt"
	"strconv"

	"go.yaml.in/yaml/v4"
)

// A Step brings the root of a file from one format to the next. Lines and columns stay
// those of the file, so that what is wrong is shown where the person wrote it.
type Step func(*Map)

// Format reads in which format the file is written, from its key format, and brings it to
// the newest, a step at a time: the first step is from 1 to 2. A file without the key is
// of format 1. Ask for it before anything else. It is false where nothing else can be
// read, because a newer program wrote the file.
func (m *Map) Format(steps ...Step) bool {
	newest := len(steps) + 1
	is := 1
	if v := m.Take("format"); v.Present() {
		n, ok := Read(v, readFormat)
		switch {
		case !ok:
			return false
		case n > newest:
			v.Fault(fmt.Sprintf("the file is of format %d, and this program knows formats up to %d", n, newest),
				"use the newer program that the file was written for; to go back to this one, take the copy of the file from before the upgrade")
			return false
		}
		is = n
	}
	for _, step := range steps[is-1:] {
		step(m)
	}
	return true
}

func readFormat(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || text != strconv.Itoa(n) {
		return 0, fmt.Errorf("%q is no format; write a whole number from 1", text)
	}
	return n, nil
}

// Rename gives a key the name that the next format has for it. Where that name is there
// already, the old one stays and is reported as unknown.
func (m *Map) Rename(old, now string) {
	at, there := m.index(old)
	if !there || m.Has(now) {
		return
	}
	key := m.node.Content[at]
	m.node.Content[at] = &yaml.Node{Kind: key.Kind, Tag: key.Tag, Value: now, Line: key.Line, Column: key.Column}
	delete(m.keys, old)
	m.keys[now] = at
}
