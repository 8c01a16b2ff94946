package web

import (
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"time"

	"fumarium/controller/access"
	"fumarium/controller/square"
)

// The cookie of a session. Over TLS its name lets no other host and no plain page set it
// (RFC 6265bis, 4.1.3.2).
const (
	cookieName       = "fumarium-session"
	secureCookieName = "__Host-" + cookieName
)

func nameOfCookie(r *http.Request) string {
	if r.TLS != nil {
		return secureCookieName
	}
	return cookieName
}

// session is the one that a request's cookie has.
func (s *server) session(r *http.Request) (access.Session, bool) {
	if s.Sessions == nil {
		return access.Session{}, false
	}
	c, err := r.Cookie(nameOfCookie(r))
	if err != nil {
		return access.Session{}, false
	}
	return s.Sessions.Session(c.Value)
}

// authorized says why a request may change nothing. A token that is given is judged alone:
// nobody who names a wrong one is let in by a cookie.
func (s *server) authorized(r *http.Request) *problem {
	if r.Header.Get("Authorization") == "" {
		if _, ok := s.session(r); ok {
			return nil
		}
	}
	if s.Token == "" {
		return refuse(http.StatusUnauthorized, "this daemon has no operator's token, so nothing can be changed; give it one and start it again")
	}
	scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	given := sha256.Sum256([]byte(token)) // equal lengths for the comparison
	if same := subtle.ConstantTimeCompare(given[:], s.token[:]); same != 1 || !strings.EqualFold(scheme, "Bearer") {
		return refuse(http.StatusUnauthorized, "changing anything needs a paired browser (fumarium pair) or the operator's token; send it as \"Authorization: Bearer TOKEN\"")
	}
	return nil
}

// who says who gives a command and from where, as it goes on the record.
func (s *server) who(r *http.Request) string {
	from := addressOf(r)
	if c, ok := s.session(r); ok && r.Header.Get("Authorization") == "" {
		return fmt.Sprintf("browser %s (%s) from %s", c.Name, c.ID, from)
	}
	return "operator from " + from
}

// addressOf is where a request comes from: the machine that is connected, be it a proxy.
func addressOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	return access.Plain(host)
}

// pairing is a code to be typed or scanned.
type pairing struct {
	Code  string    `json:"code"`
	Until time.Time `json:"until"`
	URL   string    `json:"url"` // of the page, with the code behind #, which no browser sends on
	// Open says that other machines can reach it.
	Open bool   `json:"open"`
	SVG  string `json:"svg"` // the URL as a QR code
	QR   string `json:"qr"`  // the same as rows of 0 and 1, quiet zone included
}

// pair makes a code for another browser.
func (s *server) pair(w http.ResponseWriter, r *http.Request) *problem {
	if p := s.permitted(r); p != nil {
		return p
	}
	body, p := bodyOf(w, r)
	if p != nil {
		return p
	}
	var name string
	if err := readStrings(body, "a pairing", `{"name": "kitchen tablet"}`, []field{{"name", &name, 0}}); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	if s.Sessions == nil {
		return refuse(http.StatusConflict, "this daemon pairs with no browsers; use the operator's token")
	}
	page, open := s.pageFor(r)
	code, until := s.Sessions.Code(name)
	made := pairing{Code: access.Spaced(code), Until: until, URL: page + "#pair=" + code, Open: open}
	if drawn, err := square.OnAScreen(made.URL); err == nil { // else it is typed
		made.SVG, made.QR = drawn.SVG("the code to scan"), drawn.Rows()
	}
	writeJSON(w, "application/json", http.StatusOK, made)
	return nil
}

// pageFor is the address that another machine opens: that of the request where it came by
// one, else the first that the daemon has.
func (s *server) pageFor(r *http.Request) (page string, open bool) {
	scheme := "http://"
	if r.TLS != nil {
		scheme = "https://"
	}
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = r.Host
	}
	if ip := net.ParseIP(strings.Trim(host, "[]")); ip != nil && !ip.IsLoopback() {
		return scheme + r.Host + "/", true
	}
	if len(s.Pages) > 0 {
		return s.Pages[0], true
	}
	return scheme + r.Host + "/", false
}

// mostCode is how much who has only a code may send.
const mostCode = 1 << 10

// shownSession is a session as it is listed.
type shownSession struct {
	ID   string     `json:"id"`
	Name string     `json:"name"`
	From string     `json:"from"`
	Made time.Time  `json:"made"`
	Seen *time.Time `json:"seen"` // since the daemon began
	Mine bool       `json:"mine"`
}

func shownOf(c access.Session, mine bool) shownSession {
	shown := shownSession{ID: c.ID, Name: c.Name, From: c.From, Made: c.Made, Mine: mine}
	if !c.Seen.IsZero() {
		shown.Seen = &c.Seen
	}
	return shown
}

// enter gives a session for a code. Nobody is asked who he is: the code says it.
func (s *server) enter(w http.ResponseWriter, r *http.Request) *problem {
	if p := s.fromOurPage(r); p != nil {
		return p
	}
	body, p := bodyWithin(w, r, mostCode) // from whoever comes
	if p != nil {
		return p
	}
	var code string
	if err := readStrings(body, "a session", `{"code": "XXXX-XXXX"}`, []field{{"code", &code, 0}}); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	if s.Sessions == nil {
		return refuse(http.StatusConflict, "this daemon pairs with no browsers; use the operator's token")
	}
	secret, made, err := s.Sessions.Pair(code, addressOf(r))
	switch {
	case errors.Is(err, access.ErrTooMany):
		w.Header().Set("Retry-After", "5")
		return refuse(http.StatusTooManyRequests, "%v", err)
	case errors.Is(err, access.ErrCode):
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	case err != nil:
		return refuse(http.StatusConflict, "%v", err)
	}
	s.setCookie(w, r, secret, int(access.SessionLasts.Seconds()))
	writeJSON(w, "application/json", http.StatusCreated, shownOf(made, true))
	return nil
}

// setCookie gives a browser its secret, or takes it away. No script can read it, and no page
// of another site sends it.
func (s *server) setCookie(w http.ResponseWriter, r *http.Request, secret string, age int) {
	http.SetCookie(w, &http.Cookie{Name: nameOfCookie(r), Value: secret, Path: "/", MaxAge: age, HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode})
}

// listSessions is for who may act: it says who else may.
func (s *server) listSessions(w http.ResponseWriter, r *http.Request) *problem {
	if p := s.authorized(r); p != nil {
		return p
	}
	list := []shownSession{}
	if s.Sessions != nil {
		mine, _ := s.session(r)
		for _, c := range s.Sessions.Sessions() {
			list = append(list, shownOf(c, c.ID == mine.ID))
		}
	}
	writeJSON(w, "application/json", http.StatusOK, map[string][]shownSession{"sessions": list})
	return nil
}

// revoke takes a session away, one's own among them.
func (s *server) revoke(w http.ResponseWriter, r *http.Request) *problem {
	if p := s.permitted(r); p != nil {
		return p
	}
	body, p := bodyOf(w, r)
	if p != nil {
		return p
	}
	var id string
	if err := readStrings(body, "what is taken away", `{"session": "a1b2c3"}`, []field{{"session", &id, 0}}); err != nil {
		return refuse(http.StatusBadRequest, "%v", err)
	}
	mine, _ := s.session(r)
	ok, err := false, error(nil)
	if s.Sessions != nil {
		ok, err = s.Sessions.Revoke(id)
	}
	switch {
	case err != nil:
		return refuse(http.StatusServiceUnavailable, "%v", err)
	case !ok:
		return refuse(http.StatusUnprocessableEntity, "there is no session %q; take one from /api/sessions", id)
	}
	if mine.ID == id {
		s.setCookie(w, r, "", -1)
	}
	return s.listSessionsAfter(w)
}

// listSessionsAfter is the list once one was taken away, whoever asked.
func (s *server) listSessionsAfter(w http.ResponseWriter) *problem {
	list := []shownSession{}
	for _, c := range s.Sessions.Sessions() {
		list = append(list, shownOf(c, false))
	}
	writeJSON(w, "application/json", http.StatusOK, map[string][]shownSession{"sessions": list})
	return nil
}
