package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"fumarium/cmd/fumarium/internal/wiring"
	"fumarium/controller/relay"
	"fumarium/profile/quantity"
	"fumarium/sensors/thermocouple"
	"fumarium/sim/chips"
)

// This file is a cabinet that outlives the daemon: lines, chips and warm air in the
// test's process, reached over a socket. Each line and bus is a connection of its own,
// which ends with the daemon's process as a line's descriptor does: the kernel closes
// both in the same way, also after SIGKILL.

// outsideEnv names the socket to a daemon, awayEnv how many seconds it was away besides.
const (
	outsideEnv = "FUMARIUM_TEST_OUTSIDE"
	awayEnv    = "FUMARIUM_TEST_AWAY"
	bootEnv    = "FUMARIUM_TEST_BOOT" // a boot's id, when it was by our clock since boot, and the file of its mark, with commas between
)

const outsideCabinet = `cabinet: Outside box
ambient: 15 °C
probes:
  - {name: chamber, role: chamber, chip: MAX31855, bus: SPI0.0, type: K}
  - {name: core, role: core, chip: MAX31855, bus: SPI0.1, type: K}
heater: {pin: GPIO17, power: 1500 W, window: 5 s, least on: 1 s, least off: 1 s}
fan: {pin: GPIO22, window: 2 min, least on: 20 s, least off: 20 s}
sounder: {pin: GPIO24}
limits: {chamber: 115 °C}
response: {gain: 90 K, lag: 20 min, second lag: 2 min, dead time: 30 s, most: 100 %} # full heat is not metered: it stays on until something ends it
`

// An asking goes to the cabinet, an answer comes back; one JSON value a line.
type asking struct {
	Op   string // output, input, set, read, close, transfer
	Pin  string `json:",omitempty"`
	User string `json:",omitempty"`
	On   bool   `json:",omitempty"`
	W    []byte `json:",omitempty"`
	N    int    `json:",omitempty"` // bytes to read; of an output, who asks
}

type answering struct {
	On  bool   `json:",omitempty"`
	R   []byte `json:",omitempty"`
	Err string `json:",omitempty"`
}

// A change is one switching of the heater as the cabinet saw it.
type change struct {
	At  time.Time
	On  bool
	Why string
}

// outside is the cabinet.
type outside struct {
	socket  string
	keeps   bool // a line stays as it was when its owner ends, as on a Raspberry Pi
	ambient float64

	mu            sync.Mutex
	on            map[string]bool
	owner         map[string]string
	holder        map[string]int // its process
	chamber, core float64
	at            time.Time
	tips          [2]*chips.MAX31855
	silent        chan struct{} // the bus does not answer until it is closed; nil is a bus that does
	broken        bool          // the bus reports errors
	welded        bool          // the heater's contact stays closed
	heater        []change
	moved         chan struct{} // closed and made anew at each change
}

func newOutside(t *testing.T, keeps bool, chamber, core float64) *outside {
	t.Helper()
	dir, err := os.MkdirTemp("", "outside") // a socket's name must be short
	require.NoError(t, err)
	o := &outside{
		socket: filepath.Join(dir, "s"), keeps: keeps, ambient: 15, on: map[string]bool{}, owner: map[string]string{}, holder: map[string]int{},
		chamber: chamber, core: core, at: time.Now(), moved: make(chan struct{}),
	}
	began := time.Now()
	for i, hot := range []*float64{&o.chamber, &o.core} {
		o.tips[i] = chips.NewMAX31855(chips.World{
			Hot:  func() quantity.Celsius { return quantity.Celsius(*hot) },
			Cold: func() quantity.Celsius { return 25 },
			Now:  func() time.Duration { return time.Since(began) },
		}, thermocouple.K)
	}
	listener, err := net.Listen("unix", o.socket)
	require.NoError(t, err)
	t.Cleanup(func() {
		listener.Close()
		os.RemoveAll(dir)
	})
	go func() {
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			go o.serve(c)
		}
	}()
	return o
}

// env is what a daemon needs to find the cabinet.
func (o *outside) env() []string { return []string{outsideEnv + "=" + o.socket} }

func (o *outside) serve(c net.Conn) {
	defer c.Close()
	held := ""
	defer func() {
		o.mu.Lock()
		defer o.mu.Unlock()
		if held == "" {
			return
		}
		delete(o.owner, held)
		delete(o.holder, held)
		if !o.keeps {
			o.set(held, false, "released by the kernel")
		}
	}()
	in, out := json.NewDecoder(bufio.NewReader(c)), json.NewEncoder(c)
	for {
		var a asking
		if in.Decode(&a) != nil {
			return
		}
		var r answering
		if a.Op == "output" {
			a.N = peer(c)
		}
		if err := o.answer(&a, &r, &held); err != nil {
			r.Err = err.Error()
		}
		if out.Encode(&r) != nil {
			return
		}
	}
}

// peer is the process at the other end of a connection, where a test needs it.
var peer = func(net.Conn) (pid int) { return 0 }

func (o *outside) answer(a *asking, r *answering, held *string) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	switch a.Op {
	case "output", "input":
		if user, busy := o.owner[a.Pin]; busy {
			return fmt.Errorf("%s is held by %q", a.Pin, user)
		}
		*held = a.Pin
		o.owner[a.Pin], o.holder[a.Pin] = a.User, a.N
		if a.Op == "output" {
			o.set(a.Pin, false, "taken by "+a.User)
		}
	case "set":
		o.set(a.Pin, a.On, "switched")
	case "read":
		r.On = o.on[a.Pin]
		if a.Pin == "GPIO26" { // the feedback
			r.On = o.on["GPIO17"] || o.welded
		}
	case "transfer":
		if silent := o.silent; silent != nil {
			o.mu.Unlock()
			<-silent
			o.mu.Lock()
		}
		if o.broken {
			return errors.New("input/output error")
		}
		o.warm()
		tip, err := strconv.Atoi(a.Pin)
		if err != nil {
			return err
		}
		r.R = make([]byte, a.N)
		return o.tips[tip].Port().(conn.Conn).Tx(nil, r.R)
	default:
		return fmt.Errorf("nothing is called %q", a.Op)
	}
	return nil
}

// set switches a line; the lock is held.
func (o *outside) set(pin string, on bool, why string) {
	o.warm()
	if o.on[pin] == on {
		return
	}
	o.on[pin] = on
	if pin == "GPIO17" {
		o.heater = append(o.heater, change{time.Now(), on, why})
		close(o.moved)
		o.moved = make(chan struct{})
	}
}

// warm lets the time since it was last called go by; the lock is held. The air follows
// the cabinet file's gain and lag, the core the air.
func (o *outside) warm() {
	dt := time.Since(o.at).Seconds()
	o.at = o.at.Add(time.Duration(dt * float64(time.Second)))
	drive := o.ambient - o.chamber
	if o.on["GPIO17"] || o.welded {
		drive += 120
	}
	o.chamber += drive * dt / (20 * 60)
	o.core += (o.chamber - o.core) * dt / (15 * 60)
}

// heaterIs waits until the heater is on or off and gives the last change.
func (o *outside) heaterIs(t *testing.T, on bool) change {
	t.Helper()
	limit := time.After(time.Minute)
	for {
		o.mu.Lock()
		moved, is := o.moved, o.on["GPIO17"]
		var last change
		if len(o.heater) > 0 {
			last = o.heater[len(o.heater)-1]
		}
		o.mu.Unlock()
		if is == on {
			return last
		}
		select {
		case <-moved:
		case <-limit:
			t.Fatalf("the heater never was %v", on)
		}
	}
}

// breakBus lets the bus answer with errors, silence lets it not answer; mend both.
func (o *outside) breakBus() { o.mu.Lock(); o.broken = true; o.mu.Unlock() }
func (o *outside) silence()  { o.mu.Lock(); o.silent = make(chan struct{}); o.mu.Unlock() }
func (o *outside) mend() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.broken = false
	if o.silent != nil {
		close(o.silent)
		o.silent = nil
	}
}

// What follows is the daemon's side of it.

// standIn puts the cabinet outside in the machine's place.
func standIn() {
	socket := os.Getenv(outsideEnv)
	if socket == "" {
		return
	}
	here.lines, here.buses = remote(socket), remote(socket)
	away, _ := strconv.Atoi(os.Getenv(awayEnv))
	up := here.clock.Up
	here.clock.Up = func() time.Duration { return up() + time.Duration(away)*time.Second }
	here.clock.Mark = ""
	if boot := strings.Split(os.Getenv(bootEnv), ","); len(boot) == 3 { // another computer, or another boot of it
		began, _ := time.ParseDuration(boot[1])
		here.clock.Boot, here.clock.Mark = boot[0], boot[2]
		here.clock.Up = func() time.Duration { return up() - began }
	}
}

// remote is the cabinet's socket.
type remote string

type remoteEnd struct {
	c   net.Conn
	in  *json.Decoder
	pin string
	out bool
}

func (r remote) dial(pin string) (*remoteEnd, error) {
	c, err := net.Dial("unix", string(r))
	if err != nil {
		return nil, err
	}
	return &remoteEnd{c: c, in: json.NewDecoder(c), pin: pin}, nil
}

func (e *remoteEnd) ask(a asking) (answering, error) {
	a.Pin = e.pin
	var r answering
	if err := json.NewEncoder(e.c).Encode(a); err != nil {
		return r, err
	}
	if err := e.in.Decode(&r); err != nil {
		return r, err
	}
	if r.Err != "" {
		return r, errors.New(r.Err)
	}
	return r, nil
}

func (r remote) line(o relay.Opts, op string) (relay.Line, error) {
	e, err := r.dial(o.Pin)
	if err != nil {
		return nil, err
	}
	e.out = op == "output"
	if _, err := e.ask(asking{Op: op, User: o.User}); err != nil {
		return nil, errors.Join(err, e.c.Close())
	}
	return e, nil
}

func (r remote) Output(o relay.Opts) (relay.Line, error) { return r.line(o, "output") }
func (r remote) Input(o relay.Opts) (relay.Line, error)  { return r.line(o, "input") }

func (e *remoteEnd) Set(on bool) error {
	_, err := e.ask(asking{Op: "set", On: on})
	return err
}

func (e *remoteEnd) Read() (bool, error) {
	r, err := e.ask(asking{Op: "read"})
	return r.On, err
}

func (e *remoteEnd) Close() error {
	var err error
	if e.out {
		err = e.Set(false)
	}
	// A kernel frees a line within the call: the other end has too, once it closes as well.
	_ = e.c.(*net.UnixConn).CloseWrite()
	_, _ = io.Copy(io.Discard, e.c)
	return errors.Join(err, e.c.Close())
}

func (r remote) SPI(_, chipSelect int) (spi.Port, error) {
	e, err := r.dial(strconv.Itoa(chipSelect))
	if err != nil {
		return nil, err
	}
	return &remoteChip{e}, nil
}

func (r remote) I2C(int) (i2c.Bus, error)         { return nil, errors.New("no I2C out there") }
func (r remote) OneWire(int) (wiring.Wire, error) { return nil, errors.New("no 1-Wire out there") }

type remoteChip struct{ e *remoteEnd }

func (c *remoteChip) String() string                                            { return "outside" }
func (c *remoteChip) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) { return c, nil }
func (c *remoteChip) Duplex() conn.Duplex                                       { return conn.Full }
func (c *remoteChip) TxPackets([]spi.Packet) error                              { return errors.New("one transfer at a time") }
func (c *remoteChip) Close() error                                              { return c.e.c.Close() }
func (c *remoteChip) Tx(w, r []byte) error {
	a, err := c.e.ask(asking{Op: "transfer", W: w, N: len(r)})
	copy(r, a.R)
	return err
}

// quick is a product whose first stage ends within seconds.
func quick(t *testing.T) string {
	t.Helper()
	head, _, found := strings.Cut(contractProduct(t), "stages:")
	require.True(t, found)
	return head + `stages:
  - name: dry
    chamber: 70 °C
    fan: full
    until: {after: 20 s}
  - name: cook
    chamber: 80 °C
    fan: full
    ask: Shut the damper
    until: {core: 71 °C, lethality: 6.5}
  - name: chill
    heater: off
    place: ice water
    ask: Move everything into ice water
    until: {core: 4 °C}
`
}
