package metrics_test

import (
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"testing"

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
