package notice

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
)

// other is the other end: it answers by the list, then always well.
type other struct {
	mu      sync.Mutex
	answers []any // a status or an error
	at      []time.Time
	got     []Notice
}

func (o *other) RoundTrip(r *http.Request) (*http.Response, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.at = append(o.at, time.Now())
	code := http.StatusOK
	if len(o.answers) > 0 {
		next := o.answers[0]
		o.answers = o.answers[1:]
		if err, failed := next.(error); failed {
			return nil, err
		}
		code = next.(int)
	}
	if code == http.StatusOK {
		var n Notice
		if err := json.NewDecoder(r.Body).Decode(&n); err != nil {
			return nil, err
		}
		o.got = append(o.got, n)
	}
	return &http.Response{StatusCode: code, Status: http.StatusText(code), Body: io.NopCloser(strings.NewReader(""))}, nil
}

func sender(t *testing.T, o *other) (*Sender, *bytes.Buffer) {
	var log bytes.Buffer
	s, err := New("https://notices.example/secret-path", slog.New(slog.NewTextHandler(&log, nil)))
	require.NoError(t, err)
	s.client.Transport = o
	return s, &log
}

func smoking() *snapshot.Snapshot {
	p := &profile.Product{Name: "Caraway ring", Stages: []profile.Stage{{Name: "smoke", Ask: "Light the smoke generator"}}}
	s := &snapshot.Snapshot{Simulated: true, Cabinet: &cabinet.Cabinet{Name: "Brick kiln"}, Product: p, BatchID: "b"}
	s.History.Begin("b", p, 0)
	return s
}

func happens(s *snapshot.Snapshot, at time.Duration, events ...controller.Event) *snapshot.Snapshot {
	next := *s
	next.State.Elapsed = at
	next.History.Add(time.Time{}, at, &next.State, controller.Outputs{}, events)
	return &next
}

// What calls a person is told, once each; what is none of their business and what was
// before the program came are not.
func TestWhatIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := &other{}
		s, _ := sender(t, o)
		now := happens(smoking(), 0, controller.Event{Kind: controller.Asked, Part: controller.HandStep})
		var mu sync.Mutex
		go s.Run(t.Context(), func() *snapshot.Snapshot { mu.Lock(); defer mu.Unlock(); return now })
		time.Sleep(5 * time.Second)
		o.mu.Lock()
		assert.Empty(t, o.got, "it was told by the program that is gone")
		o.mu.Unlock()
		for i, e := range []controller.Event{
			{Kind: controller.StageBegan}, {Kind: controller.Asked, Part: controller.HandStep}, {Kind: controller.Answered},
			{Kind: controller.AlarmRaised, Alarm: trip.CoreLost}, {Kind: controller.AlarmReturned, Alarm: trip.CoreLost},
			{Kind: controller.BatchChanged, Batch: controller.Held}, {Kind: controller.BatchChanged, Batch: controller.Stopped},
		} {
			mu.Lock()
			now = happens(now, time.Duration(i+1)*time.Second, e)
			mu.Unlock()
			time.Sleep(5 * time.Second)
		}
		o.mu.Lock()
		defer o.mu.Unlock()
		require.Len(t, o.got, 3)
		assert.Equal(t, Notice{ID: "b/2.0", Kind: "prompt", Simulated: true, Cabinet: "Brick kiln", Batch: "b", Product: "Caraway ring", Text: "Light the smoke generator"}, o.got[0])
		assert.Equal(t, "alarm", o.got[1].Kind)
		assert.Equal(t, trip.CoreLost.String(), o.got[1].Alarm)
		assert.Equal(t, trip.CoreLost.Entry().Priority.String(), o.got[1].Priority)
		assert.Equal(t, "end", o.got[2].Kind)
	})
}

// It is tried again, ever more rarely, until it is taken; a refusal is final.
func TestTryingAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := &other{answers: []any{errors.New("no route"), http.StatusServiceUnavailable, http.StatusTooManyRequests}}
		s, _ := sender(t, o)
		require.NoError(t, s.deliver(t.Context(), Notice{ID: "a"}))
		require.Len(t, o.at, 4)
		for i, want := range []time.Duration{2 * time.Second, 4 * time.Second, 8 * time.Second} {
			assert.Equal(t, want, o.at[i+1].Sub(o.at[i]))
		}
		for _, code := range []int{http.StatusNotFound, http.StatusFound, http.StatusUnauthorized} {
			o.answers, o.at = []any{code}, nil
			assert.ErrorIs(t, s.deliver(t.Context(), Notice{}), errRefused)
			assert.Len(t, o.at, 1)
		}
		o.answers, o.at = nil, nil
		for range 100 {
			o.answers = append(o.answers, http.StatusBadGateway)
		}
		began := time.Now()
		assert.Error(t, s.deliver(t.Context(), Notice{}))
		assert.Len(t, o.at, mostTries)
		assert.Equal(t, 510*time.Second, time.Since(began), "2 s and twice as long each time")
	})
}

// However many come while the other end is away, nobody waits, and the newest are kept.
func TestTheQueueIsBounded(t *testing.T) {
	o := &other{}
	s, log := sender(t, o)
	for i := range 3 * mostWaiting {
		s.put(Notice{ID: fmt.Sprint(i)})
	}
	assert.Len(t, s.queue, mostWaiting)
	assert.Equal(t, fmt.Sprint(2*mostWaiting), (<-s.queue).ID)
	assert.Contains(t, log.String(), "notices.example")
	assert.NotContains(t, log.String(), "secret")
}

// Only the address that the operator gave is ever asked: no redirection leads elsewhere,
// and no failure tells the address.
func TestItGoesNowhereElse(t *testing.T) {
	inner := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("it was led elsewhere") }))
	defer inner.Close()
	asked := 0
	outer := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		assert.Equal(t, "application/json", r.Header.Get("Content-Type"))
		http.Redirect(w, r, inner.URL, http.StatusTemporaryRedirect)
	}))
	s, err := New(outer.URL+"/secret", slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	assert.ErrorIs(t, s.deliver(t.Context(), Notice{}), errRefused)
	assert.Equal(t, 1, asked)
	outer.Close()
	err = s.post(t.Context(), nil)
	require.Error(t, err)
	assert.NotContains(t, err.Error(), "secret")
	for _, bad := range []string{"", "notices.example", "file:///etc/passwd", "ftp://x/", "http://", "https:///secret", "http://%zz", "javascript:alert(1)"} {
		_, err := New(bad, nil)
		require.Error(t, err, bad)
		assert.NotContains(t, err.Error(), "secret")
	}
}
