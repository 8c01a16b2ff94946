package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/access/certificate"
)

// TestMain is also the program, where a test wants it as a process.
func TestMain(m *testing.M) {
	if os.Getenv("FUMARIUM_MQTT_TEST") != "" {
		main()
	}
	os.Exit(m.Run())
}

// needs finds a program of Debian's, or ends the test.
func needs(t *testing.T, name, of string) string {
	t.Helper()
	for _, dir := range append(filepath.SplitList(os.Getenv("PATH")), "/usr/sbin") {
		if path, err := exec.LookPath(filepath.Join(dir, name)); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("this needs %s: apt-get install --no-install-recommends %s", name, of)
	}
	t.Skipf("without %s: apt-get install --no-install-recommends %s", name, of)
	return ""
}

// broker is Debian's mosquitto, which knows nothing of this program's library.
type broker struct {
	listener *exec.Cmd
	t        *testing.T
	dir      string
	listen   string
	cmd      *exec.Cmd
	log      *safe
}

func begins(t *testing.T, settings ...string) *broker {
	t.Helper()
	b := &broker{t: t, dir: t.TempDir(), listen: free(t), log: &safe{}}
	_, port, _ := net.SplitHostPort(b.listen)
	text := "log_type all\nlistener " + port + " 127.0.0.1\n" + strings.ReplaceAll(strings.Join(settings, "\n"), "DIR", b.dir) + "\n"
	if os.Getuid() == 0 {
		text += "user root\n"
	}
	require.NoError(t, os.WriteFile(b.dir+"/conf", []byte(text), 0o600))
	t.Cleanup(func() { b.kill() })
	return b
}

func (b *broker) start() {
	b.t.Helper()
	b.cmd = exec.Command(needs(b.t, "mosquitto", "mosquitto"), "-c", b.dir+"/conf")
	b.cmd.Stderr = b.log
	require.NoError(b.t, b.cmd.Start())
	cmd := b.cmd
	go func() { _ = cmd.Wait() }()
	require.Eventually(b.t, func() bool {
		c, err := net.Dial("tcp", b.listen)
		if err == nil {
			c.Close()
		}
		return err == nil
	}, time.Minute, 20*time.Millisecond, "%v", b.log)
}

func (b *broker) kill() {
	if b.cmd != nil {
		_ = b.cmd.Process.Kill()
	}
}

func free(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// safe is a buffer that several may use.
type safe struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safe) Write(p []byte) (int, error) { s.mu.Lock(); defer s.mu.Unlock(); return s.b.Write(p) }
func (s *safe) String() string              { s.mu.Lock(); defer s.mu.Unlock(); return s.b.String() }

// heard are messages as mosquitto_sub got them.
type heard struct {
	mu   sync.Mutex
	all  []message
	last map[string]message
}

type message struct {
	Topic   string
	Payload string
	Retain  int
	QoS     int
}

// hears subscribes to everything, as home automation would.
func (b *broker) hears(args ...string) *heard {
	_, port, _ := net.SplitHostPort(b.listen)
	h := &heard{last: map[string]message{}}
	c := exec.Command(needs(b.t, "mosquitto_sub", "mosquitto-clients"), append([]string{"-V", "mqttv5", "-h", "127.0.0.1", "-p", port, "-t", "#", "-q", "1", "-F", "%j", "-i", "listener", "-x", "300"}, args...)...)
	out, err := c.StdoutPipe()
	require.NoError(b.t, err)
	c.Stderr = b.t.Output()
	if b.listener != nil { // of a broker that died: it would come back and take the new one's place
		_ = b.listener.Process.Kill()
		_ = b.listener.Wait()
	}
	b.listener = c
	before := strings.Count(b.log.String(), "SUBACK to listener")
	require.NoError(b.t, c.Start())
	defer eventually(b.t, "it listens", func() bool { return strings.Count(b.log.String(), "SUBACK to listener") > before })
	b.t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	go func() {
		lines := bufio.NewScanner(out)
		lines.Buffer(nil, 4<<20)
		for lines.Scan() {
			var m message
			if err := json.Unmarshal(lines.Bytes(), &m); err != nil {
				b.t.Errorf("mosquitto_sub: %s", lines.Text())
			}
			h.mu.Lock()
			h.all, h.last[m.Topic] = append(h.all, m), m
			h.mu.Unlock()
		}
	}()
	return h
}

func (h *heard) body(topic string) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.last[topic].Payload
}

// events are the ids of events, in order, each as often as it came.
func (h *heard) events(t *testing.T) (ids []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.all {
		if strings.HasSuffix(m.Topic, "/event") {
			var e struct {
				ID   string `json:"id"`
				Type string `json:"event_type"`
			}
			require.NoError(t, json.Unmarshal([]byte(m.Payload), &e))
			require.NotEmpty(t, e.Type)
			assert.Zero(t, m.Retain, "who comes later shall not take an old event for a new one")
			ids = append(ids, e.ID)
		}
	}
	return ids
}

func eventually(t *testing.T, what string, is func() bool) {
	t.Helper()
	require.Eventually(t, is, 2*time.Minute, 20*time.Millisecond, what)
}

// process runs this program as one of its own.
func process(t *testing.T, log *safe, args ...string) *exec.Cmd {
	c := exec.Command(os.Args[0], args...)
	c.Env = append(os.Environ(), "FUMARIUM_MQTT_TEST=program")
	c.Stderr = log
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	return c
}

// A daemon's batch is heard at a broker: described, as state, alarms, forecast and events; and
// when daemon or program is killed, so is that.
func TestADaemonIsHeard(t *testing.T) {
	b := begins(t, "allow_anonymous true")
	b.start()
	h := b.hears()
	program := filepath.Join(t.TempDir(), "fumarium")
	built, err := exec.Command("go", "build", "-o", program, "fumarium/cmd/fumarium").CombinedOutput()
	require.NoError(t, err, "%s", built)
	at := free(t)
	daemon := exec.Command(program, "run", "--listen", at, "--state", t.TempDir(), "--pace", "2000")
	require.NoError(t, daemon.Start())
	t.Cleanup(func() { _ = daemon.Process.Kill() })
	var log safe
	us := process(t, &log, "kiln=http://"+at, "--broker", "mqtt://"+b.listen, "--discovery", "found")
	eventually(t, "online", func() bool { return h.body("fumarium/kiln/availability") == "online" })
	eventually(t, "events", func() bool { return len(h.events(t)) > 3 })
	eventually(t, "a finish", func() bool { return strings.Contains(h.body("fumarium/kiln/forecast"), `"finish":"2`) })
	var state map[string]any
	require.NoError(t, json.Unmarshal([]byte(h.body("fumarium/kiln/state")), &state))
	assert.Equal(t, "simulated", state["world"])
	assert.IsType(t, 0.0, state["chamber_celsius"])
	assert.IsType(t, 0.0, state["humidity_ratio"], "by the wet bulb")
	assert.JSONEq(t, "[]", h.body("fumarium/kiln/alarms"))
	var device struct {
		Device     struct{ Identifiers []string }
		Origin     struct{ Name string }
		Components map[string]map[string]any
	}
	require.NoError(t, json.Unmarshal([]byte(h.body("found/device/fumarium-kiln/config")), &device))
	assert.Equal(t, []string{"fumarium-kiln"}, device.Device.Identifiers)
	assert.NotEmpty(t, device.Origin.Name)
	assert.Contains(t, device.Components, "chamber")
	for name, c := range device.Components {
		assert.NotEmpty(t, c["platform"], name)
		for key := range c {
			assert.NotContains(t, key, "command", "nothing can be written")
		}
	}
	h.mu.Lock()
	for _, m := range h.all {
		assert.True(t, strings.HasPrefix(m.Topic, "fumarium/kiln/") || m.Topic == "found/device/fumarium-kiln/config", m.Topic)
	}
	h.mu.Unlock()
	assert.NotContains(t, b.log.String(), "Received SUBSCRIBE from fumarium")
	assert.Contains(t, b.log.String(), "Received PUBLISH from fumarium-kiln", "the log has what comes in")

	require.NoError(t, daemon.Process.Kill())
	eventually(t, "the daemon is gone", func() bool { return h.body("fumarium/kiln/availability") == "offline" })
	daemon = exec.Command(program, "run", "--listen", at, "--state", t.TempDir(), "--pace", "2000")
	daemon.Stderr = t.Output()
	require.NoError(t, daemon.Start())
	t.Cleanup(func() { _ = daemon.Process.Kill() })
	eventually(t, "it came back", func() bool { return h.body("fumarium/kiln/availability") == "online" })
	require.NoError(t, us.Process.Kill())
	eventually(t, "the will", func() bool { return h.body("fumarium/kiln/availability") == "offline" })
	us = process(t, &log, "kiln=http://"+at, "--broker", "mqtt://"+b.listen)
	eventually(t, "it came back", func() bool { return h.body("fumarium/kiln/availability") == "online" })
	require.NoError(t, us.Process.Signal(syscall.SIGTERM))
	eventually(t, "a goodbye", func() bool { return h.body("fumarium/kiln/availability") == "offline" })
}

// cabinet plays a daemon's event stream.
type cabinet struct {
	*httptest.Server
	mu     sync.Mutex
	events []map[string]any
	wrote  int // events that a status went out with
	state  string
	age    float64
}

func plays(t *testing.T) *cabinet {
	c := &cabinet{state: "running"}
	c.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/api/events" || r.Method != http.MethodGet {
			t.Errorf("%s %s was asked for", r.Method, r.URL)
		}
		w.Header().Set("Content-Type", "text/event-stream")
		for r.Context().Err() == nil {
			c.mu.Lock()
			n := len(c.events)
			body, _ := json.Marshal(map[string]any{"time": time.Now(), "age_seconds": c.age, "world": "real", "cabinet": "Kiln", "state": c.state, "chamber_celsius": nil, "alarms": []any{},
				"outputs": map[string]any{"heater": true, "fan": nil}, "events": c.events[max(0, len(c.events)-200):]})
			c.mu.Unlock()
			fmt.Fprintf(w, "event: status\ndata: %s\n\n", body)
			w.(http.Flusher).Flush()
			c.set(func() { c.wrote = n })
			time.Sleep(20 * time.Millisecond)
		}
	}))
	t.Cleanup(c.CloseClientConnections)
	return c
}

func (c *cabinet) set(f func()) { c.mu.Lock(); defer c.mu.Unlock(); f() }

// happens lets so many events happen, and gives all until now.
func (c *cabinet) happens(n int) (ids []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for range n {
		c.events = append(c.events, map[string]any{"id": fmt.Sprintf("b/%d", len(c.events)), "kind": "said", "time": time.Now(), "text": "x"})
	}
	for _, e := range c.events {
		ids = append(ids, e["id"].(string))
	}
	return ids
}

// once takes away what came again: a message may, with the same id.
func once(ids []string) (all []string) {
	seen := map[string]bool{}
	for _, id := range ids {
		if !seen[id] {
			all = append(all, id)
		}
		seen[id] = true
	}
	return all
}

// What happens while the broker is killed, hangs or is cut off comes in order when it is back,
// and a broker that forgot everything is told everything again.
func TestTheBrokerGoesAndComes(t *testing.T) {
	b := begins(t, "allow_anonymous true")
	b.start()
	h := b.hears()
	c := plays(t)
	link := through(t, b.listen)
	var log safe
	process(t, &log, "kiln="+c.URL, "--broker", "mqtt://"+link.at())
	eventually(t, "online", func() bool { return h.body("fumarium/kiln/availability") == "online" })
	want := func(n int, what string) {
		t.Helper()
		all := c.happens(n)
		eventually(t, what, func() bool { return len(once(h.events(t))) == len(all) })
		require.Equal(t, all, once(h.events(t)), what)
	}
	want(3, "all is well")
	link.cut()
	want(3, "the connection was cut")
	require.NoError(t, b.cmd.Process.Signal(syscall.SIGSTOP))
	c.happens(5)
	time.Sleep(200 * time.Millisecond)
	require.NoError(t, b.cmd.Process.Signal(syscall.SIGCONT))
	want(2, "the broker hung")

	b.kill()
	link.set(true)
	c.happens(4)
	c.set(func() { c.state = "held" })
	eventually(t, "said", func() bool { return strings.Contains(log.String(), "the broker does not have all") })
	for range 8 { // more than wait
		c.happens(150)
		eventually(t, "said", func() (is bool) { c.set(func() { is = c.wrote == len(c.events) }); return is })
	}
	ids := c.happens(1)
	b.start()
	h = b.hears() // all that was before died with the broker
	link.set(false)
	eventually(t, "told anew", func() bool {
		return h.body("fumarium/kiln/availability") == "online" && strings.Contains(h.body("fumarium/kiln/state"), `"held"`) && h.body("homeassistant/device/fumarium-kiln/config") != ""
	})
	assert.Contains(t, h.body("fumarium/kiln/state"), `"chamber_celsius":null`, "unknown is no number")
	eventually(t, "the newest events", func() bool {
		got := h.events(t)
		return len(got) > 0 && got[len(got)-1] == ids[len(ids)-1]
	})
	got := once(h.events(t))
	assert.Equal(t, ids[len(ids)-len(got):], got, "the newest, in order")
	var state struct {
		Dropped int `json:"events_dropped"`
	}
	require.NoError(t, json.Unmarshal([]byte(h.body("fumarium/kiln/state")), &state))
	assert.GreaterOrEqual(t, state.Dropped, 200, "the oldest went, and it is said")
	// A step that is old has no readings.
	c.set(func() { c.age = 31 })
	eventually(t, "stale", func() bool { return h.body("fumarium/kiln/availability") == "offline" })
}

// A wrong password, a broker that nobody vouches for and a missing one are said, and nothing
// else comes of them; with the right ones it goes.
func TestPasswordAndTLS(t *testing.T) {
	b := begins(t, "allow_anonymous false", "password_file DIR/passwords", "cafile DIR/cert.pem", "certfile DIR/cert.pem", "keyfile DIR/key.pem")
	made, err := exec.Command(needs(t, "mosquitto_passwd", "mosquitto"), "-b", "-c", b.dir+"/passwords", "smoke", "sesame-1").CombinedOutput()
	require.NoError(t, err, "%s", made)
	cert, key, err := certificate.SelfSigned([]string{"127.0.0.1"}, time.Hour)
	require.NoError(t, err)
	other, _, err := certificate.SelfSigned([]string{"127.0.0.1"}, time.Hour)
	require.NoError(t, err)
	for name, data := range map[string][]byte{"cert.pem": cert, "key.pem": key, "other.pem": other, "right": []byte("sesame-1\n"), "wrong": []byte("sesame-2\n")} {
		require.NoError(t, os.WriteFile(filepath.Join(b.dir, name), data, 0o600))
	}
	b.start()
	h := b.hears("-u", "smoke", "-P", "sesame-1", "--cafile", b.dir+"/cert.pem")
	c := plays(t)
	tries := func(ca, password, user string) *safe {
		log := &safe{}
		process(t, log, "kiln="+c.URL, "--broker", "mqtts://"+b.listen, "--ca", filepath.Join(b.dir, ca), "--user", user, "--password-file", filepath.Join(b.dir, password))
		return log
	}
	for _, bad := range []struct{ ca, password, user, says string }{
		{"cert.pem", "wrong", "smoke", "it refuses user or password"}, {"cert.pem", "right", "nobody", "it refuses user or password"}, {"other.pem", "right", "smoke", "TLS: "},
	} {
		log := tries(bad.ca, bad.password, bad.user)
		eventually(t, bad.says, func() bool { return strings.Contains(log.String(), bad.says) })
		assert.NotContains(t, log.String(), "sesame")
	}
	assert.Empty(t, h.body("fumarium/kiln/availability"))
	tries("cert.pem", "right", "smoke")
	eventually(t, "online", func() bool { return h.body("fumarium/kiln/availability") == "online" })
}

// through carries connections to a broker, until they are cut.
type carrier struct {
	l  net.Listener
	mu sync.Mutex
	on []net.Conn
	no bool // it lets nobody through
}

func (k *carrier) set(no bool) { k.mu.Lock(); defer k.mu.Unlock(); k.no = no }

func through(t *testing.T, to string) *carrier {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	k := &carrier{l: l}
	t.Cleanup(func() { l.Close(); k.cut() })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", to)
			k.mu.Lock()
			no := k.no
			k.mu.Unlock()
			if err != nil || no {
				in.Close()
				continue
			}
			k.mu.Lock()
			k.on = append(k.on, in, out)
			k.mu.Unlock()
			carry := func(a, b net.Conn) {
				buffer := make([]byte, 4096)
				for {
					n, err := a.Read(buffer)
					if err == nil {
						_, err = b.Write(buffer[:n])
					}
					if err != nil {
						a.Close()
						b.Close()
						return
					}
				}
			}
			go carry(in, out)
			go carry(out, in)
		}
	}()
	return k
}

func (k *carrier) at() string { return k.l.Addr().String() }

func (k *carrier) cut() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, c := range k.on {
		c.Close()
	}
	k.on = nil
}

func TestCommandLine(t *testing.T) {
	dir := t.TempDir()
	open, shut, empty := dir+"/open", dir+"/shut", dir+"/empty"
	require.NoError(t, os.WriteFile(open, []byte("x"), 0o644))
	require.NoError(t, os.WriteFile(shut, []byte("x"), 0o600))
	require.NoError(t, os.WriteFile(empty, []byte("\n"), 0o600))
	for _, bad := range []struct{ args, says string }{
		{"", "requires at least 1 arg"},
		{"http://127.0.0.1:8377", "write NAME=URL"},
		{"Kiln=http://127.0.0.1:8377", "write NAME=URL"},
		{"a/b=http://127.0.0.1:8377", "write NAME=URL"},
		{"a=ftp://127.0.0.1", "address of the cabinet's page"},
		{"a=http://u:p@127.0.0.1", "address of the cabinet's page"},
		{"a=http://127.0.0.1 a=http://127.0.0.2", "named twice"},
		{"a=http://h --broker tcp://h", "mqtts://"},
		{"a=http://h --broker mqtt://u:secret@h", "flags of their own"},
		{"a=http://h --user u", "go together"},
		{"a=http://h --user u --password-file " + open, "chmod o="},
		{"a=http://h --user u --password-file " + empty, "is empty"},
		{"a=http://h --user u --password-file " + dir + "/none", "no such file"},
		{"a=http://h --broker mqtt://192.0.2.1 --user u --password-file " + shut, "in the clear"},
		{"a=http://h --ca " + open, "no certificate"},
		{"a=http://h --prefix a/#", "--prefix"},
		{"a=http://h --discovery +", "--prefix"},
	} {
		var log safe
		assert.Equal(t, 2, run(context.Background(), strings.Fields(bad.args), &log), bad.args)
		assert.Contains(t, log.String(), bad.says, bad.args)
		assert.NotContains(t, log.String(), "secret")
	}
}
