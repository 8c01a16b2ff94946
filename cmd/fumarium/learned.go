package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/record"
)

// What a cabinet has learned is made of the record of its experiment: while the daemon runs
// as soon as that is over, and afterwards by `fumarium learned`.

// withFindings is a cabinet file with what was learned. It refuses a file in which anything
// else would change by it.
func withFindings(name string, file []byte, all []controller.Finding, batch string, on time.Time) ([]byte, *cabinet.Cabinet, error) {
	learned := controller.LearnedOf(all)
	if learned == (cabinet.Learned{}) {
		return nil, nil, errors.New("nothing was learned that a file could hold")
	}
	before, err := cabinet.Parse(name, file)
	if err != nil {
		return nil, nil, err
	}
	if learned.FanOn.Gain == 0 { // what only one state has shown leaves the other as it was
		learned.FanOn = before.Learned.FanOn
	}
	if learned.FanOff.Gain == 0 {
		learned.FanOff = before.Learned.FanOff
	}
	next := cabinet.WithLearned(file, learned, append([]string{fmt.Sprintf("on %s, batch %s:", on.Format(time.DateOnly), batch)}, lines(all)...)...)
	after, err := cabinet.Parse(name, next)
	if err != nil || after.Learned == (cabinet.Learned{}) || !same(before, after) {
		return nil, nil, fmt.Errorf("%s is not written as this program can add to it; put this into it by hand, in place of what it has of learned:\n%s%w",
			name, cabinet.WithLearned(nil, learned), err)
	}
	if _, err := controller.New(nil, after); err != nil {
		return nil, nil, err
	}
	return next, after, nil
}

// same reports whether two cabinets differ in nothing but what was learned and in which
// lines of their files things stand.
func same(a, b *cabinet.Cabinet) bool {
	plain := func(c *cabinet.Cabinet) *cabinet.Cabinet {
		copied := *c
		copied.Probes = append([]cabinet.Probe(nil), c.Probes...)
		copied.Learned = cabinet.Learned{}
		unlined(reflect.ValueOf(&copied).Elem())
		return &copied
	}
	return reflect.DeepEqual(plain(a), plain(b))
}

// unlined sets every Line of a file to none.
func unlined(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Field(i); v.Type().Field(i).Name == "Line" && f.Kind() == reflect.Int {
				f.SetInt(0)
			} else if f.CanSet() {
				unlined(f)
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			unlined(v.Index(i))
		}
	}
}

// replaceCabinet writes a cabinet file in place of the old one, which is kept beside it
// under another name. The file is always there: the old one, or all of the new.
func replaceCabinet(name string, before, next []byte, now time.Time) (kept string, err error) {
	if name, err = filepath.EvalSymlinks(name); err != nil {
		return "", err
	}
	info, err := os.Stat(name)
	if err != nil {
		return "", err
	}
	if is, err := os.ReadFile(name); err != nil || !bytes.Equal(is, before) {
		return "", errors.Join(err, fmt.Errorf("%s was changed meanwhile; look at it, and try again", name))
	}
	kept = name + ".before-" + now.UTC().Format("20060102T150405Z")
	old, err := os.OpenFile(kept, os.O_CREATE|os.O_EXCL|os.O_WRONLY, info.Mode().Perm())
	if err != nil {
		return "", err
	}
	_, err = old.Write(before)
	if err = errors.Join(err, old.Sync(), old.Close()); err != nil {
		return "", errors.Join(err, os.Remove(kept))
	}
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-")
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name()) // nothing, once it has its name
	_, err = f.Write(next)
	if err = errors.Join(err, f.Chmod(info.Mode().Perm()), f.Sync(), f.Close()); err != nil {
		return "", err
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return "", err
	}
	dir, err := os.Open(filepath.Dir(name))
	if err != nil {
		return "", err
	}
	return kept, errors.Join(dir.Sync(), dir.Close())
}

func learnedCommand() *cobra.Command {
	var a archive
	write := ""
	c := a.flags(&cobra.Command{
		Use: "learned [BATCH]", Short: "Show what a cabinet has learned, and put it into its file", Args: cobra.MaximumNArgs(1),
		Long: `Makes constants of the record of an experiment (fumarium tune): how fast the chamber
rises at full heat, with the fan and without, after how long it answers, and how sure
both are. Without BATCH it takes the latest.

With --write they are put into the cabinet file, in place of what it has of learned: at
its end. The old file is kept beside it. A FILE that is not there is made of the cabinet
as it was recorded. The daemon goes by a file when it is started.

Only the control law goes by it. What watches the heater goes by response: as before, so
that no trip becomes looser.`,
		Example: `  fumarium learned
  sudo fumarium learned --write /etc/fumarium/cabinet.yaml`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			id := ""
			if len(args) == 1 {
				id = args[0]
			}
			b, err := experimentOf(cmd.Context(), r, id)
			if err != nil {
				return couldNot(err)
			}
			lessons, _, err := r.Lessons(cmd.Context(), b.ID)
			if err != nil {
				return couldNot(err)
			}
			all := lessons.Fit()
			w := cmd.OutOrStdout()
			fmt.Fprintf(w, "%s, batch %s of %s\n", b.Cabinet, b.ID, b.Started.Format(time.DateOnly))
			for _, line := range lines(all) {
				fmt.Fprintln(w, line)
			}
			if controller.LearnedOf(all) == (cabinet.Learned{}) {
				return &failure{exitBad, errSaid}
			}
			if write == "" {
				fmt.Fprintf(w, "\n%s", cabinet.WithLearned(nil, controller.LearnedOf(all)))
				return nil
			}
			return writeLearned(cmd, write, b, all)
		},
	})
	c.Flags().StringVar(&write, "write", "", "cabinet `FILE` to put it into")
	return c
}

// writeLearned puts what was learned into a cabinet file, or makes one.
func writeLearned(cmd *cobra.Command, name string, b *record.Batch, all []controller.Finding) error {
	w := cmd.OutOrStdout()
	if _, err := os.Stat(name); errors.Is(err, os.ErrNotExist) {
		next, _, err := withFindings(b.CabinetName, b.CabinetFile, all, b.ID, b.Started)
		if err != nil {
			return couldNot(err)
		}
		if err := os.WriteFile(name, next, 0o644); err != nil {
			return couldNot(err)
		}
		fmt.Fprintf(w, "\n%s is new: %s with what was learned\n", name, b.Cabinet)
		return nil
	}
	before, err := readFile(name)
	if err != nil {
		return err
	}
	is, err := cabinet.Parse(name, before)
	if err != nil {
		return couldNot(err)
	}
	if is.Name != b.Cabinet {
		return usage("%s is the file of %q, and %q has learned; name that one's file", name, is.Name, b.Cabinet)
	}
	next, _, err := withFindings(name, before, all, b.ID, b.Started)
	if err != nil {
		return couldNot(err)
	}
	kept, err := replaceCabinet(name, before, next, time.Now())
	if err != nil {
		return couldNot(err)
	}
	fmt.Fprintf(w, "\n%s holds it; what it was is kept as %s. A daemon that runs goes by it once it is started again, which it must not be in the middle of a batch\n", name, kept)
	return nil
}

// experimentOf is the batch named, or the latest by which a cabinet has learned.
func experimentOf(ctx context.Context, r *record.Reader, id string) (*record.Batch, error) {
	if id != "" {
		b, err := r.Batch(ctx, id)
		if err == nil && b.ProductName != controller.ExperimentFile {
			err = fmt.Errorf("batch %s is one of %s: nothing is learned of that; begin with fumarium tune", b.ID, b.Product)
		}
		return b, err
	}
	all, err := r.List(ctx)
	if err != nil {
		return nil, err
	}
	for _, b := range all {
		if b.ProductName == controller.ExperimentFile && b.State != "" {
			return r.Batch(ctx, b.ID)
		}
	}
	return nil, errors.New("no cabinet has learned in this record yet; begin with fumarium tune")
}
