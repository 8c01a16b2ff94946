package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/keys"
	"fumarium/profile/quantity"
)

func keysCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "keys [product|cabinet] [KEY...]",
		Short: "Every key of product and cabinet files, with what may stand there",
		Long: `Tells every key that a product file and a cabinet file may have: where it stands,
what it means, what may stand behind it, what it is without the key, and an
example. Words and limits are those that the files are read by. A figure carries
its unit: °C or °F, mm, cm, m or in, g, kg, oz or lb, s, min, h or d.

A KEY is one key or a path of several with dots between; all that stands below it
is told, too. Where a key belongs to another that may be left out, it is needed
where that stands.

Exit status: 0 told, 2 there is no such key.`,
		Example: `  fumarium keys product
  fumarium keys stages.until
  fumarium keys cabinet "second lag"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			told, err := keysOf(args)
			if err != nil {
				return err
			}
			if asJSON {
				return couldNot(printJSON(cmd.OutOrStdout(), told))
			}
			return couldNot(printKeys(cmd.OutOrStdout(), told))
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print the keys as JSON")
	return c
}

// keysOf are the keys that the arguments name.
func keysOf(args []string) ([]keys.Key, error) {
	kinds := keys.Files
	if len(args) > 0 && slices.Contains(kinds, args[0]) {
		kinds, args = args[:1], args[1:]
	}
	var all []keys.Key
	for _, kind := range kinds {
		of, err := keys.Of(kind)
		if err != nil {
			return nil, couldNot(err)
		}
		all = append(all, of...)
	}
	for _, name := range args {
		if !slices.ContainsFunc(all, func(k keys.Key) bool { return k.Fits(name) }) {
			return nil, usage("no %s file has a key %q; `fumarium keys` tells all there are", strings.Join(kinds, " or "), name)
		}
	}
	if len(args) == 0 {
		return all, nil
	}
	return slices.DeleteFunc(all, func(k keys.Key) bool {
		return !slices.ContainsFunc(args, k.Fits)
	}), nil
}

// printKeys tells limits in the units asked for; what would stand in the file is repeated
// as it would stand there.
func printKeys(w io.Writer, told []keys.Key) error {
	units, file := quantity.UnitsOf(w), ""
	var b strings.Builder
	for _, k := range told {
		if k.File != file {
			file = k.File
			fmt.Fprintf(&b, "Keys of a %s file\n\n", file)
		}
		fmt.Fprintf(&b, "%s\n  %s\n  takes:    %s\n", k.Path, k.Meaning, units.Text(k.Values))
		switch {
		case k.Needed:
			b.WriteString("  needed\n")
		case k.Default != "":
			fmt.Fprintf(&b, "  left out: the same as %s: %s\n", k.Name(), k.Default)
		default:
			fmt.Fprintf(&b, "  left out: %s\n", k.Without)
		}
		if k.Example != "" {
			fmt.Fprintf(&b, "  example:  %s: %s\n", k.Name(), k.Example)
		}
		b.WriteByte('\n')
	}
	_, err := io.WriteString(quantity.Raw(w), b.String())
	return err
}
