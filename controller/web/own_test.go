package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/source"
)

// shelf keeps one product, and nothing that is called taken. It fails with the loop.
type shelf struct{ *loop }

func (s shelf) Names() ([]string, error) { return []string{"my-ring"}, s.err }

func (s shelf) Add(name, file string, _ []byte, replace bool) (string, error) {
	if file == "taken.yaml" && !replace {
		return "", web.ErrTaken
	}
	return "my-ring", nil
}

// judged finds advice in every ring, and no product in anything else.
func judged(file string, data []byte) (*profile.Product, source.Findings) {
	if strings.Contains(string(data), "\nproduct: Beech links\n") {
		return ring, nil
	}
	if string(data) != "product: Caraway ring" {
		return nil, source.Findings{{File: file, Line: 1, Column: 1, Message: "stages are missing"}, {File: file, Line: 2, Column: 1, Message: "so is the formula", Remedy: "add it"}}
	}
	return ring, source.Findings{{File: file, Line: 1, Column: 1, Severity: source.Warning, Code: "no-chill", Message: "it is left to cool"}}
}

func TestProductsAreListedAndBrought(t *testing.T) {
	h := handler(accepting(idle()))
	assert.JSONEq(t, `{"products":["my-ring","Caraway ring"],"own":["my-ring"]}`, ask(h, http.MethodGet, "/api/products", "").Body.String())

	w := ask(h, http.MethodPost, "/api/products", `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`)
	assert.Equal(t, http.StatusCreated, w.Code)
	assert.JSONEq(t, `{"name":"my-ring","findings":["advice: ring.yaml:1:1: no-chill: it is left to cool"]}`, w.Body.String())

	// All that is wrong is said at once.
	w = ask(h, http.MethodPost, "/api/products", `{"file":"ring.yaml","product_yaml":"product: none"}`)
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), `"findings":["error: ring.yaml:1:1: stages are missing","error: ring.yaml:2:1: so is the formula; add it"]`)

	w = ask(h, http.MethodPost, "/api/products", `{"file":"taken.yaml","product_yaml":"product: Caraway ring"}`)
	assert.Equal(t, http.StatusConflict, w.Code)
	assert.Contains(t, w.Body.String(), `"excusable":true`)
	assert.Equal(t, http.StatusCreated, ask(h, http.MethodPost, "/api/products", `{"file":"taken.yaml","product_yaml":"product: Caraway ring","replace":"yes"}`).Code)

	for _, body := range []string{`{"file":"ring.yaml","file":"x","product_yaml":"y"}`, `{"path":"../x"}`, `{"file":5}`} {
		assert.Equal(t, http.StatusBadRequest, ask(h, http.MethodPost, "/api/products", body).Code, body)
	}
	nowhere := configured(accepting(idle()), func(c *web.Config) { c.Own = nil })
	assert.Equal(t, http.StatusConflict, ask(nowhere, http.MethodPost, "/api/products", `{"file":"ring.yaml","product_yaml":"product: Caraway ring"}`).Code)
}

// real is a handler with the shipped products as they are.
func real(l *loop) http.Handler {
	return configured(l, func(c *web.Config) {
		c.FindProduct = func(name string) (*profile.Product, []byte, error) {
			e, err := catalog.Find(name)
			return e.Value, e.Data, err
		}
		c.ParseProduct = profile.Parse
		c.Check = func(file string, data []byte) (*profile.Product, source.Findings) {
			p, _ := profile.Parse(file, data)
			return p, nil
		}
	})
}

// The marjoram ring for a kilogram: by hand, a fifth of what its file has, and 12 h of rest,
// two of which are over.
func TestStartSheet(t *testing.T) {
	w := ask(real(accepting(idle())), http.MethodPost, "/api/start-sheet", `{"product":"marjoram-ring","meat":"1 kg","stuffed_at":"2026-03-14T10:00:01Z"}`)
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	var sheet struct {
		Meat  float64 `json:"meat_kilograms"`
		Weigh []struct {
			Name, Part string
			Kilograms  float64
		}
		Rest struct {
			Needed float64 `json:"needed_seconds"`
			Rested float64 `json:"rested_seconds"`
		}
		Doubts       []string
		Refused      bool
		ReasonNeeded bool `json:"reason_needed"`
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &sheet))
	assert.InDelta(t, 1, sheet.Meat, 1e-9)
	got := map[string]float64{}
	for _, x := range sheet.Weigh {
		got[x.Part+" "+x.Name] = x.Kilograms
	}
	for name, want := range map[string]float64{"meat pork shoulder": 0.84, "meat pork back fat": 0.16, "cure cure no. 1": 0.0024, "other salt": 0.015, "other white pepper": 0.0022} {
		assert.InEpsilon(t, want, got[name], 1e-4, name)
	}
	assert.Equal(t, (12 * time.Hour).Seconds(), sheet.Rest.Needed)
	assert.Equal(t, (2 * time.Hour).Seconds(), sheet.Rest.Rested)
	assert.True(t, sheet.ReasonNeeded)
	assert.False(t, sheet.Refused)
}

// A start for the meat in hand hands in, and so records, the file with what was weighed.
func TestStartForTheMeatInHand(t *testing.T) {
	l := accepting(idle())
	l.answers(snapshot.Reply{Accepted: true, Recorded: true, State: controller.Running})
	w := ask(real(l), http.MethodPost, "/api/commands", `{"command":"start","product":"marjoram-ring","meat":"1 kg","reason":"a trial"}`)
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	r := l.requests()[0]
	assert.Contains(t, string(r.ProductFile), "{name: cure no. 1, mass: 2.4 g,")
	assert.InDelta(t, 1, float64(r.Product.Formula.MeatMass()), 1e-9)
	again, err := profile.Parse("marjoram-ring", r.ProductFile)
	require.NoError(t, err)
	assert.Equal(t, r.Product, again, "a replay reads the same")
	for _, body := range []string{`{"command":"start","product":"marjoram-ring","meat":"1 t"}`, `{"command":"hold","meat":"1 kg"}`} {
		assert.Equal(t, http.StatusUnprocessableEntity, ask(real(l), http.MethodPost, "/api/commands", body).Code, body)
	}
}
