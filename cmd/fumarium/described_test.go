package main

import (
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a running daemon answers, with its own loop, record and metrics, holds
// against the description that the same daemon serves.
func TestADaemonAnswersAsItDescribes(t *testing.T) {
	d := startDaemon(t, "--pace", "600")
	d.line("the simulated person answers")
	_, text := d.get("/api/openapi.yaml")
	described, err := openapi3.NewLoader().LoadFromData([]byte(text))
	require.NoError(t, err)
	require.NoError(t, described.Validate(t.Context()))
	token, err := os.ReadFile(filepath.Join(d.state, tokenFile))
	require.NoError(t, err)

	send := func(method, path, body, bearer string, want int) string {
		r, err := http.NewRequest(method, d.url+path, strings.NewReader(body))
		require.NoError(t, err)
		if method == http.MethodPost {
			r.Header.Set("Content-Type", "application/json")
		}
		if bearer != "" {
			r.Header.Set("Authorization", "Bearer "+bearer)
		}
		resp, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		defer resp.Body.Close()
		answer, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		assert.Equal(t, want, resp.StatusCode, "%s %s %s: %s", method, path, body, answer)
		item := described.Paths.Value(r.URL.Path)
		require.NotNil(t, item, path)
		in := &openapi3filter.RequestValidationInput{Request: r, QueryParams: r.URL.Query(), Route: &routers.Route{
			Spec: described, Path: r.URL.Path, PathItem: item, Method: method, Operation: item.GetOperation(method)}}
		out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: resp.StatusCode, Header: resp.Header,
			Options: &openapi3filter.Options{IncludeResponseStatus: true}}
		assert.NoError(t, openapi3filter.ValidateResponse(t.Context(), out.SetBodyBytes(answer)), "%s %s %s", method, path, body)
		return string(answer)
	}
	operator := strings.TrimSpace(string(token))
	for path, item := range described.Paths.Map() {
		if item.Get != nil && path != "/api/events" && !strings.Contains(path, "{") { // one does not end, the other needs a name
			bearer := ""
			if item.Get.Security != nil { // not everybody's to see
				send(http.MethodGet, path, "", "", http.StatusUnauthorized)
				bearer = operator
			}
			assert.NotEmpty(t, send(http.MethodGet, path, "", bearer, http.StatusOK))
		}
	}
	send(http.MethodGet, "/chart.svg?width=1", "", "", http.StatusBadRequest)
	for _, c := range []struct {
		body, bearer string
		want         int
	}{
		{`{"command":"hold"}`, "not the operator's token", http.StatusUnauthorized},
		{`{"command":"hold"`, operator, http.StatusBadRequest},
		{`{"command":"none-such"}`, operator, http.StatusUnprocessableEntity},
		{`{"command":"start","product":"marjoram-ring","reason":"one is under way"}`, operator, http.StatusConflict},
		{`{"command":"note","text":"smells of marjoram"}`, operator, http.StatusOK},
		{`{"command":"stop"}`, operator, http.StatusOK},
	} {
		send(http.MethodPost, "/api/commands", c.body, c.bearer, c.want)
		assert.Contains(t, send(http.MethodGet, "/api/status", "", "", http.StatusOK), fmt.Sprintf("%q", "Marjoram ring sausage"))
	}
	assert.Equal(t, exitGood, d.end(os.Interrupt))
}
