package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/caution"
	"fumarium/controller/relay"
)

func offCommand() *cobra.Command {
	var name, state string
	var asJSON bool
	var others besides
	c := &cobra.Command{
		Use:   "off --cabinet FILE [--state DIR]",
		Short: "Switch every output off and verify it, without the daemon",
		Long: `Takes every relay of the cabinet, switches it off, reads it back and ends. It
goes on with the others when one fails. The service unit runs it after the daemon
has ended in whatever way; run it yourself whenever in doubt.

The daemon keeps in its state folder which outputs it opened last. When the cabinet
file cannot be read, those are switched off, and what is wrong with the file is said
(status 3); when it was changed, also those that it no longer names. By hand, name
the service's folder: --state /var/lib/fumarium, as root.

It cannot take a relay from a daemon that still runs: stop that first. What it
verifies is the pin. A relay whose contact is welded stays closed all the same:
when the element stays hot, cut the mains.

` + caution.Smoulders + `

Exit status: 0 all off, 2 usage, 3 not everything could be switched off.`,
		Example: "  fumarium off --cabinet /etc/fumarium/cabinet.yaml --state /var/lib/fumarium",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if name == "" {
				return usage("name the cabinet whose relays to switch off with --cabinet")
			}
			return runOff(name, state, others, here.lines, time.Sleep, asJSON, cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&name, "cabinet", "", "cabinet `FILE`")
	c.Flags().StringVar(&state, "state", "", "`DIR` in which the daemon keeps its state (default: "+stateHint+")")
	others.flag(c.Flags())
	c.Flags().BoolVar(&asJSON, "json", false, "print the result as JSON")
	return c
}

func runOff(name, state string, near besides, lines relay.Host, wait func(time.Duration), asJSON bool, w io.Writer) error {
	c, err := findCabinet(name)
	if err != nil {
		before := lastOpening(state)
		return couldNot(before.withoutFile(err, lines))
	}
	outputs := wiring.Fitted(c)
	var left error
	others, _ := near.others(name)
	disputed := disputes(name, c, others)
	if !c.Simulated() && len(disputed) == 0 {
		left = relay.Cut(c, lines, wait)
	}
	before := lastOpening(state) // whose disk may hang
	if len(disputed) > 0 {
		mine, theirs := undisputed(c, others, before.Opening)
		if left = relay.CutPins(mine, lines); len(theirs) > 0 {
			left = errors.Join(left, fmt.Errorf("%w\nnot touched, for this cabinet never had them: %s", disputed, pinNames(theirs)))
		}
	}
	gone, err := before.beside(name, c, lines)
	if left = errors.Join(left, err); left != nil {
		return couldNot(fmt.Errorf("not everything could be switched off:\n%w\nwhen in doubt, cut the mains", left))
	}
	if asJSON {
		return couldNot(printJSON(w, struct {
			Off       bool        `json:"off"`
			Simulated bool        `json:"simulated"`
			Outputs   []string    `json:"outputs"`
			Beside    []relay.Pin `json:"no_longer_named,omitempty"`
		}{true, c.Simulated(), outputs, gone}))
	}
	if len(gone) > 0 {
		fmt.Fprintf(w, "off, read back, and no longer named by %s: %s\n", shown(name), shown(pinNames(gone)))
	}
	if before.err != nil && !c.Simulated() {
		fmt.Fprintf(w, "whether another output was fitted before is not known: %s\n", shownLines(before.err.Error()))
	}
	if c.Simulated() {
		fmt.Fprintf(w, "%s exists only in rehearsal: there is nothing to switch off\n", c.Name)
		return nil
	}
	fmt.Fprintf(w, "off, read back from the pins: %s\n", strings.Join(outputs, ", "))
	return nil
}
