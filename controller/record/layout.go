package record

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// layoutVersion is the version of the names in layouts. FORMAT.md says what each
// version is.
const layoutVersion = 2

// names1 gives the fields of layout 1, which were called as the program of then called
// them: name then with the length of its array, kind, name today. It is frozen: what is
// renamed after layout 1 goes into renamed.
//
//go:embed names-1.txt
var names1 string

// renamed gives fields of layouts from 2 on the name that they have today: old name to
// new name, with their prefix, and [] for any index. Empty until a stored name changes,
// which a field that is only moved or renamed in the program does not need.
var renamed = map[string]string{}

// retired holds the names of state that no program keeps any more, each with why a
// batch can go on without it. What it held is left out when an old state is read.
var retired = map[string]string{
	"state.chamber.probe[].jumped": jumps, "state.chamber.probe[].gone": jumps,
	"state.core[].probe.jumped": jumps, "state.core[].probe.gone": jumps,
}

const jumps = "a reading that jumped is judged before the step, and comes as implausible; a batch under way has it judged afresh"

// A place is a field as some program recorded it, and where this one keeps it.
type place struct {
	field
	// leaves is one leaf, or as many as a mask of layout 1 had bits, lowest first; none
	// where this program has no such field.
	leaves []*leaf
	// retired says that it is known to have been given up.
	retired bool
}

// isMask reports a mask of layout 1 that is one boolean for each bit today.
func (p *place) isMask() bool { return p.kind == natural && len(p.leaves) > 1 }

func (p *place) word() word {
	if !p.isMask() {
		return p.leaves[0].word()
	}
	var w word
	for i, l := range p.leaves {
		w.bits |= l.word().bits << i
	}
	return w
}

func (p *place) set(w word) error {
	if !p.isMask() {
		return p.leaves[0].set(w)
	}
	if w.bits>>len(p.leaves) != 0 {
		return fmt.Errorf("field %s cannot hold %d", p.name, w.bits)
	}
	for i, l := range p.leaves {
		if err := l.set(word{bits: w.bits >> i & 1}); err != nil {
			return err
		}
	}
	return nil
}

// header is the first line of a layout from 2 on.
func header(version int) string { return fmt.Sprintf("layout %d\n", version) }

// layoutOf writes fields as lines of a layout.
func layoutOf(prefix string, leaves []leaf) string {
	var b strings.Builder
	for i := range leaves {
		fmt.Fprintf(&b, "%s.%s %s\n", prefix, leaves[i].name, leaves[i].kind)
	}
	return b.String()
}

// placesOf finds where the fields of a layout that begin with prefix are kept below
// pointer. Layout 1 does not list the state: all of its names count, and those that
// the program of then did not have yet are zero.
func placesOf(prefix, layout string, pointer any) ([]place, error) {
	version, err := versionOf(layout)
	if err != nil {
		return nil, err
	}
	lines := strings.Split(strings.TrimSpace(layout), "\n")
	if version == 1 && prefix == "state" {
		lines = old().state
	}
	known := map[string]*leaf{}
	leaves := leavesOf(pointer)
	for i := range leaves {
		known[leaves[i].name] = &leaves[i]
	}
	var places []place
	for _, line := range lines {
		name, k, _ := strings.Cut(line, " ")
		full := name
		name, ok := strings.CutPrefix(name, prefix+".")
		if !ok {
			continue
		}
		p := place{field: field{name: name, kind: kind(k)}}
		switch p.kind {
		case boolean, integer, natural, duration, number, reading:
		default:
			return nil, fmt.Errorf("layout line %q is not a name and a kind that this program knows", line)
		}
		for _, today := range today(version, full) {
			if l := known[strings.TrimPrefix(today, prefix+".")]; l != nil {
				p.leaves = append(p.leaves, l)
			} else {
				_, p.retired = retired[index.ReplaceAllString(today, "[]")]
			}
		}
		if len(p.leaves) > 0 && p.leaves[0].kind != p.kind && !p.isMask() {
			return nil, fmt.Errorf("field %s was recorded as %s and is %s in this program; use the program that recorded it", name, k, p.leaves[0].kind)
		}
		places = append(places, p)
	}
	if len(places) == 0 {
		return nil, fmt.Errorf("the layout has no line for %s", prefix)
	}
	return places, nil
}

// versionOf reads the first line, which layout 1 does not have.
func versionOf(layout string) (int, error) {
	line, _, _ := strings.Cut(layout, "\n")
	text, ok := strings.CutPrefix(line, "layout ")
	if !ok {
		return 1, nil
	}
	version, err := strconv.Atoi(text)
	if err != nil || version < 2 || version > layoutVersion {
		return 0, fmt.Errorf("the batch is recorded in layout %q and this program knows layouts up to %d; use the program that recorded it", text, layoutVersion)
	}
	return version, nil
}

var index = regexp.MustCompile(`\[\d+\]`)

// today gives the names that a recorded field has in this program: one, or one for each
// bit of a mask of layout 1.
func today(version int, name string) []string {
	if version == 1 {
		n, ok := old().names[index.ReplaceAllString(name, "[]")]
		switch {
		case !ok:
			return nil
		case n.bits > 0:
			names := make([]string, n.bits)
			for i := range names {
				names[i] = numbered(n.name, i)
			}
			return names
		}
		return []string{indexed(n.name, name)}
	}
	if len(renamed) > 0 {
		if to, ok := renamed[index.ReplaceAllString(name, "[]")]; ok {
			return []string{indexed(to, name)}
		}
	}
	return []string{name}
}

// indexed puts the index of a recorded name into the name of today.
func indexed(pattern, recorded string) string {
	return strings.Replace(pattern, "[]", index.FindString(recorded), 1)
}

type newName struct {
	name string
	bits int
}

// names1's names, and the lines of its state in the form of a layout.
type oldNames struct {
	names map[string]newName
	state []string
}

// old is names1, read once if a record of then is.
var old = sync.OnceValue(func() (o oldNames) {
	length := regexp.MustCompile(`\[(\d+)\]`)
	o.names = map[string]newName{}
	for line := range strings.Lines(names1) {
		f := strings.Fields(line)
		was, k, is := f[0], f[1], f[2]
		count := func(name string) int {
			if m := length.FindStringSubmatch(name); m != nil {
				n, _ := strconv.Atoi(m[1])
				return n
			}
			return 0
		}
		pattern := length.ReplaceAllString(was, "[]")
		n := newName{name: length.ReplaceAllString(is, "[]")}
		if count(was) == 0 {
			n.bits = count(is)
		}
		o.names[pattern] = n
		if !strings.HasPrefix(was, "state.") {
			continue
		}
		if count(was) == 0 {
			o.state = append(o.state, was+" "+k)
		}
		for i := range count(was) {
			o.state = append(o.state, numbered(pattern, i)+" "+k)
		}
	}
	slices.Sort(o.state)
	return o
})
