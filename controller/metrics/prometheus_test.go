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
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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

// A real Prometheus server scrapes the handler and answers for it.
func TestPrometheusServerScrapesUs(t *testing.T) {
	program := debian(t, "prometheus")
	target := httptest.NewServer(over(running()).Handler())
	defer target.Close()

	// Prometheus takes no open socket, so a free port is chosen by asking for one.
	probe, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := probe.Addr().String()
	require.NoError(t, probe.Close())

	dir := t.TempDir()
	config := filepath.Join(dir, "prometheus.yml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil,
		"global: {scrape_interval: 1s, scrape_timeout: 1s}\nscrape_configs:\n- job_name: fumarium\n  static_configs: [{targets: [%q]}]\n",
		strings.TrimPrefix(target.URL, "http://")), 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	server := exec.CommandContext(ctx, program, "--config.file="+config,
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	var said bytes.Buffer
	server.Stdout, server.Stderr = &said, &said
	require.NoError(t, server.Start())
	defer func() { // its own process only, by its handle
		_ = server.Process.Signal(os.Interrupt)
		_ = server.Wait()
	}()

	// Wait for the first scrape by asking again; there is nothing to subscribe to.
	ask := time.NewTicker(100 * time.Millisecond)
	defer ask.Stop()
	for {
		if values := query(ctx, address, "fumarium_chamber_celsius"); len(values) > 0 {
			assert.Equal(t, map[string]string{"upper rack": "81.5", "lower rack": "80.25"}, values)
			return
		}
		select {
		case <-ask.C:
		case <-ctx.Done():
			t.Fatalf("no sample of fumarium_chamber_celsius within 30 s; prometheus said:\n%s", said.String())
		}
	}
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
