package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"sort"

	"github.com/spf13/cobra"

	"fumarium/controller/cabinet"
	"fumarium/controller/caution"
	"fumarium/profile"
	"fumarium/profile/formula"
	"fumarium/profile/lint"
	"fumarium/profile/source"
)

// finding is one fault as `check --json` prints it.
type finding struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Column  int    `json:"column"`
	Warning bool   `json:"warning"`
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

func checkCommand() *cobra.Command {
	var asJSON bool
	var against string
	c := &cobra.Command{
		Use:   "check FILE...",
		Short: "Validate product and cabinet files, and say what looks unwise",
		Long: `Reads product and cabinet files and reports everything that is wrong with them,
each with file:line:column, the place itself and what to do; then what is allowed
but looks unwise: smoke on wet casings, fat that runs out, a come-up that takes
too long, a stage that can never end.

A file is a cabinet when its top level has the key "cabinet", and a product
otherwise. Products are held against the cabinet of --cabinet.

When there is nothing to report it says "no fault found".
` + caution.NoFault + `

Exit status: 0 nothing found, 1 something found, 2 usage, 3 a file could not be
opened.`,
		Example: "  fumarium check my-sausage.yaml my-cabinet.yaml",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			home, err := findCabinet(against)
			if err != nil {
				return err
			}
			return runCheck(args, home, asJSON, cmd.OutOrStdout())
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the findings as JSON")
	c.Flags().StringVar(&against, "cabinet", defaultCabinet, "cabinet `FILE` or shipped name that products are held against")
	return c
}

func runCheck(names []string, home *cabinet.Cabinet, asJSON bool, w io.Writer) error {
	var all source.Faults
	var unreadable error
	read := 0
	for _, name := range names {
		data, err := readFile(name)
		if err != nil {
			unreadable = errors.Join(unreadable, err)
			continue
		}
		read++
		all = append(all, checkFile(name, data, home)...)
	}
	if asJSON {
		list := make([]finding, len(all))
		for i, f := range all {
			list[i] = finding{f.File, f.Line, f.Column, f.Warning, f.Message, f.Remedy}
		}
		if err := printJSON(w, list); err != nil {
			return couldNot(err)
		}
	} else {
		printFaults(w, all, read)
	}
	if unreadable != nil {
		return couldNot(unreadable)
	}
	if len(all) > 0 {
		return &failure{exitBad, errSaid}
	}
	return nil
}

// checkFile returns everything there is to say about one file.
func checkFile(name string, data []byte, home *cabinet.Cabinet) source.Faults {
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
	found := source.Faults(lint.Product(p, name, lint.Cabinet{
		Filling: home.Generator.Lasts, HasAmbient: true, Ambient: home.Ambient, ChamberHigh: home.Limits.ChamberHigh,
	}))
	found = append(found, judged(p, name, data)...)
	sort.SliceStable(found, func(i, j int) bool { return found[i].Line < found[j].Line })
	return withExcerpts(found, data)
}

func withExcerpts(found source.Faults, data []byte) source.Faults {
	for i := range found {
		found[i].Excerpt = source.Excerpt(data, found[i].Line, found[i].Column)
	}
	return found
}

// judged gives what the make sheet finds wrong with the formula; its notes are for
// the sheet only.
func judged(p *profile.Product, name string, data []byte) source.Faults {
	line := 1
	for i, text := range bytes.Split(data, []byte("\n")) {
		if bytes.HasPrefix(text, []byte("formula:")) {
			line = i + 1
		}
	}
	var found source.Faults
	for _, f := range formula.Judge(p, formula.GreenWeight).Findings {
		if f.Severity != formula.Note {
			found = append(found, source.Fault{File: name, Line: line, Column: 1, Warning: f.Severity != formula.Error,
				Message: f.Code + ": " + f.Message, Remedy: f.Remedy})
		}
	}
	return found
}

func faultsOf(name string, err error) source.Faults {
	if err == nil {
		return nil
	}
	if faults, ok := asFaults(err); ok {
		return faults
	}
	return source.Faults{{File: name, Line: 1, Column: 1, Message: err.Error()}}
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

func printFaults(w io.Writer, all source.Faults, files int) {
	warnings := 0
	for _, f := range all {
		kind := "error"
		if f.Warning {
			kind = "advice"
			warnings++
		}
		fmt.Fprintf(w, "%s: %s\n", kind, shown(f.Error()))
		if f.Excerpt != "" {
			fmt.Fprintf(w, "%s\n", f.Excerpt)
		}
	}
	if files == 0 {
		return // the error says why
	}
	if len(all) == 0 {
		fmt.Fprintf(w, "no fault found in %s\n%s\n", plural(files, "file"), caution.NoFault)
		return
	}
	fmt.Fprintf(w, "%s, %s of advice in %s\n", plural(len(all)-warnings, "error"), plural(warnings, "piece"), plural(files, "file"))
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
