// Package access knows which browsers may act besides whoever has the operator's token: a
// code from the console, short enough to be typed and good for some minutes, gives one
// browser a session. A session can be listed and taken away. Of its secret only a hash is
// kept, and all that is kept here is bounded, whoever asks how often.
package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"
)

// File is where the sessions stand, below the folder of the state.
const File = "sessions.json"

// What there is at most, and for how long; common practice, no source.
const (
	MostSessions = 32
	MostCodes    = 4
	MostName     = 40
	CodeLasts    = 10 * time.Minute
	SessionLasts = 180 * 24 * time.Hour
	// Guesses are how many codes may be tried at once, and in each second after that. In the
	// ten minutes of a code that are 12,000 of them.
	Guesses = 20
)

// letters are those of a code: none that is taken for another. Eight of them are one of
// 31^8, 8.5e11: four codes are hit within their time with a chance of 6e-8.
const (
	letters    = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
	codeLength = 8
)

var (
	// ErrCode is the answer to every code that is none, or none any more.
	ErrCode = errors.New("this code is not good, or not any more; ask for a new one with: fumarium pair")
	// ErrTooMany says that too many codes were tried.
	ErrTooMany = errors.New("too many codes were tried; wait some seconds and try again")
	// ErrFull says that there is no room.
	ErrFull = fmt.Errorf("%d browsers are paired already; take one away first", MostSessions)
)

// A Session is one browser that may act.
type Session struct {
	ID   string    `json:"id"` // to speak of it; it opens nothing
	Name string    `json:"name"`
	From string    `json:"from"` // address that paired it
	Made time.Time `json:"made"`
	Hash string    `json:"hash"` // SHA-256 of its secret
	Seen time.Time `json:"-"`    // since the program began; zero is not yet
}

type code struct {
	text, name string
	until      time.Time
}

// A Keeper keeps codes and sessions.
type Keeper struct {
	file string // empty keeps nothing on disk
	now  func() time.Time

	mu       sync.Mutex
	sessions []Session
	codes    []code
	guesses  float64 // that may be made
	counted  time.Time
}

// Open reads the sessions of a state folder. What cannot be read is none, and said: those
// browsers pair again.
func Open(dir string, now func() time.Time) (*Keeper, error) {
	k := New(now)
	k.file = filepath.Join(dir, File)
	data, err := os.ReadFile(k.file)
	if errors.Is(err, fs.ErrNotExist) {
		return k, nil
	}
	if err == nil {
		err = json.Unmarshal(data, &k.sessions)
	}
	if err != nil || len(k.sessions) > MostSessions {
		k.sessions = nil
		return k, fmt.Errorf("the paired browsers in %s cannot be read, so there are none: %w; pair them again", k.file, errors.Join(err, errors.New("no list of sessions")))
	}
	return k, nil
}

// New keeps in memory only.
func New(now func() time.Time) *Keeper {
	return &Keeper{now: now, guesses: Guesses, counted: now()}
}

// Plain is a name as it is kept: one line of what can be seen, and short.
func Plain(name string) string {
	name = strings.Map(func(r rune) rune { // what is not UTF-8 comes as a rune that is
		if unicode.IsGraphic(r) && r != '\u00ad' {
			return r
		}
		return ' '
	}, name)
	name = strings.Join(strings.Fields(name), " ")
	end := 0
	for i, r := range name {
		if i+utf8.RuneLen(r) > MostName {
			break
		}
		end = i + utf8.RuneLen(r)
	}
	return name[:end]
}

// Code makes one for a browser that shall be called so. The oldest makes room.
func (k *Keeper) Code(name string) (text string, until time.Time) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.forget()
	if len(k.codes) >= MostCodes {
		k.codes = slices.Delete(k.codes, 0, 1+len(k.codes)-MostCodes)
	}
	if name = Plain(name); name == "" {
		name = "browser"
	}
	c := code{Drawn(codeLength), name, k.now().Add(CodeLasts)}
	k.codes = append(k.codes, c)
	return c.text, c.until
}

// Drawn is a text by chance, each letter as likely as the other: 31^n of them, of letters
// none of which is taken for another.
func Drawn(n int) string {
	var text strings.Builder
	one := make([]byte, 1)
	for text.Len() < n {
		_, _ = rand.Read(one) // it never fails: crypto/rand
		if i := int(one[0]); i < 256/len(letters)*len(letters) {
			text.WriteByte(letters[i%len(letters)])
		}
	}
	return text.String()
}

// forget drops what is over.
func (k *Keeper) forget() {
	now := k.now()
	k.codes = slices.DeleteFunc(k.codes, func(c code) bool { return !now.Before(c.until) })
	k.sessions = slices.DeleteFunc(k.sessions, func(s Session) bool { return over(s, now) })
}

// over reports whether a session has ended. What was made before the clock was set ends with
// the file only: nobody knows how old it is.
func over(s Session, now time.Time) bool {
	return s.Made.Year() > 2020 && now.Sub(s.Made) >= SessionLasts
}

// Typed is a code as a person may have typed it.
func Typed(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '-' || unicode.IsSpace(r) {
			return -1
		}
		return unicode.ToUpper(r)
	}, text)
}

// Spaced is a code as it is read out.
func Spaced(text string) string { return text[:len(text)/2] + "-" + text[len(text)/2:] }

// Pair gives a session for a code, which is used up by that, and its secret.
func (k *Keeper) Pair(typed, from string) (secret string, s Session, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.forget()
	now := k.now()
	if passed := now.Sub(k.counted).Seconds(); passed > 0 {
		k.guesses = min(Guesses, k.guesses+passed*Guesses)
		k.counted = now
	}
	if k.guesses < 1 {
		return "", s, ErrTooMany
	}
	k.guesses--
	typed = Typed(typed)
	found := -1
	for i, c := range k.codes { // all of them, so that time tells nothing
		if subtle.ConstantTimeCompare([]byte(c.text), []byte(typed)) == 1 {
			found = i
		}
	}
	switch {
	case found < 0:
		return "", s, ErrCode
	case len(k.sessions) >= MostSessions:
		return "", s, ErrFull
	}
	raw := make([]byte, 40)
	_, _ = rand.Read(raw) // it never fails: crypto/rand
	secret = base64.RawURLEncoding.EncodeToString(raw[:32])
	s = Session{ID: hex.EncodeToString(raw[32:35]), Name: k.codes[found].name, From: from, Made: now.Round(time.Second), Hash: hashOf(secret)}
	next := append(slices.Clone(k.sessions), s)
	if err := k.write(next); err != nil {
		return "", Session{}, fmt.Errorf("the session cannot be kept: %w; free the disk", err)
	}
	k.sessions = next
	k.codes = slices.Delete(k.codes, found, found+1)
	return secret, s, nil
}

func hashOf(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// Session is the one of a secret.
func (k *Keeper) Session(secret string) (Session, bool) {
	if secret == "" || len(secret) > 100 {
		return Session{}, false
	}
	hash := []byte(hashOf(secret))
	k.mu.Lock()
	defer k.mu.Unlock()
	k.forget()
	found := -1
	for i := range k.sessions {
		if subtle.ConstantTimeCompare(hash, []byte(k.sessions[i].Hash)) == 1 {
			found = i
		}
	}
	if found < 0 {
		return Session{}, false
	}
	k.sessions[found].Seen = k.now()
	return k.sessions[found], true
}

// Sessions are all of them, the oldest first.
func (k *Keeper) Sessions() []Session {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.forget()
	return slices.Clone(k.sessions)
}

// Revoke takes a session away; it is not believed any more even where that cannot be written.
// ok is false where there is none.
func (k *Keeper) Revoke(id string) (ok bool, err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	at := slices.IndexFunc(k.sessions, func(s Session) bool { return s.ID == id })
	if at < 0 {
		return false, nil
	}
	k.sessions = slices.Delete(k.sessions, at, at+1)
	if err := k.write(k.sessions); err != nil {
		return true, fmt.Errorf("it is taken away until the program ends, but that cannot be written: %w; free the disk and do it again, or delete %s", err, k.file)
	}
	return true, nil
}

// write replaces the file whole.
func (k *Keeper) write(sessions []Session) error {
	if k.file == "" {
		return nil
	}
	data, err := json.MarshalIndent(append([]Session{}, sessions...), "", "  ")
	if err != nil {
		return err
	}
	next, err := os.CreateTemp(filepath.Dir(k.file), ".sessions-*") // for its owner only
	if err != nil {
		return err
	}
	defer os.Remove(next.Name()) // gone already when it was renamed
	_, err = next.Write(append(data, '\n'))
	if err := errors.Join(err, next.Sync(), next.Close()); err != nil {
		return err
	}
	return os.Rename(next.Name(), k.file)
}
