package record

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
	"time"

	"fumarium/controller"
	"fumarium/sensors"
)

// blockVersion is the first byte of every block.
const blockVersion = 1

// frame is what one step takes in and gives out.
type frame struct {
	In  controller.Inputs  `record:"in"`
	Out controller.Outputs `record:"out"`
}

// A coder turns values into bytes: a mask of the fields that are not as predicted,
// then what those fields are. A field is predicted to be as it was in the value
// before, a duration to go on as it did. FORMAT.md has the bytes.
type coder struct {
	leaves []leaf
	words  []word   // of the value before
	rise   []uint64 // of the durations, from the value before that
}

func newCoder(pointer any) *coder {
	c := &coder{leaves: leavesOf(pointer)}
	c.words = make([]word, len(c.leaves))
	c.rise = make([]uint64, len(c.leaves))
	return c
}

// reset forgets the value before: the next is told against zero.
func (c *coder) reset() {
	clear(c.words)
	clear(c.rise)
}

// maskBytes is the length of the mask, with one bit more than there are fields.
func maskBytes(fields int) int { return fields/8 + 1 }

// encode appends the value that the coder is bound to. more sets the last bit of
// the mask.
func (c *coder) encode(b []byte, more bool) []byte {
	mask := len(b)
	for range maskBytes(len(c.leaves)) {
		b = append(b, 0)
	}
	for i := range c.leaves {
		l, before := &c.leaves[i], c.words[i]
		w := l.word()
		predicted := before
		predicted.bits += c.rise[i]
		if l.kind == duration {
			c.rise[i] = w.bits - before.bits
		}
		c.words[i] = w
		if w == predicted {
			continue
		}
		b[mask+i/8] |= 1 << (i % 8)
		switch l.kind {
		case boolean:
		case integer, duration:
			b = binary.AppendVarint(b, int64(w.bits-predicted.bits))
		case natural:
			b = binary.AppendUvarint(b, w.bits)
		case number:
			b = appendXOR(b, w.bits^predicted.bits)
		case reading:
			if w.status == sensors.Good {
				b = appendXOR(b, w.bits^predicted.bits)
			} else {
				b = append(b, notGood)
				b = binary.AppendUvarint(b, uint64(w.status))
			}
		}
	}
	if more {
		b[mask+len(c.leaves)/8] |= 1 << (len(c.leaves) % 8)
	}
	return b
}

// notGood stands where a good reading has the head of its number.
const notGood = 0xff

// appendXOR writes the bytes of x between its leading and its trailing zero bytes,
// behind a head that counts both. Temperatures that rise in the steps of a front
// end have long tails of zeros.
func appendXOR(b []byte, x uint64) []byte {
	if x == 0 {
		return append(b, 0)
	}
	lead := bits.LeadingZeros64(x) / 8
	n := 8 - lead - bits.TrailingZeros64(x)/8
	b = append(b, byte(lead<<4|n))
	x <<= 8 * lead
	for range n {
		b = append(b, byte(x>>56))
		x <<= 8
	}
	return b
}

// A decoder reads values of a recorded layout into the value that it is bound to.
type decoder struct {
	places []place
	timed  []bool // for each byte of the mask: a duration is among its fields
	words  []word
	rise   []uint64
}

// newDecoder finds the recorded fields in this program. A field that was not recorded
// yet stays zero.
func newDecoder(prefix, layout string, pointer any) (*decoder, error) {
	places, err := placesOf(prefix, layout, pointer)
	if err != nil {
		return nil, err
	}
	d := &decoder{places: places, timed: make([]bool, maskBytes(len(places))), words: make([]word, len(places)), rise: make([]uint64, len(places))}
	for i := range places {
		d.timed[i/8] = d.timed[i/8] || places[i].kind == duration
	}
	return d, nil
}

func (d *decoder) reset() {
	clear(d.words)
	clear(d.rise)
}

var errCut = errors.New("the block ends in the middle of a step")

// input is what is left of a block.
type input struct {
	b   []byte
	err error
}

func (in *input) byte() byte {
	if len(in.b) == 0 {
		in.err = errCut
		return 0
	}
	v := in.b[0]
	in.b = in.b[1:]
	return v
}

func (in *input) uvarint() uint64 {
	v, n := binary.Uvarint(in.b)
	if n <= 0 {
		in.err = errCut
		return 0
	}
	in.b = in.b[n:]
	return v
}

func (in *input) varint() int64 {
	v, n := binary.Varint(in.b)
	if n <= 0 {
		in.err = errCut
		return 0
	}
	in.b = in.b[n:]
	return v
}

func (in *input) xor(head byte) uint64 {
	lead, n := int(head>>4), int(head&15)
	if lead+n > 8 {
		in.err = fmt.Errorf("%#x is no head of a number", head)
		return 0
	}
	var x uint64
	for range n {
		x = x<<8 | uint64(in.byte())
	}
	return x << (8 * (8 - lead - n))
}

// decode reads one value; more is the last bit of its mask. What has not changed since the
// value before stays as it is where the decoder is bound to: that must hold the value before.
func (d *decoder) decode(in *input) (more bool, err error) {
	n := maskBytes(len(d.places))
	if len(in.b) < n {
		return false, errCut
	}
	mask := in.b[:n]
	in.b = in.b[n:]
	for at, told := range mask {
		if told == 0 && !d.timed[at] {
			continue
		}
		for i := 8 * at; i < min(8*at+8, len(d.places)); i++ {
			said := told&(1<<(i%8)) != 0
			if !said && d.rise[i] == 0 {
				continue
			}
			if err := d.field(i, said, in); err != nil {
				return false, err
			}
		}
	}
	return mask[len(d.places)/8]&(1<<(len(d.places)%8)) != 0, nil
}

// field goes on with one field, which is as predicted unless something is said of it.
func (d *decoder) field(i int, said bool, in *input) error {
	f, before := &d.places[i], d.words[i]
	w := before
	w.bits += d.rise[i]
	if said {
		switch f.kind {
		case boolean:
			w.bits ^= 1
		case integer, duration:
			w.bits += uint64(in.varint())
		case natural:
			w.bits = in.uvarint()
		case number:
			w.bits ^= in.xor(in.byte())
		case reading:
			if head := in.byte(); head != notGood {
				w = word{bits: w.bits ^ in.xor(head), status: sensors.Good}
			} else {
				w = word{status: sensors.Status(in.uvarint())}
			}
		}
	}
	if in.err != nil {
		return in.err
	}
	if f.kind == duration {
		d.rise[i] = w.bits - before.bits
	}
	d.words[i] = w
	switch {
	case len(f.leaves) > 0:
		return f.set(w)
	case w != word{}:
		return fmt.Errorf("field %s was recorded and this program has none; use the program that recorded it", f.name)
	}
	return nil
}

// stepCoder writes the steps of one block.
type stepCoder struct {
	frame  frame
	event  controller.Event
	frames *coder
	events *coder
}

func newStepCoder() *stepCoder {
	c := &stepCoder{}
	c.frames, c.events = newCoder(&c.frame), newCoder(&c.event)
	return c
}

func (c *stepCoder) layout() string {
	return layoutOf("step", c.frames.leaves) + layoutOf("event", c.events.leaves)
}

// begin starts a block in b.
func (c *stepCoder) begin(b []byte) []byte {
	c.frames.reset()
	return append(b, blockVersion)
}

// step appends one step.
func (c *stepCoder) step(b []byte, in *controller.Inputs, out controller.Outputs, events []controller.Event) []byte {
	c.frame = frame{In: *in, Out: out}
	b = c.frames.encode(b, len(events) > 0)
	if len(events) == 0 {
		return b
	}
	b = binary.AppendUvarint(b, uint64(len(events)))
	for _, e := range events {
		c.events.reset()
		c.event = e
		c.event.At -= in.Elapsed // zero unless something is odd
		b = c.events.encode(b, false)
	}
	return b
}

// stepDecoder reads the steps of blocks of one layout.
type stepDecoder struct {
	frame  frame
	event  controller.Event
	frames *decoder
	events *decoder
}

func newStepDecoder(layout string) (*stepDecoder, error) {
	d := &stepDecoder{}
	var err error
	if d.frames, err = newDecoder("step", layout, &d.frame); err != nil {
		return nil, err
	}
	d.events, err = newDecoder("event", layout, &d.event)
	return d, err
}

// mostEvents bounds the events of one step against a damaged count.
const mostEvents = 1000

// block calls each for every step of a block. The steps must be as many as steps
// says.
func (d *stepDecoder) block(data []byte, steps int64, each func(f *frame, events []controller.Event) error) error {
	in := &input{b: data}
	if v := in.byte(); v != blockVersion {
		return fmt.Errorf("the block is of version %d and this program knows %d", v, blockVersion)
	}
	d.frames.reset()
	d.frame = frame{}
	for range steps {
		more, err := d.frames.decode(in)
		if err != nil {
			return err
		}
		var events []controller.Event
		if more {
			n := in.uvarint()
			if in.err != nil || n > mostEvents {
				return errCut
			}
			for range n {
				d.event = controller.Event{}
				d.events.reset()
				if _, err := d.events.decode(in); err != nil {
					return err
				}
				d.event.At += d.frame.In.Elapsed
				events = append(events, d.event)
			}
		}
		if err := each(&d.frame, events); err != nil {
			return err
		}
	}
	if len(in.b) > 0 {
		return fmt.Errorf("%d bytes are left over after %d steps", len(in.b), steps)
	}
	return nil
}

// Step is one recorded step as it was.
type Step struct {
	Number  int64 // from 0 at the step that started the batch
	Elapsed time.Duration
	In      controller.Inputs
	Out     controller.Outputs
	Events  []controller.Event
}
