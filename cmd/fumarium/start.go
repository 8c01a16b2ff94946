package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/record"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/portion"
	"fumarium/profile/quantity"
	"fumarium/profile/variant"
)

func startCommand() *cobra.Command {
	var c client
	var stuffed, reason, taken, meat, like string
	var changes []string
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

--like BATCH makes a batch once more, by the very product file that it was made by; with
--change one thing is another: an ingredient as a mass or a share of the meat, or a stage's
key. The difference goes on the record, and fumarium compare shows what came of it.

--taken hands in the make sheet as it was filled in (fumarium sheet --form). With a cure
that is off, or a formula that breaks a limit as it was weighed, nothing is started.

Before anything gets hot:
%s`, beforeHeat()),
		Example: `  fumarium start marjoram-ring --stuffed 14h
  fumarium start my-sausage.yaml --stuffed "yesterday 18:30"
  fumarium start --like 2026-11-28-1 --change "salt: 1.7 %" --stuffed 14h
  fumarium start my-sausage.yaml --reason "erythorbate, settled three hours"`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o := web.Order{Command: controller.Start.String(), Reason: reason, Meat: meat}
			switch {
			case like == "" && len(changes) > 0:
				return usage("--change goes with --like BATCH")
			case (like == "") == (len(args) == 0):
				return usage("name a product, or with --like the batch to make once more")
			case like == "":
				o.Product = args[0]
			default:
				var err error
				if like, err = c.again(cmd.Context(), like, changes, &o); err != nil {
					return err
				}
			}
			if stuffed != "" {
				now := time.Now()
				at, err := pastTime(stuffed, now)
				if err != nil {
					return usage("--stuffed %w", err)
				}
				o.StuffedAt = at.Format(time.RFC3339)
				fmt.Fprintf(cmd.OutOrStdout(), "stuffed %s, %s ago\n", at.Format("Monday 2 January 15:04 MST"), quantity.FormatDuration(now.Sub(at)))
			}
			if like == "" && isFile(args[0]) {
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
			form, err := soundForm(&o, taken, cmd.OutOrStdout())
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
			if err == nil && like != "" {
				if err = c.send(cmd.Context(), web.Order{Command: web.Repeat, What: like}, cmd.OutOrStdout()); err != nil {
					return fmt.Errorf("the batch has started, and that it is made like %s is not on its record: %w", like, err)
				}
			}
			if err == nil && form != "" {
				if err = c.send(cmd.Context(), web.Order{Command: web.Weigh, Form: form}, cmd.OutOrStdout()); err != nil {
					return fmt.Errorf("the batch has started, and what was weighed is not on its record: %w; hand it in with fumarium weigh --form %s", err, taken)
				}
			}
			return err
		},
	})
	cmd.Flags().StringVar(&like, "like", "", "`BATCH` to make once more, by the product file that it was made by")
	cmd.Flags().StringArrayVar(&changes, "change", nil, "with --like: one `CHANGE`, such as \"salt: 1.7 %\" or \"cook.chamber: 78 °C\"; repeat it for more")
	cmd.Flags().StringVar(&taken, "taken", "", "`FILE` from sheet --form, filled in: what was weighed, and the lots")
	cmd.Flags().StringVar(&stuffed, "stuffed", "", "`TIME` the product was stuffed or cured: "+strings.Replace(timeForms, "tomorrow", "yesterday", 1)+", or 14h for fourteen hours ago")
	cmd.Flags().StringVar(&meat, "meat", "", "`MASS` of meat in hand, such as 5kg or \"11 lb 4 oz\" (default: as the product has it)")
	cmd.Flags().StringVar(&reason, "reason", "", "`TEXT` why the batch is started all the same")
	return cmd
}

// soundForm is the text of a form by which a batch may be started; no file is none. It is
// held against the product for the meat in hand, where that is said.
func soundForm(o *web.Order, file string, w io.Writer) (string, error) {
	if file == "" {
		return "", nil
	}
	name, data := o.File, []byte(o.ProductYAML)
	if len(data) == 0 {
		item, err := find(o.Product, keptHere, profile.Parse)
		if err != nil {
			return "", err
		}
		name, data = item.File, item.Data
	}
	p, err := profile.Parse(name, data)
	if err == nil && o.Meat != "" {
		kg, bad := portion.ParseMeat(o.Meat)
		if bad != nil {
			return "", usage("--meat %w", bad)
		}
		p, _, err = portion.File(name, data, kg)
	}
	if err != nil {
		return "", couldNot(err)
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

// again puts the product file of a recorded batch into an order, changed as asked, and gives
// the batch's whole name.
func (c *client) again(ctx context.Context, like string, changes []string, o *web.Order) (id string, err error) {
	s, err := c.status(ctx)
	if err != nil {
		return "", err
	}
	a := archive{state: c.state, simulated: s.World == string(record.Simulated)}
	r, err := a.open()
	if err != nil {
		return "", err
	}
	defer r.Close()
	b, err := r.Batch(ctx, like)
	if err != nil {
		return "", couldNot(err)
	}
	name := strings.TrimSuffix(b.ProductName, filepath.Ext(b.ProductName)) + ".yaml"
	data, _, err := variant.Of(name, b.ProductFile, changes)
	if err != nil {
		return "", usage("%w", err)
	}
	o.File, o.ProductYAML = name, string(data)
	return b.ID, nil
}
