package desk_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/desk"
	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/courier"
	"fumarium/controller/outlook"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

func TestMain(m *testing.M) { postgrestest.Main(m) }

type hub struct {
	t *testing.T
	*store.Store
	*httptest.Server
	desk *desk.Desk
}

func opened(t *testing.T) *hub {
	s, err := store.Open(t.Context(), postgrestest.Fresh(t), time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(s.Close)
	d := desk.New(s, t.TempDir(), false, slog.New(slog.NewTextHandler(t.Output(), nil)))
	h := &hub{t, s, httptest.NewServer(d.Handler()), d}
	t.Cleanup(h.Server.Close)
	return h
}

func (h *hub) joined(name string) *courier.Hub {
	code, err := h.Code(h.t.Context(), name, "simulated", false)
	require.NoError(h.t, err)
	b, err := courier.Join(h.t.Context(), h.URL, strings.ToLower(code), "")
	require.NoError(h.t, err)
	return b
}

// post sends a body as a board does and gives status and answer.
func (h *hub) post(key string, body []byte, header ...string) (int, string) {
	r, err := http.NewRequest(http.MethodPost, h.URL+"/v1/links", bytes.NewReader(body))
	require.NoError(h.t, err)
	r.Header.Set("Authorization", "Bearer "+key)
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	got, err := http.DefaultClient.Do(r)
	require.NoError(h.t, err)
	defer got.Body.Close()
	data, err := io.ReadAll(got.Body)
	require.NoError(h.t, err)
	return got.StatusCode, string(data)
}

func wire(t *testing.T, links []record.Link) []byte {
	var b bytes.Buffer
	require.NoError(t, record.WriteLinks(&b, links))
	return b.Bytes()
}

func packed(t *testing.T, data []byte) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, err := z.Write(data)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

// What a board may get for an answer, and that nothing is kept of what is not whole.
func TestPosts(t *testing.T) {
	h := opened(t)
	b := h.joined("Barn")
	links := recordtest.Links(t, 1)
	all := wire(t, links)
	status, _ := h.post("another key", all)
	assert.Equal(t, http.StatusUnauthorized, status)
	status, _ = h.post(b.Key, all[:len(all)-1])
	assert.Equal(t, http.StatusBadRequest, status, "it ends in the middle")
	status, _ = h.post(b.Key, []byte("what?"))
	assert.Equal(t, http.StatusBadRequest, status)
	status, _ = h.post(b.Key, all, "Content-Encoding", "gzip")
	assert.Equal(t, http.StatusBadRequest, status, "it is not packed")
	status, _ = h.post(b.Key, packed(t, append(wire(t, nil), make([]byte, 64<<20)...)), "Content-Encoding", "gzip")
	assert.Equal(t, http.StatusRequestEntityTooLarge, status, "it unpacks to 64 MiB")
	status, _ = h.post(b.Key, make([]byte, record.MostLink+2<<20))
	assert.Equal(t, http.StatusBadRequest, status, "it is too long")

	// A connection that is cut in the middle of a body leaves nothing.
	c, err := net.Dial("tcp", h.Listener.Addr().String())
	require.NoError(t, err)
	_, err = io.WriteString(c, "POST /v1/links HTTP/1.1\r\nHost: hub\r\nAuthorization: Bearer "+b.Key+"\r\nContent-Length: 100000\r\n\r\n"+string(all[:5000]))
	require.NoError(t, err)
	require.NoError(t, c.(*net.TCPConn).CloseWrite())
	answer, err := io.ReadAll(c)
	require.NoError(t, err)
	assert.Contains(t, string(answer), " 400 ")
	c.Close()
	heads, err := b.Heads(t.Context())
	require.NoError(t, err)
	assert.Empty(t, heads)

	bad := append([]record.Link{}, links...)
	bad[30].Hash[0] ^= 1
	status, text := h.post(b.Key, packed(t, wire(t, bad)), "Content-Encoding", "gzip")
	assert.Equal(t, http.StatusConflict, status)
	assert.Contains(t, text, `"links":30`, "those before are kept, and said")
	status, text = h.post(b.Key, all)
	assert.Equal(t, http.StatusOK, status, text)
	var got []record.Link
	heads, err = b.Heads(t.Context())
	require.NoError(t, err)
	for l, err := range b.Links(t.Context(), heads) {
		require.NoError(t, err)
		got = append(got, l)
	}
	assert.Equal(t, len(links), len(got))

	require.NoError(t, h.Revoke(t.Context(), "Barn"))
	_, err = b.Heads(t.Context())
	assert.ErrorIs(t, err, courier.ErrKey)
	_, err = courier.Join(t.Context(), h.URL, "2222-2222-2222", "")
	assert.ErrorContains(t, err, "not good")
	for range 30 {
		_, err = courier.Join(t.Context(), h.URL, "2222-2222-2222", "")
	}
	assert.ErrorContains(t, err, "too many codes")
}

// A visitor is a browser with a session.
type visitor struct {
	h *hub
	http.Client
}

func (h *hub) visitor(role string) *visitor {
	word, err := h.AddPerson(h.t.Context(), "Ada who may "+role, role)
	require.NoError(h.t, err)
	jar, err := cookiejar.New(nil)
	require.NoError(h.t, err)
	v := &visitor{h, http.Client{Jar: jar}}
	status, page := v.post("/enter", "word", word)
	require.Equal(h.t, http.StatusOK, status, page)
	return v
}

func (v *visitor) post(path string, form ...string) (int, string) {
	q := url.Values{}
	for i := 0; i < len(form); i += 2 {
		q.Set(form[i], form[i+1])
	}
	got, err := v.PostForm(v.h.URL+path, q)
	require.NoError(v.h.t, err)
	defer got.Body.Close()
	data, _ := io.ReadAll(got.Body)
	return got.StatusCode, string(data)
}

func (v *visitor) get(path string) (int, string) {
	got, err := v.Get(v.h.URL + path)
	require.NoError(v.h.t, err)
	defer got.Body.Close()
	data, _ := io.ReadAll(got.Body)
	return got.StatusCode, string(data)
}

// The pages show what boards sent, judged by a replay here, to whom they are for.
func TestPages(t *testing.T) {
	h := opened(t)
	const name = `<b>Barn & "Co"`
	b := h.joined(name)
	links := recordtest.Links(t, 2)
	status, text := h.post(b.Key, wire(t, links))
	require.Equal(t, http.StatusOK, status, text)
	ctx, cancel := context.WithCancel(t.Context())
	judged := make(chan struct{})
	go func() { defer close(judged); h.desk.Judge(ctx) }()
	defer func() { cancel(); <-judged }()
	require.Eventually(t, func() bool {
		b, err := h.Unjudged(t.Context())
		return err == nil && b == nil
	}, 30*time.Second, 50*time.Millisecond)

	status, page := (&visitor{h: h}).get("/")
	assert.Equal(t, http.StatusUnauthorized, status)
	assert.NotContains(t, page, "Barn")
	looker, noter, admin := h.visitor(store.Look), h.visitor(store.Note), h.visitor(store.Administer)
	status, page = looker.get("/")
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, page, "&lt;b&gt;Barn &amp; &#34;Co&#34;")
	assert.NotContains(t, page, "<b>Barn")
	assert.Contains(t, page, "stopped")
	status, page = looker.get("/batches?lot=L+7&from=2026-11-25&until=2026-11-25")
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, page, links[0].Batch)
	_, page = looker.get("/batches?lot=L+8")
	assert.Contains(t, page, "None.")
	status, _ = looker.get("/batches?from=yesterday")
	assert.Equal(t, http.StatusBadRequest, status)
	_, page = looker.get("/lots?lot=l+7")
	assert.Contains(t, page, "2 kg")

	one := "?" + url.Values{"cabinet": {name}, "name": {links[0].Batch}}.Encode()
	status, page = looker.get("/batch" + one)
	assert.Equal(t, http.StatusOK, status)
	assert.NotContains(t, page, "not judged yet")
	status, page = looker.get("/report" + one)
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, page, "it smells right")
	status, file := looker.get("/record" + one)
	assert.Equal(t, http.StatusOK, status)
	db := filepath.Join(t.TempDir(), "batch.db")
	require.NoError(t, os.WriteFile(db, []byte(file), 0o600))
	r, err := record.OpenReader(db)
	require.NoError(t, err)
	defer r.Close()
	v, err := r.Verify(t.Context(), links[0].Batch)
	require.NoError(t, err)
	assert.True(t, v.Whole)
	status, page = looker.get("/haccp?from=2026-11-25&until=2026-11-25&as=csv")
	assert.Equal(t, http.StatusOK, status)
	rows, err := csv.NewReader(strings.NewReader(page)).ReadAll()
	require.NoError(t, err)
	assert.Greater(t, len(rows), 2)
	assert.Contains(t, page, links[0].Batch)
	status, _ = looker.get("/batch?cabinet=Shed&name=x")
	assert.Equal(t, http.StatusNotFound, status)

	status, _ = looker.post("/remark", "cabinet", name, "name", links[0].Batch, "text", "x")
	assert.Equal(t, http.StatusForbidden, status)
	status, page = noter.post("/remark", "cabinet", name, "name", links[0].Batch, "text", "<i>sold</i>")
	assert.Equal(t, http.StatusOK, status)
	assert.Contains(t, page, "&lt;i&gt;sold")
	status, _ = noter.get("/people")
	assert.Equal(t, http.StatusForbidden, status)

	// An administrator looks after boards and alarms; a page of somebody else does not.
	_, page = admin.post("/boards", "do", "code", "name", "Shed", "world", "real")
	assert.Regexp(t, `[2-9A-Z]{4}-[2-9A-Z]{4}-[2-9A-Z]{4}`, page)
	_, _ = h.post(b.Key, wire(t, recordtest.LinksFrom(t, 1, time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC))))
	alarms, err := h.Alarms(t.Context())
	require.NoError(t, err)
	require.Len(t, alarms, 1)
	_, page = looker.get("/alarms")
	assert.Contains(t, page, "it follows no batch")
	_, page = admin.post("/settle", "id", "1", "reason", "looked at")
	assert.Contains(t, page, "None stands")
	foreign, err := http.NewRequest(http.MethodPost, h.URL+"/boards", strings.NewReader("do=revoke&name=Shed"))
	require.NoError(t, err)
	foreign.Header.Set("Origin", "https://elsewhere.example")
	foreign.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	got, err := admin.Do(foreign)
	require.NoError(t, err)
	got.Body.Close()
	assert.Equal(t, http.StatusForbidden, got.StatusCode)
	status, _ = admin.post("/people/remove", "name", "Ada who may administer")
	assert.Equal(t, http.StatusBadRequest, status, "nobody takes away the own role")
	status, _ = admin.post("/people/remove", "name", "Ada who may look")
	assert.Equal(t, http.StatusOK, status)
	status, _ = looker.get("/")
	assert.Equal(t, http.StatusUnauthorized, status)
}

// A program comes with a person's word; what it scrapes is read by Prometheus' own parser.
// What a board forecasts stands on the page while it comes, counted from here.
func TestTheBoardsForecastIsShown(t *testing.T) {
	h := opened(t)
	b := h.joined("Barn")
	links := recordtest.Links(t, 1)
	running := len(links) / 2
	looker := h.visitor(store.Look)
	years := time.Date(2031, 1, 1, 12, 0, 0, 0, time.UTC) // the board's clock is wrong, and that is no matter
	forecast := outlook.Finish{Batch: links[0].Batch, Made: years, Range: outlook.Range{
		Earliest: years.Add(90 * time.Minute), Middle: years.Add(2 * time.Hour), Latest: years.Add(165 * time.Minute)}}
	shows := func(text string, links ...record.Link) string {
		status, said := h.post(b.Key, wire(t, links), "Fumarium-Finish", text)
		require.Equal(t, http.StatusOK, status, said)
		_, page := looker.get("/")
		return page
	}
	inJSON := func() string {
		text, err := json.Marshal(forecast)
		require.NoError(t, err)
		return string(text)
	}
	const says = "about 2 h to come, 1 h 30 min to 2 h 45 min in eight of ten, by its board"
	assert.Contains(t, shows(inJSON(), links[:running]...), says)
	assert.NotContains(t, shows(""), "eight of ten", "it forecasts nothing any more")
	assert.Contains(t, shows(inJSON()), says)
	assert.NotContains(t, shows("{soon"), "eight of ten", "no forecast; the post is good all the same")
	forecast.Latest = years
	assert.NotContains(t, shows(inJSON()), "eight of ten", "the latest is not the latest")
	forecast.Latest, forecast.Batch = years.Add(3*time.Hour), "another"
	assert.NotContains(t, shows(inJSON()), "eight of ten", "of another batch")
	forecast.Batch = links[0].Batch
	assert.NotContains(t, shows(inJSON(), links[running:]...), "eight of ten", "it is over")
}

func TestMetrics(t *testing.T) {
	h := opened(t)
	b := h.joined("Barn")
	h.joined("Shed")
	links := recordtest.Links(t, 1)
	h.post(b.Key, wire(t, links[:20]))
	word, err := h.AddPerson(t.Context(), "Prometheus", store.Look)
	require.NoError(t, err)
	r, err := http.NewRequest(http.MethodGet, h.URL+"/metrics", nil)
	require.NoError(t, err)
	r.Header.Set("Authorization", "Bearer "+word)
	got, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer got.Body.Close()
	require.Equal(t, http.StatusOK, got.StatusCode)
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(got.Body)
	require.NoError(t, err)
	assert.Len(t, families["fumarium_hub_batches"].Metric, 2)
	assert.Len(t, families["fumarium_hub_chamber_celsius"].Metric, 1, "what is not known is absent")
	assert.InDelta(t, 20, families["fumarium_hub_chamber_celsius"].Metric[0].Gauge.GetValue(), 60)
	assert.Nil(t, families["fumarium_hub_batch_good"])
	r.Header.Set("Authorization", "Bearer nobody")
	got, err = http.DefaultClient.Do(r)
	require.NoError(t, err)
	got.Body.Close()
	assert.Equal(t, http.StatusUnauthorized, got.StatusCode)
}
