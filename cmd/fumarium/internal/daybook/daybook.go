// Package daybook keeps what people say of the cabinet and of the store beside batches: what
// was cleaned and looked after and when, the wood that was burnt, prices, and what was bought.
// It is a file of JSON lines in the state folder, to which lines are only ever added; it is no
// part of the record and of no chain. When something is due follows from it and from the
// batches, and is worked out here.
package daybook

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"
)

// File is its name in the state folder.
const File = "daybook.jsonl"

// Kinds of lines.
const (
	Done   = "done"   // a task was done
	Every  = "every"  // how often a task is due
	Wood   = "wood"   // of a species that was burnt
	Price  = "price"  // for a kilogram, or of Energy for a kilowatt-hour
	Bought = "bought" // an ingredient of a lot
)

// Energy is what has a price for a kilowatt-hour.
const Energy = "energy"

// A Line is one thing that somebody said.
type Line struct {
	Time    time.Time `json:"time"`
	Kind    string    `json:"kind"`
	What    string    `json:"what"`
	Lot     string    `json:"lot,omitempty"`
	Kg      float64   `json:"kg,omitempty"`
	Price   float64   `json:"price,omitempty"`
	Batches int       `json:"batches,omitempty"`
	Hours   float64   `json:"hours,omitempty"`
	Days    float64   `json:"days,omitempty"`
	Text    string    `json:"text,omitempty"`
}

// A Task is something to look after, and how often: after so many batches, hours of batches,
// or days, whichever comes first; zero is never by that.
type Task struct {
	Name    string  `json:"task"`
	Text    string  `json:"text"`
	Batches int     `json:"every_batches"`
	Hours   float64 `json:"every_hours"`
	Days    float64 `json:"every_days"`
}

// Tasks are what a cabinet wants. How often is common practice, no source: set it to what
// yours shows you.
func Tasks() []Task {
	return []Task{
		{Name: "cabinet", Text: "clean the cabinet, its drip tray and the floor below of fat and tar, which burn", Batches: 5},
		{Name: "generator", Text: "empty the smoke generator cold, and brush it and its pipe", Batches: 3},
		{Name: "flue", Text: "look through damper and flue for tar, and brush them; who is licensed for it where a chimney is", Batches: 20, Days: 365},
		{Name: "gasket", Text: "look whether the door's gasket closes all round", Batches: 25},
		{Name: "probes", Text: "clean the probes, look at their cables, and show each in ice water (fumarium ice)", Batches: 10},
		{Name: "relay", Text: "with the mains off and locked: look for dark or loose terminals at the relay; someone qualified", Batches: 50, Days: 365},
		{Name: "cut-out", Text: "have the independent cut-out tried by someone qualified", Days: 365},
		{Name: "extinguisher", Text: "see that the extinguisher is at hand and in date", Days: 365},
	}
}

// In reads the book of a state folder; none is an empty one. A line that was cut off by a
// power cut is left out.
func In(state string) ([]Line, error) {
	data, err := os.ReadFile(filepath.Join(state, File))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	var all []Line
	in := bufio.NewScanner(bytes.NewReader(data))
	in.Buffer(nil, 1<<20)
	for n := 1; in.Scan(); n++ {
		var l Line
		if err := json.Unmarshal(in.Bytes(), &l); err != nil {
			if !bytes.HasSuffix(data, []byte("\n")) && bytes.HasSuffix(data, in.Bytes()) {
				break
			}
			return nil, fmt.Errorf("%s:%d: %w; mend or take out that line", filepath.Join(state, File), n, err)
		}
		all = append(all, l)
	}
	return all, in.Err()
}

// most bounds each text of a line, in bytes.
const most = 400

// Add adds a line. It is on disk when Add returns.
func Add(state string, l Line) error {
	if l.What = strings.TrimSpace(l.What); l.What == "" || max(len(l.What), len(l.Lot), len(l.Text)) > most {
		return fmt.Errorf("a line of the book says of what it is, each text in at most %d bytes", most)
	}
	data, err := json.Marshal(l)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(state, File), os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX); err != nil {
		return err
	}
	had, err := os.ReadFile(f.Name())
	if err != nil {
		return err
	}
	if whole := int64(bytes.LastIndexByte(had, '\n') + 1); whole < int64(len(had)) { // a power cut left the rest
		if err := f.Truncate(whole); err != nil {
			return err
		}
	}
	_, err = f.Write(append(data, '\n'))
	return errors.Join(err, f.Sync())
}

// A Batch is one that counts for upkeep.
type Batch struct {
	Started time.Time
	Elapsed time.Duration
}

// A Duty is a task with what has passed since it was done, or since the first batch on record
// where it never was.
type Duty struct {
	Task
	Last         *time.Time `json:"last_done"` // null is never
	SinceBatches int        `json:"since_batches"`
	SinceHours   float64    `json:"since_hours"`
	SinceDays    float64    `json:"since_days"`
	Due          bool       `json:"due"`
}

// Duties works out what is due.
func Duties(book []Line, batches []Batch, now time.Time) []Duty {
	var list []Duty
	for _, task := range Tasks() {
		d := Duty{Task: task}
		for _, l := range book {
			if !strings.EqualFold(l.What, task.Name) {
				continue
			}
			switch l.Kind {
			case Done:
				d.Last = &l.Time
			case Every:
				d.Batches, d.Hours, d.Days = l.Batches, l.Hours, l.Days
			}
		}
		var from time.Time
		if d.Last != nil {
			from = *d.Last
		}
		var first time.Time
		for _, b := range batches {
			if first.IsZero() || b.Started.Before(first) {
				first = b.Started
			}
			if b.Started.Add(b.Elapsed).After(from) {
				d.SinceBatches++
				d.SinceHours += b.Elapsed.Hours()
			}
		}
		if from.IsZero() {
			from = first
		}
		if !from.IsZero() {
			d.SinceDays = max(0, now.Sub(from).Hours()/24)
		}
		d.Due = d.Batches > 0 && d.SinceBatches >= d.Batches || d.Hours > 0 && d.SinceHours >= d.Hours || d.Days > 0 && d.SinceDays >= d.Days
		list = append(list, d)
	}
	return list
}

// A Burnt is the wood of one species.
type Burnt struct {
	Species string  `json:"species"`
	Kg      float64 `json:"kg"`
}

// Woods sums what was burnt, by species in their order.
func Woods(book []Line) []Burnt {
	var list []Burnt
	for _, l := range book {
		if l.Kind != Wood {
			continue
		}
		name := strings.ToLower(l.What)
		i := slices.IndexFunc(list, func(b Burnt) bool { return b.Species == name })
		if i < 0 {
			i, list = len(list), append(list, Burnt{Species: name})
		}
		list[i].Kg += l.Kg
	}
	slices.SortFunc(list, func(a, b Burnt) int { return strings.Compare(a.Species, b.Species) })
	return list
}

// PriceOf is the last price of a thing by its name, false where nobody said one.
func PriceOf(book []Line, what string) (float64, bool) {
	price, ok := 0.0, false
	for _, l := range book {
		if l.Kind == Price && strings.EqualFold(l.What, what) {
			price, ok = l.Price, true
		}
	}
	return price, ok
}
