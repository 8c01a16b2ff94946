package source

import (
	"errors"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"
)

// ErrNoKey is the error of a path that leads nowhere in a file.
var ErrNoKey = errors.New("the file has no such key")

// Replace writes another value in the place of one that a file has, and leaves all else as
// it is, comments too. Each step of the path is a key of a mapping, or the name of an item of
// a list.
func Replace(file string, data []byte, value string, path ...string) (changed []byte, was string, err error) {
	d, err := Open(file, data)
	if err != nil {
		return nil, "", err
	}
	if err := d.Err(); err != nil {
		return nil, "", err
	}
	n := d.root
	for _, step := range path {
		if n = below(n, step); n == nil {
			return nil, "", fmt.Errorf("%s: %s: %w", file, strings.Join(path, "."), ErrNoKey)
		}
	}
	cannot := fmt.Errorf("%s:%d: %s is written in a way that cannot be changed in its place; change a copy of the file", file, n.Line, strings.Join(path, "."))
	if n.Kind != yaml.ScalarNode || strings.ContainsAny(value, "\n\r") {
		return nil, "", cannot
	}
	old := n.Value
	switch n.Style {
	case yaml.DoubleQuotedStyle:
		old = `"` + old + `"`
	case yaml.SingleQuotedStyle:
		old = "'" + old + "'"
	}
	lines := strings.SplitAfter(strings.TrimPrefix(string(data), "\ufeff"), "\n")
	if n.Line < 1 || n.Line > len(lines) {
		return nil, "", cannot
	}
	line := []rune(lines[n.Line-1])
	if n.Column < 1 || n.Column > len(line) {
		return nil, "", cannot
	}
	head, tail := string(line[:n.Column-1]), string(line[n.Column-1:])
	rest, ok := strings.CutPrefix(tail, old)
	if !ok || old == "" {
		return nil, "", cannot
	}
	lines[n.Line-1] = head + `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(value) + `"` + rest
	return []byte(strings.Join(lines, "")), n.Value, nil
}

// below is what a key of a mapping, or the name of a list's item, stands for; nil is nothing.
func below(n *yaml.Node, step string) *yaml.Node {
	switch n.Kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			if strings.EqualFold(n.Content[i].Value, step) {
				return n.Content[i+1]
			}
		}
		if name := below1(n, "name"); name != nil && strings.EqualFold(name.Value, step) { // one item, not in a list
			return n
		}
	case yaml.SequenceNode:
		for _, item := range n.Content {
			if name := below1(item, "name"); name != nil && strings.EqualFold(name.Value, step) {
				return item
			}
		}
	}
	return nil
}

func below1(n *yaml.Node, key string) *yaml.Node {
	if n.Kind == yaml.MappingNode {
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == key {
				return n.Content[i+1]
			}
		}
	}
	return nil
}
