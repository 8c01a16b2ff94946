package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"fumarium/cmd/fumarium/internal/bootclock"
	"fumarium/cmd/fumarium/internal/front"
	"fumarium/cmd/fumarium/internal/notice"
	"fumarium/cmd/fumarium/internal/own"
	"fumarium/cmd/fumarium/internal/service"
	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller"
	"fumarium/controller/access"
	"fumarium/controller/loop"
	"fumarium/controller/metrics"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
	"fumarium/controller/relay"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/source"
)

const (
	defaultListen = "127.0.0.1:8377"
	defaultPace   = 60
	tokenFile     = "operator-token"
)

type runOptions struct {
	cabinet, state, listen string
	hostNames              []string
	notify, copies         string
	tls                    *secured
	byHand                 bool
	faults                 []string
	beside                 besides
	pace                   float64
}

func runCommand() *cobra.Command {
	o := runOptions{tls: &secured{}}
	c := &cobra.Command{
		Use:   "run",
		Short: "Run the daemon: the controller, the page and the metrics",
		Long: `Runs the cabinet until it is told to end (Ctrl-C or SIGTERM), then switches
everything off and exits.

Without --cabinet it is a demonstration: the simulated cabinet, 60 times as fast
as real time, with a batch of ` + defaultProduct + ` that starts by itself. In every
simulated cabinet a simulated person carries out the hand steps after two
(simulated) minutes. It touches no hardware.

With --by-hand a simulated cabinet is for practice: you start the batch, you answer its
questions, and --fault lets something go wrong in it. What you say you did by hand is
taken as done; a fault lasts as long as it was told to, whatever you say.

With a cabinet file that names real front ends and lines, this program heats. The
real side was proven against the makers' tables, simulated chips and an emulated
board's kernel only, never on a real cabinet: try it with fumarium wiring first, and
with the mains unplugged.

Under a service manager it reports when it is ready, what it does and that its loop
goes round; when it cannot start, it says why on the page for half a minute before
it ends, so that it is not started again at once.

Before heat is ever put under this program: an independent thermal cut-out and a
limiter in the heater's circuit, wired by someone qualified under local code;
relays that fall open; smoke and gas away from people; an extinguisher at hand.

It listens to this machine alone unless --listen names another address; ":8377" is
every address that the machine has. It answers as localhost, as an IP address, and as
the names given with --host-name, and to nothing else: a page of somebody else can let
a name of its own point at your cabinet (DNS rebinding) and would then read it with
your browser; it cannot take a name that you chose.

With --tls-cert and --tls-key it speaks HTTPS with your own certificate, and takes a new
one from the same files when they change. fumarium pair lets a browser act.`,
		Example: `  fumarium run
  fumarium run --pace 600 --listen 127.0.0.1:9000
  fumarium run --listen :8377 --host-name smokehouse.example
  fumarium run --cabinet fridge-body`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			signal.Ignore(syscall.SIGPIPE) // whoever reads its words may go away
			stderr := newJournal(cmd.ErrOrStderr())
			defer stderr.Close() // nothing below may wait for whoever reads it
			ctx := cmd.Context()
			log := slog.New(slog.NewTextHandler(stderr, nil))
			manager := service.New(os.Getenv, os.Getpid(), log)
			began, err := runDaemon(ctx, o, cmd.Flags().Changed("pace"), manager, log, stderr)
			if err != nil && !began && manager.Present() {
				standBy(ctx, manager, o.listen, err, stderr)
			}
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&o.cabinet, "cabinet", "", "cabinet `FILE`, or the name of a shipped cabinet")
	f.StringVar(&o.state, "state", "", "`DIR` for the operator's token and the batch records (default: "+stateHint+")")
	f.StringVar(&o.listen, "listen", defaultListen, "`ADDRESS` of page, API and metrics; :8377 is every address of this machine")
	f.StringArrayVar(&o.hostNames, "host-name", nil, "`NAME` that the page may be opened as, besides localhost and IP addresses; repeat it for more")
	o.tls.flags(f)
	f.StringVar(&o.notify, "notify", os.Getenv(notifyEnv), "`URL` to which prompts, alarms and the end are posted as JSON; or $"+notifyEnv+", which no list of processes shows")
	f.Lookup("notify").DefValue = "" // it may hold a secret
	f.StringVar(&o.copies, "copies", "", "`FOLDER`, such as of a stick, in which an export of each batch is kept")
	f.BoolVar(&o.byHand, "by-hand", false, "practice: nobody answers in the simulated cabinet but you, and nothing starts by itself")
	f.StringArrayVar(&o.faults, "fault", nil, "with --by-hand: `KIND@TIME[+DURATION][=VALUE]` that goes wrong in each batch, such as core-open@1h10m+20m; repeat it for more")
	o.beside.flag(f)
	f.Float64Var(&o.pace, "pace", defaultPace, "simulated seconds per second, 1 to 10000")
	return c
}

// notifyEnv names the address of notices as --notify does.
const notifyEnv = "FUMARIUM_NOTIFY"

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

// here is the machine that the program runs on. A test that runs the program as a
// process of its own puts another in its place.
var here = machine{lines: relay.NewKernel(), clock: bootclock.This()}

type machine struct {
	lines relay.Host
	buses wiring.Buses // nil is this machine's
	clock *bootclock.Clock
}

// runDaemon runs the cabinet. What is on is switched off before anything else that
// may fail is looked at, with the cabinet file or without. began is false when the loop
// was never reached.
func runDaemon(ctx context.Context, o runOptions, paceGiven bool, manager *service.Manager, log *slog.Logger, stderr io.Writer) (began bool, err error) {
	if !(o.pace >= 1 && o.pace <= 10000) {
		return false, usage("--pace %v is outside 1 to 10000", o.pace)
	}
	if o.listen == "" { // which the system takes for any port of every address
		return false, usage("--listen names no address; write it as ADDRESS:PORT, such as %s; a cabinet of a row has its own in the file NAME.env beside its NAME.yaml, as LISTEN=%[1]s", defaultListen)
	}
	names, err := hostNames(o.hostNames)
	if err != nil {
		return false, err
	}
	secured, err := o.tls.config()
	if err != nil {
		return false, err
	}
	var notices *notice.Sender
	if o.notify != "" {
		if notices, err = notice.New(o.notify, log); err != nil {
			return false, usage("--notify: %w", err)
		}
	}
	demonstration := o.cabinet == "" && !o.byHand
	if o.cabinet == "" {
		o.cabinet = defaultCabinet
	}
	place, err := placeOf("")
	if err != nil {
		return false, err
	}
	product, err := catalog.Find(defaultProduct) // whatever files lie here
	if err != nil {
		return false, err
	}
	opening, err := openNamed(o, paceGiven, here, product.Value, log)
	if err != nil {
		return false, err
	}
	cabinetFile, hardware := opening.file, opening.world
	cab := cabinetFile.Value
	defer func() {
		if err := hardware.Close(); err != nil {
			log.Error("closing the outputs failed; the heater may still be on", "err", err, "do", "cut the mains")
		}
	}()
	world, pace := record.Simulated, o.pace
	if !cab.Simulated() {
		world, pace = record.Real, 0
	}
	dir, err := stateDir(o.state)
	if err != nil {
		return false, couldNot(err)
	}
	token, err := operatorToken(dir)
	if err != nil {
		return false, couldNot(fmt.Errorf("operator's token: %w; choose another folder with --state", err))
	}
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		remedy := "write --listen as ADDRESS:PORT, such as " + defaultListen
		if errors.Is(err, syscall.EADDRINUSE) {
			remedy = "another daemon may be running, choose another address with --listen"
		}
		return false, couldNot(fmt.Errorf("%w; %s", err, remedy))
	}
	defer listener.Close()
	records, err := openRecords(dir, world, pace, log)
	if err != nil {
		return false, couldNot(err)
	}
	defer func() {
		grace, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		if err := records.Close(grace); err != nil {
			log.Error("the end of the record could not be written", "err", err)
		}
	}()
	told := append(records.Notice(), opening.told...)
	resume, closed, err := unfinished(ctx, records, world, cabinetFile.Data, log)
	switch {
	case errors.Is(err, context.Canceled):
		return false, couldNot(context.Canceled) // the record is as good as before
	case err != nil:
		return false, couldNot(fmt.Errorf("batch record: %w; move %s with its -wal and -shm away, keep them, and start again", err, records.File()))
	}
	if closed != "" {
		told = append(told, closed)
	}
	if code := records.Latched(); code != trip.None {
		told = append(told, fmt.Sprintf("the trip %s was latched when the program ended, and is: nothing heats before its cause is gone and it is reset", code))
	}
	var side *front.Front
	if cab.Panel.Fitted() {
		side = front.New(hardware.Front(here.lines))
	}
	worn := newWear(dir, cab, log)
	drifts := &driftWatch{records: records.Reader, log: log}
	drifts.look(ctx, cab) // before the first step, which may be one of a batch under way
	copies := newCopier(dir, records.File(), o.copies, log)
	teacher := &learner{records: records, file: cabinetFile, named: o.cabinet, log: log}
	var verdicts sync.WaitGroup // that are being written
	defer verdicts.Wait()       // before the record is closed
	l, err := loop.New(loop.Config{
		World: hardware, Person: hardware.Person(), Cabinet: cab, Pace: pace, Log: log, Record: records, Resume: resume, Told: told,
		Latched: records.Latched(),
		Cycle: func(s *snapshot.Snapshot) {
			manager.Cycle(func() string { return web.NewStatus(s, time.Now()).Summary })
		},
		CabinetFile: record.File{Name: cabinetFile.File, Data: cabinetFile.Data},
		Up:          here.clock.Up, Synced: here.clock.Synced,
		Where: place,
		Judge: func(p *profile.Product, f record.File) source.Findings {
			return checkProduct(p, f.Name, f.Data, cab, place)
		},
		CopiesFail: copies.Failing,
		Panel:      side.Faults,
		Wear:       worn.Ratio,
		Drift:      drifts.Of,
		Ended: func(batch string, s *snapshot.Snapshot) {
			verdicts.Go(func() {
				if noteVerdict(records, batch, s, log); s.State.Learns {
					teacher.learn(ctx, batch)
				}
			})
		},
	})
	if err != nil {
		return false, couldNot(err)
	}
	teacher.loop = l
	sessions, err := access.Open(dir, time.Now)
	if err != nil {
		log.Warn(err.Error())
	}
	where := reachable(listener, names, secured != nil)
	numbers := metrics.New(l.Snapshot, version())
	l.Observe(numbers.ObserveStep)
	shelf := own.In(dir, catalog.Names)
	plans := &planner{cabinet: cab, world: world, file: filepath.Join(dir, outlookFile), log: log}
	foretells := &forecaster{plans: plans, note: forecastNote(records), log: log}
	numbers.ShowForecast(func() *outlook.Forecast {
		if s := l.Snapshot(); s != nil {
			return foretells.Of(s.BatchID)
		}
		return nil
	})
	known := &facts{records: records, place: place, now: time.Now, latest: l.Snapshot, show: l.Weighed}
	if resume != nil {
		known.showAgain(ctx, resume.Recovery.Batch, resume.Product, resume.State.Where, log)
	}
	book := &keeper{dir: dir, world: world, cabinet: cab, now: time.Now}
	gate := web.NewGate(web.New(web.Config{
		Loop: l, Metrics: numbers.Handler(), Token: token, Hosts: names, Sessions: sessions, Pages: where.others(),
		FindProduct:  findKept(shelf),
		ParseProduct: profile.Parse,
		ProductNames: catalog.Names,
		Own:          webShelf{shelf},
		Check:        judge(cab, place),
		Note:         notes(records.AddNote, time.Now),
		Keep:         known.keep,
		Upkeep:       book.Upkeep,
		UpkeepDone:   book.UpkeepDone,
		Hand:         &hand{facts: known, dir: dir, find: kept(shelf)},
		Archive:      newLedger(dir, world),
		Outlook:      plans.Of,
		Forecast:     foretells.Of,
		Rehearse:     plans.Preview(l.Snapshot),
		NotReached: func(ctx context.Context, p *profile.Product, file string) source.Findings {
			return unreached(ctx, p, file, cab)
		},
		Effect:  plans.Effect,
		Suppose: foretells.Suppose,
	}), log)
	numbers.ShowUpkeep(book.numbers)
	numbers.ShowReaders(func() metrics.Readers { return metrics.Readers(gate.Crowd()) })
	if world == record.Simulated {
		fmt.Fprintf(stderr, "%s, simulated, %g times as fast as real time; nothing here is hot\n", cab.Name, o.pace)
	} else {
		fmt.Fprintf(stderr, "%s, real: this program can heat it. Cut-out wired, extinguisher at hand?\n", cab.Name)
	}
	self, _ := os.Hostname()
	sayReach(stderr, where, names, self)
	fmt.Fprintf(stderr, "token    %s\n", filepath.Join(dir, tokenFile))
	if demonstration {
		fmt.Fprintf(stderr, "a batch of %s starts and answers by itself: there is nothing to do but to watch it on the page; end with Ctrl-C, practise with --by-hand\n", defaultProduct)
	} else {
		fmt.Fprintf(stderr, "start one with: fumarium start PRODUCT\n")
	}

	served := make(chan error, 1)
	go func() { served <- gate.ServeTLS(listener, secured) }()
	if demonstration {
		go startDemonstration(ctx, l, product, log)
	}
	ended := make(chan error, 1)
	loopCtx, cancel := context.WithCancel(ctx)
	defer cancel()
	if side != nil {
		aside := make(chan struct{})
		go func() { defer close(aside); side.Run(loopCtx, l, log) }()
		defer func() { cancel(); <-aside }()
	}
	go func() { ended <- l.Run(loopCtx) }()
	counted := make(chan struct{})
	go func() { defer close(counted); worn.Run(loopCtx, l.Snapshot) }()
	defer func() { cancel(); <-counted }()
	drifted := make(chan struct{})
	go func() { defer close(drifted); drifts.Run(loopCtx, l.Snapshot) }()
	defer func() { cancel(); <-drifted }()
	go plans.Run(loopCtx, l.Snapshot)
	go foretells.Run(loopCtx, l.Snapshot)
	copied := make(chan struct{})
	go func() { defer close(copied); copies.Run(loopCtx, l.Snapshot) }()
	defer func() { cancel(); <-copied }()
	brought := bring(loopCtx, dir, records.File(), world, foretells.finishOf(l.Snapshot), log)
	defer func() { cancel(); <-brought }()
	if notices != nil {
		go notices.Run(loopCtx, l.Snapshot)
	}

	var result error
	select {
	case result = <-ended: // asked to end, or could not go on
	case err := <-served: // a daemon that nobody can see or stop must not heat
		cancel()
		result = errors.Join(fmt.Errorf("page and API: %w", err), <-ended)
	}
	manager.Stopping()
	if result == nil {
		log.Info("all outputs off; good-bye")
	}
	grace, stop := context.WithTimeout(context.Background(), 2*time.Second)
	defer stop()
	if err := gate.Shutdown(grace); err != nil {
		gate.Close()
	}
	return true, couldNot(result)
}

// moment is for what is recorded between steps. A board whose clock was not set yet
// must not claim that it was.
func moment(wall time.Time) record.Moment {
	return record.Moment{Wall: wall, ClockSet: loop.ClockSet(wall), Synced: here.clock.Synced()}
}

// openRecords opens the batch record and says what had to be done for it.
func openRecords(dir string, world record.World, pace float64, log *slog.Logger) (*record.Recorder, error) {
	records, err := record.Open(record.Options{Dir: dir, World: world, Program: version(), Pace: pace, Boot: here.clock.Boot, Up: here.clock.Up})
	if err != nil {
		return nil, fmt.Errorf("batch record: %w; free the disk or choose another folder with --state", err)
	}
	for _, notice := range records.Notice() {
		log.Warn(notice)
	}
	return records, nil
}

// unfinished looks for a batch that a former run did not end. A real one whose
// record is sound goes on: whether it runs, waits for the person or is over is the
// controller's decision, by the length of the gap; where nobody knows that, a person is
// asked. Anything else is closed as
// aborted, and the text for people says so.
func unfinished(ctx context.Context, records *record.Recorder, world record.World, cabinetFile []byte, log *slog.Logger) (resume *loop.Resume, closed string, err error) {
	now := moment(time.Now())
	u, err := records.Unfinished(ctx, now)
	if err != nil || u == nil {
		return nil, "", err
	}
	if u.Ended != controller.Idle {
		log.Warn("batch had ended before the program did", "batch", u.Batch.ID, "as", u.Ended)
		records.Finish(now, u, u.Ended, "its last steps were not on disk when the program ended")
		return nil, fmt.Sprintf("batch %s of %s was %s before the program ended: it does not go on, and its record lacks the end", u.Batch.ID, u.Batch.Product, u.Ended), nil
	}
	why := ""
	switch {
	case world == record.Simulated:
		why = "the simulated cabinet did not outlive the program"
	case !u.Sound:
		why = "its record is not sound: " + u.Why
	case !bytes.Equal(u.Batch.CabinetFile, cabinetFile):
		why = "the cabinet file was changed meanwhile"
	}
	if why != "" {
		log.Warn("unfinished batch closed as aborted", "batch", u.Batch.ID, "why", why)
		records.Finish(now, u, controller.Aborted, why)
		return nil, fmt.Sprintf("batch %s of %s was under way when the program ended and is closed as aborted: %s", u.Batch.ID, u.Batch.Product, why), nil
	}
	log.Warn("unfinished batch goes on", "batch", u.Batch.ID, "unseen", u.Unseen.Round(time.Second).String(), "known", u.Away != controller.AwayUnknown,
		"last_step", u.LastWall.Format(time.RFC3339), "clock_synchronised_then", u.Left.Synced, "clock_synchronised_now", now.Synced)
	return &loop.Resume{Product: u.Product, State: u.State, Recovery: u}, "", nil
}

func startDemonstration(ctx context.Context, l *loop.Loop, p catalog.Entry, log *slog.Logger) {
	rest, _ := p.Value.Rest()
	reply, err := l.Do(ctx, snapshot.Request{
		Command: controller.Command{Kind: controller.Start, Rested: rest}, Product: p.Value,
		Who: "demonstration", ProductName: p.File, ProductFile: p.Data,
	})
	switch {
	case err != nil && ctx.Err() == nil:
		log.Error("demonstration not started", "err", err)
	case err == nil && !reply.Accepted:
		log.Error("demonstration not started", "why", reply.Why)
	}
}
