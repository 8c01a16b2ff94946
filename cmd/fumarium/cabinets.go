package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller/cabinet"
	"fumarium/controller/layout"
	"fumarium/controller/trip"
	"fumarium/controller/web"
)

// installedRow is where the package's fumarium@NAME.service finds the cabinets of a board
// that has several: NAME.yaml, and NAME.env with the address of its page.
const installedRow = "/etc/fumarium/cabinets"

//go:embed cabinets.html
var rowText string

var rowPage = layout.Must(layout.Parse("cabinets", rowText, nil))

func cabinetsCommand() *cobra.Command {
	var folder, listen string
	var names []string
	var asJSON bool
	c := &cobra.Command{
		Use:   "cabinets",
		Short: "List the cabinets of this board with what each is doing, or show them on one page",
		Long: `Asks the daemon of each cabinet in the folder what it is doing, and prints it. With
--listen it serves the same as one page, with a link to the page of each, until it is
told to end. It only reads: it drives nothing, and no cabinet waits for it.

A cabinet of the row is a file NAME.yaml, run by fumarium@NAME.service, and beside it
NAME.env with the address of its page, such as LISTEN=127.0.0.1:8378. A daemon that
speaks HTTPS is not asked.

Exit status: 0 all answer and no alarm calls, 1 one does not answer or an alarm calls,
2 usage, 3 could not look.`,
		Example: `  fumarium cabinets
  fumarium cabinets --listen 127.0.0.1:8370`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if listen != "" {
				return serveRow(cmd.Context(), folder, listen, names, cmd.ErrOrStderr())
			}
			row, err := rowOf(cmd.Context(), folder)
			if err != nil {
				return couldNot(err)
			}
			if asJSON {
				if err := printJSON(cmd.OutOrStdout(), map[string]any{"cabinets": row}); err != nil {
					return couldNot(err)
				}
			} else {
				printRow(cmd.OutOrStdout(), row)
			}
			for _, r := range row {
				if !r.Answers || len(r.Alarms) > 0 {
					return &failure{exitBad, errSaid}
				}
			}
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&folder, "folder", installedRow, "`DIR` with the files of the cabinets")
	f.StringVar(&listen, "listen", "", "`ADDRESS` of the page; none prints once")
	f.StringArrayVar(&names, "host-name", nil, "`NAME` that the page may be opened as, besides localhost and IP addresses; repeat it for more")
	f.BoolVar(&asJSON, "json", false, "print JSON")
	return c
}

// A rowed cabinet is one of the board's.
type rowed struct {
	Name    string   `json:"name"` // of its unit
	Cabinet string   `json:"cabinet"`
	Address string   `json:"address"` // of its page
	Answers bool     `json:"answers"`
	State   string   `json:"state"`
	Summary string   `json:"summary"` // or why it does not answer, and what to do
	World   string   `json:"world"`
	Alarms  []string `json:"alarms"` // that call
}

// rowOf asks every cabinet of a folder.
func rowOf(ctx context.Context, folder string) ([]rowed, error) {
	files, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("there is no cabinet in %s; put its file there as NAME.yaml, and NAME.env beside it", folder)
	}
	row := make([]rowed, len(files))
	taken := map[string]string{}
	var asked sync.WaitGroup
	for i, file := range files {
		r := &row[i]
		r.Name, r.Alarms = strings.TrimSuffix(filepath.Base(file), ".yaml"), []string{}
		r.Address, err = addressOf(strings.TrimSuffix(file, ".yaml") + ".env")
		if err == nil && taken[r.Address] != "" {
			err = fmt.Errorf("%s has the address %s already; give each its own", taken[r.Address], r.Address)
		}
		var c *cabinet.Cabinet
		if err == nil {
			taken[r.Address] = r.Name
			if c, err = findCabinet(file); err == nil {
				r.Cabinet = c.Name
			}
		}
		if err != nil {
			r.Summary = err.Error()
			continue
		}
		asked.Go(func() { r.ask(ctx) })
	}
	asked.Wait()
	return row, nil
}

// ask asks the cabinet's daemon. Another cabinet's answer must not stand for it.
func (r *rowed) ask(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	s, err := (&client{server: "http://" + here127(r.Address)}).status(ctx)
	switch {
	case err != nil:
		r.Summary = fmt.Sprintf("no answer: %v; see systemctl status fumarium@%s", err, r.Name)
	case s.Cabinet != r.Cabinet:
		r.Summary = fmt.Sprintf("what answers at %s is the cabinet %s and not %s; restart fumarium@%s if its file was changed, or give each an address of its own", r.Address, s.Cabinet, r.Cabinet, r.Name)
	default:
		r.Answers, r.State, r.Summary, r.World = true, s.State, s.Summary, s.World
		for _, a := range s.Alarms {
			if a.State == trip.Unacknowledged.String() || a.State == trip.ReturnedUnacknowledged.String() {
				r.Alarms = append(r.Alarms, a.Code)
			}
		}
	}
}

// addressOf reads LISTEN of the file that the unit reads, too.
func addressOf(file string) (string, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("%w; write the address of its page there, such as LISTEN=127.0.0.1:8378", err)
	}
	for line := range strings.Lines(string(data)) {
		if value, is := strings.CutPrefix(strings.TrimSpace(line), "LISTEN="); is {
			value = strings.Trim(value, `"'`)
			if _, _, err := net.SplitHostPort(value); err != nil {
				return "", fmt.Errorf("%s: LISTEN: %w; write ADDRESS:PORT, such as LISTEN=127.0.0.1:8378", file, err)
			}
			return value, nil
		}
	}
	return "", fmt.Errorf("%s names no address; write LISTEN=127.0.0.1:8378, or another port", file)
}

// here127 is an address as this machine reaches it.
func here127(address string) string { return onHost(address, "127.0.0.1") }

// onHost puts a host into an address that has none, or any.
func onHost(address, host string) string {
	is, port, _ := net.SplitHostPort(address)
	if ip := net.ParseIP(is); is == "" || ip != nil && ip.IsUnspecified() {
		is = host
	}
	return net.JoinHostPort(is, port)
}

// heading links to the cabinet's page as the reader reaches it.
func (r *rowed) heading(host string) layout.HTML {
	name := r.Cabinet
	if name == "" {
		name = r.Name
	}
	if r.World != "" {
		name += ", " + r.World
	}
	name = html.EscapeString(name)
	if r.Address == "" {
		return layout.HTML(name)
	}
	return layout.HTML(fmt.Sprintf(`<a href="http://%s/">%s</a>`, html.EscapeString(onHost(r.Address, host)), name))
}

func printRow(w io.Writer, row []rowed) {
	for _, r := range row {
		fmt.Fprintf(w, "%-12s %-22s %s\n", shown(r.Name), shown(r.Address), shownLines(r.Summary))
		for _, a := range r.Alarms {
			fmt.Fprintf(w, "%-12s ALARM %s\n", "", shown(a))
		}
	}
}

// rowLasts is how long an answer is given to everybody who asks.
const rowLasts = time.Second

func serveRow(ctx context.Context, folder, listen string, names []string, stderr io.Writer) error {
	names, err := hostNames(names)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", listen)
	if err != nil {
		return couldNot(fmt.Errorf("%w; choose another address with --listen", err))
	}
	announce(stderr, listener, names, "")
	gate := web.NewGate(rowHandler(folder, names), slog.New(slog.NewTextHandler(stderr, nil)))
	served := make(chan error, 1)
	go func() { served <- gate.Serve(listener) }()
	select {
	case err = <-served:
	case <-ctx.Done():
		gate.Close()
	}
	return couldNot(err)
}

// rowHandler is the page: cabinets are asked once a second at the most.
func rowHandler(folder string, names []string) http.Handler {
	var mu sync.Mutex
	var row []rowed
	var failed error
	var until time.Time
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		switch {
		case !web.Ours(r.Host, names):
			http.Error(w, "open it as localhost or by its IP address, or start it with --host-name and the name", http.StatusMisdirectedRequest)
			return
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			http.Error(w, "this page is only read", http.StatusMethodNotAllowed)
			return
		case r.URL.Path != "/":
			http.Error(w, "the page is at /", http.StatusNotFound)
			return
		}
		mu.Lock()
		if time.Now().After(until) {
			row, failed = rowOf(context.Background(), folder)
			until = time.Now().Add(rowLasts)
		}
		type linked struct {
			rowed
			Heading layout.HTML
		}
		seen := make([]linked, len(row))
		for i := range row {
			seen[i].rowed = row[i]
		}
		err := failed
		mu.Unlock()
		host, _, splitErr := net.SplitHostPort(r.Host)
		if splitErr != nil {
			host = strings.Trim(r.Host, "[]")
		}
		for i := range seen {
			seen[i].Heading = seen[i].heading(host)
		}
		var page bytes.Buffer
		err = errors.Join(err, rowPage.Execute(&page, struct{ Row []linked }{seen}))
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		h.Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write(page.Bytes()) // a reader may go away
	})
}
