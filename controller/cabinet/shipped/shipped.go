// Package shipped holds four cabinets that differ in size, walls, relays and
// probes, embedded as files. They exist only in rehearsal; a cabinet of one's own
// begins as a copy of the nearest.
package shipped

import (
	"embed"

	"fumarium/controller/cabinet"
	"fumarium/profile/source"
)

//go:embed *.yaml
var files embed.FS

// Default is the key of the cabinet that is taken when nobody names one.
const Default = "plywood-cabinet"

var shelf = source.Shelf[*cabinet.Cabinet]{
	Kind: "cabinet", Files: files, Parse: cabinet.Parse,
	Title: func(c *cabinet.Cabinet) string { return c.Name },
}

// An Entry is one shipped cabinet.
type Entry = source.Item[*cabinet.Cabinet]

// Names lists the keys of the shipped cabinets in order.
func Names() []string { return shelf.Names() }

// All reads every shipped cabinet.
func All() ([]Entry, error) { return shelf.All() }

// Find returns the cabinet of that key or name, or the only one whose key or name
// begins so. Capitals do not matter.
func Find(name string) (Entry, error) { return shelf.Find(name) }
