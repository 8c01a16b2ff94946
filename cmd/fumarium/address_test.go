package main

import (
	"net"
	"net/http"
	"os"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func networks(t *testing.T, texts ...string) (all []net.Addr) {
	t.Helper()
	for _, text := range texts {
		ip, network, err := net.ParseCIDR(text)
		require.NoError(t, err)
		all = append(all, &net.IPNet{IP: ip, Mask: network.Mask})
	}
	return all
}

// Nobody can open http://[::]:8377/. The addresses are those that the standards set
// aside for documentation (RFC 5737, RFC 3849).
func TestWhereAListenerIsReached(t *testing.T) {
	machine := networks(t, "127.0.0.1/8", "192.0.2.20/24", "::1/128", "2001:db8::20/64", "fe80::20/64")
	for _, c := range []struct {
		name, listen string
		names        []string
		pages        []string
		open         bool
	}{
		{"this machine", "127.0.0.1:8377", []string{"kiln.example"}, []string{"http://127.0.0.1:8377/"}, false},
		{"this machine, IPv6", "[::1]:8377", nil, []string{"http://[::1]:8377/"}, false},
		{"one address", "192.0.2.20:8377", []string{"kiln.example"}, []string{"http://192.0.2.20:8377/", "http://kiln.example:8377/"}, true},
		{"all", "[::]:8377", []string{"kiln.example"}, []string{
			"http://127.0.0.1:8377/", "http://192.0.2.20:8377/", "http://[2001:db8::20]:8377/", "http://kiln.example:8377/"}, true},
		{"all of IPv4", "0.0.0.0:80", nil, []string{"http://127.0.0.1:80/", "http://192.0.2.20:80/"}, true},
	} {
		at, err := net.ResolveTCPAddr("tcp", c.listen)
		require.NoError(t, err)
		assert.Equal(t, wherever{pages: c.pages, open: c.open}, reach(at, machine, c.names, false), c.name)
	}
	assert.Equal(t, "http://127.0.0.1:1/", reach(&net.TCPAddr{IP: net.IPv6unspecified, Port: 1}, nil, nil, false).pages[0], "without interfaces")
	secured := reach(&net.TCPAddr{IP: net.IPv6unspecified, Port: 8377}, machine, []string{"kiln.example"}, true)
	assert.Equal(t, []string{"https://192.0.2.20:8377/", "https://[2001:db8::20]:8377/", "https://kiln.example:8377/"}, secured.others())
	assert.Empty(t, reach(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8377}, machine, nil, false).others())
}

func TestWhatOthersNeedIsSaid(t *testing.T) {
	say := func(w wherever, names []string, self string) string {
		var out strings.Builder
		sayReach(&out, w, names, self)
		return out.String()
	}
	alone := wherever{pages: []string{"http://127.0.0.1:8377/"}}
	assert.Equal(t, "page     http://127.0.0.1:8377/\nmetrics  http://127.0.0.1:8377/metrics\n", say(alone, nil, "kiln"))
	open := wherever{pages: []string{"http://127.0.0.1:8377/", "http://192.0.2.20:8377/"}, open: true}
	text := say(open, nil, "Kiln.example.")
	assert.Contains(t, text, "page     http://192.0.2.20:8377/\n")
	assert.Contains(t, text, "nothing is encrypted")
	assert.Contains(t, text, "by name it answers after: --host-name kiln.example\n")
	assert.NotContains(t, say(open, []string{"smokehouse.example"}, "kiln.example"), "--host-name")
	assert.NotContains(t, say(open, nil, ""), "--host-name")
}

func TestHostNames(t *testing.T) {
	names, err := hostNames([]string{"Smokehouse", "kiln.example.", "a-b.c_d"})
	require.NoError(t, err)
	assert.Equal(t, []string{"smokehouse", "kiln.example", "a-b.c_d"}, names)
	for _, bad := range []string{"", ".", "http://kiln", "kiln:8377", "*.example", "a..b", "-a", "a b", "[::1]", strings.Repeat("a", 254)} {
		_, err := hostNames([]string{bad})
		assert.ErrorContains(t, err, "is no bare name; write it without", bad)
	}
	code, _, errText := call(t, "run", "--host-name", "http://kiln:8377/", "--state", t.TempDir())
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errText, `--host-name "http://kiln:8377/"`)
}

// A daemon on all addresses prints one that can be opened, and answers as a name
// only if it was told that name.
func TestTheDaemonAnswersAsTheNamesItWasGiven(t *testing.T) {
	as := func(d *daemon, name string) (int, string) {
		r, err := http.NewRequest(http.MethodGet, d.url+"/readyz", nil)
		require.NoError(t, err)
		r.Host = name
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer resp.Body.Close()
		body := make([]byte, 4096)
		n, _ := resp.Body.Read(body)
		return resp.StatusCode, string(body[:n])
	}
	cabinet := []string{"--cabinet", "plywood-cabinet", "--listen", ":0"}
	untold := startDaemon(t, cabinet...)
	assert.Regexp(t, `^http://127\.0\.0\.1:\d+$`, untold.url)
	code, body := as(untold, "smokehouse.example:8377")
	assert.Equal(t, http.StatusMisdirectedRequest, code)
	assert.Contains(t, body, "--host-name")
	assert.Equal(t, exitGood, untold.end(os.Interrupt))

	told := startDaemon(t, append(cabinet, "--host-name", "smokehouse.example", "--host-name", "Kiln")...)
	for name, want := range map[string]int{"smokehouse.example:8377": 200, "kiln": 200, "KILN.:80": 200, "127.0.0.1": 200, "evil.example": 421} {
		code, _ := as(told, name)
		assert.Equal(t, want, code, name)
	}
	assert.Equal(t, exitGood, told.end(syscall.SIGTERM))
}
