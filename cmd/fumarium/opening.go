package main

import (
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"time"

	"fumarium/cmd/fumarium/internal/opened"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/relay"
	"fumarium/profile"
	"fumarium/profile/source"
)

// last is the last good opening as the state folder has it, or why it is not known.
type last struct {
	opened.Opening
	dir string
	err error
}

func lastOpening(state string) last {
	var l last
	if l.dir, l.err = stateDir(state); l.err == nil {
		l.Opening, l.err = opened.Read(l.dir)
	}
	return l
}

// withoutFile switches off what the last opening held, because the cabinet file cannot
// be used, and adds to why it cannot what became of the outputs.
func (l *last) withoutFile(why error, lines relay.Host) error {
	file := filepath.Join(l.dir, opened.File)
	switch {
	case l.err != nil:
		return fmt.Errorf("%w\nwhat the last opening held is not known either: %w\nnothing was switched off; when in doubt, cut the mains", why, l.err)
	case len(l.Pins) == 0:
		return fmt.Errorf("%w\n%s holds no last opening, so nothing was switched off (--state names another folder); when in doubt, cut the mains", why, l.dir)
	}
	if err := relay.CutPins(l.Pins, lines); err != nil {
		return fmt.Errorf("%w\nnot everything that the last opening held (%s) could be switched off:\n%w\nwhen in doubt, cut the mains", why, file, err)
	}
	return fmt.Errorf("%w\nwhat the last opening held (%s) was switched off and read back: %s", why, file, pinNames(l.Pins))
}

// beside switches off what the last opening held and the cabinet does not name.
func (l *last) beside(name string, c *cabinet.Cabinet, lines relay.Host) ([]relay.Pin, error) {
	gone := l.Beside(name, c)
	if err := relay.CutPins(gone, lines); err != nil {
		return nil, fmt.Errorf("%s no longer names what the last opening held, and not all of it could be switched off:\n%w\n"+
			"when in doubt, cut the mains; once you have seen that nothing hangs there any more, delete %s", name, err, filepath.Join(l.dir, opened.File))
	}
	return gone, nil
}

func pinNames(pins []relay.Pin) string {
	var names []string
	for _, p := range pins {
		names = append(names, p.String())
	}
	return strings.Join(names, ", ")
}

// An openCabinet is a cabinet with its lines taken and off.
type openCabinet struct {
	file  source.Item[*cabinet.Cabinet]
	world *wiring.World
	told  []string // for people, of what was found
}

// openNamed opens the cabinet that the options name, all off. Whatever is wrong with
// its file, what a former opening may have left on is switched off first. A real one is
// opened only once its outputs are on disk: a file that is torn later must not leave
// them on.
func openNamed(o runOptions, paceGiven bool, m machine, product *profile.Product, log *slog.Logger) (*openCabinet, error) {
	file, err := find(o.cabinet, shipped.Find, cabinet.Parse)
	if err != nil {
		before := lastOpening(o.state)
		if isFile(o.cabinet) || len(before.Pins) > 0 {
			err = before.withoutFile(err, m.lines)
		}
		return nil, couldNot(err)
	}
	c := file.Value
	if paceGiven && !c.Simulated() {
		return nil, usage("--pace is for simulated cabinets; %q is a real one", c.Name)
	}
	faults, err := o.practice(c)
	if err != nil {
		return nil, err
	}
	if err := wiring.Refused(c); err != nil {
		before := lastOpening(o.state)
		before.Pins = before.By(c)
		return nil, couldNot(before.withoutFile(err, m.lines))
	}
	apart, err := o.alone(file, m.lines)
	if err != nil {
		return nil, couldNot(err)
	}
	told, err := supersede(o.state, file.File, c, m.lines)
	if err != nil {
		return nil, couldNot(err)
	}
	told = append(apart, told...)
	for _, text := range told {
		log.Warn(text)
	}
	world, err := wiring.Open(c, wiring.Options{Product: product, Seed: 1, ByHand: o.byHand, Faults: faults, Lines: m.lines, Buses: m.buses})
	return &openCabinet{file, world, told}, couldNot(err)
}

// supersede switches off everything that a cabinet, read from the file name, and the last
// opening hold, and then puts the cabinet in that one's place, on disk. told is for
// people. A disk that hangs keeps nothing on but what the file does not name.
func supersede(state, name string, c *cabinet.Cabinet, lines relay.Host) (told []string, err error) {
	var left error
	if !c.Simulated() {
		left = relay.Cut(c, lines, time.Sleep)
	}
	before := lastOpening(state)
	if before.err != nil && !c.Simulated() && before.dir != "" {
		told = append(told, fmt.Sprintf("the outputs of the last opening cannot be read and are written anew: %v; if another output was fitted before, see that it is off", before.err))
	}
	gone, err := before.beside(name, c, lines)
	if err != nil {
		return told, errors.Join(err, left)
	}
	// What is left, the opening says: an element that is live with every line off is no
	// reason not to open.
	if len(gone) > 0 {
		told = append(told, name+" no longer names what the last opening held; switched off and read back: "+pinNames(gone))
	}
	switch {
	case c.Simulated() && len(gone) > 0:
		err = opened.Forget(before.dir)
	case c.Simulated():
	case before.dir == "":
		err = before.err
	default:
		err = opened.Write(before.dir, opened.Of(name, c))
	}
	if err != nil {
		return told, fmt.Errorf("which outputs are opened must be on disk before anything can heat: %w; free the disk or choose another folder with --state", err)
	}
	return told, nil
}
