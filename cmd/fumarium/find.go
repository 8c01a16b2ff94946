package main

import (
	"errors"
	"io"
	"os"
	"strings"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/profile"
	"fumarium/profile/source"
)

// Shipped things that commands fall back on.
const (
	defaultProduct = "marjoram-ring"
	defaultCabinet = shipped.Default
)

// isFile tells a path from the name of something shipped.
func isFile(name string) bool { return isPath(name) || lies(name) }

// isPath reports whether name can only be that of a file.
func isPath(name string) bool {
	return strings.ContainsAny(name, "/\\") || strings.HasSuffix(name, ".yaml") || strings.HasSuffix(name, ".yml")
}

// lies reports whether a file of that name is here.
func lies(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.Mode().IsRegular()
}

// oneOnly refuses a name that may mean the shipped thing or a file: nobody shall start
// another recipe than the one meant.
func oneOnly(name string, shipped bool) error {
	if shipped && !isPath(name) && lies(name) {
		return usage("%s is shipped, and a file of that name is here; write ./%s for the file, or give the file another name", name, name)
	}
	return nil
}

// readFile reads a file that a person wrote. It reads no more than one byte past
// what the parser accepts, so that a huge file costs nothing.
func readFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, couldNot(err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, source.MaxBytes+1))
	if err != nil {
		return nil, couldNot(err) // it names the file
	}
	return data, nil
}

// find takes a file, or the name of something shipped. The item holds the file as
// it was read.
func find[T any](name string, shelf func(string) (source.Item[T], error), parse func(string, []byte) (T, error)) (source.Item[T], error) {
	item, err := shelf(name)
	if !isFile(name) {
		return item, couldNot(err)
	}
	if err := oneOnly(name, err == nil); err != nil {
		return item, err
	}
	data, err := readFile(name)
	if err != nil {
		return source.Item[T]{}, err
	}
	value, err := parse(shown(name), data)
	return source.Item[T]{Key: name, File: name, Data: data, Value: value}, couldNot(err)
}

func findProduct(name string) (*profile.Product, error) {
	item, err := find(name, keptHere, profile.Parse)
	return item.Value, err
}

func findCabinet(name string) (*cabinet.Cabinet, error) {
	item, err := find(name, shipped.Find, cabinet.Parse)
	return item.Value, err
}

// asFaults returns the faults of a file that an error carries.
func asFaults(err error) (source.Findings, bool) {
	var faults source.Findings
	ok := errors.As(err, &faults)
	return faults, ok
}
