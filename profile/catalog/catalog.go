// Package catalog holds the shipped products, embedded as the files that anyone
// could have written. It parses them; it changes nothing and knows no others.
package catalog

import (
	"embed"

	"fumarium/profile"
	"fumarium/profile/source"
)

//go:embed *.yaml
var files embed.FS

var shelf = source.Shelf[*profile.Product]{
	Kind: "product", Files: files, Parse: profile.Parse,
	Title: func(p *profile.Product) string { return p.Name },
}

// An Entry is one shipped product.
type Entry = source.Item[*profile.Product]

// Names lists the keys of the shipped products in order.
func Names() []string { return shelf.Names() }

// All reads every shipped product.
func All() ([]Entry, error) { return shelf.All() }

// Find returns the product of that key or name, or the only one whose key or name
// begins so. Capitals do not matter.
func Find(name string) (Entry, error) { return shelf.Find(name) }
