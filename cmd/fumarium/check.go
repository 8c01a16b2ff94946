package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/caution"
	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/lint"
	"fumarium/profile/quantity"
	"fumarium/profile/source"
	"fumarium/sim"
)

func checkCommand() *cobra.Command {
	var asJSON bool
	var against, where string
	c := &cobra.Command{
		Use:   "check FILE...",
		Short: "Validate product and cabinet files, and say what looks unwise",
		Long: `Reads product and cabinet files and reports everything that is wrong with them,
each with file:line:column, the place itself and what to do; then what is allowed
but looks unwise: smoke on wet casings, fat that runs out, a come-up that takes
too long, a stage that can never end. It notes, too, which setpoint or ramp the
cabinet's element cannot keep with damper and fan as asked, where its file has a
rehearsal section. No batch is started of a product with errors; one with advice
is for a reason, which goes on the record; a note asks for nothing.

A file is a cabinet when its top level has the key "cabinet", and a product
otherwise. Products are held against the cabinet of --cabinet, and their formula
against the rules of the place that they name, or else of --jurisdiction.

Several cabinet files stand for the cabinets of one board: a line, a chip select or an
I2C or 1-Wire bus that two of them have is an error.

When there is nothing to report it says "no fault found".
` + caution.NoFault + `

Exit status: 0 nothing but notes, 1 something found, 2 usage, 3 a file could not be
opened.`,
		Example: "  fumarium check my-sausage.yaml my-cabinet.yaml",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			home, err := findCabinet(against)
			if err != nil {
				return err
			}
			place, err := placeOf(where)
			if err != nil {
				return err
			}
			return runCheck(cmd.Context(), args, home, place, asJSON, cmd.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the findings as JSON")
	c.Flags().StringVar(&against, "cabinet", defaultCabinet, "cabinet `FILE` or shipped name that products are held against")
	jurisdictionFlag(c, &where)
	return c
}

func runCheck(ctx context.Context, names []string, home *cabinet.Cabinet, place profile.Jurisdiction, asJSON bool, w io.Writer) error {
	var all source.Findings
	var ends []string
	var unreadable error
	var cabinets []source.Item[*cabinet.Cabinet]
	read := 0
	for _, name := range names {
		data, err := readFile(name)
		if err != nil {
			unreadable = errors.Join(unreadable, err)
			continue
		}
		read++
		all = append(all, checkFile(ctx, name, data, home, place)...)
		if c, err := cabinet.Parse(name, data); err == nil && isCabinet(data) { // together they stand for one board
			all = append(all, withExcerpts(disputes(name, c, cabinets), data)...)
			cabinets = append(cabinets, source.Item[*cabinet.Cabinet]{File: name, Value: c})
		}
		if line := heatEnds(name, data, home); line != "" {
			ends = append(ends, line)
		}
	}
	if asJSON {
		if err := printJSON(w, append(source.Findings{}, all...)); err != nil {
			return couldNot(err)
		}
	} else {
		printFindings(w, all, read)
		for _, line := range ends {
			fmt.Fprintln(w, line)
		}
	}
	if unreadable != nil {
		return couldNot(unreadable)
	}
	if all.Asks() {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// heatEnds says for how long each stage of a product may heat before the heat ends by
// itself; nothing of another file.
func heatEnds(name string, data []byte, home *cabinet.Cabinet) string {
	if isCabinet(data) {
		return ""
	}
	p, err := profile.Parse(name, data)
	if err != nil {
		return ""
	}
	m, err := controller.New(p, home)
	if err != nil {
		return ""
	}
	var stages []string
	for i := range p.Stages {
		if d := m.HeatEnds(i); d > 0 {
			stages = append(stages, fmt.Sprintf("%s %s", shown(p.Stages[i].Name), quantity.FormatDuration(d)))
		}
	}
	if len(stages) == 0 {
		return ""
	}
	return fmt.Sprintf("%s: the heat ends by itself, unless a person restarts it: %s; all together %s", shown(name), strings.Join(stages, ", "), quantity.FormatDuration(m.BatchHeat()))
}

// unreached notes what of a product is more than the cabinet is meant for, and which setpoint
// or ramp it cannot keep; nothing where its file does not say so, or what it is built of.
func unreached(ctx context.Context, p *profile.Product, file string, home *cabinet.Cabinet) (found source.Findings) {
	if more, ok := sim.TooMuch(p, home, file); ok {
		found = append(found, more)
	}
	if !home.CanRehearse() {
		return found
	}
	short, err := sim.Reach(ctx, sim.Setup{Product: p, Cabinet: home})
	if err != nil {
		return found
	}
	for i := range short {
		found = append(found, short[i].Finding(p, file))
	}
	return found
}

// checkFile returns everything there is to say about one file.
func checkFile(ctx context.Context, name string, data []byte, home *cabinet.Cabinet, place profile.Jurisdiction) source.Findings {
	if isCabinet(data) {
		c, err := cabinet.Parse(name, data)
		if err != nil {
			return faultsOf(name, err)
		}
		return withExcerpts(cabinet.Lint(c, name), data)
	}
	p, err := profile.Parse(name, data)
	if err != nil {
		return faultsOf(name, err)
	}
	found := append(checkProduct(p, name, data, home, place), unreached(ctx, p, name, home)...)
	sort.SliceStable(found, func(i, j int) bool { return found[i].Line < found[j].Line })
	return withExcerpts(found, data)
}

// checkProduct says what is wrong or unwise about a product that could be read: an error
// starts nowhere, and advice wants a reason.
func checkProduct(p *profile.Product, name string, data []byte, home *cabinet.Cabinet, place profile.Jurisdiction) source.Findings {
	found := lint.Product(p, name, lint.Cabinet{
		Filling: home.Generator.Lasts, HasAmbient: true, Ambient: home.Ambient, ChamberHigh: home.Limits.ChamberHigh, Cools: home.Cooler.Fitted,
		CoreError: home.CoreError(), Where: place,
	})
	found = append(found, judged(p, place, name, data)...)
	sort.SliceStable(found, func(i, j int) bool { return found[i].Line < found[j].Line })
	return found
}

// hasErrors reports findings with which no batch is started.
func hasErrors(found source.Findings) bool {
	return slices.ContainsFunc(found, func(f source.Finding) bool { return f.Severity == source.Error })
}

func withExcerpts(found source.Findings, data []byte) source.Findings {
	for i := range found {
		found[i].Excerpt = source.Excerpt(data, found[i].Line, found[i].Column)
	}
	return found
}

// judged gives what the make sheet finds wrong with the formula; its notes are for
// the sheet only.
func judged(p *profile.Product, place profile.Jurisdiction, name string, data []byte) source.Findings {
	line := 1
	for i, text := range bytes.Split(data, []byte("\n")) {
		if bytes.HasPrefix(text, []byte("formula:")) {
			line = i + 1
		}
	}
	var found source.Findings
	for _, f := range formula.Judge(p, p.Where(place)).Findings {
		if f.Severity != source.Note {
			f.File, f.Line, f.Column = name, line, 1
			found = append(found, f)
		}
	}
	return found
}

func faultsOf(name string, err error) source.Findings {
	if err == nil {
		return nil
	}
	if faults, ok := asFaults(err); ok {
		return faults
	}
	return source.Findings{{File: name, Line: 1, Column: 1, Message: err.Error()}}
}

// isCabinet looks for the key "cabinet" at the top level, without parsing: the
// file may be broken in every way.
func isCabinet(data []byte) bool {
	for line := range bytes.Lines(data[:min(len(data), source.MaxBytes)]) {
		if bytes.HasPrefix(line, []byte("cabinet:")) {
			return true
		}
		if bytes.HasPrefix(line, []byte("product:")) {
			return false
		}
	}
	return false
}

func printFindings(w io.Writer, all source.Findings, files int) {
	var of [source.Note + 1]int
	for _, f := range all {
		of[f.Severity]++
		said := w
		if f.Severity == source.Error && f.Code == "" { // of a parser: in the words of the file
			said = quantity.Raw(w)
		}
		fmt.Fprintf(said, "%s: %s\n", f.Severity.Asks(), shown(f.Error()))
		if f.Excerpt != "" {
			fmt.Fprintf(quantity.Raw(w), "%s\n", f.Excerpt)
		}
	}
	switch {
	case files == 0: // the error says why
	case all.Asks():
		fmt.Fprintf(w, "%s, %s of advice in %s\n", plural(of[source.Error], "error"), plural(of[source.Warning], "piece"), plural(files, "file"))
	default:
		fmt.Fprintf(w, "no fault found in %s\n%s\n", plural(files, "file"), caution.NoFault)
	}
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
