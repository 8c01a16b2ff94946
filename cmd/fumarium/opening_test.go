package main

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium/internal/opened"
	"fumarium/controller/cabinet"
	"fumarium/controller/relay"
)

// leftOn switches lines on as a daemon that was killed leaves them, once nobody but
// somebody holds one: a socket's other end hears of its close a little later than a
// kernel does.
func (o *outside) leftOn(t *testing.T, pins ...string) {
	t.Helper()
	require.Eventually(t, func() bool {
		o.mu.Lock()
		defer o.mu.Unlock()
		for _, user := range o.owner {
			if user != "somebody" {
				return false
			}
		}
		return true
	}, time.Minute, 100*time.Microsecond)
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, pin := range pins {
		o.set(pin, true, "left on")
	}
}

// stillOn are the lines that are on.
func (o *outside) stillOn() (pins []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for pin, on := range o.on {
		if on {
			pins = append(pins, pin)
		}
	}
	return pins
}

// opens is what run does up to its lines, in this process.
func (o *outside) opens(t *testing.T, name, state string) (told []string, err error) {
	t.Helper()
	m := machine{lines: remote(o.socket), buses: remote(o.socket)}
	opening, err := openNamed(runOptions{cabinet: name, state: state}, false, m, nil, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	require.NoError(t, opening.world.Close())
	return opening.told, nil
}

func noWait(time.Duration) {}

// tearable is the cabinet outside with what it can do without at the end.
var tearable = func() string {
	var must, can strings.Builder
	for line := range strings.Lines(outsideCabinet) {
		if strings.HasPrefix(line, "fan:") || strings.HasPrefix(line, "sounder:") {
			can.WriteString(line)
		} else {
			must.WriteString(line)
		}
	}
	return must.String() + can.String()
}()

const allThree = "heater on GPIO17, fan on GPIO22, sounder on GPIO24"

// A daemon is killed with the element on, on a kernel that keeps its lines, and its
// cabinet file is torn at each byte: run and off switch off what the daemon had opened,
// and say why and what. A torn file that is a cabinet all the same, a smaller one, is
// opened, and what it no longer names is off.
func TestAFileTornAtAnyByteLeavesNothingOn(t *testing.T) {
	t.Parallel()
	o := newOutside(t, true, 30, 15)
	state, name := t.TempDir(), file(t, "cabinet.yaml", tearable)
	d := launchDaemon(t, state, o.env(), "--cabinet", name)
	d.answers()
	product := file(t, "product.yaml", quick(t))
	require.Eventually(t, func() bool { // the chips have to convert first
		code, _, _ := call(t, "start", product, "--reason", "trial", "--server", d.url, "--state", state)
		return code == exitGood
	}, 20*time.Second, 200*time.Millisecond)
	o.heaterIs(t, true)
	require.NoError(t, d.cmd.Process.Kill())
	_ = d.cmd.Wait()
	require.Contains(t, o.stillOn(), "GPIO17", "the kernel keeps it")
	onDisk, err := os.ReadFile(filepath.Join(state, opened.File))
	require.NoError(t, err)

	valid := 0
	for n := range len(tearable) {
		require.NoError(t, os.WriteFile(name, []byte(tearable[:n]), 0o600))
		_, parse := findCabinet(name)
		if parse == nil {
			valid++
		}
		// The stop helper is the first to come.
		o.leftOn(t, "GPIO17", "GPIO22", "GPIO24")
		var out bytes.Buffer
		err := runOff(name, state, nil, remote(o.socket), noWait, false, &out)
		require.Empty(t, o.stillOn(), "off, torn after %d bytes", n)
		if parse != nil {
			require.Equal(t, exitCouldNo, status(err))
			require.ErrorContains(t, err, parse.Error())
			require.ErrorContains(t, err, filepath.Join(state, opened.File)+") was switched off and read back: "+allThree)
		} else {
			require.NoError(t, err)
		}
		// And where no helper runs, the next daemon.
		o.leftOn(t, "GPIO17", "GPIO22", "GPIO24")
		told, err := o.opens(t, name, state)
		require.Empty(t, o.stillOn(), "run, torn after %d bytes", n)
		if parse != nil {
			require.Equal(t, exitCouldNo, status(err))
			require.ErrorContains(t, err, parse.Error())
			require.ErrorContains(t, err, "was switched off and read back: "+allThree)
		} else {
			require.NoError(t, err)
			for output, pin := range map[string]string{"fan": "GPIO22", "sounder": "GPIO24"} {
				said := strings.Contains(strings.Join(told, "\n"), output+" on "+pin)
				require.Equal(t, !strings.Contains(tearable[:n], pin), said, "torn after %d bytes: %q", n, told)
			}
		}
		require.NoError(t, os.WriteFile(filepath.Join(state, opened.File), onDisk, 0o600))
	}
	t.Logf("%d torn files, %d of them a cabinet all the same", len(tearable), valid)
	require.Greater(t, valid, 2)
	require.Less(t, valid, len(tearable)/2)

	// The same with the file gone, and by the programs themselves.
	require.NoError(t, os.Remove(name))
	o.leftOn(t)
	_, err = o.opens(t, name, state)
	require.ErrorContains(t, err, "no such file or directory")
	for n, text := range map[string]*string{"no file": nil, "torn": new(string)} {
		o.leftOn(t, "GPIO17", "GPIO22", "GPIO24")
		if text != nil {
			require.NoError(t, os.WriteFile(name, []byte(tearable[:len(tearable)/2]), 0o600))
		}
		for _, args := range [][]string{{"run", "--listen", "127.0.0.1:0"}, {"off"}} {
			o.leftOn(t, "GPIO17")
			self, err := os.Executable()
			require.NoError(t, err)
			c := exec.Command(self, append(args, "--cabinet", name, "--state", state)...)
			c.Env = append(append(os.Environ(), "FUMARIUM_TEST_AS_PROGRAM=1"), o.env()...)
			said, err := c.CombinedOutput()
			var exit *exec.ExitError
			require.ErrorAs(t, err, &exit)
			assert.Equal(t, exitCouldNo, exit.ExitCode())
			assert.Contains(t, string(said), "was switched off and read back: "+allThree, "%s: %s", n, args[0])
			assert.Empty(t, o.stillOn(), "%s: %s", n, args[0])
		}
	}
}

// Under a service manager the page says what is wrong with the file and what was
// switched off.
func TestATornFileIsSaidOnThePage(t *testing.T) {
	t.Parallel()
	o := newOutside(t, true, 30, 15)
	state, name := t.TempDir(), file(t, "cabinet.yaml", outsideCabinet)
	_, err := o.opens(t, name, state)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(name, []byte(outsideCabinet[:300]), 0o600))
	o.leftOn(t, "GPIO17")
	d := launchDaemon(t, state, append(o.env(), "NOTIFY_SOCKET="+filepath.Join(state, "nobody")), "--cabinet", name)
	d.answers()
	assert.Equal(t, "taken by fumarium heater", o.heaterIs(t, false).Why)
	code, page := d.get("/")
	assert.Equal(t, http.StatusServiceUnavailable, code)
	assert.Contains(t, page, allThree)
	require.NoError(t, d.cmd.Process.Signal(syscall.SIGTERM))
	_ = d.cmd.Wait()
}

// changed is the cabinet with its smoke pump gone, its heater moved and its fan's driver
// exchanged for one that is on when its pin is low.
var changed = strings.NewReplacer("heater: {pin: GPIO17", "heater: {pin: GPIO27", "fan: {pin: GPIO22", "fan: {pin: GPIO22, polarity: active low").Replace(outsideCabinet)

// asked keeps what the lines were opened with.
type asked struct {
	remote
	opts *[]relay.Opts
}

func (a asked) Output(o relay.Opts) (relay.Line, error) {
	*a.opts = append(*a.opts, o)
	return a.remote.Output(o)
}

// A pin that the file no longer names is off before anything is opened; one that it
// names goes by the file's polarity, or "off" would switch a new driver on.
func TestAChangedFileLeavesNothingOn(t *testing.T) {
	o := newOutside(t, true, 30, 15)
	state, name := t.TempDir(), file(t, "cabinet.yaml", outsideCabinet)
	_, err := o.opens(t, name, state)
	require.NoError(t, err)
	first, err := opened.Read(state)
	require.NoError(t, err)
	assert.Equal(t, opened.Opening{Cabinet: name, Pins: []relay.Pin{{Output: "heater", Pin: "GPIO17"}, {Output: "fan", Pin: "GPIO22"}, {Output: "sounder", Pin: "GPIO24"}}}, first)

	require.NoError(t, os.WriteFile(name, []byte(changed), 0o600))
	o.leftOn(t, "GPIO17")
	var out bytes.Buffer
	require.NoError(t, runOff(name, state, nil, remote(o.socket), noWait, false, &out))
	assert.Contains(t, out.String(), "off, read back, and no longer named by "+name+": heater on GPIO17\n")
	assert.Empty(t, o.stillOn())
	o.leftOn(t)
	out.Reset()
	require.NoError(t, runOff(name, state, nil, remote(o.socket), noWait, true, &out))
	assert.Contains(t, out.String(), `"no_longer_named"`)

	o.leftOn(t, "GPIO17")
	var opts []relay.Opts
	m := machine{lines: asked{remote(o.socket), &opts}, buses: remote(o.socket)}
	opening, err := openNamed(runOptions{cabinet: name, state: state}, false, m, nil, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.Len(t, opening.told, 1)
	assert.Contains(t, opening.told[0], "switched off and read back: heater on GPIO17")
	pins := []string{}
	for _, a := range opts {
		pins = append(pins, a.Pin)
		assert.Equal(t, a.Pin == "GPIO22", a.ActiveLow, a.Pin)
	}
	named := []string{"GPIO27", "GPIO22", "GPIO24"}
	assert.Equal(t, slices.Concat(named, []string{"GPIO17"}, named), pins, "all off, then what is gone, before anything is opened")
	require.NoError(t, opening.world.Close())
	second, err := opened.Read(state)
	require.NoError(t, err)
	assert.Equal(t, relay.Pin{Output: "heater", Pin: "GPIO27"}, second.Pins[0])

	// A file that is refused leaves the last good opening on record, and that is off.
	require.NoError(t, os.WriteFile(name, []byte(strings.Replace(changed, "heater: {pin: GPIO27", "heater: {pin: GPIO27, polarity: active low", 1)), 0o600))
	o.leftOn(t, "GPIO27")
	opts = nil
	_, err = openNamed(runOptions{cabinet: name, state: state}, false, m, nil, slog.New(slog.DiscardHandler))
	require.ErrorContains(t, err, "switched off and read back: heater on GPIO27")
	assert.True(t, opts[0].ActiveLow, "by the file's polarity")
	is, err := opened.Read(state)
	require.NoError(t, err)
	assert.Equal(t, second, is)

	// What cannot be switched off is no beginning.
	require.NoError(t, os.WriteFile(name, []byte(outsideCabinet), 0o600))
	held, err := remote(o.socket).Output(relay.Opts{Pin: "GPIO27", User: "somebody"})
	require.NoError(t, err)
	o.leftOn(t, "GPIO17")
	_, err = o.opens(t, name, state)
	require.ErrorContains(t, err, `GPIO27 is held by "somebody"`)
	require.ErrorContains(t, err, "delete "+filepath.Join(state, opened.File))
	assert.Empty(t, o.stillOn(), "and what the file names is off")
	o.leftOn(t)
	assert.Equal(t, exitCouldNo, status(runOff(name, state, nil, remote(o.socket), noWait, false, io.Discard)))
	require.NoError(t, held.Close())
}

// A file that became a rehearsal's switches off what it was; another rehearsal touches
// nothing, and writes nothing.
func TestARehearsalKeepsNoPins(t *testing.T) {
	o := newOutside(t, true, 30, 15)
	state, name := t.TempDir(), file(t, "cabinet.yaml", outsideCabinet)
	_, err := o.opens(t, name, state)
	require.NoError(t, err)
	o.leftOn(t, "GPIO17")
	before := lastOpening(state)
	gone, err := before.beside("plywood-cabinet", simulated(t), remote(o.socket))
	require.NoError(t, err)
	assert.Empty(t, gone)
	assert.NotEmpty(t, o.stillOn())
	told, err := supersede(state, name, simulated(t), remote(o.socket))
	require.NoError(t, err)
	assert.Empty(t, o.stillOn())
	assert.Len(t, told, 1)
	assert.NoFileExists(t, filepath.Join(state, opened.File))
}

func simulated(t *testing.T) *cabinet.Cabinet {
	t.Helper()
	c := cabinetOf(t, defaultCabinet)
	require.True(t, c.Simulated())
	return c
}

// A disk that hangs keeps nothing on that the cabinet file names: a pipe gives a reader
// no answer either, until someone writes.
func TestNoOffWaitsForTheLastOpening(t *testing.T) {
	o := newOutside(t, true, 30, 15)
	state, name := t.TempDir(), file(t, "cabinet.yaml", outsideCabinet)
	pipe := filepath.Join(state, opened.File)
	for what, begin := range map[string]func() error{
		"off": func() error { return runOff(name, state, nil, remote(o.socket), noWait, false, io.Discard) },
		"run": func() error { _, err := supersede(state, name, cabinetOf(t, name), remote(o.socket)); return err },
	} {
		_ = os.Remove(pipe)
		require.NoError(t, syscall.Mkfifo(pipe, 0o600))
		o.leftOn(t, "GPIO17", "GPIO22")
		done := make(chan error, 1)
		go func() { done <- begin() }()
		assert.Equal(t, "taken by fumarium heater", o.heaterIs(t, false).Why, what)
		mended, err := os.OpenFile(pipe, os.O_WRONLY, 0) // waits for the reader
		require.NoError(t, err)
		assert.Empty(t, o.stillOn(), what)
		require.NoError(t, os.Remove(pipe))
		require.NoError(t, mended.Close())
		assert.NoError(t, <-done, what)
	}
}

func cabinetOf(t *testing.T, name string) *cabinet.Cabinet {
	t.Helper()
	c, err := findCabinet(name)
	require.NoError(t, err)
	return c
}

// Without the pins on disk nothing real is opened, and everything is off first.
func TestNoHeatWithoutThePinsOnDisk(t *testing.T) {
	o := newOutside(t, true, 30, 15)
	name := file(t, "cabinet.yaml", outsideCabinet)
	state := filepath.Join(file(t, "in the way", ""), "state")
	o.leftOn(t, "GPIO17", "GPIO22")
	_, err := o.opens(t, name, state)
	assert.Equal(t, exitCouldNo, status(err))
	require.ErrorContains(t, err, "must be on disk before anything can heat")
	require.ErrorContains(t, err, "free the disk or choose another folder with --state")
	assert.Empty(t, o.stillOn())

	// What is on disk already needs no room, and one that cannot be read is written anew.
	state = t.TempDir()
	_, err = o.opens(t, name, state)
	require.NoError(t, err)
	there := filepath.Join(state, opened.File)
	before, err := os.Stat(there)
	require.NoError(t, err)
	o.leftOn(t)
	_, err = o.opens(t, name, state)
	require.NoError(t, err)
	after, err := os.Stat(there)
	require.NoError(t, err)
	assert.True(t, os.SameFile(before, after))
	require.NoError(t, os.WriteFile(there, []byte(`{"outputs": [{"output": "heater"`), 0o600))
	o.leftOn(t)
	var out bytes.Buffer
	require.NoError(t, runOff(name, state, nil, remote(o.socket), noWait, false, &out))
	assert.Contains(t, out.String(), "whether another output was fitted before is not known: "+there)
	o.leftOn(t, "GPIO17")
	err = runOff(file(t, "torn.yaml", "cabinet:"), state, nil, remote(o.socket), noWait, false, &out)
	require.ErrorContains(t, err, "nothing was switched off; when in doubt, cut the mains")
	o.leftOn(t)
	told, err := o.opens(t, name, state)
	require.NoError(t, err)
	require.Len(t, told, 1)
	assert.Contains(t, told[0], "written anew")
	assert.Empty(t, o.stillOn())

	// Without any, that is said.
	err = runOff(file(t, "torn.yaml", "cabinet:"), t.TempDir(), nil, remote(o.socket), noWait, false, &out)
	require.ErrorContains(t, err, "holds no last opening, so nothing was switched off")
	// One that fails does not keep the others on.
	o.leftOn(t, "GPIO17", "GPIO22")
	held, err := remote(o.socket).Output(relay.Opts{Pin: "GPIO22", User: "somebody"})
	require.NoError(t, err)
	require.NoError(t, held.Set(true))
	err = runOff(file(t, "torn.yaml", "cabinet:"), state, nil, remote(o.socket), noWait, false, &out)
	require.ErrorContains(t, err, `fan on GPIO22: GPIO22 is held by "somebody"`)
	assert.Equal(t, []string{"GPIO22"}, o.stillOn())
	require.NoError(t, held.Close())
}
