package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"fumarium/controller/record"
	"fumarium/controller/report"
	"fumarium/controller/report/recorded"
	"fumarium/profile/quantity"
)

func reportCommand() *cobra.Command {
	var a archive
	into, short := ".", false
	c := a.flags(&cobra.Command{
		Use: "report BATCH", Short: "Write the report of a recorded batch, to be read, kept and printed", Args: cobra.ExactArgs(1),
		Long: `Writes three files, named by the batch, into a folder:

  BATCH.html   one page that needs nothing else, for A4 or Letter: what could be
               shown of each rule with limit, figure and source, the curve,
               deviations and what the guidance allows, stages and hand steps, what
               it was made from, probes, who did what, notes, events, the record
  BATCH.csv    readings and outputs of every step; assess reads it
  BATCH.json   the same as the page, for programs

--short writes the page for an inspector, on one sheet, and nothing else; --json prints
the JSON and writes nothing. The batch is replayed for it, as by replay.

Exit status: 0 good, or not over yet; 1 not good, or the record does not hold; 2 usage;
3 the record could not be read or the report not written.`,
		Example: `  fumarium report 2026-11
  fumarium report 2026-11 --into /media/stick
  fumarium report 2026-11 --short`,
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := a.open()
			if err != nil {
				return err
			}
			defer r.Close()
			return runReport(cmd.Context(), r, args[0], into, short, a.json, cmd.OutOrStdout())
		},
	})
	c.Flags().StringVar(&into, "into", ".", "write into `FOLDER`")
	c.Flags().BoolVar(&short, "short", false, "one sheet for an inspector, BATCH-short.html")
	return c
}

func runReport(ctx context.Context, r *record.Reader, id, into string, short, asJSON bool, w io.Writer) error {
	b, err := r.Batch(ctx, id)
	if err != nil {
		return couldNot(err)
	}
	var source *report.Source
	read := func(seconds io.Writer) (err error) {
		if source, err = recorded.Source(ctx, r, b, seconds); err != nil {
			return err
		}
		for i := range source.Photos {
			look(&source.Photos[i], filepath.Dir(r.File()), b.ID)
		}
		return nil
	}
	var seconds error
	if !asJSON && !short { // the steps are read once, for the seconds and the rest
		seconds = writeWhole(w, into, b.ID+".csv", read)
	}
	if asJSON || short || seconds != nil { // a damaged record is told as far as it goes
		if err = read(nil); err != nil {
			return couldNot(err)
		}
	}
	told := report.Make(source)
	switch {
	case asJSON:
		err = printJSON(w, told)
	case short:
		err = writeWhole(w, into, b.ID+"-short.html", func(f io.Writer) error { return told.HTMLIn(f, true, quantity.UnitsOf(w)) })
	default:
		err = errors.Join(seconds,
			writeWhole(w, into, b.ID+".html", func(f io.Writer) error { return told.HTMLIn(f, false, quantity.UnitsOf(w)) }),
			writeWhole(w, into, b.ID+".json", func(f io.Writer) error { return printJSON(f, told) }),
		)
	}
	if err != nil {
		return couldNot(err)
	}
	if !told.Whole || told.Good != nil && !*told.Good {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// writeWhole writes a file whole or not at all, and says its name.
func writeWhole(w io.Writer, into, name string, write func(io.Writer) error) (err error) {
	path := filepath.Join(into, name)
	f, err := os.CreateTemp(filepath.Dir(path), ".report-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	buffered := bufio.NewWriter(f)
	err = errors.Join(write(buffered), buffered.Flush(), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err == nil {
		fmt.Fprintln(w, shown(path))
	}
	return err
}
