package courier

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"fumarium/controller/outlook"
	"fumarium/controller/record"
)

// File is where a board keeps what it knows of its hub, in the state folder.
const File = "hub.json"

// Joined stands for the address of the hub that a board has joined.
const Joined = "joined"

// A Hub is one that this board has joined.
type Hub struct {
	URL         string `json:"url"`
	Cabinet     string `json:"cabinet"` // what the hub calls this board's cabinet
	World       string `json:"world"`
	Key         string `json:"key"`
	Fingerprint string `json:"fingerprint,omitempty"` // SHA-256 of the one certificate that it may have
}

// All common practice, no source.
const (
	answers    = time.Minute // within which a hub must have taken a post
	mostAnswer = 8 << 20     // bytes: a list of heads, or links that come back
)

// Errors of a hub's answers.
var (
	// ErrNone says that this board has joined no hub.
	ErrNone = errors.New("this board has joined no hub; ask for a code there, then: fumarium hub join ADDRESS CODE")
	// ErrKey says that the hub does not know this board any more.
	ErrKey = errors.New("the hub does not take this board's key any more; ask for a new code there, then: fumarium hub join ADDRESS CODE")
)

// A Conflict is the hub's word that what was sent does not go with what it keeps.
type Conflict string

func (c Conflict) Error() string { return "the hub refuses it: " + string(c) }

// Read gives the hub that the board of a state folder has joined.
func Read(dir string) (*Hub, error) {
	data, err := os.ReadFile(filepath.Join(dir, File))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNone
	}
	h := &Hub{}
	if err == nil {
		err = json.Unmarshal(data, h)
	}
	if err == nil {
		_, err = address(h.URL)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w; join the hub anew", filepath.Join(dir, File), err)
	}
	return h, nil
}

// Keep writes it whole, for its owner alone.
func (h *Hub) Keep(dir string) error {
	data, err := json.Marshal(h)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, "."+File+"-") // readable by its owner only
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), filepath.Join(dir, File))
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}

// address is a hub's, which is reached by TLS, or is this machine.
func address(text string) (*url.URL, error) {
	u, err := url.Parse(text)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.User != nil || strings.Trim(u.Path, "/") != "" {
		return nil, errors.New("it is no address such as https://hub.example:8380; write it whole")
	}
	if host := u.Hostname(); u.Scheme == "http" && host != "127.0.0.1" && host != "::1" && host != "localhost" {
		return nil, errors.New("a key must not go over a network in the clear; write https://, and let the hub have a certificate")
	}
	return u, nil
}

// A client asks one hub, and follows nobody elsewhere.
type client struct {
	hub  Hub
	http http.Client
}

func newClient(h *Hub) *client {
	t := &http.Transport{ResponseHeaderTimeout: answers, TLSHandshakeTimeout: answers / 4, IdleConnTimeout: 2 * time.Minute, MaxIdleConns: 1, MaxResponseHeaderBytes: 16 << 10}
	if want := h.Fingerprint; want != "" { // then it vouches, and no authority does
		t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12, InsecureSkipVerify: true, VerifyConnection: func(s tls.ConnectionState) error {
			sum := sha256.Sum256(s.PeerCertificates[0].Raw)
			if is := hex.EncodeToString(sum[:]); is != want {
				return fmt.Errorf("the hub's certificate has the fingerprint %s and this board joined one with %s; if that is right, join anew", is, want)
			}
			return nil
		}}
	}
	return &client{hub: *h, http: http.Client{Timeout: answers, Transport: t, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// answer is what a hub says.
type answer struct {
	Error string
	Heads []told

	Cabinet, World, Key string
}

type told struct {
	Batch string `json:"batch"`
	Links int64  `json:"links"`
	Hash  string `json:"head"`
}

func (a *answer) heads() (all []record.Head, err error) {
	for _, t := range a.Heads {
		hash, err := record.ParseHash(t.Hash)
		if err != nil {
			return nil, fmt.Errorf("the hub's answer is not understood: %w", err)
		}
		all = append(all, record.Head{Batch: t.Batch, Links: t.Links, Hash: hash})
	}
	return all, nil
}

// ask gives the body of a good answer. A conflict has one, too.
func (c *client) ask(ctx context.Context, method, path string, body []byte, with http.Header) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, method, strings.TrimSuffix(c.hub.URL, "/")+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	maps.Copy(r.Header, with)
	if r.Header.Set("User-Agent", "fumarium"); c.hub.Key != "" {
		r.Header.Set("Authorization", "Bearer "+c.hub.Key)
	}
	got, err := c.http.Do(r)
	if err != nil {
		return nil, err
	}
	defer got.Body.Close()
	data, err := io.ReadAll(io.LimitReader(got.Body, mostAnswer+1))
	if err == nil && len(data) > mostAnswer {
		err = errors.New("the hub's answer is too long")
	}
	if err != nil || got.StatusCode == http.StatusOK {
		return data, err
	}
	var a answer
	_ = json.Unmarshal(data, &a)
	if a.Error == "" {
		a.Error = got.Status
	}
	switch got.StatusCode {
	case http.StatusConflict:
		return data, Conflict(a.Error)
	case http.StatusUnauthorized:
		return nil, ErrKey
	}
	return nil, errors.New(a.Error)
}

func (c *client) told(ctx context.Context, method, path string, body []byte, with http.Header) ([]record.Head, error) {
	data, asked := c.ask(ctx, method, path, body, with)
	if data == nil {
		return nil, asked
	}
	var a answer
	if err := json.Unmarshal(data, &a); err != nil {
		return nil, errors.Join(asked, fmt.Errorf("the hub's answer is not understood: %w", err))
	}
	heads, err := a.heads()
	return heads, errors.Join(asked, err)
}

// Join lets this board join a hub by a code.
func Join(ctx context.Context, to, code, fingerprint string) (*Hub, error) {
	u, err := address(to)
	if err != nil {
		return nil, err
	}
	fingerprint = strings.ToLower(strings.NewReplacer(":", "", " ", "").Replace(fingerprint))
	if fingerprint != "" {
		if _, err := record.ParseHash(fingerprint); err != nil || u.Scheme != "https" {
			return nil, errors.New("a fingerprint is 64 hex digits, as fumarium-hub certificate prints it, and goes with https://")
		}
	}
	h := &Hub{URL: u.Scheme + "://" + u.Host, Fingerprint: fingerprint}
	body, err := json.Marshal(map[string]string{"code": code})
	if err != nil {
		return nil, err
	}
	data, err := newClient(h).ask(ctx, http.MethodPost, "/v1/join", body, nil)
	if err != nil {
		return nil, err
	}
	var a answer
	if err := json.Unmarshal(data, &a); err != nil || a.Key == "" {
		return nil, errors.New("the hub's answer is not understood")
	}
	h.Cabinet, h.World, h.Key = a.Cabinet, a.World, a.Key
	return h, nil
}

// Heads gives the heads that the hub keeps, oldest batch first. It changes nothing there.
func (h *Hub) Heads(ctx context.Context) ([]record.Head, error) {
	return newClient(h).told(ctx, http.MethodGet, "/v1/heads", nil, nil)
}

// Links gives all links of those batches, in order, as the hub keeps them.
func (h *Hub) Links(ctx context.Context, heads []record.Head) iter.Seq2[record.Link, error] {
	c := newClient(h)
	return func(yield func(record.Link, error) bool) {
		for _, head := range heads {
			for from := int64(0); from < head.Links; {
				path := "/v1/links?" + url.Values{"batch": {head.Batch}, "from": {strconv.FormatInt(from, 10)}}.Encode()
				data, err := c.ask(ctx, http.MethodGet, path, nil, nil)
				var links []record.Link
				if err == nil {
					links, err = record.ReadLinks(data)
				}
				if err == nil && len(links) == 0 {
					err = fmt.Errorf("the hub gives %d of %d links of batch %s", from, head.Links, head.Batch)
				}
				if err != nil {
					yield(record.Link{}, err)
					return
				}
				for _, l := range links {
					if !yield(l, nil) {
						return
					}
				}
				from += int64(len(links))
			}
		}
	}
}

// compare tells the hub this board's heads and gives those that it keeps.
func (c *client) compare(ctx context.Context, heads []record.Head) ([]record.Head, error) {
	body := struct {
		Heads []told `json:"heads"`
	}{make([]told, len(heads))}
	for i, h := range heads {
		body.Heads[i] = told{h.Batch, h.Links, h.Hash.String()}
	}
	data, err := json.Marshal(body)
	if err != nil {
		return nil, err
	}
	return c.told(ctx, http.MethodPost, "/v1/heads", data, nil)
}

// send posts links and gives the heads that they led to. The forecast goes beside them: a hub
// that does not know it takes the links all the same.
func (c *client) send(ctx context.Context, links []record.Link, finish *outlook.Finish) ([]record.Head, error) {
	var body bytes.Buffer
	packer := gzip.NewWriter(&body)
	if err := errors.Join(record.WriteLinks(packer, links), packer.Close()); err != nil {
		return nil, err
	}
	with := http.Header{"Content-Encoding": {"gzip"}}
	if finish != nil {
		text, err := json.Marshal(finish)
		if err != nil {
			return nil, err
		}
		with.Set("Fumarium-Finish", string(text))
	}
	return c.told(ctx, http.MethodPost, "/v1/links", body.Bytes(), with)
}
