// Package notice tells another program, over HTTP, when a person is wanted: a hand step
// waits, an alarm came up, the batch is over. It looks on from outside of the loop, and
// whatever becomes of a notice, no step hears of it.
package notice

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"time"

	"fumarium/controller"
	"fumarium/controller/history"
	"fumarium/controller/snapshot"
)

// All common practice, no source.
const (
	looks = 500 * time.Millisecond
	// mostWaiting is how many notices wait to be sent; then the oldest go.
	mostWaiting = 64
	answers     = 10 * time.Second // within which the other end must
	firstPause  = 2 * time.Second  // before it is tried again; each is twice the one before
	mostTries   = 9                // which takes some eight minutes
)

// A Notice is the body that is posted.
type Notice struct {
	ID        string    `json:"id"`   // of the event, as in the status: sent twice, it is the same
	Kind      string    `json:"kind"` // prompt, alarm or end
	Time      time.Time `json:"time"`
	Simulated bool      `json:"simulated"` // then nothing is hot
	Cabinet   string    `json:"cabinet"`
	Batch     string    `json:"batch"`
	Product   string    `json:"product"`
	Alarm     string    `json:"alarm,omitempty"`
	Priority  string    `json:"priority,omitempty"`
	Text      string    `json:"text"`
}

// A Sender posts notices to the one address that the operator gave, and follows nobody
// elsewhere.
type Sender struct {
	to     string
	host   string // for the log: the rest of the address may be a secret
	client http.Client
	log    *slog.Logger
	queue  chan Notice
}

// New makes a sender to an http or https address.
func New(address string, log *slog.Logger) (*Sender, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" {
		return nil, errors.New("it is no address such as https://notices.example/cabinet; write it whole") // it may hold a secret
	}
	return &Sender{
		to: address, host: u.Host, log: log, queue: make(chan Notice, mostWaiting),
		client: http.Client{
			Timeout:       answers,
			Transport:     &http.Transport{ResponseHeaderTimeout: answers, IdleConnTimeout: time.Minute, MaxResponseHeaderBytes: 16 << 10},
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
	}, nil
}

// Run looks on and sends until ctx ends.
func (s *Sender) Run(ctx context.Context, latest func() *snapshot.Snapshot) {
	go s.send(ctx)
	ticker := time.NewTicker(looks)
	defer ticker.Stop()
	var last history.ID
	for seen := false; ; {
		if snap := latest(); snap != nil {
			events := snap.History.Events()
			if seen { // what happened before this program came was told then
				for _, n := range news(snap, after(events, last)) {
					s.put(n)
				}
			}
			if seen = true; len(events) > 0 {
				last = events[len(events)-1].ID
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

// after is what follows the event of that id; all, where it has gone.
func after(events []history.Event, last history.ID) []history.Event {
	for i := len(events) - 1; i >= 0; i-- {
		if events[i].ID == last {
			return events[i+1:]
		}
	}
	return events
}

// news is what a person must hear of.
func news(s *snapshot.Snapshot, events []history.Event) (all []Notice) {
	for i := range events {
		e := &events[i]
		n := Notice{ID: e.ID.String(), Time: e.Wall, Simulated: s.Simulated, Batch: e.ID.Batch, Text: e.Text()}
		if s.Cabinet != nil {
			n.Cabinet = s.Cabinet.Name
		}
		if s.Product != nil && e.ID.Batch == s.BatchID {
			n.Product = s.Product.Name
		}
		switch {
		case e.Kind == controller.Asked:
			n.Kind, n.Text = "prompt", e.Prompt()
		case e.Kind == controller.AlarmRaised:
			n.Kind, n.Alarm, n.Priority = "alarm", e.Alarm.String(), e.Priority.String()
		case e.Kind == controller.BatchChanged && (e.Batch == controller.Complete || e.Batch == controller.Stopped || e.Batch == controller.Aborted):
			n.Kind = "end"
			if _, text, known := s.Ending(); known && e.ID.Batch == s.BatchID {
				n.Text = text
			}
		default:
			continue
		}
		all = append(all, n)
	}
	return all
}

// put never waits: when too many do, the oldest goes.
func (s *Sender) put(n Notice) {
	for {
		select {
		case s.queue <- n:
			return
		default:
		}
		select {
		case old := <-s.queue:
			s.log.Warn("a notice was given up: too many wait", "id", old.ID, "to", s.host)
		default:
		}
	}
}

func (s *Sender) send(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case n := <-s.queue:
			if err := s.deliver(ctx, n); err != nil && ctx.Err() == nil {
				s.log.Warn("a notice did not arrive", "id", n.ID, "to", s.host, "err", err)
			}
		}
	}
}

// errRefused is an answer to which trying again changes nothing.
var errRefused = errors.New("refused")

// deliver posts one notice until it is taken, refused, or tried too often.
func (s *Sender) deliver(ctx context.Context, n Notice) error {
	body, err := json.Marshal(n)
	if err != nil {
		return err
	}
	pause := firstPause
	for try := 1; ; try++ {
		if err = s.post(ctx, body); err == nil || errors.Is(err, errRefused) || try == mostTries {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause):
		}
		pause *= 2
	}
}

func (s *Sender) post(ctx context.Context, body []byte) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.to, bytes.NewReader(body))
	if err != nil {
		return errRefused
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "fumarium")
	answer, err := s.client.Do(r)
	if err != nil {
		if u := (*url.Error)(nil); errors.As(err, &u) { // it would say the whole address
			err = u.Err
		}
		return err
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 4096)) // so that the connection may serve again
	switch code := answer.StatusCode; {
	case code/100 == 2:
		return nil
	case code/100 == 5 || code == http.StatusRequestTimeout || code == http.StatusTooManyRequests:
		return errors.New(answer.Status)
	default:
		return fmt.Errorf("%w: %s", errRefused, answer.Status)
	}
}
