package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/access"
	"fumarium/profile/quantity"
)

func pairCommand() *cobra.Command {
	var c client
	var name string
	var asJSON bool
	cmd := c.flags(&cobra.Command{
		Use: "pair", Short: "Let a browser act: print a code, also as a QR code, that gives it a session",
		Long: fmt.Sprintf(`Prints a code that is good for %s and for one browser, and the address of the page
with it as a QR code. Scan it, or open the page, press something and type the code. The
browser then starts, answers and stops without the operator's token, until you take that
away (fumarium sessions) or for half a year. What it does stands on the record with its
name.

Without TLS (run --tls-cert) whoever listens on the network can take the session over:
keep to a network that you trust.

Exit status: 0 printed, 2 usage, 3 no daemon answers.`, quantity.FormatDuration(access.CodeLasts)),
		Example: `  fumarium pair --name "kitchen tablet"`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			body, err := json.Marshal(map[string]string{"name": name})
			if err != nil {
				return couldNot(err)
			}
			answer, err := c.call(cmd.Context(), http.MethodPost, "/api/pairings", body)
			if err != nil {
				return err
			}
			if asJSON {
				_, err := quantity.Raw(cmd.OutOrStdout()).Write(answer)
				return couldNot(err)
			}
			var made struct {
				Code, URL, QR string
				Until         time.Time
				Open          bool
			}
			if err := json.Unmarshal(answer, &made); err != nil {
				return couldNot(fmt.Errorf("the answer of %s is not understood: %w", c.server, err))
			}
			return couldNot(printPairing(cmd.OutOrStdout(), made.Code, made.URL, made.QR, made.Until, made.Open))
		},
	})
	cmd.Flags().StringVar(&name, "name", "", "what the browser is `CALLED`, on the record and in the list")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print code, address and QR code as JSON")
	return cmd
}

func printPairing(w io.Writer, code, url, rows string, until time.Time, open bool) error {
	var b strings.Builder
	b.WriteString(halfBlocks(rows))
	fmt.Fprintf(&b, "code  %s  until %s\nopen  %s\n", shown(code), until.Local().Format("15:04"), shown(url))
	if !open {
		b.WriteString("This address is for this machine alone; for a phone start the daemon with --listen :8377\n")
	}
	_, err := io.WriteString(quantity.Raw(w), b.String())
	return err
}

// halfBlocks draws rows of 0 and 1 two to a line, dark on light whatever colours the
// terminal has: what is light is drawn, so that it must be a dark terminal, or it is turned
// by the sequence for black on white.
func halfBlocks(rows string) string {
	lines := strings.Fields(rows)
	var b strings.Builder
	for y := 0; y < len(lines); y += 2 {
		b.WriteString("\x1b[30;107m") // black on bright white (ECMA-48, SGR; 107 is common practice)
		for x := range lines[y] {
			upper, lower := lines[y][x] == '1', y+1 < len(lines) && x < len(lines[y+1]) && lines[y+1][x] == '1'
			switch {
			case upper && lower:
				b.WriteRune('█')
			case upper:
				b.WriteRune('▀')
			case lower:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String()
}

// listedSession is one paired browser as the daemon tells it.
type listedSession struct {
	ID, Name, From string
	Made           time.Time
	Seen           *time.Time
}

func sessionsCommand() *cobra.Command {
	var c client
	var asJSON bool
	cmd := c.flags(&cobra.Command{
		Use: "sessions", Short: "List the browsers that may act", Args: cobra.NoArgs,
		Long: `Lists the browsers that were paired (fumarium pair): their names, from where and when,
and when each was last used since the daemon began. sessions revoke takes one away.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			answer, err := c.call(cmd.Context(), http.MethodGet, "/api/sessions", nil)
			if err != nil {
				return err
			}
			if asJSON {
				_, err := quantity.Raw(cmd.OutOrStdout()).Write(answer)
				return couldNot(err)
			}
			return c.printSessions(cmd.OutOrStdout(), answer)
		},
	})
	cmd.Flags().BoolVar(&asJSON, "json", false, "print the list as JSON")
	cmd.AddCommand(revokeCommand())
	return cmd
}

func (c *client) printSessions(w io.Writer, answer []byte) error {
	var list struct{ Sessions []listedSession }
	if err := json.Unmarshal(answer, &list); err != nil {
		return couldNot(fmt.Errorf("the answer of %s is not understood: %w", c.server, err))
	}
	if len(list.Sessions) == 0 {
		fmt.Fprintln(w, "no browser is paired; fumarium pair lets one act")
		return nil
	}
	t := newTable(w)
	fmt.Fprintln(t, "session\tname\tfrom\tpaired\tlast used")
	for _, s := range list.Sessions {
		seen := quantity.Nothing
		if s.Seen != nil {
			seen = s.Seen.Local().Format("2006-01-02 15:04")
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", shown(s.ID), shown(s.Name), shown(s.From), s.Made.Local().Format("2006-01-02 15:04"), seen)
	}
	return couldNot(t.Flush())
}

func revokeCommand() *cobra.Command {
	var c client
	return c.flags(&cobra.Command{
		Use: "revoke SESSION", Short: "Take a paired browser's session away", Args: cobra.ExactArgs(1),
		Long:    "The browser may only look from then on, until it is paired again.",
		Example: "  fumarium sessions revoke a1b2c3",
		RunE: func(cmd *cobra.Command, args []string) error {
			body, err := json.Marshal(map[string]string{"session": args[0]})
			if err != nil {
				return couldNot(err)
			}
			answer, err := c.call(cmd.Context(), http.MethodPost, "/api/sessions/revoke", body)
			if err != nil {
				return err
			}
			return c.printSessions(cmd.OutOrStdout(), answer)
		},
	})
}
