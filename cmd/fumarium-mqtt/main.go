// Command fumarium-mqtt publishes what cabinets do to an MQTT 5 broker, for home automation. It
// reads the event stream of each cabinet's page and subscribes to nothing, so that no broker
// can start, stop or change anything. It is a program of its own: what a broker sends is read
// by no process that holds a heater, and no memory of that process goes to one.
package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/signal"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium-mqtt/internal/line"
	"fumarium/cmd/fumarium-mqtt/internal/said"
	"fumarium/cmd/fumarium-mqtt/internal/watch"
)

// release is the version, where the linker was told one.
var release = "unreleased"

// beside are commands of builds for the package; man.go has them.
var beside []*cobra.Command

// comeBack is how long to wait for a cabinet that does not answer; common practice, no source.
const comeBack = 3 * time.Second

func main() {
	ctx, cancel := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer cancel()
	os.Exit(run(ctx, os.Args[1:], os.Stderr))
}

// run gives the exit status: 0 told to end, 2 the command line or a file of it means nothing.
func run(ctx context.Context, args []string, stderr io.Writer) int {
	c := command()
	c.SetArgs(args)
	c.SetErr(stderr)
	if err := c.ExecuteContext(ctx); err != nil {
		fmt.Fprintln(stderr, "fumarium-mqtt:", err)
		return 2
	}
	return 0
}

// options are the flags.
type options struct{ broker, user, password, ca, prefix, discovery string }

func command() *cobra.Command {
	var o options
	c := &cobra.Command{
		Use: "fumarium-mqtt NAME=URL...", Short: "Publishes what cabinets do to an MQTT 5 broker",
		Long: `Reads the event stream of each cabinet's page and publishes, under PREFIX/NAME/, what is
retained: availability (online, offline), state, alarms and forecast; and event, one message
for each. Unknown is null, never 0. Home automation that knows the open convention for
finding devices over MQTT finds the cabinet by itself.

It subscribes to nothing: nothing that a broker says starts, stops or changes anything. Do
not let an automation lean on it where heat is concerned: a cabinet that is offline here may
be heating. Alarms call people from the board.

A broker that is away or slow costs the cabinet nothing. What is retained is then sent as it
is by then; of events 1000 wait, and the oldest go first (events_dropped in state). An event
may come twice, with the same id.`,
		Example: `  fumarium-mqtt barn-left=http://127.0.0.1:8377
  fumarium-mqtt barn-left=http://127.0.0.1:8377 barn-right=http://127.0.0.1:8378 \
    --broker mqtts://broker.example:8883 --user smoke --password-file /etc/fumarium/mqtt-password`,
		Args: cobra.MinimumNArgs(1), SilenceUsage: true, SilenceErrors: true, Version: release,
		RunE: func(cmd *cobra.Command, args []string) error {
			return publish(cmd.Context(), args, o, slog.New(slog.NewTextHandler(cmd.ErrOrStderr(), nil)))
		},
	}
	c.AddCommand(beside...)
	f := c.Flags()
	f.StringVar(&o.broker, "broker", "mqtt://127.0.0.1:1883", "`URL` of the broker: mqtt:// or, with TLS, mqtts://")
	f.StringVar(&o.user, "user", "", "`NAME` of the user at the broker")
	f.StringVar(&o.password, "password-file", "", "`FILE` with the user's password, which nobody else may read")
	f.StringVar(&o.ca, "ca", "", "`FILE` with certificates (PEM) that vouch for broker and cabinets, besides those of the system")
	f.StringVar(&o.prefix, "prefix", "fumarium", "`PREFIX` of the topics")
	f.StringVar(&o.discovery, "discovery", "homeassistant", "`PREFIX` under which home automation looks for devices; empty describes none")
	return c
}

// names are what may stand in a topic and in a description.
var names = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)

var prefixes = regexp.MustCompile(`^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$`)

func publish(ctx context.Context, args []string, o options, log *slog.Logger) error {
	if !prefixes.MatchString(o.prefix) || o.discovery != "" && !prefixes.MatchString(o.discovery) {
		return errors.New("--prefix and --discovery are letters, digits, - and _, with / between")
	}
	roots, err := o.roots()
	if err != nil {
		return err
	}
	broker, err := o.of(roots)
	if err != nil {
		return err
	}
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}, ResponseHeaderTimeout: 10 * time.Second, DisableCompression: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	known := map[string]bool{}
	var all sync.WaitGroup
	var begin []func()
	for _, arg := range args {
		name, address, is := strings.Cut(arg, "=")
		u, err := url.Parse(address)
		switch {
		case !is || !names.MatchString(name):
			return fmt.Errorf("%q: write NAME=URL, with a name of a-z, 0-9 and -, such as barn-left=http://127.0.0.1:8377", arg)
		case err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || u.RawQuery != "":
			return fmt.Errorf("%q: write the address of the cabinet's page, such as http://127.0.0.1:8377", arg)
		case known[name]:
			return fmt.Errorf("%s is named twice: each cabinet has a name of its own", name)
		}
		known[name] = true
		t := &said.Teller{ID: name, Prefix: o.prefix, Discovery: o.discovery, Version: release}
		b, q := broker, line.NewQueue()
		b.Client, b.Log = "fumarium-"+name, log
		b.Will = said.Message{Topic: t.Topic("availability"), Body: []byte(said.Offline), Retain: true}
		begin = append(begin, func() { all.Go(func() { b.Run(ctx, q) }) },
			func() { all.Go(func() { look(ctx, client, strings.TrimSuffix(address, "/"), t, q, log) }) })
	}
	for _, f := range begin {
		f()
	}
	all.Wait()
	return nil
}

// look reads one cabinet's stream, again and again.
func look(ctx context.Context, client *http.Client, address string, t *said.Teller, q *line.Queue, log *slog.Logger) {
	told := ""
	for {
		err := watch.Once(ctx, client, address, func(s *said.Status) {
			told = ""
			q.Put(t.News(s, time.Now(), q.Dropped())...)
		})
		if ctx.Err() != nil {
			return
		}
		q.Put(t.Gone()...)
		if err.Error() != told {
			told = err.Error()
			log.Warn("the cabinet does not answer; it is asked again", "cabinet", t.ID, "err", told)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(comeBack):
		}
	}
}

// roots are who vouches for broker and cabinets.
func (o *options) roots() (*x509.CertPool, error) {
	if o.ca == "" {
		return nil, nil // those of the system
	}
	text, err := os.ReadFile(o.ca)
	if err != nil {
		return nil, fmt.Errorf("--ca: %w", err)
	}
	pool, err := x509.SystemCertPool()
	if err != nil {
		pool = x509.NewCertPool()
	}
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("--ca: %s has no certificate (PEM)", o.ca)
	}
	return pool, nil
}

// of makes the broker that all cabinets share.
func (o *options) of(roots *x509.CertPool) (b line.Broker, err error) {
	u, err := url.Parse(o.broker)
	if err != nil || u.Scheme != "mqtt" && u.Scheme != "mqtts" || u.Hostname() == "" || u.User != nil {
		return b, errors.New("--broker: write mqtt://HOST or mqtts://HOST, with a port where it is another than 1883 or 8883; user and password have flags of their own")
	}
	b.User = o.user
	port := "1883"
	if u.Scheme == "mqtts" {
		port = "8883"
		b.TLS = &tls.Config{RootCAs: roots, ServerName: u.Hostname(), MinVersion: tls.VersionTLS12}
	}
	b.Address = net.JoinHostPort(u.Hostname(), cmp.Or(u.Port(), port))
	if (o.password == "") != (o.user == "") {
		return b, errors.New("--user and --password-file go together")
	}
	if o.password == "" {
		return b, nil
	}
	if ip := net.ParseIP(u.Hostname()); b.TLS == nil && u.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return b, errors.New("--password-file: a password must not go over a network in the clear; let the broker speak TLS, and write mqtts://")
	}
	is, err := os.Stat(o.password)
	if err != nil {
		return b, fmt.Errorf("--password-file: %w", err)
	}
	if is.Mode().Perm()&0o007 != 0 {
		return b, fmt.Errorf("--password-file: everybody may read %s; say: chmod o= %s", o.password, o.password)
	}
	text, err := os.ReadFile(o.password)
	if b.Password = bytes.TrimRight(text, "\r\n"); err == nil && len(b.Password) == 0 {
		err = fmt.Errorf("%s is empty", o.password)
	}
	if err != nil {
		return b, fmt.Errorf("--password-file: %w", err)
	}
	return b, nil
}
