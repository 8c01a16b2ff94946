package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/own"
	"fumarium/controller/caution"
	"fumarium/profile"
	"fumarium/profile/assistant"
	"fumarium/profile/quantity"
)

// assistantHelp says what each flag of the assistant takes.
var assistantHelp = map[string]string{
	"kind": "`KIND`: sausage, piece or sides", "place": "`PLACE` whose rules hold (default: $" + jurisdictionVariable + ", or US)",
	"meat": "`TRIM`, such as pork-shoulder", "fat": "`TRIM` that is added for its fat, or none", "percent": "how fat the meat shall be with it, in `PERCENT`, or none",
	"casing": "`CASING`, such as hog-38", "cure": "`CURE`: no-1, curing-salt, none or brine", "core": "`TARGET` core in °C",
}

func newCommand() *cobra.Command {
	var c assistant.Choice
	var state, out, against string
	cmd := &cobra.Command{
		Use:   "new",
		Short: "Write a product of your own from a few choices",
		Long: `Writes a product file: pick what is made, by whose rules, the meat and its fat, the
casing, the cure and the core target. On a terminal it asks for what no flag says; the
page has the same. The composition of each trim is a published one (USDA SR24), with
its row beside it in the file; amounts and times are common practice, for you to change.

What comes out passes fumarium check by the rules of the place. Nothing is written that
would not, and what this assistant does not know how to make safe it does not offer: meat
without a casing, a whole piece without nitrite, what is dried or smoked cold.

The product is kept beside your own ones, or written to a file with --out. Nothing is
written over.

` + caution.Food + `

Exit status: 0 written, 1 it could not be made so, 2 usage, 3 it could not be written.`,
		Example: `  fumarium products new
  fumarium products new --name "Beech links" --kind sausage --place US --meat pork-shoulder --fat none \
      --percent none --casing hog-32 --cure no-1 --core 70 --mass 3kg`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			home, err := findCabinet(against)
			if err != nil {
				return err
			}
			if c.Place == "" && !atTerminal(cmd.InOrStdin(), cmd.OutOrStdout()) {
				place, err := placeOf("")
				if err != nil {
					return err
				}
				if place == profile.NoJurisdiction {
					place = profile.UnitedStates
				}
				c.Place = place.String()
			}
			if err := complete(&c, cmd.InOrStdin(), cmd.OutOrStdout(), atTerminal(cmd.InOrStdin(), cmd.OutOrStdout())); err != nil {
				return err
			}
			text, err := assistant.Write(c)
			if err != nil {
				return &failure{exitBad, err}
			}
			if _, found := judge(home, profile.NoJurisdiction)("product.yaml", []byte(text)); len(found) > 0 {
				printFindings(cmd.OutOrStdout(), found, 1)
				return &failure{exitBad, errors.New("nothing was written: it does not pass check in this cabinet")}
			}
			if out != "" {
				return writeNew(out, text, cmd.OutOrStdout())
			}
			return keep(cmd, state, own.NameOf(c.Name), []byte(text), false, false)
		},
	}
	f := cmd.Flags()
	f.StringVar(&c.Name, "name", "", "what the product is `CALLED`")
	f.StringVar(&c.Mass, "mass", "", "`MASS` of meat, such as 3kg")
	for _, field := range c.Fields() {
		f.StringVar(field.Value, field.Key, "", assistantHelp[field.Key])
	}
	f.StringVar(&out, "out", "", "write it to this `FILE` instead of keeping it; - is the terminal")
	f.StringVar(&state, "state", "", "`DIR` of the state (default: "+stateHint+")")
	f.StringVar(&against, "cabinet", defaultCabinet, "cabinet `FILE` or shipped name that it is held against")
	return cmd
}

// writeNew writes a file that is not there yet.
func writeNew(name, text string, w io.Writer) error {
	if name == "-" {
		_, err := io.WriteString(quantity.Raw(w), text)
		return couldNot(err)
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return &failure{exitBad, fmt.Errorf("%s is there already; nothing was written", name)}
	} else if err != nil {
		return couldNot(err)
	}
	_, err = io.WriteString(f, text)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return couldNot(err)
	}
	fmt.Fprintf(w, "written to %s\n", shown(name))
	return nil
}

// complete asks for what is not chosen yet. Where nobody can be asked, it says what is
// missing and what there is to choose from.
func complete(c *assistant.Choice, in io.Reader, w io.Writer, ask bool) error {
	answers := bufio.NewScanner(in)
	if c.Name == "" {
		if err := answered(answers, w, ask, "name", "What is it called", &c.Name); err != nil {
			return err
		}
	}
	for _, f := range c.Fields() {
		offers := f.Offers(assistant.OffersFor(*c))
		switch {
		case *f.Value != "":
		case len(offers) == 1: // there is nothing to choose
			*f.Value = offers[0].Key
		case !ask:
			return usage("--%s is missing; take one of %s", f.Key, strings.Join(keysOfOffers(offers), ", "))
		default:
			if err := choose(answers, w, f.Words, offers, f.Value); err != nil {
				return err
			}
		}
	}
	if c.Mass == "" {
		return answered(answers, w, ask, "mass", "How much meat, such as 3 kg", &c.Mass)
	}
	return nil
}

func keysOfOffers(offers []assistant.Offer) []string {
	var keys []string
	for _, o := range offers {
		keys = append(keys, o.Key)
	}
	return keys
}

// answered takes one line.
func answered(in *bufio.Scanner, w io.Writer, ask bool, flag, question string, into *string) error {
	if !ask {
		return usage("--%s is missing", flag)
	}
	fmt.Fprintf(w, "%s? ", question)
	if !in.Scan() {
		return usage("nothing was chosen")
	}
	*into = strings.TrimSpace(in.Text())
	return nil
}

// choose lets a person pick by number or by key, until it is one of them.
func choose(in *bufio.Scanner, w io.Writer, question string, offers []assistant.Offer, into *string) error {
	fmt.Fprintf(w, "\n%s?\n", question)
	for i, o := range offers {
		fmt.Fprintf(w, "%4d  %s", i+1, o.Words)
		if o.Source != "" {
			fmt.Fprintf(w, "  (%s)", o.Source)
		}
		fmt.Fprintln(w)
	}
	for {
		fmt.Fprintf(w, "1 to %d: ", len(offers))
		if !in.Scan() {
			return usage("nothing was chosen")
		}
		said := strings.TrimSpace(in.Text())
		if n, err := strconv.Atoi(said); err == nil && n >= 1 && n <= len(offers) {
			*into = offers[n-1].Key
			return nil
		}
		if i := slices.Index(keysOfOffers(offers), said); i >= 0 {
			*into = said
			return nil
		}
		fmt.Fprintln(w, "that is none of them")
	}
}
