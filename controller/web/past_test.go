package web_test

import (
	"context"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"

	"fumarium/controller/outlook"
	"fumarium/controller/web"
	"fumarium/profile/proof"
)

// archive has one batch that is over and one under way; it fails where its loop does.
type archive struct{ *loop }

func cookedBatch() *web.WholeBatch {
	state, good, peak, end, by := "complete", true, 71.8, 2700.0, "time"
	ended := noon.Add(9 * time.Hour)
	b := &web.WholeBatch{
		PastBatch: web.PastBatch{Batch: "cooked", World: "real", Product: ring.Name, Cabinet: "Brick kiln", Started: noon, Ended: &ended, State: &state, ElapsedSeconds: 32400},
		Good:      &good, Ending: "complete and good", NotCovered: proof.Uncovered(), PeakCore: &peak, PeakChamber: &peak,
		Stages: []web.PastStage{{Name: "dry", EndSeconds: &end, EndedBy: &by}, {Name: "smoke", StartSeconds: end}},
		Notes:  []web.PastNote{{Time: ended, Who: "operator", Text: "a little dry", Mark: "4/5"}}, Points: []outlook.Point{{Core: &peak}},
	}
	var v proof.Verdict
	b.Rules = web.RulesOf(v)
	return b
}

func (a archive) List(context.Context) ([]web.PastBatch, error) {
	return []web.PastBatch{{Batch: "running", World: "real"}, cookedBatch().PastBatch}, a.err
}

func (a archive) Batch(_ context.Context, id string) (*web.WholeBatch, error) {
	switch id {
	case "cooked":
		return cookedBatch(), a.err
	case "running":
		return nil, web.ErrUnderWay
	}
	return nil, web.ErrNoBatch
}

func (a archive) Notes(_ context.Context, id string) ([]web.PastNote, error) {
	if id == "another" {
		return nil, web.ErrNoBatch
	}
	return cookedBatch().Notes, a.err
}

// thorough takes as long as it may.
type thorough struct{ archive }

func (thorough) Batch(ctx context.Context, _ string) (*web.WholeBatch, error) {
	<-ctx.Done()
	return nil, ctx.Err()
}

func TestNobodyWaitsLongForABatch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := accepting(cooking())
		h := configured(l, func(c *web.Config) { c.Archive = thorough{archive{l}} })
		began := time.Now()
		codes := make(chan int)
		for _, path := range []string{"/api/batches/cooked", "/api/batches/cooked"} {
			go func() { codes <- ask(h, http.MethodGet, path, "").Code }()
		}
		for range 2 {
			assert.Equal(t, http.StatusServiceUnavailable, <-codes)
		}
		assert.Equal(t, 10*time.Second, time.Since(began))
		assert.Equal(t, http.StatusOK, ask(h, http.MethodGet, "/api/batches", "").Code, "the next is served")
	})
}

func TestANoteMayBeAMark(t *testing.T) {
	var text, mark string
	h := configured(accepting(cooking()), func(c *web.Config) {
		c.Note = func(_ context.Context, _, _, t, m string) error { text, mark = t, m; return nil }
	})
	for body, want := range map[string]int{
		`{"command":"note","batch":"b","mark":" 4/5 "}`:                                     http.StatusOK,
		`{"command":"note","batch":"b","text":"dry","mark":"4/5"}`:                          http.StatusOK,
		`{"command":"note","batch":"b","mark":" "}`:                                         http.StatusUnprocessableEntity,
		`{"command":"note","batch":"b","mark":"01234567890123456789012345678901234567890"}`: http.StatusUnprocessableEntity,
		`{"command":"hold","mark":"4/5"}`:                                                   http.StatusUnprocessableEntity,
	} {
		text, mark = "", ""
		assert.Equal(t, want, ask(h, http.MethodPost, "/api/commands", body).Code, body)
		if want == http.StatusOK {
			assert.Equal(t, "4/5", mark)
			assert.NotEqual(t, " ", text)
		}
	}
}
