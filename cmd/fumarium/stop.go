package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/caution"
	"fumarium/controller/web"
	"fumarium/profile/quantity"
)

// atTerminal reports whether a person sits there who can be asked. A test has its own.
var atTerminal = func(in io.Reader, out io.Writer) bool { return isTerminal(in) && isTerminal(out) }

// stopCommand asks first, because what it ends cannot be taken up again. A script is not
// asked, and hold and abort never ask: nothing shall stand between a person and cold.
func stopCommand() *cobra.Command {
	var yes bool
	stop := simple(controller.Stop, "End the batch before its time, everything off", "For a batch that shall not go on. It cannot be restarted; hold it if you may want\n"+
		"to. At a terminal it asks first; hold and abort, which switch everything off as\nwell, ask nothing.", caution.Smoulders)
	stop.Flags().BoolVar(&yes, "yes", false, "do not ask")
	send := stop.RunE
	stop.RunE = func(cmd *cobra.Command, args []string) error {
		if !yes && atTerminal(cmd.InOrStdin(), cmd.OutOrStdout()) {
			c := client{server: cmd.Flag("server").Value.String(), state: cmd.Flag("state").Value.String()}
			if !c.agrees(cmd.Context(), cmd.InOrStdin(), cmd.OutOrStdout()) {
				return &failure{exitBad, errors.New("not stopped: it goes on as before; fumarium hold switches everything off and can be taken back")}
			}
		}
		return send(cmd, args)
	}
	return stop
}

// agrees asks whether the batch shall be stopped. Only a yes is one.
func (c *client) agrees(ctx context.Context, in io.Reader, out io.Writer) bool {
	question := "Stop the batch?"
	if s, err := c.status(ctx); err == nil { // without it the question stands all the same
		question = stopQuestion(s)
	}
	fmt.Fprintf(out, "%s It cannot be taken up again. Type yes to stop it: ", question)
	answer, _ := bufio.NewReader(in).ReadString('\n') // an end without a word is no yes
	return strings.EqualFold(strings.TrimSpace(answer), "yes")
}

// stopQuestion says what would be given up.
func stopQuestion(s *web.Status) string {
	var b strings.Builder
	b.WriteString("Stop the batch")
	if s.Product != nil {
		b.WriteString(" of " + shown(*s.Product))
	}
	if s.Stage != nil {
		b.WriteString(" in its stage " + shown(s.Stage.Name))
	}
	b.WriteString("?")
	if s.CoreCelsius != nil {
		b.WriteString(" Core " + quantity.Fixed(*s.CoreCelsius, 1) + " °C.")
	}
	return b.String()
}
