package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/loop"
	"fumarium/controller/metrics"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
)

const (
	defaultListen = "127.0.0.1:8377"
	defaultPace   = 60
	tokenFile     = "operator-token"
)

type runOptions struct {
	cabinet, state, listen string
	pace                   float64
}

func runCommand() *cobra.Command {
	var o runOptions
	c := &cobra.Command{
		Use:   "run",
		Short: "Run the daemon: the controller, the page and the metrics",
		Long: `Runs the cabinet until it is told to end (Ctrl-C or SIGTERM), then switches
everything off and exits.

Without --cabinet it is a demonstration: the simulated cabinet, 60 times as fast
as real time, with a batch of ` + defaultProduct + ` that starts by itself and a
simulated person who carries out the hand steps after two (simulated) minutes. It
touches no hardware.

This version drives simulated cabinets only: a cabinet file whose probes hang on
real front ends is refused.

Before heat is ever put under this program: an independent thermal cut-out and a
limiter in the heater's circuit, wired by someone qualified under local code;
relays that fall open; smoke and gas away from people; an extinguisher at hand.`,
		Example: `  fumarium run
  fumarium run --pace 600 --listen 127.0.0.1:9000
  fumarium run --cabinet fridge-body`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runDaemon(cmd.Context(), o, cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.cabinet, "cabinet", "", "cabinet `FILE`, or the name of a shipped cabinet")
	f.StringVar(&o.state, "state", "", "`DIR` for the operator's token and, later, the records (default: "+stateHint+")")
	f.StringVar(&o.listen, "listen", defaultListen, "`ADDRESS` of page, API and metrics")
	f.Float64Var(&o.pace, "pace", defaultPace, "simulated seconds per second, 1 to 10000")
	return c
}

const stateHint = "$STATE_DIRECTORY, or fumarium below $XDG_STATE_HOME or ~/.local/state"

// stateDir is where the daemon keeps what must outlive it.
func stateDir(given string) (string, error) {
	if given != "" {
		return given, nil
	}
	if dir := os.Getenv("STATE_DIRECTORY"); dir != "" { // set by systemd
		return dir, nil
	}
	if dir := os.Getenv("XDG_STATE_HOME"); dir != "" {
		return filepath.Join(dir, "fumarium"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no folder for the state: %w; name one with --state", err)
	}
	return filepath.Join(home, ".local", "state", "fumarium"), nil
}

// operatorToken reads the token that commands must carry, and makes one first
// where there is none.
func operatorToken(dir string) (string, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	name := filepath.Join(dir, tokenFile)
	if data, err := os.ReadFile(name); err == nil {
		if token := strings.TrimSpace(string(data)); len(token) >= 16 {
			return token, nil
		}
		return "", fmt.Errorf("%s holds no token of 16 characters or more; delete it, and a new one is made", name)
	} else if !errors.Is(err, os.ErrNotExist) {
		return "", err
	}
	random := make([]byte, 16)
	if _, err := rand.Read(random); err != nil {
		return "", err
	}
	token := hex.EncodeToString(random)
	return token, os.WriteFile(name, []byte(token+"\n"), 0o600)
}

func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "unknown"
}

// onlySimulated refuses a cabinet that this version cannot drive.
func onlySimulated(c *cabinet.Cabinet) error {
	for _, p := range c.Probes {
		if p.Chip != "simulated" {
			return fmt.Errorf("cabinet %q: probe %q hangs on a %s, and this version drives no real front end; "+
				"rehearse with this file, or run a simulated cabinet", c.Name, p.Name, p.Chip)
		}
	}
	return nil
}

func runDaemon(ctx context.Context, o runOptions, stderr io.Writer) error {
	if !(o.pace >= 1 && o.pace <= 10000) {
		return usage("--pace %v is outside 1 to 10000", o.pace)
	}
	demonstration := o.cabinet == ""
	if demonstration {
		o.cabinet = defaultCabinet
	}
	cab, err := findCabinet(o.cabinet)
	if err != nil {
		return err
	}
	if err := onlySimulated(cab); err != nil {
		return couldNot(err)
	}
	dir, err := stateDir(o.state)
	if err != nil {
		return couldNot(err)
	}
	token, err := operatorToken(dir)
	if err != nil {
		return couldNot(fmt.Errorf("operator's token: %w; choose another folder with --state", err))
	}
	product, err := findProduct(defaultProduct)
	if err != nil {
		return err
	}
	world, err := newSimulated(product, cab)
	if err != nil {
		return couldNot(err)
	}
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		return couldNot(fmt.Errorf("%w; another daemon may be running, choose another address with --listen", err))
	}
	log := slog.New(slog.NewTextHandler(stderr, nil))
	l, err := loop.New(loop.Config{World: world, Cabinet: cab, Pace: o.pace, Log: log})
	if err != nil {
		return couldNot(err)
	}
	numbers := metrics.New(l.Snapshot, version())
	l.Observe(numbers.ObserveStep)
	server := &http.Server{
		Handler: web.New(web.Config{
			Loop: l, Metrics: numbers.Handler(), Token: token,
			FindProduct:  findShipped,
			ParseProduct: profile.Parse,
			ProductNames: catalog.Names,
		}),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       15 * time.Second,
		IdleTimeout:       2 * time.Minute,
		ErrorLog:          slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	fmt.Fprintf(stderr, "%s, simulated, %g times as fast as real time; nothing here is hot\n", cab.Name, o.pace)
	fmt.Fprintf(stderr, "page     http://%s/\n", listener.Addr())
	fmt.Fprintf(stderr, "metrics  http://%s/metrics\n", listener.Addr())
	fmt.Fprintf(stderr, "token    %s\n", filepath.Join(dir, tokenFile))
	if demonstration {
		fmt.Fprintf(stderr, "a batch of %s starts by itself; end with Ctrl-C\n", defaultProduct)
	} else {
		fmt.Fprintf(stderr, "start one with: fumarium start PRODUCT\n")
	}

	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	if demonstration {
		go startDemonstration(ctx, l, product, log)
	}
	ended := make(chan error, 1)
	loopCtx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() { ended <- l.Run(loopCtx) }()

	var result error
	select {
	case result = <-ended: // asked to end, or could not go on
	case err := <-served: // a daemon that nobody can see or stop must not heat
		cancel()
		result = errors.Join(fmt.Errorf("page and API: %w", err), <-ended)
	}
	if result == nil {
		log.Info("all outputs off; good-bye")
	}
	grace, stop := context.WithTimeout(context.Background(), 2*time.Second)
	defer stop()
	if err := server.Shutdown(grace); err != nil {
		server.Close()
	}
	return couldNot(result)
}

func findShipped(name string) (*profile.Product, error) {
	entry, err := catalog.Find(name)
	if err != nil {
		return nil, err
	}
	return entry.Value, nil
}

func startDemonstration(ctx context.Context, l *loop.Loop, p *profile.Product, log *slog.Logger) {
	rest, _ := p.Rest()
	reply, err := l.Do(ctx, snapshot.Request{Command: controller.Command{Kind: controller.Start, Rested: rest}, Product: p})
	switch {
	case err != nil && ctx.Err() == nil:
		log.Error("demonstration not started", "err", err)
	case err == nil && !reply.Accepted:
		log.Error("demonstration not started", "why", reply.Why)
	}
}
