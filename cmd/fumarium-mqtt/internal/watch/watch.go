// Package watch reads the event stream of a cabinet's daemon, which costs the daemon what one
// more open page does: it waits for no reader.
package watch

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"fumarium/cmd/fumarium-mqtt/internal/said"
)

const (
	// silent is how long the stream may say nothing: the daemon says its status again well
	// within it, step or not.
	silent = 30 * time.Second
	// mostStatus bounds one status, which holds 200 events. Both common practice, no source.
	mostStatus = 4 << 20
)

var errSilent = errors.New("the daemon says nothing any more")

// Once reads the stream at an address, and gives each status, until it ends. It never ends
// well: a stream that ends is one to ask for again.
func Once(ctx context.Context, client *http.Client, address string, got func(*said.Status)) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	hush := time.AfterFunc(silent, func() { cancel(errSilent) })
	defer hush.Stop()
	why := func(err error) error {
		if cause := context.Cause(ctx); cause != nil {
			return cause
		}
		return err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, address+"/api/events", nil)
	if err != nil {
		return err
	}
	answer, err := client.Do(r)
	if err != nil {
		return why(err)
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("%s answers %s: is that the address of a cabinet's page?", address, answer.Status)
	}
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, mostStatus)
	for lines.Scan() {
		data, is := bytes.CutPrefix(lines.Bytes(), []byte("data: "))
		if !is {
			continue
		}
		s := &said.Status{}
		if err := json.Unmarshal(data, s); err != nil {
			return fmt.Errorf("%s says no status: %w", address, err)
		}
		hush.Reset(silent)
		got(s)
	}
	if err := lines.Err(); err != nil {
		return why(err)
	}
	return errors.New("the daemon ended the stream")
}
