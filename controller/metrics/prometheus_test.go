package metrics_test

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
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/metrics"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
)

// debian finds a program of Debian's prometheus package.
func debian(t *testing.T, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not on PATH; install it: apt-get install -y prometheus", program)
	}
	t.Skipf("%s is not on PATH; apt-get install -y prometheus runs this test", program)
	return ""
}

func TestPromtoolFindsNothing(t *testing.T) {
	promtool := debian(t, "promtool")
	server := httptest.NewServer(over(running()).Handler())
	defer server.Close()
	answer, err := http.Get(server.URL)
	require.NoError(t, err)
	defer answer.Body.Close()
	check := exec.Command(promtool, "check", "metrics")
	check.Stdin = answer.Body
	said, err := check.CombinedOutput()
	assert.NoError(t, err, "%s", said)
	assert.Empty(t, string(said))
}

// A real Prometheus server, with the configuration and the rules that we ship, scrapes
// the handler, answers for it, and calls: for an alarm until it is acknowledged, and for
// a daemon that went away in a batch.
func TestPrometheusScrapesAndCalls(t *testing.T) {
	t.Parallel()
	program := debian(t, "prometheus")
	var now atomic.Pointer[snapshot.Snapshot]
	change := func(phase trip.Phase) {
		s := running()
		s.Simulated = false
		s.State.Alarms[trip.CoreLost].Phase = phase
		now.Store(s)
	}
	change(trip.Unacknowledged)
	target := httptest.NewServer(metrics.New(now.Load, "0.1.0").Handler())
	defer target.Close()

	// Whom Prometheus calls: the Alertmanager's side of its API, version 2.
	calls := make(chan alert, 1000)
	bell := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var alerts []alert
		if r.URL.Path != "/api/v2/alerts" || json.NewDecoder(r.Body).Decode(&alerts) != nil {
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		for _, a := range alerts {
			select {
			case calls <- a:
			default: // nobody listens any more
			}
		}
	}))
	defer bell.Close()

	// Prometheus takes no open socket, so a free port is chosen by asking for one.
	probe, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := probe.Addr().String()
	require.NoError(t, probe.Close())

	dir := t.TempDir()
	ship := func(name string, replace ...string) string { // with quicker clocks and our addresses
		data, err := os.ReadFile(filepath.Join("../../deploy", name))
		require.NoError(t, err)
		for i := 0; i < len(replace); i += 2 {
			require.Contains(t, string(data), replace[i], name)
		}
		to := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(to, []byte(strings.NewReplacer(replace...).Replace(string(data))), 0o600))
		return to
	}
	config := ship("prometheus.yaml", "127.0.0.1:8377", strings.TrimPrefix(target.URL, "http://"),
		"127.0.0.1:9093", strings.TrimPrefix(bell.URL, "http://"), "scrape_interval: 5s", "scrape_interval: 1s\n  scrape_timeout: 1s")
	ship("alerts.yaml", "interval: 10s", "interval: 1s", "for: 1m\n", "for: 1s\n")
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	server := exec.CommandContext(ctx, program, "--config.file="+config,
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	var said bytes.Buffer
	server.Stdout, server.Stderr = &said, &said
	require.NoError(t, server.Start())
	stop := sync.OnceFunc(func() { // its own process only, by its handle
		_ = server.Process.Signal(os.Interrupt)
		_ = server.Wait()
	})
	defer stop()
	called := func(name string, over bool) alert {
		for {
			select {
			case a := <-calls:
				if a.Labels["alertname"] == name && a.EndsAt.After(time.Now()) != over {
					return a
				}
			case <-ctx.Done():
				stop()
				t.Fatalf("no call of %s, over %v, within three minutes; prometheus said:\n%s", name, over, said.String())
			}
		}
	}

	a := called("FumariumCoreLost", false)
	entry := trip.CoreLost.Entry()
	assert.Equal(t, map[string]string{"meaning": entry.Meaning, "action": entry.DoAnywhere()}, a.Annotations)
	assert.Equal(t, map[string]string{
		"alertname": "FumariumCoreLost", "alarm": "core-lost", "priority": "soon", "job": "fumarium", "instance": strings.TrimPrefix(target.URL, "http://"),
	}, a.Labels)
	assert.Equal(t, map[string]string{"upper rack": "81.5", "lower rack": "80.25"}, query(ctx, address, "fumarium_chamber_celsius"))
	change(trip.Acknowledged)
	called("FumariumCoreLost", true)
	target.Close() // the daemon is gone, in the middle of a batch
	assert.Equal(t, "now", called("FumariumGone", false).Labels["priority"])
}

// An alert as Prometheus posts it.
type alert struct {
	Labels, Annotations map[string]string
	EndsAt              time.Time
}

// query returns the value of each probe, or nothing while there is no answer.
func query(ctx context.Context, address, expression string) map[string]string {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/api/v1/query?query="+url.QueryEscape(expression), nil)
	if err != nil {
		return nil
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil
	}
	defer answer.Body.Close()
	var body struct {
		Data struct {
			Result []struct {
				Metric struct{ Probe string }
				Value  [2]any
			}
		}
	}
	if json.NewDecoder(answer.Body).Decode(&body) != nil {
		return nil
	}
	values := map[string]string{}
	for _, r := range body.Data.Result {
		values[r.Metric.Probe] = fmt.Sprint(r.Value[1])
	}
	return values
}
