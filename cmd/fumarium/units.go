package main

import (
	"errors"
	"io"
	"os"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"fumarium/profile/quantity"
)

// How a person says which units figures are shown in. JSON is always SI, and what a
// person or a file says is repeated as it was said.
const (
	unitsFlag     = "units"
	unitsVariable = "FUMARIUM_UNITS"
)

// showIn lets the command show figures in the units that were asked for.
func showIn(cmd *cobra.Command) error {
	units, err := askedUnits(cmd)
	if err != nil {
		return err
	}
	if asJSON := cmd.Flags().Lookup("json"); asJSON != nil && asJSON.Value.String() == "true" {
		return nil
	}
	cmd.SetOut(units.Writer(cmd.OutOrStdout()))
	cmd.SetErr(units.Writer(cmd.ErrOrStderr()))
	return nil
}

// askedUnits are those of the flag, or else of the environment.
func askedUnits(cmd *cobra.Command) (quantity.Units, error) {
	text, from := os.Getenv(unitsVariable), unitsVariable
	if flag := cmd.Flags().Lookup(unitsFlag); flag != nil && flag.Changed {
		text, from = flag.Value.String(), "--"+unitsFlag
	} else if text == "" {
		return quantity.Units{}, nil
	}
	units, err := quantity.ParseUnits(text)
	if err != nil {
		return units, usage("%s: %w", from, err)
	}
	return units, nil
}

// unitsOf are those that an error is said in. One about something as written is said in
// the words of what was written.
func unitsOf(cmd *cobra.Command, err error) quantity.Units {
	var written *quantity.ParseError
	if _, faulty := asFaults(err); faulty || errors.As(err, &written) {
		return quantity.Units{}
	}
	return quantity.UnitsOf(cmd.ErrOrStderr())
}

// A table lines its cells up. Figures are brought into the units of what it is written
// to before the columns are measured.
type table struct {
	io.Writer // where cells go
	columns   *tabwriter.Writer
}

func newTable(w io.Writer) table {
	t := tabwriter.NewWriter(quantity.Raw(w), 0, 0, 2, ' ', 0)
	return table{quantity.UnitsOf(w).Writer(t), t}
}

// Flush writes the table.
func (t table) Flush() error { return t.columns.Flush() }
