package record

import (
	"bytes"
	"compress/flate"
	"context"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/profile"
	"fumarium/profile/deviation"
	"fumarium/profile/quantity"
)

// Concluded is the kind of the entries that the program itself adds with the ending of a
// batch: its last state and the course of its cores, so that a report need not work them out
// of every step again. They stand in the last link, and its hash is over them.
const Concluded Kind = "concluded"

// Subjects of a conclusion.
const (
	concludedState = "state" // as text, deflated
	concludedCores = "cores" // samples, deflated
	concludedPeak  = "peak"  // the hottest chamber, °C
	concludedHeld  = "held"  // a controller.HeldFigure
	heldRoom       = 0.1     // °C, in which the room is kept with it
	concludedPart  = 9000    // bytes of text in a row; mostText is what a reader expects
	// mostConcluded bounds the samples that are kept in memory for it: two days and more.
	mostConcluded = 20000
)

// courseEvery is how far apart the samples of a course are: a core moves by some
// hundredths of a kelvin meanwhile.
const courseEvery = 10 * time.Second

// courseSteps is how finely a course is kept, in steps a kelvin, the coldest rounded down and
// the hottest up.
const courseSteps = 1024

// coreCourse follows the cores through a batch, the hottest of the chamber, and the heat that
// held it.
type coreCourse struct {
	samples deviation.Course
	last    deviation.Sample // step
	peak    float64
	seen    bool                 // there is a peak
	held    *controller.HeldHeat // nil where nobody asks for it
}

func (c *coreCourse) see(_ int64, p *profile.Product, in *controller.Inputs, s *controller.State, out controller.Outputs, _ []controller.Event) {
	if c.held != nil {
		c.held.See(p, in, s, out)
	}
	if v, ok := s.Chamber.Reading.Value(); ok && s.Batch.Active() && (!c.seen || float64(v) > c.peak) {
		c.peak, c.seen = float64(v), true
	}
	cold, seen := s.Core.Coldest.Value()
	hot, _ := s.Core.Hottest.Value()
	next := deviation.Sample{At: s.Elapsed - s.Started, Known: seen}
	if seen {
		next.Coldest = quantity.Celsius(math.Floor(float64(cold)*courseSteps) / courseSteps)
		next.Hottest = quantity.Celsius(math.Ceil(float64(hot)*courseSteps) / courseSteps)
	}
	next.Watched = next.At-c.last.At <= controller.LateAfter && len(c.samples) > 0
	kept := len(c.samples) - 1
	switch {
	case kept < 0:
		c.samples = append(c.samples, next)
	case next.Known != c.last.Known || !next.Watched:
		if c.samples[kept] != c.last {
			c.samples = append(c.samples, c.last)
		}
		c.samples = append(c.samples, next)
	case next.At-c.samples[kept].At >= courseEvery:
		c.samples = append(c.samples, next)
	}
	c.last = next
}

// conclude makes the rows that go with the ending of a batch of which no step is missing.
func conclude(m *memory, moment Moment, s *controller.State, c *coreCourse) (rows []row) {
	if c == nil || len(c.samples) > mostConcluded {
		return nil
	}
	entry := func(subject string, number int) row {
		r := newRow(noteTable, "wall", moment.Wall.Format(timeLayout), "who", "fumarium", "entry", string(Concluded), "subject", subject)
		if number != 0 {
			r.set("number", number)
		}
		return r
	}
	put := func(subject string, data []byte) {
		for n := 1; len(data) > 0; n++ {
			part := data[:min(len(data), concludedPart)]
			data = data[len(part):]
			r := entry(subject, n)
			r.set("text", string(part))
			rows = append(rows, r)
		}
	}
	put(concludedState, packed(m.text(s)))
	put(concludedCores, packed(c.encode()))
	if c.held != nil {
		if f, ok := c.held.Figure(); ok { // before the peak, which programs before took every value for
			r := entry(concludedHeld, int(math.Round(float64(f.Room)/heldRoom)))
			r.set("value", f.Ratio)
			r.set("text", f.Of)
			rows = append(rows, r)
		}
	}
	if c.seen {
		r := entry(concludedPeak, 0)
		r.set("value", c.peak)
		rows = append(rows, r)
	}
	return rows
}

func packed(data []byte) []byte {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.DefaultCompression)
	if err == nil {
		_, err = w.Write(data)
	}
	if errors.Join(err, w.Close()) != nil {
		panic("record: a buffer takes everything")
	}
	return []byte(base64.StdEncoding.EncodeToString(b.Bytes()))
}

// mostUnpacked bounds what a conclusion may unfold to.
const mostUnpacked = 4 << 20

func unpacked(text string) ([]byte, error) {
	data, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return nil, err
	}
	return io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(data)), mostUnpacked))
}

// encode writes the samples: each a varint of the time since the one before, ns, a byte with
// known as 1 and watched as 2, and if known the varints of both temperatures in steps, less
// those before.
func (c *coreCourse) encode() []byte {
	var b []byte
	var before deviation.Sample
	cold, hot := int64(0), int64(0)
	for _, s := range c.samples {
		flags := byte(0)
		if s.Known {
			flags = 1
		}
		if s.Watched {
			flags |= 2
		}
		b = append(binary.AppendVarint(b, int64(s.At-before.At)), flags)
		if s.Known {
			nextCold, nextHot := int64(float64(s.Coldest)*courseSteps), int64(float64(s.Hottest)*courseSteps)
			b = binary.AppendVarint(binary.AppendVarint(b, nextCold-cold), nextHot-hot)
			cold, hot = nextCold, nextHot
		}
		before = s
	}
	return b
}

func decodeCourse(data []byte) (c deviation.Course, err error) {
	in := &input{b: data}
	var at time.Duration
	cold, hot := int64(0), int64(0)
	for len(in.b) > 0 && in.err == nil {
		at += time.Duration(in.varint())
		flags := in.byte()
		s := deviation.Sample{At: at, Known: flags&1 != 0, Watched: flags&2 != 0}
		if s.Known {
			cold += in.varint()
			hot += in.varint()
			s.Coldest, s.Hottest = quantity.Celsius(float64(cold)/courseSteps), quantity.Celsius(float64(hot)/courseSteps)
		}
		c = append(c, s)
	}
	return c, in.err
}

// Held gives what held the chamber in each batch whose end was kept with it, oldest first. It
// reads no batch.
func (r *Reader) Held(ctx context.Context) (all []controller.HeldFigure, err error) {
	err = r.reading(ctx, func(q querier) error {
		rows, err := query(ctx, q, noteTable, "entry = ? AND subject = ?", string(Concluded), concludedHeld)
		for _, row := range rows {
			f := controller.HeldFigure{Of: row.text("text"), Room: quantity.Celsius(heldRoom * float64(row.int("number")))}
			f.Ratio, _ = row.float("value")
			all = append(all, f)
		}
		return err
	})
	return all, err
}

// An Account is a batch that is over, as a report tells it.
type Account struct {
	Chain   Verdict
	History *history.History
	// Result has what a replay has, but that no step was compared; its State differs from no
	// other.
	Result *Result
}

// ErrNotConcluded is the error of a batch that does not tell its own end, because it is not
// over, something is missing of it, or an older program recorded it. A replay finds it.
var ErrNotConcluded = errors.New("the end of the batch was not kept with it")

// Tell reads a batch that is over once: it verifies its chain, calls step with the number, the
// inputs, which are good until the next, and the outputs of each step, and takes from the record
// what was concluded at the end, held against the hash of the last state. It runs no
// controller. The curve is that of the commits: a sample every ten or fifteen seconds.
func (r *Reader) Tell(ctx context.Context, id string, step func(int64, *controller.Inputs, controller.Outputs) error) (*Account, error) {
	var told *Account
	err := r.reading(ctx, func(q querier) (err error) {
		header, err := find(ctx, q, id)
		if err != nil {
			return err
		}
		told, err = readTold(ctx, q, header, step)
		return err
	})
	if err != nil {
		return nil, err
	}
	return told, nil
}

func readTold(ctx context.Context, q querier, header row, step func(int64, *controller.Inputs, controller.Outputs) error) (*Account, error) {
	chain, err := newVerifier(ctx, q, header)
	if err != nil {
		return nil, err
	}
	b := batchOf(header)
	e := &epilogue{batch: b}
	if err := e.read(chain); err != nil {
		return nil, err
	}
	fold := foldOf(b, chain.all(eventTable), chain.all(commandTable))
	fold.history.KeepAll = true
	fold.history.Begin(b.ID, e.result.Product, e.result.Final.Started)
	started := e.result.Final.Started
	var lastHash []byte
	err = walk(ctx, q, b, walker{
		link: chain.link,
		step: func(n int64, f *frame, events []controller.Event) error {
			e.result.Steps++
			if len(events) > 0 || n == 0 || fold.speaks(n) {
				fold.tell(n, started, f.In.Elapsed, func(wall time.Time) { fold.history.Happened(wall, events) }, len(events))
			}
			if step == nil {
				return nil
			}
			return step(n, &f.In, f.Out)
		},
		end: func(l row) error {
			lastHash = l.blob("state_hash")
			fold.sketch(l, false)
			return ctx.Err()
		},
	})
	if err != nil && !errors.Is(err, errBroken) {
		return nil, err
	}
	chain.end()
	if !chain.verdict.Whole {
		return nil, fmt.Errorf("%w: its record is %s", ErrNotConcluded, chain.verdict)
	}
	if !bytes.Equal(lastHash, e.hash[:]) {
		return nil, fmt.Errorf("%w: what was kept is not its last state", ErrNotConcluded)
	}
	e.result.judge(e.entries)
	return &Account{Chain: chain.verdict, History: &fold.history, Result: e.result}, nil
}

// epilogue is what the rows of a batch say of its end.
type epilogue struct {
	batch   *Batch
	entries []Entry
	result  *Result
	hash    Hash
}

func (e *epilogue) read(chain *verifier) error {
	if len(chain.all(gapTable)) > 0 {
		return fmt.Errorf("%w: something is missing of it", ErrNotConcluded)
	}
	texts, peak := map[string]*strings.Builder{concludedState: {}, concludedCores: {}}, math.NaN()
	for _, row := range chain.all(noteTable) {
		switch kind := row.text("entry"); {
		case kind == string(Concluded):
			if b := texts[row.text("subject")]; b != nil {
				b.WriteString(row.text("text"))
			} else if v, ok := row.float("value"); ok && row.text("subject") == concludedPeak {
				peak = v
			}
		case kind != "":
			e.entries = append(e.entries, entryOf(row))
		}
	}
	if texts[concludedState].Len() == 0 {
		return ErrNotConcluded
	}
	unfit := func(err error) error { return fmt.Errorf("%w in words of this program: %w", ErrNotConcluded, err) }
	p, err := profile.ParseRecorded(e.batch.ProductName, e.batch.ProductFile)
	if err != nil {
		return unfit(err)
	}
	c, err := cabinet.ParseRecorded(e.batch.CabinetName, e.batch.CabinetFile)
	if err != nil {
		return unfit(err)
	}
	m, err := memoryOf(e.batch.layout)
	if err != nil {
		return unfit(err)
	}
	if len(m.lost) > 0 {
		return fmt.Errorf("%w in words of this program: it no longer keeps %s", ErrNotConcluded, strings.Join(m.lost, ", "))
	}
	text, err := unpacked(texts[concludedState].String())
	if err != nil {
		return unfit(err)
	}
	state, err := m.parse(string(text))
	if err != nil {
		return unfit(err)
	}
	cores, err := unpacked(texts[concludedCores].String())
	if err != nil {
		return unfit(err)
	}
	course, err := decodeCourse(cores)
	if err != nil {
		return unfit(err)
	}
	e.hash = m.hash(&state)
	e.result = &Result{Program: e.batch.Program, Final: state, Course: course, Product: p, Cabinet: c, Peak: peak}
	return nil
}
