package record

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unsafe"

	"fumarium/profile/quantity"
	"fumarium/sensors"
)

// A kind is how a field of the controller's values is written.
type kind string

// The kinds. A kind's name stands in the layout of a batch; its coding never
// changes.
const (
	boolean  kind = "boolean"
	integer  kind = "integer"
	natural  kind = "natural"
	duration kind = "duration"
	number   kind = "number"
	reading  kind = "reading"
)

// A field is one name and kind of a layout.
type field struct {
	name string
	kind kind
}

// A leaf is a field of a value in memory.
type leaf struct {
	field
	at      reflect.Value
	bit     uint64           // for a boolean that is one bit of a number
	reading *sensors.Reading // for kind reading
}

// A word is the content of one leaf: its bits, and for a reading its status too.
// The bits of a reading that is not good are zero.
type word struct {
	bits   uint64
	status sensors.Status
}

// leavesOf lists every field below the struct that pointer points to, in the order
// of declaration, unexported ones too: the controller's state is recorded whole. What a
// field is called in records stands in its tag, so that renaming or moving it in the
// program changes no record:
//
//	walls  quantity.Celsius `record:"heater.walls_celsius"`
//	legs   [3]leg           `record:"leg"`              // leg[0] to leg[2]
//	nearAt [4]time.Duration `record:"core[].near_since"` // the index stands within the name
//	watch  watch            `record:"."`                // its fields stand as if they were here
//	out    uint8            `record:"core[].out,bits=4"` // four booleans, the lowest bit first
//
// A set with a method BitNames is a boolean for each of its names.
// Numbers name their unit; durations are nanoseconds. A field without a tag, twice the
// same name, or a kind that no record has yet is a mistake of our own code.
func leavesOf(pointer any) []leaf {
	leaves := appendLeaves(nil, "", 0, reflect.ValueOf(pointer).Elem())
	names := map[string]bool{}
	for i := range leaves {
		if name := leaves[i].name; names[name] {
			panic("record: two fields have the stored name " + name)
		}
		names[leaves[i].name] = true
	}
	return leaves
}

func appendLeaves(leaves []leaf, name string, bits int, v reflect.Value) []leaf {
	// The same memory without the mark that forbids setting an unexported field.
	v = reflect.NewAt(v.Type(), unsafe.Pointer(v.UnsafeAddr())).Elem()
	add := func(k kind) []leaf {
		return append(leaves, leaf{field: field{name: name, kind: k}, at: v})
	}
	if r, ok := v.Addr().Interface().(*sensors.Reading); ok {
		return append(leaves, leaf{field: field{name: name, kind: reading}, at: v, reading: r})
	}
	if v.Type() == reflect.TypeFor[time.Duration]() {
		return add(duration)
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			below, bits := stored(name, v.Type().Field(i))
			leaves = appendLeaves(leaves, below, bits, v.Field(i))
		}
		return leaves
	case reflect.Array:
		for i := range v.Len() {
			leaves = appendLeaves(leaves, numbered(name, i), 0, v.Index(i))
		}
		return leaves
	case reflect.Bool:
		return add(boolean)
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return add(integer)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		if named, ok := v.Interface().(interface{ BitNames() []string }); ok {
			for i, bit := range named.BitNames() {
				leaves = append(leaves, leaf{field: field{name: join(name, bit), kind: boolean}, at: v, bit: 1 << i})
			}
			return leaves
		}
		if bits == 0 {
			return add(natural)
		}
		for i := range bits {
			leaves = append(leaves, leaf{field: field{name: numbered(name, i), kind: boolean}, at: v, bit: 1 << i})
		}
		return leaves
	case reflect.Float64:
		return add(number)
	}
	panic(fmt.Sprintf("record: field %s is a %s, which no record can hold yet; add a kind for it", name, v.Type()))
}

// stored is the name of field f below a struct that is called above, and how many
// booleans it is.
func stored(above string, f reflect.StructField) (name string, bits int) {
	tag, option, _ := strings.Cut(f.Tag.Get("record"), ",")
	if option != "" {
		if _, err := fmt.Sscanf(option, "bits=%d", &bits); err != nil {
			panic(fmt.Sprintf("record: field %s: %q is no option", f.Name, option))
		}
	}
	switch tag {
	case "":
		panic(fmt.Sprintf("record: field %s has no stored name; declare one in its tag", f.Name))
	case ".":
		return above, bits
	}
	return join(above, tag), bits
}

func join(above, name string) string {
	if above == "" {
		return name
	}
	return above + "." + name
}

// numbered puts the index where the name has a place for it, or behind it.
func numbered(name string, i int) string {
	index := fmt.Sprintf("[%d]", i)
	if before, after, ok := strings.Cut(name, "[]"); ok {
		return before + index + after
	}
	return name + index
}

// word reads the leaf.
func (l *leaf) word() word {
	switch l.kind {
	case boolean:
		if l.bit != 0 && l.at.Uint()&l.bit != 0 || l.bit == 0 && l.at.Bool() {
			return word{bits: 1}
		}
		return word{}
	case integer, duration:
		return word{bits: uint64(l.at.Int())}
	case natural:
		return word{bits: l.at.Uint()}
	case number:
		return word{bits: math.Float64bits(l.at.Float())}
	}
	w := word{status: l.reading.Status()}
	if v, ok := l.reading.Value(); ok {
		w.bits = math.Float64bits(float64(v))
	}
	return w
}

// set writes the leaf. It fails where the word does not fit.
func (l *leaf) set(w word) error {
	switch l.kind {
	case boolean:
		switch {
		case l.bit == 0:
			l.at.SetBool(w.bits != 0)
		case w.bits != 0:
			l.at.SetUint(l.at.Uint() | l.bit)
		default:
			l.at.SetUint(l.at.Uint() &^ l.bit)
		}
	case integer, duration:
		if l.at.OverflowInt(int64(w.bits)) {
			return fmt.Errorf("field %s cannot hold %d", l.name, int64(w.bits))
		}
		l.at.SetInt(int64(w.bits))
	case natural:
		if l.at.OverflowUint(w.bits) {
			return fmt.Errorf("field %s cannot hold %d", l.name, w.bits)
		}
		l.at.SetUint(w.bits)
	case number:
		l.at.SetFloat(math.Float64frombits(w.bits))
	case reading:
		*l.reading = sensors.Fault(w.status)
		if w.status == sensors.Good {
			*l.reading = sensors.At(quantity.Celsius(math.Float64frombits(w.bits)))
		}
		if l.reading.Status() != w.status {
			return fmt.Errorf("field %s cannot hold %v °C", l.name, math.Float64frombits(w.bits))
		}
	}
	return nil
}

// text writes a word as people and the canonical state read it. It is exact.
func (k kind) text(w word) string {
	switch k {
	case boolean:
		return strconv.FormatBool(w.bits != 0)
	case integer, duration:
		return strconv.FormatInt(int64(w.bits), 10)
	case natural:
		return strconv.FormatUint(w.bits, 10)
	case number:
		return strconv.FormatFloat(math.Float64frombits(w.bits), 'g', -1, 64)
	}
	if w.status == sensors.Good {
		return strconv.FormatFloat(math.Float64frombits(w.bits), 'g', -1, 64)
	}
	return "status " + strconv.Itoa(int(w.status))
}

// parse is the inverse of text.
func (k kind) parse(text string) (word, error) {
	switch k {
	case boolean:
		v, err := strconv.ParseBool(text)
		if err != nil || !v {
			return word{}, err
		}
		return word{bits: 1}, nil
	case integer, duration:
		v, err := strconv.ParseInt(text, 10, 64)
		return word{bits: uint64(v)}, err
	case natural:
		v, err := strconv.ParseUint(text, 10, 64)
		return word{bits: v}, err
	case reading:
		if s, ok := strings.CutPrefix(text, "status "); ok {
			v, err := strconv.ParseUint(s, 10, 8)
			return word{status: sensors.Status(v)}, err
		}
	}
	v, err := strconv.ParseFloat(text, 64)
	w := word{bits: math.Float64bits(v)}
	if k == reading {
		w.status = sensors.Good
	}
	return w, err
}
