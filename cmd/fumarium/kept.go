package main

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/own"
	"fumarium/controller/cabinet"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/source"
)

// kept finds a product by its name: one's own, or a shipped one.
func kept(shelf *own.Shelf) func(string) (catalog.Entry, error) {
	return func(name string) (catalog.Entry, error) {
		item, ok, err := shelf.Find(name)
		if ok || err != nil {
			return item, err
		}
		return catalog.Find(name)
	}
}

// keptHere is that for commands which name no state folder. One that cannot be read holds
// nothing for whoever may not read it.
func keptHere(name string) (catalog.Entry, error) {
	dir, err := stateDir("")
	if err != nil {
		return catalog.Find(name)
	}
	entry, err := kept(own.In(dir, catalog.Names))(name)
	if errors.Is(err, fs.ErrPermission) {
		return catalog.Find(name)
	}
	return entry, err
}

// findKept is what the daemon starts by name.
func findKept(shelf *own.Shelf) func(string) (*profile.Product, []byte, error) {
	return func(name string) (*profile.Product, []byte, error) {
		entry, err := kept(shelf)(name)
		return entry.Value, entry.Data, err
	}
}

// webShelf is the shelf as the page knows it.
type webShelf struct{ *own.Shelf }

// Add implements web.Shelf.
func (s webShelf) Add(name, file string, data []byte, replace bool) (string, error) {
	if name == "" {
		name = own.NameOf(file)
	}
	err := s.Shelf.Add(name, data, replace)
	if errors.Is(err, own.ErrTaken) {
		err = web.ErrTaken
	}
	return name, err
}

// judge is what check says of a file that shall be a product.
func judge(home *cabinet.Cabinet, place profile.Jurisdiction) func(string, []byte) (*profile.Product, source.Findings) {
	return func(file string, data []byte) (*profile.Product, source.Findings) {
		if isCabinet(data) {
			return nil, source.Findings{{File: file, Line: 1, Column: 1, Message: "this is the file of a cabinet", Remedy: "bring a product file; a cabinet is named with run --cabinet"}}
		}
		p, err := profile.Parse(file, data)
		if err != nil {
			return nil, faultsOf(file, err)
		}
		return p, withExcerpts(checkProduct(p, file, data, home, place), data)
	}
}

func addCommand() *cobra.Command {
	var state, as, against, where string
	var replace bool
	c := &cobra.Command{
		Use:   "add FILE",
		Short: "Keep a product file of your own beside the shipped products",
		Long: `Checks a product file as fumarium check does, prints everything that is wrong or
unwise, and keeps it among your own products unless something is wrong. Then it is
rehearsed and started by its name, from here and from the page.

It lies in the folder "` + own.Folder + `" of the state folder; name the daemon's with
--state, or bring the file on the page. A product that is kept already is not
written over unless you say --replace: a batch that was made of it has its own copy
on the record.

Exit status: 0 kept, 1 something is wrong with it or the name is taken, 2 usage, 3 it
could not be read or written.`,
		Example: `  fumarium products add my-ring.yaml
  fumarium products add ring-2.yaml --as my-ring --replace`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			home, err := findCabinet(against)
			if err != nil {
				return err
			}
			place, err := placeOf(where)
			if err != nil {
				return err
			}
			data, err := readFile(args[0])
			if err != nil {
				return err
			}
			if as == "" {
				as = own.NameOf(args[0])
			}
			p, found := judge(home, place)(args[0], data)
			if len(found) > 0 {
				printFindings(cmd.OutOrStdout(), found, 1)
			}
			if p != nil {
				printFindings(cmd.OutOrStdout(), unreached(cmd.Context(), p, args[0], home), 0)
			}
			if p == nil || hasErrors(found) {
				return &failure{exitBad, fmt.Errorf("%s was not kept: mend what is an error", shown(args[0]))}
			}
			return keep(cmd, state, as, data, replace, len(found) > 0)
		},
	}
	f := c.Flags()
	f.StringVar(&as, "as", "", "`NAME` to keep it under (default: that of the file)")
	f.BoolVar(&replace, "replace", false, "write over your product of that name")
	f.StringVar(&state, "state", "", "`DIR` of the state (default: "+stateHint+")")
	f.StringVar(&against, "cabinet", defaultCabinet, "cabinet `FILE` or shipped name that it is held against")
	jurisdictionFlag(c, &where)
	return c
}

// keep puts a product that can be used on the shelf, and says so.
func keep(cmd *cobra.Command, state, as string, data []byte, replace, advised bool) error {
	dir, err := stateDir(state)
	if err != nil {
		return couldNot(err)
	}
	shelf := own.In(dir, catalog.Names)
	if err := shelf.Check(as); err != nil {
		return usage("%w: --as NAME", err)
	}
	err = shelf.Add(as, data, replace)
	if errors.Is(err, own.ErrTaken) {
		return &failure{exitBad, fmt.Errorf("%s is kept already and differs: --replace to have this one in its place, or --as NAME", as)}
	} else if err != nil {
		return couldNot(err)
	}
	w := cmd.OutOrStdout()
	fmt.Fprintf(w, "kept as %s; fumarium rehearse %s, then fumarium start %s\n", as, as, as)
	if advised {
		fmt.Fprintln(w, "a start wants a --reason, because of the advice above")
	}
	return nil
}

func removeCommand() *cobra.Command {
	var state string
	c := &cobra.Command{
		Use:   "remove NAME",
		Short: "Take one of your own products away",
		Long: `Deletes the file of one of your own products. Batches that were made of it keep their
copy on the record.`,
		Example: "  fumarium products remove my-ring",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir, err := stateDir(state)
			if err != nil {
				return couldNot(err)
			}
			ok, err := own.In(dir, catalog.Names).Remove(args[0])
			switch {
			case err != nil:
				return couldNot(err)
			case !ok:
				return &failure{exitBad, fmt.Errorf("no product of your own is called %q; fumarium products lists them", args[0])}
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s is gone\n", args[0])
			return nil
		},
	}
	c.Flags().StringVar(&state, "state", "", "`DIR` of the state (default: "+stateHint+")")
	return c
}

// ownProducts reads what is kept in a state folder. A file that cannot be used any more is
// listed with what is wrong.
func ownProducts(state string) (list []listedProduct, bad []string, err error) {
	dir, err := stateDir(state)
	if err != nil {
		return nil, nil, err
	}
	shelf := own.In(dir, catalog.Names)
	names, err := shelf.Names()
	if err != nil {
		return nil, nil, err
	}
	for _, name := range names {
		item, _, err := shelf.Find(name)
		if err != nil {
			bad = append(bad, fmt.Sprintf("%s cannot be used: %s", name, strings.SplitN(err.Error(), "\n", 2)[0]))
			continue
		}
		l := listed(name, item.Value)
		l.Own = true
		list = append(list, l)
	}
	return list, bad, nil
}

// shownFile is the text of a product's file, own or shipped.
func shownFile(state, name string) ([]byte, error) {
	dir, err := stateDir(state)
	if err != nil {
		return nil, err
	}
	entry, err := kept(own.In(dir, catalog.Names))(name)
	return entry.Data, err
}
