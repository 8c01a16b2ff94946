package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/trip"
)

// This file is what watches the daemons: a real Prometheus and a real Alertmanager with
// the files that we ship, their clocks quicker, and a telephone.

// A ring is one alert as the Alertmanager sends it to a webhook (its documentation,
// "webhook_config", version 4 of the message).
type ring struct {
	Status              string
	Labels, Annotations map[string]string
	came                time.Time
}

// watch is the three of them.
type watch struct {
	t          *testing.T
	prometheus string // address

	mu    sync.Mutex
	rings []ring
}

// freeAddress asks for a free port: neither program takes an open socket.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// debian finds a program of a Debian package.
func debian(t *testing.T, program, pack string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	why := fmt.Sprintf("%s is not on PATH; apt-get install -y --no-install-recommends %s", program, pack)
	if os.Getenv("CI") != "" {
		t.Fatal(why)
	}
	t.Skip(why, "runs this test")
	return ""
}

func watching(t *testing.T, targets ...string) *watch {
	t.Helper()
	prometheus, manager := debian(t, "prometheus", "prometheus"), debian(t, "prometheus-alertmanager", "prometheus-alertmanager")
	w := &watch{t: t, prometheus: freeAddress(t)}
	phone := httptest.NewServer(http.HandlerFunc(w.hear))
	t.Cleanup(phone.Close)
	dir, managerAt := t.TempDir(), freeAddress(t)
	ship := func(name string, replace ...string) string {
		data, err := os.ReadFile(filepath.Join("..", "..", "deploy", name))
		require.NoError(t, err)
		for i := 0; i < len(replace); i += 2 {
			require.Contains(t, string(data), replace[i], name)
		}
		to := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(to, []byte(strings.NewReplacer(replace...).Replace(string(data))), 0o600))
		return to
	}
	config := ship("prometheus.yaml", `"127.0.0.1:8377"`, `"`+strings.Join(targets, `","`)+`"`,
		"127.0.0.1:9093", managerAt, "scrape_interval: 5s", "scrape_interval: 1s\n  scrape_timeout: 1s")
	ship("alerts.yaml", "interval: 10s", "interval: 1s", "for: 1m\n", "for: 1s\n", "for: 30s\n", "for: 10s\n")
	calls := ship("alertmanager.yaml", "http://127.0.0.1:9096/", phone.URL,
		"group_wait: 10s", "group_wait: 0s", "group_interval: 1m", "group_interval: 1s", "group_interval: 10s", "group_interval: 1s")
	w.run(manager, "--config.file="+calls, "--storage.path="+filepath.Join(dir, "calls"), "--web.listen-address="+managerAt, "--cluster.listen-address=")
	w.run(prometheus, "--config.file="+config, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+w.prometheus)
	return w
}

// run starts a program until the test ends; what it said is shown if the test failed.
func (w *watch) run(program string, args ...string) {
	w.t.Helper()
	c := exec.Command(program, args...)
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	require.NoError(w.t, c.Start())
	w.t.Cleanup(func() { // its own process only, by its handle
		_ = c.Process.Signal(os.Interrupt)
		_ = c.Wait()
		if w.t.Failed() {
			w.t.Logf("%s said:\n%s", program, said.String())
		}
	})
}

func (w *watch) hear(_ http.ResponseWriter, r *http.Request) {
	var message struct{ Alerts []ring }
	if json.NewDecoder(r.Body).Decode(&message) != nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, a := range message.Alerts {
		a.came = time.Now()
		w.rings = append(w.rings, a)
	}
}

// heard are the rings of one alert in one state.
func (w *watch) heard(alert, instance, status string) (all []ring) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, r := range w.rings {
		if r.Labels["alertname"] == alert && r.Labels["instance"] == instance && r.Status == status {
			all = append(all, r)
		}
	}
	return all
}

// rang waits for a ring after that time.
func (w *watch) rang(alert, instance, status string, after time.Time) (found ring) {
	w.t.Helper()
	w.until(alert+" "+status, func() bool {
		for _, r := range w.heard(alert, instance, status) {
			if found = r; r.came.After(after) {
				return true
			}
		}
		return false
	})
	return found
}

func (w *watch) until(what string, is func() bool) {
	w.t.Helper()
	require.Eventually(w.t, is, time.Minute, 100*time.Millisecond, what)
}

// get asks Prometheus.
func (w *watch) get(path string, with url.Values, into any) error {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+w.prometheus+"/api/v1/"+path+"?"+with.Encode(), nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	var body struct {
		Error string
		Data  json.RawMessage
	}
	if err := json.NewDecoder(answer.Body).Decode(&body); err != nil {
		return err
	}
	if body.Error != "" {
		return fmt.Errorf("%s: %s", path, body.Error)
	}
	return json.Unmarshal(body.Data, into)
}

// A drawn series is what a panel gets.
type drawn struct {
	Metric map[string]string
	Values [][2]any
}

// over asks for the time since then, a value a second.
func (w *watch) over(expr string, since time.Time) (series []drawn, err error) {
	var data struct{ Result []drawn }
	seconds := func(at time.Time) string { return fmt.Sprintf("%.3f", float64(at.UnixMilli())/1000) }
	err = w.get("query_range", url.Values{"query": {expr}, "start": {seconds(since)}, "end": {seconds(time.Now())}, "step": {"1s"}}, &data)
	return data.Result, err
}

// killed ends a daemon as a fault would.
func killed(t *testing.T, d *daemon) {
	t.Helper()
	require.NoError(t, d.cmd.Process.Kill())
	_ = d.cmd.Wait()
}

// A real Prometheus and a real Alertmanager watch a daemon on a real cabinet, one on a
// simulated cabinet that has an alarm and dies, too, and one that makes a whole simulated
// batch. An alarm calls until it is acknowledged, also when its daemon dies meanwhile; the
// simulated ones call nobody; every query of every dashboard and every rule has an answer.
func TestPrometheusScrapesAndCalls(t *testing.T) {
	t.Parallel()
	since := time.Now()
	real, played, whole, foretold := freeAddress(t), freeAddress(t), freeAddress(t), freeAddress(t)
	box := newOutside(t, false, 30, 15)
	cabinet, product := file(t, "cabinet.yaml", outsideCabinet), file(t, "product.yaml", quick(t))
	state := t.TempDir()
	begin := func() *daemon {
		d := launchDaemon(t, state, box.env(), "--cabinet", cabinet, "--listen", real)
		d.answers()
		d.steps()
		return d
	}
	w := watching(t, real, played, whole, foretold)
	batch := startBuilt(t, "--cabinet", "fridge-body", "--pace", "1500", "--listen", whole)
	early := startBuilt(t, "--cabinet", "fridge-body", "--pace", "10", "--listen", foretold)
	pretend := startDaemon(t, "--cabinet", "fridge-body", "--pace", "60", "--listen", played)
	d := begin()
	start := func(d *daemon, product string) {
		t.Helper()
		var said string
		if !assert.Eventually(t, func() bool { // the chips have to convert first
			code, _, err := d.client("start", product, "--reason", "trial")
			said = err
			return code == exitGood
		}, 20*time.Second, 200*time.Millisecond) {
			t.Fatal(said)
		}
	}
	start(batch, "caraway-sticks")
	start(d, product)
	long := file(t, "long.yaml", strings.Replace(quick(t), "until: {after: 20 s}", "within: 1 min\n    until: {core: 60 °C}", 1))
	start(pretend, long)
	start(early, long)
	active := func(on string, want int) {
		t.Helper()
		w.until(on, func() bool { // as it was scraped last
			series, err := w.over(`sum(`+on+`) > 0`, time.Now().Add(-time.Second))
			return err == nil && len(series) == want
		})
	}
	active(`fumarium_batch_state{state="running",instance="`+real+`"}`, 1)
	active(`fumarium_batch_state{state="running",instance="`+played+`"}`, 1)

	// Raised: it comes back from a crash in a batch, which is an alarm.
	raised := time.Now()
	killed(t, d)
	d = begin()
	first := w.rang("FumariumPowerLost", real, "firing", raised)
	entry := trip.PowerLost.Entry()
	assert.Equal(t, map[string]string{"meaning": entry.Meaning, "action": entry.DoAnywhere()}, first.Annotations)
	assert.Equal(t, map[string]string{"alertname": "FumariumPowerLost", "alarm": "power-lost", "priority": "soon", "job": "fumarium", "instance": real}, first.Labels)
	t.Logf("raised to webhook: %v with the start of the daemon", first.came.Sub(raised).Round(100*time.Millisecond))

	// Acknowledged.
	acknowledged := time.Now()
	code, _, said := d.client("acknowledge", "power-lost")
	require.Equal(t, exitGood, code, said)
	over := w.rang("FumariumPowerLost", real, "resolved", acknowledged)
	t.Logf("acknowledged to resolved: %v", over.came.Sub(acknowledged).Round(100*time.Millisecond))

	// Raised again, and the daemon dies before anybody has seen it.
	again := time.Now()
	killed(t, d)
	d = begin()
	w.rang("FumariumPowerLost", real, "firing", again)
	active(`fumarium_alarm_state{alarm="stage-overtime",instance="`+played+`"}`, 1) // nobody is called for it
	died := time.Now()
	killed(t, d)
	killed(t, pretend)
	gone := w.rang("FumariumGone", real, "firing", died)
	assert.Equal(t, "now", gone.Labels["priority"])
	w.until("five scrapes of nothing", func() bool {
		series, err := w.over(`up{instance="`+real+`"} == 0`, died)
		return err == nil && len(series) == 1 && len(series[0].Values) >= 5
	})
	d = begin()
	w.rang("FumariumGone", real, "resolved", died)
	for _, r := range w.heard("FumariumPowerLost", real, "resolved") {
		assert.False(t, r.came.After(again), "an open alarm was sent as resolved %v after its daemon was killed", r.came.Sub(died))
	}
	acknowledged = time.Now()
	code, _, said = d.client("acknowledge", "power-lost")
	require.Equal(t, exitGood, code, said)
	w.rang("FumariumPowerLost", real, "resolved", acknowledged)

	batch.line("batch complete")
	w.until("the end of the whole batch is scraped", func() bool {
		series, err := w.over(`fumarium_batch_good{instance="`+whole+`"}`, since)
		return err == nil && len(series) == 1 && len(series[0].Values) > 2
	})
	require.Eventually(t, func() bool { // whose rehearsals yield to all else that runs here
		series, err := w.over(`fumarium_forecast_finish_timestamp_seconds{instance="`+foretold+`"}`, since)
		return err == nil && len(series) == 3
	}, 5*time.Minute, time.Second, "a forecast is scraped")
	w.everyQueryAnswers(since)
	w.everyRuleAnswers(since)
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, r := range w.rings {
		assert.Equal(t, real, r.Labels["instance"], "a simulated cabinet calls nobody: %v", r.Labels)
	}
	t.Logf("%d rings in %v", len(w.rings), time.Since(since).Round(time.Second))
}

// A target of a panel, as the dashboard's file has it.
type panelQuery struct{ board, panel, expr string }

func panelQueries(t *testing.T) (all []panelQuery) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "deploy", "grafana", "dashboards", "*.json"))
	require.NoError(t, err)
	for _, file := range files {
		if filepath.Base(file) == "site.json" {
			continue // that of a hub's site: cmd/fumarium-hub/internal/desk asks it
		}
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var board struct {
			Panels []struct {
				Title   string
				Targets []struct{ Expr string }
			}
			Templating struct {
				List []struct{ Name, Query, Type string }
			}
		}
		require.NoError(t, json.Unmarshal(data, &board))
		for _, p := range board.Panels {
			for _, target := range p.Targets {
				all = append(all, panelQuery{filepath.Base(file), p.Title, target.Expr})
			}
		}
		for _, v := range board.Templating.List {
			if selected := regexp.MustCompile(`^label_values\((.*), \w+\)$`).FindStringSubmatch(v.Query); v.Type == "query" {
				require.NotNil(t, selected, v.Query)
				all = append(all, panelQuery{filepath.Base(file), "variable " + v.Name, selected[1]})
			}
		}
	}
	require.Greater(t, len(all), 30)
	return all
}

// everyQueryAnswers puts what the panels ask to Prometheus, for the whole run.
func (w *watch) everyQueryAnswers(since time.Time) {
	w.t.Helper()
	choose := strings.NewReplacer("$job", "fumarium", "$cabinet", ".*", "$rated_cycles", "100000", "$__rate_interval", "4s", "$__range", "2m")
	queries := panelQueries(w.t)
	for _, q := range queries {
		series, err := w.over(choose.Replace(q.expr), since)
		assert.NoError(w.t, err, "%s, %s", q.board, q.panel)
		assert.NotEmpty(w.t, series, "%s, %s: nothing answers %s", q.board, q.panel, q.expr)
	}
	w.t.Logf("%d queries of the dashboards answered", len(queries))
}

// everyRuleAnswers asks Prometheus how its rules are, and for each metric that one of them
// asks for: an alert stands for what is not there only if its metric is.
func (w *watch) everyRuleAnswers(since time.Time) {
	w.t.Helper()
	var loaded struct {
		Groups []struct {
			Rules []struct{ Name, Query, Health, LastError, Type string }
		}
	}
	require.NoError(w.t, w.get("rules", nil, &loaded))
	require.Len(w.t, loaded.Groups, 1)
	selector := regexp.MustCompile(`fumarium[_:][\w:]*(\{[^}]*\})?`)
	asked := map[string]bool{}
	for _, r := range loaded.Groups[0].Rules {
		assert.Equal(w.t, "ok", r.Health, "%s: %s", r.Name, r.LastError)
		for _, s := range append(selector.FindAllString(r.Query, -1), r.Name) {
			// What calls is a selection of what there is; the alarms that did not call are in that.
			s = strings.Replace(s, "fumarium:alarm_calling:last1d{", "fumarium:alarm_calling{", 1)
			if r.Type == "recording" || s != r.Name {
				asked[s] = true
			}
		}
	}
	assert.Greater(w.t, len(asked), int(trip.Count))
	for s := range asked {
		series, err := w.over(s, since)
		assert.NoError(w.t, err)
		assert.NotEmpty(w.t, series, "a rule asks for %s, which is nowhere", s)
	}
	calling, err := w.over("ALERTS", since)
	require.NoError(w.t, err)
	var names []string
	for _, s := range calling {
		if name := s.Metric["alertname"]; !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	w.t.Logf("%d rules, %d selections answered; alerts: %s", len(loaded.Groups[0].Rules), len(asked), strings.Join(names, ", "))
}
