// Command fumarium-hub keeps the records of many cabinets in one place and shows them. It
// answers boards that post and people who look; it has no address of a board, so nothing
// from here can start heat.
package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium-hub/internal/desk"
	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/access/certificate"
)

// Exit statuses, as those of fumarium.
const (
	exitGood    = 0
	exitBad     = 1
	exitUsage   = 2
	exitCouldNo = 3
)

const (
	// databaseEnv names the database as --database does.
	databaseEnv = "FUMARIUM_HUB_DATABASE"
	// defaultDatabase is that of the package: on this machine, under the name of its user.
	defaultDatabase = "postgres:///fumarium-hub?host=/run/postgresql"
)

// release is the version, where the linker was told one.
var release = "unreleased"

// beside are commands of builds for the package; man.go has them.
var beside []*cobra.Command

// clock is the hub's; a test that runs the program as a process puts a wrong one in its place.
var clock = time.Now

// errBad is the error of what was done and is bad; it was said.
var errBad = errors.New("")

// usageError is a command line that means nothing.
type usageError struct{ error }

func usage(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

func main() {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer cancel()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := command()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	done := false
	root.PersistentPreRun = func(*cobra.Command, []string) { done = true }
	err := root.ExecuteContext(ctx)
	if err != nil && err != errBad {
		fmt.Fprintln(stderr, "fumarium-hub:", err)
	}
	is := usageError{}
	switch {
	case err == nil:
		return exitGood
	case err == errBad:
		return exitBad
	case errors.As(err, &is), !done: // cobra's own: an unknown command or flag
		return exitUsage
	}
	return exitCouldNo
}

// hub is what all commands share.
type hub struct{ database string }

func command() *cobra.Command {
	h := &hub{}
	root := &cobra.Command{
		Use: "fumarium-hub", Short: "Keeps the records of many cabinets in one place and shows them",
		Long: `fumarium-hub takes in what boards have recorded, checks every link of every chain,
keeps it in PostgreSQL and shows it. Each board stays as autonomous and as safe as it was:
it pushes when it can, and waits for nothing.

Nothing here can start, stop or change anything on a board. What a page of the hub shows is
what was sent up to now: a board that is silent may be heating. Look at the cabinet and at
its own page. Its cut-out and its extinguisher are where they were.`,
		SilenceUsage: true, SilenceErrors: true, Version: release,
	}
	root.PersistentFlags().StringVar(&h.database, "database", "", "`URL` of the database (default: $"+databaseEnv+", which no list of processes shows, or "+defaultDatabase+")")
	root.AddCommand(h.runCommand(), h.codeCommand(), h.revokeCommand(), h.admitCommand(), h.personCommand(), h.checkCommand(), certificateCommand())
	root.AddCommand(beside...)
	return root
}

func (h *hub) open(ctx context.Context, log *slog.Logger) (*store.Store, error) {
	return store.Open(ctx, cmp.Or(h.database, os.Getenv(databaseEnv), defaultDatabase), clock, log)
}

// with opens the store for one command.
func (h *hub) with(f func(cmd *cobra.Command, s *store.Store, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		s, err := h.open(cmd.Context(), slog.New(slog.NewTextHandler(cmd.ErrOrStderr(), nil)))
		if err != nil {
			return err
		}
		defer s.Close()
		return f(cmd, s, args)
	}
}

func (h *hub) runCommand() *cobra.Command {
	listen, cert, key, scratch := "", "", "", ""
	c := &cobra.Command{
		Use: "run", Short: "Run the hub: boards post to it, people look at its pages", Args: cobra.NoArgs,
		Long: `Runs until it is told to end. It listens to this machine alone, or with --tls-cert and
--tls-key, by HTTPS, wherever --listen says: keys and words never go over a network in the
clear. fumarium-hub certificate makes a certificate where there is none.`,
		Example: `  fumarium-hub run --listen :8380 --tls-cert hub.pem --tls-key hub-key.pem`,
		RunE: h.with(func(cmd *cobra.Command, s *store.Store, _ []string) error {
			return serve(cmd.Context(), s, listen, cert, key, scratch, cmd.ErrOrStderr())
		}),
	}
	c.Flags().StringVar(&listen, "listen", "127.0.0.1:8380", "`ADDRESS` of boards and pages")
	c.Flags().StringVar(&cert, "tls-cert", "", "`FILE` with the certificate and its chain (PEM)")
	c.Flags().StringVar(&key, "tls-key", "", "`FILE` with the private key of --tls-cert (PEM)")
	c.Flags().StringVar(&scratch, "scratch", "", "`FOLDER` for files that live as long as one answer (default: that of the system)")
	return c
}

func serve(ctx context.Context, s *store.Store, listen, cert, key, scratch string, stderr io.Writer) error {
	log := slog.New(slog.NewTextHandler(stderr, nil))
	if (cert == "") != (key == "") {
		return usage("--tls-cert and --tls-key go together")
	}
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return usage("write --listen as ADDRESS:PORT, such as 127.0.0.1:8380: %w", err)
	}
	if ip := net.ParseIP(host); cert == "" && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return usage("--listen %s is reached from elsewhere, and keys must not go there in the clear: bring --tls-cert and --tls-key, or make them with: fumarium-hub certificate", listen)
	}
	d := desk.New(s, scratch, cert != "", log)
	// Deadlines: common practice, no source. A report of a long batch is replayed while one waits.
	server := &http.Server{Handler: d.Handler(), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute, WriteTimeout: 10 * time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug)}
	scheme := "http"
	if cert != "" {
		if server.TLSConfig, err = certificate.Config(cert, key); err != nil {
			return fmt.Errorf("--tls-cert: %w", err)
		}
		scheme = "https"
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return err
	}
	fmt.Fprintf(stderr, "boards and pages %s://%s/\n", scheme, l.Addr())
	go d.Judge(ctx)
	ended := make(chan error, 1)
	go func() {
		if cert != "" {
			ended <- server.ServeTLS(l, "", "")
			return
		}
		ended <- server.Serve(l)
	}()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if err := server.Shutdown(grace); err != nil {
		server.Close()
	}
	return nil
}

func (h *hub) codeCommand() *cobra.Command {
	simulated, again := false, false
	c := &cobra.Command{
		Use: "code NAME", Short: "Print a code by which one board joins as the cabinet of that name", Args: cobra.ExactArgs(1),
		Long: `Prints a code that is good for an hour and for one board. On the board: fumarium hub join
ADDRESS CODE. With --again the cabinet is known already, and the board takes its place: the
key before is good for nothing from then on.`,
		Example: `  fumarium-hub code "Barn, left"`,
		RunE: h.with(func(cmd *cobra.Command, s *store.Store, args []string) error {
			world := "real"
			if simulated {
				world = "simulated"
			}
			code, err := s.Code(cmd.Context(), args[0], world, again)
			if err == nil {
				fmt.Fprintln(cmd.OutOrStdout(), code)
			}
			return err
		}),
	}
	c.Flags().BoolVar(&simulated, "simulated", false, "it is a simulated cabinet")
	c.Flags().BoolVar(&again, "again", false, "the cabinet is known; its board is new, or was set up anew")
	return c
}

func (h *hub) named(use, short, long string, do func(s *store.Store, ctx context.Context, name string) error) *cobra.Command {
	return &cobra.Command{Use: use, Short: short, Long: long, Args: cobra.ExactArgs(1), RunE: h.with(func(cmd *cobra.Command, s *store.Store, args []string) error {
		return do(s, cmd.Context(), args[0])
	})}
}

func (h *hub) revokeCommand() *cobra.Command {
	return h.named("revoke NAME", "Take the key of a cabinet's board away", "Its records stay. The board goes on as it does without a hub.", (*store.Store).Revoke)
}

func (h *hub) admitCommand() *cobra.Command {
	return h.named("admit NAME", "Take one batch of a cabinet that does not follow what is kept", `After a card has died, or a damaged record was set aside, a board's record begins anew, and the hub
refuses it: it cannot know that nobody took the old one away. Look at the alarm and at the board,
then admit it, once.`, (*store.Store).Admit)
}

func (h *hub) personCommand() *cobra.Command {
	c := &cobra.Command{Use: "person", Short: "List the people who may use the pages", Args: cobra.NoArgs, RunE: h.with(func(cmd *cobra.Command, s *store.Store, _ []string) error {
		people, err := s.People(cmd.Context())
		for _, p := range people {
			fmt.Fprintf(cmd.OutOrStdout(), "%s may %s\n", p.Name, p.Role)
		}
		return err
	})}
	role := ""
	add := &cobra.Command{
		Use: "add NAME", Short: "Let a person in, and print the word for it, once", Args: cobra.ExactArgs(1),
		Long:    "A person may look; note, which is to look and to remark on batches; or administer, which is\nall of it: codes, keys, people, and settling what does not go together.",
		Example: "  fumarium-hub person add Ada --may administer",
		RunE: h.with(func(cmd *cobra.Command, s *store.Store, args []string) error {
			word, err := s.AddPerson(cmd.Context(), args[0], role)
			if err == nil {
				fmt.Fprintln(cmd.OutOrStdout(), word)
			}
			return err
		}),
	}
	add.Flags().StringVar(&role, "may", store.Look, "`ROLE`: "+strings.Join(store.Roles, ", "))
	c.AddCommand(add, h.named("remove NAME", "Take a person's word and sessions away", "", (*store.Store).RemovePerson))
	return c
}

func (h *hub) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use: "check", Short: "Compute every chain anew and count its links", Args: cobra.NoArgs,
		Long: "Reads everything that is kept. Do it after the database was put back from a backup.\n\nExit status: 0 all is whole, 1 something is not, 2 usage, 3 the database could not be read.",
		RunE: h.with(func(cmd *cobra.Command, s *store.Store, _ []string) error {
			batches, links, faults, err := s.Check(cmd.Context())
			if err != nil {
				return err
			}
			for _, f := range faults {
				fmt.Fprintf(cmd.OutOrStdout(), "NOT WHOLE %s, batch %s: %s\n", f.Cabinet, f.Batch, f.Why)
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%d batches, %d links, %d not whole\n", batches, links, len(faults))
			if len(faults) > 0 {
				return errBad
			}
			return nil
		}),
	}
}

func certificateCommand() *cobra.Command {
	into := ""
	c := &cobra.Command{
		Use: "certificate NAME...", Short: "Make a certificate for the hub's names and addresses, and print its fingerprint", Args: cobra.MinimumNArgs(1),
		Long: `Writes hub.pem and hub-key.pem, good for two years, where there are none. Nobody vouches for
it but its fingerprint: give it to each board with fumarium hub join --fingerprint. Where you
have certificates that your boards trust, use those.`,
		Example: `  fumarium-hub certificate hub.example 192.0.2.7 --into /etc/fumarium-hub`,
		RunE: func(cmd *cobra.Command, args []string) error {
			cert, key, err := certificate.SelfSigned(args, 2*365*24*time.Hour)
			if err != nil {
				return err
			}
			for name, data := range map[string][]byte{"hub.pem": cert, "hub-key.pem": key} {
				f, err := os.OpenFile(filepath.Join(into, name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
				if err != nil {
					return err
				}
				_, err = f.Write(data)
				if err := errors.Join(err, f.Close()); err != nil {
					return err
				}
			}
			fingerprint, err := certificate.FingerprintOf(cert)
			fmt.Fprintln(cmd.OutOrStdout(), fingerprint)
			return err
		},
	}
	c.Flags().StringVar(&into, "into", ".", "`FOLDER` to write into")
	return c
}
