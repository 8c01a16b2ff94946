package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/history"
	"fumarium/controller/record"
	"fumarium/profile"
	"fumarium/profile/quantity"
	"fumarium/sim"
	"fumarium/sim/fit"
	"fumarium/sim/plant"
)

// taughtFile is where it is kept what batches have told, in the folder of the state. Whoever
// may rehearse may read it.
const taughtFile = "taught.json"

// A lesson is what batches of one kind of product have told in one cabinet.
type lesson struct {
	World   string      `json:"world"`
	Cabinet string      `json:"cabinet"`
	Family  string      `json:"family"`
	Batches []string    `json:"batches"`
	Learned sim.Learned `json:"learned"`
}

// familyOf is the kind of product that a lesson holds for: what a rehearsal takes it for.
func familyOf(p *profile.Product) string {
	flesh := map[plant.Flesh]string{plant.Keeps: "cheese", plant.SaltedComminuted: "salted sausage meat", plant.Ground: "ground meat",
		plant.CuredMuscle: "cured muscle", plant.RawMuscle: "raw muscle"}[sim.Flesh(p)]
	casing := p.Shape.Casing.String() + " casing"
	if p.Shape.Casing == profile.NoCasing {
		casing = "bare"
	}
	return flesh + ", " + casing
}

func (l *lesson) is(world record.World, c *cabinet.Cabinet, p *profile.Product) bool {
	return l.World == string(world) && l.Cabinet == c.Name && l.Family == familyOf(p)
}

// String says what it is, as people read it.
func (l *lesson) String() string {
	of := "a batch"
	if n := len(l.Batches); n > 1 {
		of = fmt.Sprintf("%d batches", n)
	}
	return fmt.Sprintf("%s taught, of %s in this cabinet: %s", of, l.Family, &l.Learned)
}

// lessons reads them; none where there is no file.
func lessons(dir string) ([]lesson, error) {
	file := filepath.Join(dir, taughtFile)
	data, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	var all []lesson
	if err := json.Unmarshal(data, &all); err != nil {
		return nil, fmt.Errorf("%s: %w; delete it, and let batches teach again: fumarium teach", file, err)
	}
	for _, l := range all {
		for _, k := range l.Learned {
			if !(k.Left >= 0 && k.Left <= 1 && k.Middle >= -fit.Furthest && k.Middle <= fit.Furthest) {
				return nil, fmt.Errorf("%s: %+v is nothing that a batch can teach; delete it, and let batches teach again: fumarium teach", file, k)
			}
		}
	}
	return all, nil
}

// lessonFor is the one of a product in a cabinet, or nil.
func lessonFor(dir string, world record.World, c *cabinet.Cabinet, p *profile.Product) (*lesson, error) {
	all, err := lessons(dir)
	if err != nil {
		return nil, err
	}
	for i := range all {
		if all[i].is(world, c, p) {
			return &all[i], nil
		}
	}
	return nil, nil
}

func teachCommand() *cobra.Command {
	var a archive
	c := a.flags(&cobra.Command{
		Use: "teach BATCH", Short: "Let a batch teach the rehearsals of its like: air, moisture, glow, cracks, power", Args: cobra.ExactArgs(1),
		Long: `Rehearses a recorded batch again and again and moves five numbers that nobody has
measured until chamber, core, duty and the weight after it come out as they were: the air
speed at the product, how fast moisture moves in it, what of the element's glow misses the
tray, the cracks of the cabinet, the heater's power. What the record cannot tell stays as
it was believed, and is named. Weigh the batch when it hangs and when it is cooked
(fumarium weigh): the loss tells of moisture what no probe does.

It is kept in the folder of the state, for this cabinet and this kind of product: the
daemon rehearses and foretells with it from the next batch on, and rehearse, plan and
whatif do with --taught FOLDER. It decides nothing: no step knows of it. To forget it,
delete ` + taughtFile + ` there.

Exit status: 0 learned, 1 the batch cannot teach, 2 usage, 3 it could not be read or kept.`,
		Example: `  fumarium teach 2026-11`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			dir, err := stateDir(a.state)
			if err != nil {
				return couldNot(err)
			}
			return runTeach(cmd.Context(), r, args[0], dir, a.json, cmd.OutOrStdout())
		},
	})
	return c
}

func runTeach(ctx context.Context, r *record.Reader, id, dir string, asJSON bool, w io.Writer) error {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return couldNot(err)
	}
	product, err := profile.ParseRecorded(b.ProductName, b.ProductFile)
	if err != nil {
		return couldNot(err)
	}
	c, err := cabinet.Parse(b.CabinetName, b.CabinetFile)
	if err != nil {
		return couldNot(err)
	}
	all, err := lessons(dir)
	if err != nil {
		return couldNot(err)
	}
	at := slices.IndexFunc(all, func(l lesson) bool { return l.is(b.World, c, product) })
	if at < 0 {
		all = append(all, lesson{World: string(b.World), Cabinet: c.Name, Family: familyOf(product)})
		at = len(all) - 1
	}
	cannot := func(why string) error {
		return &failure{exitBad, fmt.Errorf("%s teaches nothing: %s", b.ID, why)}
	}
	course, err := r.History(ctx, b.ID)
	if err != nil {
		return couldNot(err)
	}
	switch {
	case slices.Contains(all[at].Batches, b.ID):
		return cannot("it has taught already")
	case b.State != controller.Complete.String():
		return cannot("only a batch that came to its end does")
	case changedByHand(course):
		return cannot("its stages were changed while they ran")
	}
	setup := sim.Setup{Product: product, Cabinet: c, Seed: 1, Excused: true, Start: hungAt(course)}
	left := 0.0
	if t, err := tallyOf(ctx, r, b); err != nil {
		return couldNot(err)
	} else if t != nil && t.HungKg != nil {
		setup.Load = quantity.Kilograms(*t.HungKg)
		if t.CookedKg != nil {
			left = *t.CookedKg / *t.HungKg
		}
	}
	learned, err := fit.Fit(ctx, setup, fit.RecordOf(course, course.Elapsed(), left), all[at].Learned, nil)
	if err != nil {
		if ctx.Err() != nil {
			return couldNot(err)
		}
		return cannot(err.Error())
	}
	all[at].Learned, all[at].Batches = learned.Learned, append(all[at].Batches, b.ID)
	data, err := json.MarshalIndent(all, "", "  ")
	if err == nil {
		err = writeWhole(io.Discard, dir, taughtFile, func(f io.Writer) error { _, err := f.Write(append(data, '\n')); return err })
	}
	if err != nil {
		return couldNot(err)
	}
	if asJSON {
		return couldNot(printJSON(w, all[at]))
	}
	fmt.Fprintln(w, shown(all[at].String()))
	if len(learned.Untold) > 0 {
		var names []string
		for _, p := range learned.Untold {
			names = append(names, p.String())
		}
		fmt.Fprintf(w, "this record cannot tell, and leaves as it was: %s\n", strings.Join(names, ", "))
	}
	_, err = fmt.Fprintf(w, "the rehearsal missed the record by %.2f of what a fit is allowed, and now by %.2f; %d rehearsals\n", learned.Before, learned.After, learned.Rehearsals)
	return couldNot(err)
}

// changedByHand reports whether somebody changed a stage of a batch while it ran.
func changedByHand(h *history.History) bool {
	return slices.ContainsFunc(h.BatchEvents(), func(e history.Event) bool {
		return e.Kind == controller.Bent || e.Kind == controller.StageEnded && e.By == controller.EndedBySkip
	})
}

// hungAt is the core as it was hung, or nil where nobody read it or it was none of a cold
// room.
func hungAt(h *history.History) *quantity.Celsius {
	for _, sample := range h.Samples() {
		if v := sample.Core; v >= 0 && v <= 40 {
			core := quantity.Celsius(v)
			return &core
		}
	}
	return nil
}
