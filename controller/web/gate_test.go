package web_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/snapshot"
	"fumarium/controller/web"
)

// A pipes is a listener whose connections are in memory: nothing is buffered, and their
// deadlines run on virtual time.
type pipes chan net.Conn

func (p pipes) Accept() (net.Conn, error) {
	c, open := <-p
	if !open {
		return nil, net.ErrClosed
	}
	return c, nil
}
func (p pipes) Close() error   { return nil }
func (p pipes) Addr() net.Addr { return &net.TCPAddr{} }

// from gives a connection an address to come from.
type from struct {
	net.Conn
	ip string
}

func (f from) RemoteAddr() net.Addr { return &net.TCPAddr{IP: net.ParseIP(f.ip), Port: 4711} }

// come connects from an address.
func (p pipes) come(ip string) net.Conn {
	ours, theirs := net.Pipe()
	p <- from{theirs, ip}
	return ours
}

const elsewhere, here = "192.0.2.7", "127.0.0.1" // RFC 5737, RFC 1122

// gated runs f with the gate of h on virtual time.
func gated(t *testing.T, h http.Handler, narrow func(*web.Gate), f func(*testing.T, *web.Gate, pipes)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		g := web.NewGate(h, slog.New(slog.DiscardHandler))
		narrow(g)
		p := make(pipes)
		served := make(chan struct{})
		go func() {
			defer close(served)
			_ = g.Serve(p)
		}()
		f(t, g, p)
		close(p)
		_ = g.Close()
		<-served
		time.Sleep(time.Second) // net/http waits for half of one before it closes on somebody
	})
}

func wide(*web.Gate) {}

// get asks over c and gives the status.
func get(t *testing.T, c net.Conn, path string) int {
	t.Helper()
	_, err := io.WriteString(c, "GET "+path+" HTTP/1.1\r\nHost: localhost\r\n\r\n")
	require.NoError(t, err)
	r, err := http.ReadResponse(bufio.NewReader(c), nil)
	require.NoError(t, err)
	_, err = io.Copy(io.Discard, r.Body)
	require.NoError(t, err)
	return r.StatusCode
}

// gone reports whether the other end has closed c.
func gone(c net.Conn) bool {
	_ = c.SetReadDeadline(time.Now().Add(time.Millisecond))
	_, err := c.Read(make([]byte, 1))
	return err == io.EOF
}

func TestAFullGateLetsTheLongestSilentGo(t *testing.T) {
	gated(t, handler(accepting(cooking())), func(g *web.Gate) { g.Narrow(3, 0, 100*time.Millisecond) }, func(t *testing.T, g *web.Gate, p pipes) {
		first, second, third := p.come(elsewhere), p.come(elsewhere), p.come(elsewhere)
		time.Sleep(time.Second)
		assert.Equal(t, http.StatusOK, get(t, first, "/healthz"))
		assert.Equal(t, http.StatusOK, get(t, third, "/healthz"))
		assert.Equal(t, web.Crowd{Open: 3}, g.Crowd())

		fourth := p.come(elsewhere)
		assert.Equal(t, http.StatusOK, get(t, fourth, "/healthz"))
		assert.True(t, gone(second), "it has never said anything")
		assert.Equal(t, web.Crowd{Open: 3, Dropped: 1}, g.Crowd())

		// All three have just been served, so who comes now is turned away.
		assert.True(t, gone(p.come(elsewhere)))
		assert.False(t, gone(first))
		assert.Equal(t, web.Crowd{Open: 3, Dropped: 1, Refused: 1}, g.Crowd())
	})
}

func TestThisMachineHasPlacesOfItsOwn(t *testing.T) {
	g := web.NewGate(http.NotFoundHandler(), slog.New(slog.DiscardHandler)).Narrow(4, 2, 0)
	come := func(ip string) net.Conn {
		ours, theirs := net.Pipe()
		t.Cleanup(func() { ours.Close() })
		return g.Admit(from{theirs, ip})
	}
	for range 20 {
		require.NotNil(t, come(elsewhere))
	}
	assert.Equal(t, web.Crowd{Open: 4, Dropped: 16}, g.Crowd())
	for range 2 {
		require.NotNil(t, come(here))
	}
	assert.Equal(t, web.Crowd{Open: 6, Dropped: 16}, g.Crowd(), "nobody had to go for them")
	for range 20 {
		require.NotNil(t, come(elsewhere))
	}
	assert.Equal(t, web.Crowd{Open: 6, Dropped: 36}, g.Crowd(), "and they need not go for anybody")
	for range 20 {
		require.NotNil(t, come(here))
	}
	assert.Equal(t, web.Crowd{Open: 6, Dropped: 56}, g.Crowd())
	assert.Nil(t, come(elsewhere), "only this machine is left here")
	assert.Equal(t, web.Crowd{Open: 6, Dropped: 56, Refused: 1}, g.Crowd())
}

// slow is a loop that takes its time.
type slow struct {
	*loop
	asked, may chan struct{}
}

func (s *slow) Do(ctx context.Context, r snapshot.Request) (snapshot.Reply, error) {
	s.asked <- struct{}{}
	<-s.may
	return s.loop.Do(ctx, r)
}

func order(command string) string {
	body := fmt.Sprintf(`{"command":%q}`, command)
	return fmt.Sprintf("POST /api/commands HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s",
		token, len(body), body)
}

// Once a command is being worked on, its connection is not given to anybody: who loses
// it before that may send it again.
func TestACommandKeepsItsPlace(t *testing.T) {
	l := &slow{loop: accepting(cooking())}
	h := web.New(web.Config{Loop: l, Token: token})
	gated(t, h, func(g *web.Gate) { g.Narrow(1, 0, 0) }, func(t *testing.T, g *web.Gate, p pipes) {
		l.asked, l.may = make(chan struct{}), make(chan struct{}) // of this bubble
		operator := p.come(elsewhere)
		_, err := io.WriteString(operator, order("stop"))
		require.NoError(t, err)
		<-l.asked
		for range 5 {
			assert.True(t, gone(p.come(elsewhere)))
		}
		assert.Equal(t, web.Crowd{Open: 1, Refused: 5}, g.Crowd())
		close(l.may)
		r, err := http.ReadResponse(bufio.NewReader(operator), nil)
		require.NoError(t, err)
		assert.Equal(t, http.StatusOK, r.StatusCode)
		_, _ = io.Copy(io.Discard, r.Body)
		assert.Len(t, l.requests(), 1)
		assert.True(t, gone(p.come(elsewhere)), "the answer may still be on its way")
		// Without the token nobody can hold a place.
		require.NoError(t, operator.Close())
		synctest.Wait()
		intruder := p.come(elsewhere)
		_, err = io.WriteString(intruder, strings.Replace(order("stop"), token, "guessed", 1))
		require.NoError(t, err)
		_, err = http.ReadResponse(bufio.NewReader(intruder), nil)
		require.NoError(t, err)
		assert.Equal(t, http.StatusOK, get(t, p.come(elsewhere), "/healthz"))
	})
}

// So many commands are under way at once, and no more.
func TestCommandsAreBounded(t *testing.T) {
	l := &slow{loop: accepting(cooking()), asked: make(chan struct{}), may: make(chan struct{})}
	h := web.New(web.Config{Loop: l, Token: token})
	answers := make(chan int)
	for range web.MostCommands {
		go func() { answers <- ask(h, http.MethodPost, "/api/commands", `{"command":"hold"}`).Code }()
		<-l.asked
	}
	w := ask(h, http.MethodPost, "/api/commands", `{"command":"hold"}`)
	assert.Equal(t, http.StatusServiceUnavailable, w.Code)
	assert.Contains(t, detail(t, w), "under way already")
	close(l.may)
	for range web.MostCommands {
		assert.Equal(t, http.StatusOK, <-answers)
	}
	go func() { answers <- ask(h, http.MethodPost, "/api/commands", `{"command":"hold"}`).Code }()
	<-l.asked
	assert.Equal(t, http.StatusOK, <-answers)
}

// Whoever does not read, write or go on is sent away, on a gate with room for all.
func TestNobodyStaysForEver(t *testing.T) {
	cases := map[string]struct {
		says    string
		then    string        // a piece, again and again
		every   time.Duration // with this pause
		reads   bool
		within  time.Duration
		stalled uint64
	}{
		"nothing said":         {reads: true, within: web.MostHeaderTime},
		"half a header":        {says: "GET / HTTP/1.1\r\nHost: loc", reads: true, within: web.MostHeaderTime},
		"a header by the byte": {says: "GET / HTTP/1.1\r\nX: ", then: "x", every: time.Second, reads: true, within: web.MostHeaderTime},
		"a body by the byte": {says: strings.Replace(order("hold"), `{"command":"hold"}`, `{`, 1), then: " ", every: time.Second, reads: true,
			within: web.MostReading + time.Second},
		"no answer taken":    {says: "GET /chart.svg HTTP/1.1\r\nHost: localhost\r\n\r\n", within: web.MostWriting, stalled: 1},
		"no refusal taken":   {says: "POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 0\r\n\r\n", within: web.MostWriting, stalled: 1},
		"nothing more asked": {says: "GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n", reads: true, within: web.MostIdle},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			gated(t, handler(accepting(cooking())), wide, func(t *testing.T, g *web.Gate, p pipes) {
				conn := p.come(elsewhere)
				left := make(chan struct{})
				if c.reads {
					go func() {
						defer close(left)
						_, _ = io.Copy(io.Discard, conn)
					}()
				}
				_, err := io.WriteString(conn, c.says)
				require.NoError(t, err)
				for began := time.Now(); c.then != "" && time.Since(began) < c.within; time.Sleep(c.every) {
					_, _ = io.WriteString(conn, c.then)
				}
				synctest.Wait()
				if c.then == "" { // and nobody is hurried
					time.Sleep(c.within - time.Second)
					synctest.Wait()
					assert.Equal(t, web.Crowd{Open: 1}, g.Crowd())
				}
				time.Sleep(c.within + time.Second)
				synctest.Wait()
				assert.Equal(t, web.Crowd{Stalled: c.stalled}, g.Crowd())
				conn.Close()
			})
		})
	}
}

// A header cannot grow without end.
func TestHeadersAreBounded(t *testing.T) {
	const slack = 4096 // net/http reads so much more before it says no
	for name, request := range map[string]string{
		"a long path":     "GET /" + strings.Repeat("a", web.MostHeader+slack) + " HTTP/1.1\r\nHost: localhost\r\n\r\n",
		"a long header":   "GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("a", web.MostHeader+slack) + "\r\n\r\n",
		"many headers":    "GET / HTTP/1.1\r\nHost: localhost\r\n" + strings.Repeat("X: y\r\n", (web.MostHeader+slack)/6+1) + "\r\n",
		"a command's too": strings.Replace(order("stop"), "Host:", "X: "+strings.Repeat("a", web.MostHeader+slack)+"\r\nHost:", 1),
	} {
		t.Run(name, func(t *testing.T) {
			l := accepting(cooking())
			gated(t, handler(l), wide, func(t *testing.T, _ *web.Gate, p pipes) {
				conn := p.come(elsewhere)
				go func() { _, _ = io.WriteString(conn, request) }()
				r, err := http.ReadResponse(bufio.NewReader(conn), nil)
				require.NoError(t, err)
				assert.Equal(t, http.StatusRequestHeaderFieldsTooLarge, r.StatusCode)
				assert.Empty(t, l.requests())
				conn.Close()
			})
		})
	}
}

// endless is a body that never ends and knows how much of it was read.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	e.read += len(p)
	return copy(p, bytes.Repeat([]byte(" "), len(p))), nil
}

// What takes no body reads none, and what takes one stops.
func TestBodiesAreBounded(t *testing.T) {
	l := accepting(displayed())
	h := measured(l)
	ends := measured(accepting(ending()))
	for path, methods := range web.Routes(h) {
		h := h
		if path == "/api/events" { // which ends only with the daemon
			h = ends
		}
		path = strings.Replace(path, "{batch}", "cooked", 1)
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodDelete} {
			for _, credentials := range []string{"Bearer guessed", "Bearer " + token} {
				body := &endless{}
				photo, most := strings.HasSuffix(path, "/photos"), 2*web.MaxBody
				w := ask(h, method, path, "", func(r *http.Request) {
					r.Body = io.NopCloser(body)
					if photo {
						r.Header.Set("Content-Type", "image/jpeg")
					}
				}, header("Authorization", credentials))
				if photo {
					most = 2 * web.MaxPhoto
				}
				switch {
				case path == "/api/sessions" && method == http.MethodPost: // for whoever has a code
					assert.Equal(t, http.StatusRequestEntityTooLarge, w.Code)
					assert.Less(t, body.read, 2<<10)
				case path == "/api/sessions" && method == http.MethodGet && credentials == "Bearer guessed":
					assert.Equal(t, http.StatusUnauthorized, w.Code)
					assert.Zero(t, body.read)
				case method == http.MethodPost && slices.Contains(methods, method) && credentials == "Bearer "+token:
					assert.Equal(t, http.StatusRequestEntityTooLarge, w.Code)
					assert.Less(t, body.read, most)
				case method == http.MethodPost && slices.Contains(methods, method):
					assert.Equal(t, http.StatusUnauthorized, w.Code)
					assert.Zero(t, body.read)
				case slices.Contains(methods, method):
					assert.Equal(t, http.StatusOK, w.Code, path)
					assert.Zero(t, body.read, path)
				default:
					assert.Equal(t, http.StatusMethodNotAllowed, w.Code, path)
					assert.Zero(t, body.read, path)
				}
			}
		}
	}
	assert.Empty(t, l.requests())
}

// FuzzRequest sends anything over a connection: the gate answers or ends it, and nothing
// but a whole order with the token reaches the loop.
func FuzzRequest(f *testing.F) {
	f.Add("GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
	f.Add("GET /chart.svg?width=320 HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\n\r\nhello")
	f.Add("GET /metrics HTTP/1.0\r\n\r\n")
	f.Add("HEAD /api/status HTTP/1.1\r\nHost: 192.0.2.1\r\n\r\nGET /api/products HTTP/1.1\r\nHost: localhost\r\n\r\n")
	f.Add("POST /api/commands HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\nAuthorization: Bearer x\r\n\r\n5\r\nhello\r\n0\r\n\r\n")
	f.Add("PUT /healthz HTTP/1.1\r\nHost: localhost\r\nExpect: 100-continue\r\nContent-Length: 99999999999\r\n\r\n")
	f.Add("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n")
	f.Add("POST /api/commands HTTP/1.1\r\nHost: localhost\r\nAuthorization: \xfbearer x\r\nContent-Length: 81\r\n\r\nhello")
	f.Add(order("hold"))
	f.Fuzz(func(t *testing.T, said string) {
		l := accepting(cooking())
		gated(t, handler(l), wide, func(t *testing.T, g *web.Gate, p pipes) {
			conn := p.come(elsewhere)
			go func() { _, _ = io.WriteString(conn, said) }()
			go func() { _, _ = io.Copy(io.Discard, conn) }()
			time.Sleep(web.MostIdle + web.MostReading + web.MostWriting)
			synctest.Wait()
			assert.Zero(t, g.Crowd().Open, "it is still here") // one whose body never came whole counts as stalled
			conn.Close()
		})
		if len(l.requests()) > 0 && !strings.Contains(said, token) {
			t.Errorf("%q reached the loop", said)
		}
	})
}
