package main

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"fumarium/cmd/fumarium/internal/service"
	"fumarium/controller/web"
)

// standByFor is how long a daemon that could not start shows why before it ends and
// the service manager tries again: long enough to be read and not to wear out the
// journal, short enough that what was mended is soon noticed. Common practice, no
// source. The manager's own limit for a start must be longer.
const standByFor = 30 * time.Second

// standBy shows on the page, and in the manager's status, why the daemon could not
// start. It drives nothing: what was open is closed, off.
func standBy(ctx context.Context, manager *service.Manager, listen string, why error, stderr io.Writer) {
	text := shownLines(strings.TrimSpace(why.Error()))
	manager.Say("not started: " + text)
	fmt.Fprintf(stderr, "fumarium: not started: %s\nnothing is heated; the next attempt is in about %v\n", text, standByFor)
	ctx, cancel := context.WithTimeout(ctx, standByFor)
	defer cancel()
	if listener, err := net.Listen("tcp", listen); err == nil {
		announce(stderr, listener, nil, "") // which answers as any name
		gate := web.NewGate(notStarted(text), slog.New(slog.NewTextHandler(stderr, nil)))
		go func() { _ = gate.Serve(listener) }() // the page of a program that is about to end
		defer gate.Close()
	}
	<-ctx.Done()
}

// notStarted answers everything with the reason: people in words, programs as problem
// details (RFC 9457).
func notStarted(why string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Cache-Control", "no-store")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Retry-After", fmt.Sprint(int(standByFor.Seconds())))
		if r.URL.Path != "/" {
			h.Set("Content-Type", "application/problem+json")
			w.WriteHeader(http.StatusServiceUnavailable)
			_ = json.NewEncoder(w).Encode(map[string]any{
				"type": "about:blank", "title": "the daemon could not start", "status": http.StatusServiceUnavailable, "detail": why,
			})
			return
		}
		h.Set("Content-Type", "text/html; charset=utf-8")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		w.WriteHeader(http.StatusServiceUnavailable)
		fmt.Fprintf(w, `<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="refresh" content="10">
<title>fumarium could not start</title>
<h1>The daemon could not start</h1>
<p>%s</p>
<p>It controls nothing until this is mended, and it tries again by itself about every half minute. If the cabinet is
hot all the same, cut the mains. A batch that was under way is not watched now: look after the food.</p>
</html>
`, html.EscapeString(why))
	})
}
