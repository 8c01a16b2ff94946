package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/daybook"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/cabinet"
	"fumarium/controller/metrics"
	"fumarium/controller/record"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
)

// upkeep is what is due in a state folder, as `upkeep --json` prints it.
type upkeep struct {
	Duties []daybook.Duty  `json:"tasks"`
	Wood   []daybook.Burnt `json:"wood"`
}

func (u *upkeep) due() (list []daybook.Duty) {
	for _, d := range u.Duties {
		if d.Due {
			list = append(list, d)
		}
	}
	return list
}

// upkeepOf works out what is due. Only batches of the real world wear a cabinet; in a folder
// without any, those of the simulated one count, for practice.
func upkeepOf(ctx context.Context, state string, world record.World, now time.Time) (*upkeep, error) {
	book, err := daybook.In(state)
	if err != nil {
		return nil, err
	}
	var batches []daybook.Batch
	r, err := record.OpenReader(filepath.Join(state, world.File()))
	if err == nil {
		defer r.Close()
		list, err := r.List(ctx)
		if err != nil {
			return nil, err
		}
		for _, b := range list {
			batches = append(batches, daybook.Batch{Started: b.Started, Elapsed: b.Elapsed})
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	return &upkeep{daybook.Duties(book, batches, now), append([]daybook.Burnt{}, daybook.Woods(book)...)}, nil
}

// since says what has passed, and how often it is due.
func since(d *daybook.Duty) string {
	var parts []string
	if d.Batches > 0 {
		parts = append(parts, fmt.Sprintf("%d of %d batches", d.SinceBatches, d.Batches))
	}
	if d.Hours > 0 {
		parts = append(parts, fmt.Sprintf("%.0f of %.0f hours", d.SinceHours, d.Hours))
	}
	if d.Days > 0 {
		parts = append(parts, fmt.Sprintf("%.0f of %.0f days", d.SinceDays, d.Days))
	}
	last := "never on the book"
	if d.Last != nil {
		last = "last " + d.Last.Format(time.DateOnly)
	}
	return strings.Join(append(parts, last), ", ")
}

func upkeepCommand() *cobra.Command {
	var a archive
	c := a.flags(&cobra.Command{
		Use: "upkeep", Short: "What of the cabinet is due to be cleaned and looked after, and the wood that was burnt", Args: cobra.NoArgs,
		Long: `Lists what a cabinet wants, with what has passed since it was done: batches and hours by the
record, and days. How often is common practice without a source; upkeep every sets it to what
your cabinet shows you. It is kept in the file ` + daybook.File + ` of the state folder, beside the
record and in no chain.

Exit status: 0 nothing is due, 1 something is, 2 usage, 3 could not look.`,
		Example: `  fumarium upkeep
  fumarium upkeep done generator --note "pipe was half shut"
  fumarium upkeep every gasket --batches 40
  fumarium upkeep wood beech 300g`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			dir, err := stateDir(a.state)
			if err != nil {
				return couldNot(err)
			}
			u, err := upkeepOf(cmd.Context(), dir, a.world(), time.Now())
			if err != nil {
				return couldNot(err)
			}
			w := cmd.OutOrStdout()
			if a.json {
				err = printJSON(w, u)
			} else {
				table := newTable(w)
				for i := range u.Duties {
					d, mark := &u.Duties[i], ""
					if d.Due {
						mark = "DUE"
					}
					fmt.Fprintf(table, "%s\t%s\t%s\t%s\n", mark, d.Name, since(d), d.Text)
				}
				for _, b := range u.Wood {
					fmt.Fprintf(table, "\twood\t%s\t%v burnt\n", shown(b.Species), quantity.Kilograms(b.Kg))
				}
				err = table.Flush()
			}
			if err != nil {
				return couldNot(err)
			}
			if len(u.due()) > 0 {
				return &failure{exitBad, errSaid}
			}
			return nil
		},
	})
	c.AddCommand(doneCommand(), everyCommand(), woodCommand())
	return c
}

func (a *archive) world() record.World {
	if a.simulated {
		return record.Simulated
	}
	return record.Real
}

func task(name string) (string, error) {
	var names []string
	for _, t := range daybook.Tasks() {
		if strings.EqualFold(t.Name, name) {
			return t.Name, nil
		}
		names = append(names, t.Name)
	}
	return "", usage("%q is no task; take one of %s", name, strings.Join(names, ", "))
}

// entered adds a line to the book and says so.
func entered(cmd *cobra.Command, state string, l daybook.Line) error {
	dir, err := stateDir(state)
	if err != nil {
		return couldNot(err)
	}
	l.Time = time.Now()
	if err := daybook.Add(dir, l); err != nil {
		return couldNot(err)
	}
	fmt.Fprintf(cmd.OutOrStdout(), "in the book: %s %s\n", l.Kind, shown(l.What))
	return nil
}

func stateFlag(c *cobra.Command, state *string) *cobra.Command {
	c.Flags().StringVar(state, "state", "", "`DIR` of the state (default: "+stateHint+")")
	return c
}

func doneCommand() *cobra.Command {
	state, note := "", ""
	c := &cobra.Command{
		Use: "done TASK", Short: "Say that it was done", Args: cobra.ExactArgs(1),
		Example: "  fumarium upkeep done generator --note \"pipe was half shut\"",
		RunE: func(cmd *cobra.Command, args []string) error {
			name, err := task(args[0])
			if err != nil {
				return err
			}
			return entered(cmd, state, daybook.Line{Kind: daybook.Done, What: name, Text: note})
		},
	}
	c.Flags().StringVar(&note, "note", "", "`TEXT` beside it")
	return stateFlag(c, &state)
}

func everyCommand() *cobra.Command {
	state := ""
	l := daybook.Line{Kind: daybook.Every}
	c := &cobra.Command{
		Use: "every TASK", Short: "Set how often it is due: after batches, hours of batches or days, whichever comes first", Args: cobra.ExactArgs(1),
		Example: "  fumarium upkeep every gasket --batches 40 --days 365",
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if l.What, err = task(args[0]); err != nil {
				return err
			}
			if l.Batches < 0 || !(l.Hours >= 0 && l.Hours < 1e6) || !(l.Days >= 0 && l.Days < 1e5) || l.Batches == 0 && l.Hours == 0 && l.Days == 0 {
				return usage("say how often, such as --batches 10, --hours 200 or --days 90")
			}
			return entered(cmd, state, l)
		},
	}
	c.Flags().IntVar(&l.Batches, "batches", 0, "after so many `BATCHES`")
	c.Flags().Float64Var(&l.Hours, "hours", 0, "after so many `HOURS` of batches")
	c.Flags().Float64Var(&l.Days, "days", 0, "after so many `DAYS`")
	return stateFlag(c, &state)
}

func woodCommand() *cobra.Command {
	state := ""
	c := &cobra.Command{
		Use: "wood SPECIES MASS", Short: "Keep what wood was burnt", Args: cobra.ExactArgs(2),
		Example: "  fumarium upkeep wood beech 300g",
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := quantity.ParseMass(args[1])
			if err != nil || !(m > 0 && m <= 1000) {
				return usage("%q is no mass of wood; write it like 300g", args[1])
			}
			return entered(cmd, state, daybook.Line{Kind: daybook.Wood, What: args[0], Kg: float64(m)})
		},
	}
	return stateFlag(c, &state)
}

// calibrationDays is how old the calibration of a core probe may be before somebody is
// reminded; common practice, no source.
const calibrationDays = 365

// calibrations are the core probes whose calibration is old, or has no date.
func calibrations(c *cabinet.Cabinet, now time.Time) (list []string) {
	for i := range c.Probes {
		p := &c.Probes[i]
		switch {
		case p.Role != cabinet.CoreProbe:
		case p.Calibrated.IsZero():
			list = append(list, p.Name+" was never calibrated, as the cabinet file has it")
		case now.Sub(p.Calibrated).Hours() > calibrationDays*24:
			list = append(list, fmt.Sprintf("%s was calibrated on %s, more than a year ago", p.Name, p.Calibrated.Format(time.DateOnly)))
		}
	}
	return list
}

// upkeepFinds is what doctor says of it.
func upkeepFinds(ctx context.Context, state string, c *cabinet.Cabinet, now time.Time) []wiring.Find {
	f := wiring.Find{What: "upkeep", Good: true, Note: "nothing is due"}
	u, err := upkeepOf(ctx, state, record.Real, now)
	if err != nil {
		return []wiring.Find{{What: "upkeep", Note: err.Error()}}
	}
	var texts []string
	for _, d := range u.due() {
		texts = append(texts, d.Name+" ("+since(&d)+"): "+d.Text)
	}
	if len(texts) > 0 {
		f.Good, f.Note = false, strings.Join(texts, "; ")+"; then fumarium upkeep done TASK"
	}
	found := []wiring.Find{f}
	if !c.Simulated() {
		if old := calibrations(c, now); len(old) > 0 {
			found = append(found, wiring.Find{What: "calibration", Note: strings.Join(old, "; ") + "; fumarium calibrate, and its date into the cabinet file"})
		} else {
			found = append(found, wiring.Find{What: "calibration", Good: true, Note: "every core probe within a year"})
		}
	}
	if s, err := readCopies(state); err == nil && s != nil {
		copies := wiring.Find{What: "copies", Good: s.Failed == "", Note: s.Folder + ", last whole " + s.Good.Format("2006-01-02 15:04")}
		if s.Failed != "" {
			copies.Note = s.words()
		}
		found = append(found, copies)
	}
	return found
}

// keeper is what the daemon shows of upkeep and copies, on page and in metrics.
type keeper struct {
	dir     string
	world   record.World
	cabinet *cabinet.Cabinet
	now     func() time.Time

	mu   sync.Mutex
	last *metrics.Upkeep // for a scrape
	read time.Time
	busy bool
}

// Upkeep implements web.Config.Upkeep.
func (k *keeper) Upkeep(ctx context.Context) (*web.Upkeep, error) {
	u, err := upkeepOf(ctx, k.dir, k.world, k.now())
	if err != nil {
		return nil, err
	}
	out := &web.Upkeep{Tasks: []web.Task{}, Wood: []web.Burnt{}, Calibration: append([]string{}, calibrations(k.cabinet, k.now())...)}
	for i := range u.Duties {
		d := &u.Duties[i]
		out.Tasks = append(out.Tasks, web.Task{Name: d.Name, Text: d.Text, Due: d.Due, Since: since(d)})
	}
	for _, b := range u.Wood {
		out.Wood = append(out.Wood, web.Burnt{Species: b.Species, Kilograms: b.Kg})
	}
	if s, err := readCopies(k.dir); err == nil && s != nil && s.Failed != "" {
		text := s.words()
		out.Copies = &text
	}
	return out, nil
}

// UpkeepDone implements web.Config.UpkeepDone.
func (k *keeper) UpkeepDone(name, who string) error {
	if !slices.ContainsFunc(daybook.Tasks(), func(t daybook.Task) bool { return t.Name == name }) {
		return fmt.Errorf("%q is no task; take one of /api/upkeep", name)
	}
	return daybook.Add(k.dir, daybook.Line{Time: k.now(), Kind: daybook.Done, What: name, Text: who})
}

// readAgain is how old the numbers of a scrape may be: to read the batches of years takes a
// board a second, and a scrape waits for nothing.
const readAgain = 10 * time.Minute

// numbers is it for a scrape, as it was read the last time; nil until it was.
func (k *keeper) numbers() *metrics.Upkeep {
	k.mu.Lock()
	defer k.mu.Unlock()
	if now := k.now(); !k.busy && (k.read.IsZero() || now.Sub(k.read) > readAgain) {
		k.busy, k.read = true, now
		go func() {
			m := k.fresh()
			k.mu.Lock()
			defer k.mu.Unlock()
			k.last, k.busy = m, false
		}()
	}
	return k.last
}

// fresh reads it; nil where it cannot be read.
func (k *keeper) fresh() *metrics.Upkeep {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	u, err := k.Upkeep(ctx)
	if err != nil {
		return nil
	}
	m := &metrics.Upkeep{Due: map[string]bool{}, WoodKilograms: map[string]float64{}, CopiesFail: u.Copies != nil}
	for _, t := range u.Tasks {
		m.Due[t.Name] = t.Due
	}
	for _, b := range u.Wood {
		m.WoodKilograms[b.Species] = b.Kilograms
	}
	return m
}

// parsePrice reads a price without a currency.
func parsePrice(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || !(v >= 0 && v <= 1e6) {
		return 0, usage("%q is no price; write a number, in your own currency", text)
	}
	return v, nil
}
