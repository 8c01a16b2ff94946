package desk_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/sim/recordtest"
)

// siteCabinets is how many more cabinets the site's Prometheus scrapes, to measure what that
// takes: go test ./cmd/fumarium-hub/internal/desk -run TestASite -site-cabinets 200 -v
var siteCabinets = flag.Int("site-cabinets", 0, "more cabinets, in TestASite")

const deploy = "../../../../deploy/"

// site is a Prometheus of a site, one above it, an Alertmanager and three telephones.
type site struct {
	t   *testing.T
	dir string
	mu  sync.Mutex
	got map[string][]map[string]string // labels of alerts, by telephone
}

// ship puts a file where a program reads it, with other addresses and quicker clocks.
func (s *site) ship(name, as string, replace ...string) string {
	data, err := os.ReadFile(deploy + name)
	require.NoError(s.t, err)
	for i := 0; i < len(replace); i += 2 {
		require.Contains(s.t, string(data), replace[i], name)
	}
	to := filepath.Join(s.dir, as)
	require.NoError(s.t, os.WriteFile(to, []byte(strings.NewReplacer(replace...).Replace(string(data))), 0o600))
	return to
}

func (s *site) run(program string, args ...string) *exec.Cmd {
	c := exec.Command(debian(s.t, program), args...)
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	require.NoError(s.t, c.Start())
	s.t.Cleanup(func() {
		_ = c.Process.Signal(os.Interrupt)
		_ = c.Wait()
		if s.t.Failed() {
			s.t.Logf("%s said:\n%s", program, said.String())
		}
	})
	return c
}

func (s *site) hear(w http.ResponseWriter, r *http.Request) {
	var message struct {
		Alerts []struct {
			Status string
			Labels map[string]string
		}
	}
	if json.NewDecoder(r.Body).Decode(&message) != nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, a := range message.Alerts {
		if a.Status == "firing" {
			s.got[r.URL.Path] = append(s.got[r.URL.Path], a.Labels)
		}
	}
}

// rang reports whether a telephone heard that alert of that cabinet.
func (s *site) rang(phone, alert, cabinet string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, labels := range s.got[phone] {
		if labels["alertname"] == alert && labels["cabinet"] == cabinet {
			return true
		}
	}
	return false
}

type found struct {
	Metric map[string]string
	Value  [2]any
}

// asks puts a question to a Prometheus.
func (s *site) asks(at, expr string) ([]found, error) {
	answer, err := http.Get("http://" + at + "/api/v1/query?" + url.Values{"query": {expr}}.Encode())
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	var body struct {
		Error string
		Data  struct{ Result []found }
	}
	if err := json.NewDecoder(answer.Body).Decode(&body); err != nil {
		return nil, err
	}
	if body.Error != "" {
		return nil, fmt.Errorf("%s: %s", expr, body.Error)
	}
	return body.Data.Result, nil
}

func (s *site) until(what string, is func() bool) {
	s.t.Helper()
	require.Eventually(s.t, is, 2*time.Minute, 100*time.Millisecond, what)
}

func freeAddress(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// A real Prometheus of a site scrapes two cabinets and a real hub by the files that we ship,
// another federates it, and a real Alertmanager calls who cares for each cabinet. Every query
// of the site's dashboard has an answer in both.
func TestASite(t *testing.T) {
	t.Parallel()
	h := opened(t)
	go h.desk.Judge(t.Context())
	for _, name := range []string{"barn-left", "barn-right", "attic"} {
		b := h.joined(name)
		links := recordtest.Links(t, 1)
		if status, said := h.post(b.Key, wire(t, links)); status != http.StatusOK {
			t.Fatal(said)
		}
		if name != "barn-left" { // and one that leaves a gap
			links[len(links)-1].Number += 2
			status, _ := h.post(b.Key, wire(t, links[len(links)-1:]))
			require.Equal(t, http.StatusConflict, status)
		}
	}
	word, err := h.AddPerson(t.Context(), "Prometheus", "look")
	require.NoError(t, err)
	scrape, err := os.ReadFile("../../../../controller/metrics/testdata/scrape.txt")
	require.NoError(t, err)
	real := strings.Replace(string(scrape), `,world="simulated"`, "", 1)
	const calls = `fumarium_alarm_state{alarm="core-lost",priority="soon"} 1`
	require.Contains(t, real, calls)
	quiet := strings.Replace(real, calls, strings.TrimSuffix(calls, "1")+"2", 1) // acknowledged
	serve := func(text string) string {
		c := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/plain; version=0.0.4")
			_, _ = w.Write([]byte(text))
		}))
		t.Cleanup(c.Close)
		return c.Listener.Addr().String()
	}
	s := &site{t: t, dir: t.TempDir(), got: map[string][]map[string]string{}}
	phones := httptest.NewServer(http.HandlerFunc(s.hear))
	t.Cleanup(phones.Close)
	below, above, manager := freeAddress(t), freeAddress(t), freeAddress(t)
	require.NoError(t, os.WriteFile(s.dir+"/word", []byte(word+"\n"), 0o600))
	s.ship("alerts.yaml", "alerts.yaml", "interval: 10s", "interval: 1s")
	s.ship("site/rules.yaml", "rules.yaml", "interval: 10s", "interval: 1s")
	more := ""
	for range *siteCabinets {
		more += fmt.Sprintf("\n      - {targets: [%q], labels: {cabinet: more-%d}}", serve(quiet), strings.Count(more, "\n"))
	}
	config := s.ship("site/prometheus.yaml", "prometheus.yaml", "192.0.2.11:8377", serve(real), "192.0.2.12:8377", serve(quiet), "labels: {cabinet: barn-right}}", "labels: {cabinet: barn-right}}"+more,
		"192.0.2.7:8380", h.Listener.Addr().String(), "127.0.0.1:9093", manager, "scheme: https", "scheme: http", "    tls_config: {ca_file: hub.pem}\n", "", "scrape_interval: 30s", "scrape_interval: 2s", "scrape_interval: 5s", "scrape_interval: 1s\n  scrape_timeout: 1s")
	federation := s.ship("site/federation.yaml", "federation.yaml", "192.0.2.20:9090", below, `, "198.51.100.20:9090"`, "", "scrape_interval: 30s", "scrape_interval: 1s\n  scrape_timeout: 1s")
	people := s.ship("site/alertmanager.yaml", "alertmanager.yaml", "http://127.0.0.1:9096", phones.URL, "group_wait: 10s", "group_wait: 0s", "group_interval: 1m", "group_interval: 1s", "group_interval: 10s", "group_interval: 1s")
	s.run("prometheus-alertmanager", "--config.file="+people, "--storage.path="+s.dir+"/calls", "--web.listen-address="+manager, "--cluster.listen-address=")
	prometheus := s.run("prometheus", "--config.file="+config, "--storage.tsdb.path="+s.dir+"/below", "--web.listen-address="+below)
	s.run("prometheus", "--config.file="+federation, "--storage.tsdb.path="+s.dir+"/above", "--web.listen-address="+above)

	s.until("who cares for the cabinet is called", func() bool { return s.rang("/left", "FumariumCoreLost", "barn-left") })
	s.until("the hub's word on a cabinet goes there", func() bool { return s.rang("/right", "FumariumHubRefuses", "barn-right") })
	s.until("what nobody is named for goes to all", func() bool { return s.rang("/all", "FumariumHubRefuses", "attic") })
	s.mu.Lock()
	for phone, all := range s.got {
		for _, labels := range all {
			want := map[string]string{"barn-left": "/left", "barn-right": "/right"}[labels["cabinet"]]
			if want == "" {
				want = "/all"
			}
			assert.Equal(t, want, phone, "%v", labels)
		}
	}
	s.mu.Unlock()

	data, err := os.ReadFile(deploy + "grafana/dashboards/site.json")
	require.NoError(t, err)
	var board struct {
		Panels []struct {
			Title   string
			Targets []struct{ Expr string }
		}
	}
	require.NoError(t, json.Unmarshal(data, &board))
	asked := 0
	for _, p := range board.Panels {
		for _, target := range p.Targets {
			for _, at := range []string{below, above} {
				expr := strings.ReplaceAll(target.Expr, "$cabinet", ".*")
				s.until(p.Title+": "+expr, func() bool {
					all, err := s.asks(at, expr)
					require.NoError(t, err)
					return len(all) > 0
				})
				asked++
			}
		}
	}
	assert.Greater(t, asked, 20)
	all, err := s.asks(above, `fumarium:chamber_celsius:avg{cabinet="barn-left"}`)
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, "barn", all[0].Metric["site"])
	assert.Equal(t, "80.875", all[0].Value[1], "the mean of 81.5 and 80.25")
	series := func(at, expr string) string {
		all, err := s.asks(at, expr)
		require.NoError(t, err)
		if len(all) == 0 {
			return "none"
		}
		return fmt.Sprint(all[0].Value[1])
	}
	t.Logf("%d questions answered; a cabinet has %s series here and %s above", asked, series(below, `count({cabinet="barn-left",job="fumarium"})`), series(above, `count({cabinet="barn-left"})`))
	if *siteCabinets > 0 {
		time.Sleep(time.Minute)
		answer, err := http.Get("http://" + below + "/api/v1/status/tsdb")
		require.NoError(t, err)
		defer answer.Body.Close()
		var is struct {
			Data struct{ HeadStats struct{ NumSeries int } }
		}
		require.NoError(t, json.NewDecoder(answer.Body).Decode(&is))
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", prometheus.Process.Pid))
		require.NoError(t, err)
		for line := range strings.Lines(string(status)) {
			if strings.HasPrefix(line, "VmHWM") {
				t.Logf("%d cabinets: %d series, %s", *siteCabinets+2, is.Data.HeadStats.NumSeries, strings.TrimSpace(line))
			}
		}
	}
}

// The rules of a site by promtool, over batches told minute by minute.
func TestRulesOfASite(t *testing.T) {
	t.Parallel()
	promtool := debian(t, "promtool")
	for _, args := range [][]string{{"check", "rules", "--lint-fatal", deploy + "site/rules.yaml"}, {"test", "rules", "testdata/site.yaml"}} {
		said, err := exec.Command(promtool, args...).CombinedOutput()
		assert.NoError(t, err, "%s", said)
	}
}

// debian finds a program of one of Debian's packages.
func debian(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("CI") == "true" {
		t.Fatalf("%s is not on PATH; apt-get install --no-install-recommends prometheus prometheus-alertmanager", program)
	} else if err != nil {
		t.Skipf("%s is not on PATH", program)
	}
	return path
}
