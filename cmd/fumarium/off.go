package main

import (
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
	var name string
	var asJSON bool
	c := &cobra.Command{
		Use:   "off --cabinet FILE",
		Short: "Switch every output off and verify it, without the daemon",
		Long: `Takes every relay of the cabinet, switches it off, reads it back and ends. It
goes on with the others when one fails. The service unit runs it after the daemon
has ended in whatever way; run it yourself whenever in doubt.

It cannot take a relay from a daemon that still runs: stop that first. What it
verifies is the pin. A relay whose contact is welded stays closed all the same:
when the element stays hot, cut the mains.

` + caution.Smoulders + `

Exit status: 0 all off, 2 usage, 3 not everything could be switched off.`,
		Example: "  fumarium off --cabinet /etc/fumarium/cabinet.yaml",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if name == "" {
				return usage("name the cabinet whose relays to switch off with --cabinet")
			}
			return runOff(name, here.lines, time.Sleep, asJSON, cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&name, "cabinet", "", "cabinet `FILE`")
	c.Flags().BoolVar(&asJSON, "json", false, "print the result as JSON")
	return c
}

func runOff(name string, lines relay.Host, wait func(time.Duration), asJSON bool, w io.Writer) error {
	c, err := findCabinet(name)
	if err != nil {
		return err
	}
	outputs := wiring.Fitted(c)
	if !c.Simulated() {
		if err := relay.Cut(c, lines, wait); err != nil {
			return couldNot(fmt.Errorf("not everything could be switched off:\n%w\nwhen in doubt, cut the mains", err))
		}
	}
	if asJSON {
		return couldNot(printJSON(w, struct {
			Off       bool     `json:"off"`
			Simulated bool     `json:"simulated"`
			Outputs   []string `json:"outputs"`
		}{true, c.Simulated(), outputs}))
	}
	if c.Simulated() {
		fmt.Fprintf(w, "%s exists only in rehearsal: there is nothing to switch off\n", c.Name)
		return nil
	}
	fmt.Fprintf(w, "off, read back from the pins: %s\n", strings.Join(outputs, ", "))
	return nil
}
