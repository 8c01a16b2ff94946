package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/pflag"

	"fumarium/cmd/fumarium/internal/opened"
	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
	"fumarium/profile/source"
)

// besides are the files of the other cabinets of this board, and the folders that hold
// nothing else.
type besides []string

func (b *besides) flag(f *pflag.FlagSet) {
	f.StringArrayVar((*[]string)(b), "beside", nil, "`PATH` of another cabinet of this board, or of a folder of them: what they claim is not touched; repeat it for more")
}

// others reads them, without the file own. told says which could not be read: such a
// cabinet cannot run either, and is held against this one when it can.
func (b besides) others(own string) (all []source.Item[*cabinet.Cabinet], told []string) {
	self, _ := os.Stat(own)
	for _, path := range b {
		names := []string{path}
		if is, err := os.Stat(path); err == nil && is.IsDir() {
			names, _ = filepath.Glob(filepath.Join(path, "*.yaml"))
		}
		for _, name := range names {
			is, err := os.Stat(name)
			if errors.Is(err, fs.ErrNotExist) || err == nil && self != nil && os.SameFile(is, self) {
				continue
			}
			data, err := readFile(name)
			if err == nil {
				var c *cabinet.Cabinet
				if c, err = cabinet.Parse(shown(name), data); err == nil {
					all = append(all, source.Item[*cabinet.Cabinet]{Key: name, File: name, Data: data, Value: c})
					continue
				}
			}
			told = append(told, fmt.Sprintf("another cabinet of this board cannot be read, so nobody knows what it claims; mend it before it runs: %v", err))
		}
	}
	return all, told
}

// disputes are the findings against the cabinet of a file: what it has and another has, too.
func disputes(file string, c *cabinet.Cabinet, others []source.Item[*cabinet.Cabinet]) (found source.Findings) {
	for _, other := range others {
		found = append(found, c.Disputed(file, other.Value, other.File)...)
	}
	return found
}

// undisputed are the outputs of a cabinet that are nobody else's, and those that it held
// at its last opening: to switch off another's is to drive it, maybe on.
func undisputed(c *cabinet.Cabinet, others []source.Item[*cabinet.Cabinet], before opened.Opening) (mine, left []relay.Pin) {
	for _, p := range relay.Pins(c) {
		claim := cabinet.Claim{Chip: p.Chip, Pin: p.Pin}
		theirs := slices.ContainsFunc(others, func(o source.Item[*cabinet.Cabinet]) bool {
			return slices.ContainsFunc(o.Value.Claims(), claim.Clashes)
		})
		if theirs && !slices.ContainsFunc(before.Pins, p.SameLine) {
			left = append(left, p)
		} else {
			mine = append(mine, p)
		}
	}
	return mine, left
}

// alone refuses a cabinet that has what another one of this board has, before any line of
// it is opened that is in dispute; what is its alone is switched off.
func (o runOptions) alone(file source.Item[*cabinet.Cabinet], lines relay.Host) (told []string, err error) {
	others, told := o.beside.others(file.File)
	found := disputes(file.File, file.Value, others)
	if len(found) == 0 {
		return told, nil
	}
	mine, left := undisputed(file.Value, others, lastOpening(o.state).Opening)
	if err := relay.CutPins(mine, lines); err != nil {
		return told, fmt.Errorf("%w\nnot everything else of this cabinet could be switched off:\n%w\nwhen in doubt, cut the mains", found, err)
	}
	return told, fmt.Errorf("%w\nnothing starts; switched off and read back: %s; not touched: %s", found, orNothing(mine), orNothing(left))
}

func orNothing(pins []relay.Pin) string {
	if len(pins) == 0 {
		return "nothing"
	}
	return pinNames(pins)
}
