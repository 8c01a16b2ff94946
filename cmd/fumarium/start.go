package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/portion"
	"fumarium/profile/quantity"
)

func startCommand() *cobra.Command {
	var c client
	var stuffed, reason, taken, meat string
	cmd := c.flags(&cobra.Command{
		Use: "start PRODUCT", Short: "Start a batch of a product or a product file",
		Long: fmt.Sprintf(`Starts a batch. PRODUCT is a product file or a name from fumarium products. With
--meat the masses of its file are made those for the meat in hand, and stand so on
the record.

A cured product has to rest first, as long as its file says, or overnight. Say
with --stuffed when it was made; without that, or too early, the start is refused
unless --reason says why it need not wait.

A start is refused, too, when a probe does not read what it must in a cabinet that
has stood still, or did not in ice water (fumarium ice PROBE). It says which; mend
it, or give a --reason. The reason goes on the record with what it was given for.

--taken hands in the make sheet as it was filled in (fumarium sheet --form). With a cure
that is off, or a formula that breaks a limit as it was weighed, nothing is started.

Before anything gets hot:
%s`, beforeHeat()),
		Example: `  fumarium start marjoram-ring --stuffed 14h
  fumarium start my-sausage.yaml --stuffed "yesterday 18:30"
  fumarium start my-sausage.yaml --reason "erythorbate, settled three hours"`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := web.Order{Command: controller.Start.String(), Product: args[0], Reason: reason, Meat: meat}
			if stuffed != "" {
				now := time.Now()
				at, err := pastTime(stuffed, now)
				if err != nil {
					return usage("--stuffed %w", err)
				}
				o.StuffedAt = at.Format(time.RFC3339)
				fmt.Fprintf(cmd.OutOrStdout(), "stuffed %s, %s ago\n", at.Format("Monday 2 January 15:04 MST"), quantity.FormatDuration(now.Sub(at)))
			}
			if isFile(args[0]) {
				_, err := keptHere(args[0])
				if err := oneOnly(args[0], err == nil); err != nil {
					return err
				}
				data, err := readFile(args[0])
				if err != nil {
					return err
				}
				o.Product, o.File, o.ProductYAML = "", filepath.Base(args[0]), string(data)
			}
			form, err := soundForm(args[0], taken, meat, cmd.OutOrStdout())
			if err != nil {
				return err
			}
			err = c.send(cmd.Context(), o, cmd.OutOrStdout())
			if answer := (*excusable)(nil); errors.As(err, &answer) {
				how := "--reason TEXT"
				if stuffed == "" && strings.Contains(err.Error(), "when it was stuffed") {
					how = "--stuffed TIME, or --reason TEXT"
				}
				return &failure{exitBad, fmt.Errorf("%w: %s", err, how)}
			}
			if err == nil && form != "" {
				if err = c.send(cmd.Context(), web.Order{Command: web.Weigh, Form: form}, cmd.OutOrStdout()); err != nil {
					return fmt.Errorf("the batch has started, and what was weighed is not on its record: %w; hand it in with fumarium weigh --form %s", err, taken)
				}
			}
			return err
		},
	})
	cmd.Flags().StringVar(&taken, "taken", "", "`FILE` from sheet --form, filled in: what was weighed, and the lots")
	cmd.Flags().StringVar(&stuffed, "stuffed", "", "`TIME` the product was stuffed or cured: "+strings.Replace(timeForms, "tomorrow", "yesterday", 1)+", or 14h for fourteen hours ago")
	cmd.Flags().StringVar(&meat, "meat", "", "`MASS` of meat in hand, such as 5kg or \"11 lb 4 oz\" (default: as the product has it)")
	cmd.Flags().StringVar(&reason, "reason", "", "`TEXT` why the batch is started all the same")
	return cmd
}

// soundForm is the text of a form by which a batch may be started; no file is none. It is
// held against the product for the meat in hand, where that is said.
func soundForm(product, file, meat string, w io.Writer) (string, error) {
	if file == "" {
		return "", nil
	}
	item, err := find(product, keptHere, profile.Parse)
	if err != nil {
		return "", err
	}
	p := item.Value
	if meat != "" {
		kg, err := portion.ParseMeat(meat)
		if err != nil {
			return "", usage("--meat %w", err)
		}
		if p, _, err = portion.File(item.File, item.Data, kg); err != nil {
			return "", couldNot(err)
		}
	}
	place, err := placeOf("")
	if err != nil {
		return "", err
	}
	t, text, err := takenBy(p, file, p.Where(place))
	if err != nil {
		return "", err
	}
	if !t.Known() {
		return "", usage("%s: nothing is filled in; write what was weighed into its third column, and lots into its fourth", file)
	}
	if _, bad := t.Bad(); bad {
		if err := printTaken(w, t); err != nil {
			return "", couldNot(err)
		}
		return "", &failure{exitBad, errors.New("not started. " + cureRemedy)}
	}
	return text, nil
}
