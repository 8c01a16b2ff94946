package main

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAClientAsksAgain: a gate that is full resets or ends a connection before it has
// read anything of it. What a daemon has answered is not asked again.
func TestAClientAsksAgain(t *testing.T) {
	for name, c := range map[string]struct {
		turns  []int // how each connection is ended; the last is answered
		answer string
		status int
		says   string
		order  string
	}{
		"reset, ended, let in": {[]int{resets, resets, ends, answers}, "200 OK", exitGood, "done", "stop"},
		"refused for a reason": {[]int{answers}, "503 Service Unavailable", exitCouldNo, "not now", "stop"},
		"answer cut off":       {[]int{cuts}, "200 OK", exitCouldNo, "see fumarium status", "stop"},
		"status cut off":       {[]int{cuts, resets, cuts, answers}, "200 OK", exitGood, "stopping", "status"},
		"refused at last":      {[]int{ends, answers}, "409 Conflict", exitBad, "not now", "stop"},
	} {
		t.Run(name, func(t *testing.T) {
			const body = `{"state":"stopping","detail":"not now"}`
			const answer = "HTTP/1.1 %s\r\nConnection: close\r\nContent-Length: %d\r\n\r\n%s"
			t.Setenv("FUMARIUM_TOKEN", "a-token-of-the-tests")
			l, err := net.Listen("tcp", "127.0.0.1:0")
			require.NoError(t, err)
			defer l.Close()
			came := make(chan int, 1)
			go func() {
				n := 0
				defer func() { came <- n }()
				for {
					conn, err := l.Accept()
					if err != nil {
						return
					}
					turn := answers
					if n < len(c.turns) {
						turn = c.turns[n]
					}
					n++
					if turn == resets {
						_ = conn.(*net.TCPConn).SetLinger(0)
					} else {
						_, _ = http.ReadRequest(bufio.NewReader(conn))
					}
					if turn == answers {
						_, _ = fmt.Fprintf(conn, answer, c.answer, len(body), body)
					}
					if turn == cuts {
						_, _ = fmt.Fprintf(conn, answer, c.answer, len(body), body[:5])
					}
					conn.Close()
				}
			}()
			status, said, why := call(t, c.order, "--server", "http://"+l.Addr().String())
			assert.Equal(t, c.status, status, why)
			assert.Contains(t, said+why, c.says)
			l.Close()
			assert.Equal(t, len(c.turns), <-came)
		})
	}
}

// How a connection is ended: before anything was read, without an answer, with one.
const (
	resets = iota
	ends
	cuts // in the middle of one
	answers
)
