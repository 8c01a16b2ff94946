package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/access"
	"fumarium/controller/access/certificate"
)

// A phone that opens the scanned address may act without any token, a second one types the
// code; what they do stands on the record with their names. Taken away on the command line or
// on the page, they may only look.
func TestAPairedPhone(t *testing.T) {
	d := launchProgram(t, built(t), t.TempDir(), nil, "--by-hand", "--cabinet", "plywood-cabinet", "--pace", "1")
	d.answers()
	d.steps()
	code := func(name string) (made struct{ Code, URL string }) {
		status, out, errText := d.client("pair", "--name", name, "--json")
		require.Equal(t, exitGood, status, errText)
		require.NoError(t, json.Unmarshal([]byte(out), &made))
		return made
	}
	scanned := code("kitchen tablet")
	assert.Equal(t, d.url+"/#pair="+strings.ReplaceAll(scanned.Code, "-", ""), scanned.URL)
	p := openPhone(t, scanned.URL, 360, 640)
	p.until("paired()")
	assert.Equal(t, "", p.read("location.hash"))
	assert.Equal(t, "", p.read("document.cookie"), "no script sees it")
	p.until("sheet !== null") // what only who may start sees
	p.click("read")
	p.read("document.getElementById('reason').value = 'practice'")
	p.click("go")
	p.until("status.state === 'running'")

	p.read("document.getElementById('pair-box').open = true")
	p.until("document.querySelectorAll('#sessions li').length === 1")
	p.click("pair-new")
	p.until("document.querySelector('#pair-qr svg') !== null")
	p.seen("pair-text")
	p.picture("pair")
	status, out, _ := d.client("sessions")
	assert.Equal(t, exitGood, status)
	assert.Contains(t, out, "kitchen tablet")

	// Another browser is refused a wrong code on the spot, and types the right one.
	typed := code("yard phone")
	second := openPhone(t, d.url, 360, 640)
	second.read("document.getElementById('hold').scrollIntoView()")
	second.click("hold")
	second.seen("token")
	second.read("document.getElementById('token').value = '2222-2222'")
	second.read("document.getElementById('token-form').requestSubmit()")
	second.seen("token-says")
	second.picture("pair-wrong")
	second.read("document.getElementById('token').value = '" + strings.ToLower(typed.Code) + "'")
	second.read("document.getElementById('token-form').requestSubmit()")
	second.until("status.state === 'held'")

	var list struct{ Sessions []listedSession }
	_, out, _ = d.client("sessions", "--json")
	require.NoError(t, json.Unmarshal([]byte(out), &list))
	require.Len(t, list.Sessions, 2)
	status, out, errText := d.client("sessions", "revoke", list.Sessions[0].ID)
	assert.Equal(t, exitGood, status, errText)
	assert.NotContains(t, out, "kitchen tablet")
	p.until("status.state === 'held'")
	p.read("document.getElementById('really-stop').click()") // not any more
	p.seen("ask-token")
	assert.Equal(t, "held", p.read("status.state"))
	data, err := os.ReadFile(filepath.Join(d.state, access.File))
	require.NoError(t, err)
	assert.Contains(t, string(data), "yard phone")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

	_, out, _ = call(t, "batches", "sim-", "--simulated", "--state", d.state, "--json")
	assert.Contains(t, out, `"who": "browser kitchen tablet (`+list.Sessions[0].ID+`) from 127.0.0.1"`)
	assert.Contains(t, out, `"who": "browser yard phone (`+list.Sessions[1].ID+`) from 127.0.0.1"`)
	status, out, errText = call(t, "replay", "sim-", "--simulated", "--state", d.state)
	assert.NotEqual(t, exitUsage, status, errText)
	assert.NotContains(t, out, "differs")
}

// The console shows the code as blocks that a reader can take: two rows to a line, dark on
// light, with the quiet zone of four modules that ISO/IEC 18004 wants.
func TestTheConsoleDrawsTheCode(t *testing.T) {
	assert.Equal(t, "\x1b[30;107m█▀▄ \x1b[0m\n\x1b[30;107m▀ ▀ \x1b[0m\n", halfBlocks("1100\n1010\n1010\n"))
	d := startDaemon(t, "--by-hand", "--cabinet", "plywood-cabinet")
	status, out, errText := d.client("pair")
	require.Equal(t, exitGood, status, errText)
	assert.Regexp(t, `code  [2-9A-Z]{4}-[2-9A-Z]{4}  until \d\d:\d\d\n`, out)
	assert.Contains(t, out, "This address is for this machine alone")
	lines := strings.Split(out, "\n")
	assert.Equal(t, strings.Repeat(" ", strings.Count(lines[0], " ")), strings.NewReplacer("\x1b[30;107m", "", "\x1b[0m", "").Replace(lines[0]), "quiet above")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))
}

// With a certificate of one's own page, API and commands are HTTPS. Half of the pair, or one that does not fit, is refused at once.
func TestOwnCertificate(t *testing.T) {
	dir := t.TempDir()
	cert, key := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	selfSigned(t, cert, key)
	t.Setenv("SSL_CERT_FILE", cert)
	d := launchDaemon(t, t.TempDir(), nil, "--by-hand", "--cabinet", "plywood-cabinet", "--tls-cert", cert, "--tls-key", key)
	line := d.line("page     https://127.0.0.1:")
	url := strings.TrimSuffix(strings.TrimSpace(strings.TrimPrefix(line, "page")), "/")
	program, err := os.Executable() // a process of its own reads SSL_CERT_FILE
	require.NoError(t, err)
	run := func(args ...string) string {
		out, err := clientOf(program, append(args, "--server", url, "--state", d.state)...)
		require.NoError(t, err, out)
		return out
	}
	assert.Contains(t, run("pair"), "open  "+url+"/#pair=")
	assert.Contains(t, run("status"), "idle")
	assert.Equal(t, exitGood, d.end(syscall.SIGTERM))

	require.NoError(t, os.WriteFile(cert, []byte("torn"), 0o600))
	status, _, errText := call(t, "run", "--tls-cert", cert, "--state", t.TempDir())
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errText, "go together")
	status, _, _ = call(t, "run", "--tls-cert", cert, "--tls-key", key, "--state", t.TempDir())
	assert.Equal(t, exitCouldNo, status)
}

// selfSigned writes a certificate for this machine.
func selfSigned(t *testing.T, cert, key string) {
	t.Helper()
	public, secret, err := certificate.SelfSigned([]string{"kiln.example", "127.0.0.1"}, time.Hour)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(cert, public, 0o600))
	require.NoError(t, os.WriteFile(key, secret, 0o600))
}

func clientOf(program string, args ...string) (string, error) {
	c := exec.Command(program, args...)
	c.Env = append(os.Environ(), "FUMARIUM_TEST_AS_PROGRAM=1")
	out, err := c.CombinedOutput()
	return string(out), err
}
