package web_test

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/access"
	"fumarium/controller/web"
)

// paired is a handler with a code and a session, and the body with them in it.
func paired(t *testing.T, l *loop, has, guessed, unkept bool, body string) (http.Handler, string) {
	t.Helper()
	if !has {
		return handler(l), body
	}
	dir := filepath.Join(t.TempDir(), "state")
	require.NoError(t, os.Mkdir(dir, 0o700))
	k, err := access.Open(dir, func() time.Time { return noon })
	require.NoError(t, err)
	code, _ := k.Code("tablet")
	_, s, err := k.Pair(code, "192.0.2.7")
	require.NoError(t, err)
	code, _ = k.Code("phone")
	if guessed {
		for range access.Guesses {
			_, _, _ = k.Pair("22222222", "")
		}
	}
	if unkept {
		require.NoError(t, os.RemoveAll(dir))
	}
	h := configured(l, func(c *web.Config) { c.Sessions = k })
	return h, strings.NewReplacer("CODE", code, "SESSION", s.ID).Replace(body)
}

// victim is a daemon with one paired browser, and that browser's cookie.
type victim struct {
	h    http.Handler
	loop *loop
	keep *access.Keeper
	mine *http.Cookie
	at   time.Time
}

func newVictim(t *testing.T) *victim {
	t.Helper()
	v := &victim{loop: accepting(cooking()), at: noon}
	v.keep = access.New(func() time.Time { return v.at })
	v.h = configured(v.loop, func(c *web.Config) { c.Sessions = v.keep })
	code, _ := v.keep.Code("kitchen tablet")
	w := v.enter(code)
	require.Equal(t, http.StatusCreated, w.Code, w.Body)
	v.mine = w.Result().Cookies()[0]
	return v
}

// nameless drops the token that the tests send by themselves.
func nameless(r *http.Request) { r.Header.Del("Authorization") }

func (v *victim) enter(code string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	return ask(v.h, http.MethodPost, "/api/sessions", fmt.Sprintf(`{"code":%q}`, code), append([]func(*http.Request){nameless}, change...)...)
}

// by sends with the victim's cookie, as its browser does.
func (v *victim) by(method, path, body string, change ...func(*http.Request)) *httptest.ResponseRecorder {
	return ask(v.h, method, path, body, append([]func(*http.Request){nameless, func(r *http.Request) { r.AddCookie(v.mine) }}, change...)...)
}

const holdIt = `{"command":"hold"}`

// What a page of somebody else, a machine on the network or a script can try against a
// paired browser. None of it reaches the loop.
func TestAttacks(t *testing.T) {
	own := header("Sec-Fetch-Site", "same-origin")
	for name, attack := range map[string]struct {
		by     func(v *victim) *httptest.ResponseRecorder
		status int
	}{
		"a form of another site": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, header("Sec-Fetch-Site", "cross-site"), header("Content-Type", "text/plain"))
		}, 403},
		"a script of another site": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, header("Sec-Fetch-Site", "cross-site"))
		}, 403},
		"another port of this machine": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, header("Sec-Fetch-Site", "same-site"))
		}, 403},
		"an old browser, another site": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, header("Origin", "https://evil.example"))
		}, 403},
		"a page without an origin": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, header("Origin", "null"))
		}, 403},
		"a foreign page pairs itself": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/pairings", `{}`, header("Sec-Fetch-Site", "cross-site"))
		}, 403},
		"a foreign page enters": {func(v *victim) *httptest.ResponseRecorder {
			code, _ := v.keep.Code("")
			return v.enter(code, header("Sec-Fetch-Site", "cross-site"))
		}, 403},
		"a name that was rebound": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, own, host("evil.example"))
		}, 421},
		"a rebound name reads the list": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("GET", "/api/sessions", "", host("evil.example"))
		}, 421},
		"a form, encoded": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", "command=hold", own, header("Content-Type", "application/x-www-form-urlencoded"))
		}, 415},
		"a link": {func(v *victim) *httptest.ResponseRecorder { return v.by("GET", "/api/commands?command=hold", "") }, 405},
		"a preflight": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("OPTIONS", "/api/commands", "", header("Origin", "https://evil.example"))
		}, 405},
		"nobody": {func(v *victim) *httptest.ResponseRecorder { return ask(v.h, "POST", "/api/commands", holdIt, nameless) }, 401},
		"a wrong token beside a cookie": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, header("Authorization", "Bearer guess"))
		}, 401},
		"the token in the address": {func(v *victim) *httptest.ResponseRecorder {
			return ask(v.h, "POST", "/api/commands?token="+token, holdIt, nameless)
		}, 401},
		"the token as a cookie": {func(v *victim) *httptest.ResponseRecorder {
			return ask(v.h, "POST", "/api/commands", holdIt, nameless, header("Cookie", v.mine.Name+"="+token))
		}, 401},
		"the id of a session as cookie": {func(v *victim) *httptest.ResponseRecorder {
			return ask(v.h, "POST", "/api/commands", holdIt, nameless, header("Cookie", v.mine.Name+"="+v.keep.Sessions()[0].ID))
		}, 401},
		"its hash as a cookie": {func(v *victim) *httptest.ResponseRecorder {
			return ask(v.h, "POST", "/api/commands", holdIt, nameless, header("Cookie", v.mine.Name+"="+v.keep.Sessions()[0].Hash))
		}, 401},
		"an empty cookie": {func(v *victim) *httptest.ResponseRecorder {
			return ask(v.h, "POST", "/api/commands", holdIt, nameless, header("Cookie", v.mine.Name+"="))
		}, 401},
		"a plain cookie over TLS": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/commands", holdIt, func(r *http.Request) { r.TLS = &tls.ConnectionState{} })
		}, 401},
		"a session that was taken away": {func(v *victim) *httptest.ResponseRecorder {
			_, _ = v.keep.Revoke(v.keep.Sessions()[0].ID)
			return v.by("POST", "/api/commands", holdIt)
		}, 401},
		"a session of last year": {func(v *victim) *httptest.ResponseRecorder {
			v.at = v.at.Add(access.SessionLasts)
			return v.by("POST", "/api/commands", holdIt)
		}, 401},
		"who may act, asked by nobody": {func(v *victim) *httptest.ResponseRecorder { return ask(v.h, "GET", "/api/sessions", "", nameless) }, 401},
		"a code that was used": {func(v *victim) *httptest.ResponseRecorder {
			code, _ := v.keep.Code("")
			v.enter(code)
			return v.enter(code)
		}, 422},
		"a code that is old": {func(v *victim) *httptest.ResponseRecorder {
			code, _ := v.keep.Code("")
			v.at = v.at.Add(access.CodeLasts)
			return v.enter(code)
		}, 422},
		"no code": {func(v *victim) *httptest.ResponseRecorder { v.keep.Code(""); return v.enter("") }, 422},
		"guessing": {func(v *victim) *httptest.ResponseRecorder {
			v.at = v.at.Add(time.Minute)
			code, _ := v.keep.Code("")
			for i := range access.Guesses {
				assert.Equal(t, http.StatusUnprocessableEntity, v.enter(fmt.Sprintf("2222222%c", 'A'+i%8)).Code)
			}
			return v.enter(code)
		}, 429},
		"a huge body": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/pairings", strings.Repeat(" ", web.MaxBody+1))
		}, 413},
		"a product up the folder": {func(v *victim) *httptest.ResponseRecorder {
			return v.by("POST", "/api/products", `{"name":"../../etc/x","file":"x.yaml","product_yaml":"product: none"}`)
		}, 422},
	} {
		t.Run(name, func(t *testing.T) {
			v := newVictim(t)
			w := attack.by(v)
			assert.Equal(t, attack.status, w.Code, w.Body)
			assert.Empty(t, v.loop.requests())
			assert.Empty(t, w.Header().Get("Access-Control-Allow-Origin"))
			assert.Empty(t, w.Result().Cookies())
			assert.Contains(t, w.Header().Get("Content-Security-Policy"), "frame-ancestors 'none'")
		})
	}
}

// The browser itself may act; what it does stands on the record with its name and address,
// as does what comes with the token.
func TestAPairedBrowserActs(t *testing.T) {
	v := newVictim(t)
	assert.True(t, v.mine.HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, v.mine.SameSite)
	assert.Equal(t, "/", v.mine.Path)
	assert.False(t, v.mine.Secure, "this is not TLS")
	w := v.by("POST", "/api/commands", holdIt, header("Sec-Fetch-Site", "same-origin"), func(r *http.Request) { r.RemoteAddr = "[2001:db8::7]:4711" })
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	id := v.keep.Sessions()[0].ID
	assert.Equal(t, "browser kitchen tablet ("+id+") from 2001:db8::7", v.loop.requests()[0].Who)
	ask(v.h, "POST", "/api/commands", holdIt, func(r *http.Request) { r.RemoteAddr = "192.0.2.9:1" })
	assert.Equal(t, "operator from 192.0.2.9", v.loop.requests()[1].Who)

	var list struct{ Sessions []map[string]any }
	require.NoError(t, json.Unmarshal(v.by("GET", "/api/sessions", "").Body.Bytes(), &list))
	require.Len(t, list.Sessions, 1)
	assert.Equal(t, true, list.Sessions[0]["mine"])
	assert.NotContains(t, list.Sessions[0], "hash")

	// It pairs another, names are plain, and a new session is a new secret whatever cookie came.
	w = v.by("POST", "/api/pairings", `{"name":"<script>\u001b[2J"}`)
	var made struct{ Code, URL, SVG, QR string }
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &made))
	assert.Equal(t, "http://127.0.0.1:8080/#pair="+strings.ReplaceAll(made.Code, "-", ""), made.URL)
	assert.True(t, strings.HasPrefix(made.SVG, "<svg"))
	w = v.enter(made.Code, func(r *http.Request) { r.AddCookie(&http.Cookie{Name: v.mine.Name, Value: "fixed"}) })
	require.Equal(t, http.StatusCreated, w.Code)
	second := w.Result().Cookies()[0]
	assert.NotEqual(t, "fixed", second.Value)
	assert.NotEqual(t, v.mine.Value, second.Value)
	assert.Equal(t, "<script> [2J", v.keep.Sessions()[1].Name)

	// It signs itself out: the cookie goes, and is good for nothing.
	w = v.by("POST", "/api/sessions/revoke", fmt.Sprintf(`{"session":%q}`, id))
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	assert.Negative(t, w.Result().Cookies()[0].MaxAge)
	assert.Equal(t, http.StatusUnauthorized, v.by("POST", "/api/commands", holdIt).Code)
}

// Over TLS the cookie is for TLS alone and bound to the host.
func TestTheCookieOverTLS(t *testing.T) {
	v := newVictim(t)
	secured := func(r *http.Request) { r.TLS = &tls.ConnectionState{} }
	code, _ := v.keep.Code("")
	w := v.enter(code, secured)
	require.Equal(t, http.StatusCreated, w.Code)
	c := w.Result().Cookies()[0]
	assert.True(t, c.Secure && c.HttpOnly)
	assert.Equal(t, "__Host-fumarium-session", c.Name)
	assert.Empty(t, c.Domain)
	r := ask(v.h, "POST", "/api/commands", holdIt, nameless, secured, func(r *http.Request) { r.AddCookie(c) })
	assert.Equal(t, http.StatusOK, r.Code)
}

// A gate serves TLS, and a command under way keeps its place there as well.
func TestAGateServesTLS(t *testing.T) {
	server := httptest.NewTLSServer(nil)
	certificates := server.TLS.Certificates
	client := server.Client()
	server.Close()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	g := web.NewGate(handler(accepting(cooking())), slog.New(slog.DiscardHandler))
	done := make(chan error, 1)
	go func() { done <- g.ServeTLS(l, &tls.Config{Certificates: certificates}) }()
	answer, err := client.Get("https://" + l.Addr().String() + "/healthz")
	require.NoError(t, err)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	assert.Equal(t, 1, answer.ProtoMajor)
	require.NoError(t, answer.Body.Close())
	plain, err := http.Get("http://" + l.Addr().String() + "/healthz")
	require.NoError(t, err)
	assert.Equal(t, http.StatusBadRequest, plain.StatusCode)
	require.NoError(t, plain.Body.Close())
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	client.CloseIdleConnections()
	require.NoError(t, g.Shutdown(ctx))
	assert.ErrorIs(t, <-done, http.ErrServerClosed)
}
