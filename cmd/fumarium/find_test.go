package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A file that is called like something shipped is neither taken for it nor passed over.
func TestAFileCalledLikeSomethingShipped(t *testing.T) {
	product := contractProduct(t)
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("marjoram-ring", []byte(product), 0o600))
	for _, args := range [][]string{{"sheet", "marjoram-ring"}, {"rehearse"}, {"rehearse", "marjoram-ring"}, {"start", "marjoram-ring"}} {
		status, out, errText := call(t, args...)
		assert.Equal(t, exitUsage, status, "%v: %s", args, out)
		assert.Contains(t, errText, "write ./marjoram-ring for the file")
	}
	status, out, errText := call(t, "sheet", "./marjoram-ring")
	assert.Equal(t, exitGood, status, errText)
	assert.Contains(t, out, "Juniper venison sticks")

	// What nobody named is the shipped one.
	status, _, errText = call(t, "wiring", "read", "--cabinet", "plywood-cabinet", "--once")
	assert.Equal(t, exitGood, status, errText)
	ended, cancel := context.WithCancel(context.Background())
	defer cancel()
	words := &listener{hears: "starts and answers by itself", then: cancel}
	status = run(ended, []string{"run", "--state", "state", "--listen", "127.0.0.1:0"}, io.Discard, words)
	assert.Equal(t, exitGood, status, words.String())

	require.NoError(t, os.WriteFile("plywood-cabinet", nil, 0o600))
	status, _, errText = call(t, "rehearse", "caraway-sticks")
	assert.Equal(t, exitUsage, status)
	assert.Contains(t, errText, "plywood-cabinet is shipped")
}

// A listener does something once it hears certain words.
type listener struct {
	bytes.Buffer
	hears string
	then  func()
}

func (l *listener) Write(p []byte) (int, error) {
	n, err := l.Buffer.Write(p)
	if strings.Contains(l.String(), l.hears) {
		l.then()
	}
	return n, err
}
