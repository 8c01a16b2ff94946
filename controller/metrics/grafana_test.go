//lint:file-ignore SA1019 classic dashboards are what every Grafana takes; the newer model is only for the newest

package metrics_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/bargauge"
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
	"github.com/grafana/grafana-foundation-sdk/go/units"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"

	"fumarium/controller/trip"
	"fumarium/profile/proof"
)

const (
	grafana   = "../../deploy/grafana/"
	siteBoard = "site.json" // of a site and its hub
)

// boards are the shipped dashboards, decoded by Grafana's own description of them, which
// takes no field that it does not know.
func boards(t *testing.T) map[string]dashboard.Dashboard {
	t.Helper()
	known := cog.NewRuntime()
	known.RegisterDataqueryVariant(prometheus.VariantConfig())
	known.RegisterPanelcfgVariant(bargauge.VariantConfig())
	known.RegisterPanelcfgVariant(stat.VariantConfig())
	known.RegisterPanelcfgVariant(statetimeline.VariantConfig())
	known.RegisterPanelcfgVariant(timeseries.VariantConfig())
	files, err := filepath.Glob(grafana + "dashboards/*.json")
	require.NoError(t, err)
	require.Len(t, files, 3)
	boards := map[string]dashboard.Dashboard{}
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var d dashboard.Dashboard
		require.NoError(t, strictly(data, &d), file)
		boards[filepath.Base(file)] = d
	}
	return boards
}

// strictly decodes a dashboard. The strict decoder's errors are a list, which is not nil
// when it is empty; for that it gives up each part that it found nothing wrong with
// (v0.0.22). So it only judges, and the values come from the one that is not strict.
func strictly(data []byte, d *dashboard.Dashboard) error {
	judge := func(err error) error {
		var faults cog.BuildErrors
		if errors.As(err, &faults) && len(faults) == 0 {
			return nil
		}
		return err
	}
	var judged dashboard.Dashboard
	if err := judge(judged.UnmarshalJSONStrict(data)); err != nil {
		return err
	}
	var raw struct {
		Panels []struct{ FieldConfig json.RawMessage }
	}
	if err := json.Unmarshal(data, &raw); err != nil {
		return err
	}
	for i, p := range raw.Panels { // which it passes over
		var fields dashboard.FieldConfigSource
		if err := judge(fields.UnmarshalJSONStrict(p.FieldConfig)); err != nil {
			return fmt.Errorf("panels[%d].fieldConfig: %w", i, err)
		}
	}
	if err := json.Unmarshal(data, d); err != nil {
		return err
	}
	return d.Validate()
}

// unitIDs are Grafana's units, from the source of the package that lists them: a
// program cannot ask it for all of its constants.
func unitIDs(t *testing.T) (ids []string) {
	t.Helper()
	dir, err := exec.Command("go", "list", "-f", "{{.Dir}}", "github.com/grafana/grafana-foundation-sdk/go/units").Output()
	require.NoError(t, err)
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(strings.TrimSpace(string(dir)), "types_gen.go"), nil, 0)
	require.NoError(t, err)
	ast.Inspect(file, func(n ast.Node) bool {
		if literal, ok := n.(*ast.BasicLit); ok && literal.Kind == token.STRING {
			id, err := strconv.Unquote(literal.Value)
			require.NoError(t, err)
			ids = append(ids, id)
		}
		return true
	})
	require.Contains(t, ids, units.Celsius)
	return ids
}

// panelFaults is what the strict decoding lets through and Grafana would draw wrongly or
// not at all: units that it does not know, styles that it does not draw, panels beside
// the grid.
func panelFaults(raw map[string]any, p *dashboard.Panel, units []string) (faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	if p.Title == nil || *p.Title == "" || p.Description == nil || *p.Description == "" {
		fault("no title or no description")
	}
	if g := p.GridPos; g == nil || g.W < 1 || g.H < 2 || g.X+g.W > 24 { // of 24 columns
		fault("does not lie on the grid")
	}
	if _, ok := cog.NewRuntime().ConfigForPanelcfgVariant(p.Type); !ok {
		fault("%s is no kind of panel that is checked here", p.Type)
	}
	if p.FieldConfig == nil || p.FieldConfig.Defaults.Unit == nil || !slices.Contains(units, *p.FieldConfig.Defaults.Unit) {
		fault("no unit that Grafana knows")
	}
	if p.Datasource == nil || p.Datasource.Uid == nil || *p.Datasource.Uid != "${datasource}" {
		fault("does not ask the chosen data source")
	}
	if p.FieldConfig != nil {
		if style, ok := p.FieldConfig.Defaults.Custom.(*timeseries.FieldConfig); ok {
			if style.DrawStyle == nil || !slices.Contains([]common.GraphDrawStyle{common.GraphDrawStyleLine, common.GraphDrawStyleBars, common.GraphDrawStylePoints}, *style.DrawStyle) {
				fault("no style that is drawn")
			}
		}
	}
	targets, _ := raw["targets"].([]any)
	if len(targets) == 0 {
		fault("asks for nothing")
	}
	for i := range targets {
		q, ok := p.Targets[i].(*prometheus.Dataquery)
		if !ok || q.Expr == "" || q.RefId == nil || *q.RefId == "" {
			fault("query %d asks for nothing", i)
			continue
		}
		if (!strings.Contains(q.Expr, `instance=~"$cabinet"`) || !strings.Contains(q.Expr, `job="$job"`)) && !strings.Contains(q.Expr, `{cabinet=~"$cabinet"}`) { // a site names its cabinets
			fault("query %d does not keep to the chosen cabinet", i)
		}
		// A counter of its own draws the age of the process. Grafana knows how long a rate must be.
		if regexp.MustCompile(`_total|_bucket`).MatchString(q.Expr) && !regexp.MustCompile(`(rate|increase)\(fumarium_\w+\{[^}]*\}\[(\$__rate_interval|\$__range|1h)\]\)`).MatchString(q.Expr) {
			fault("query %d shows a counter as it stands", i)
		}
	}
	return faults
}

func wholeOf(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(grafana + "dashboards/" + name)
	require.NoError(t, err)
	return string(data)
}

func rawPanels(t *testing.T, name string) (panels []map[string]any) {
	t.Helper()
	var raw struct{ Panels []map[string]any }
	require.NoError(t, json.Unmarshal([]byte(wholeOf(t, name)), &raw))
	return raw.Panels
}

func TestDashboardsAreWhatGrafanaReads(t *testing.T) {
	known := unitIDs(t)
	uids := map[string]bool{}
	for name, d := range boards(t) {
		require.NotNil(t, d.Uid)
		assert.False(t, uids[*d.Uid], "two dashboards under one address")
		uids[*d.Uid] = true
		assert.Equal(t, []string{"fumarium"}, d.Tags)
		var variables []string
		for _, v := range d.Templating.List {
			variables = append(variables, v.Name)
			assert.NotEmpty(t, v.Label, v.Name)
			assert.NotEmpty(t, v.Description, v.Name)
		}
		assert.Subset(t, variables, []string{"datasource", "cabinet"}, name)
		for _, used := range regexp.MustCompile(`\$\{?(\w+)`).FindAllStringSubmatch(wholeOf(t, name), -1) {
			if !strings.HasPrefix(used[1], "__") { // Grafana's own
				assert.Contains(t, variables, used[1], name)
			}
		}
		ids, raw := map[uint32]bool{}, rawPanels(t, name)
		var taken []dashboard.GridPos
		for i, p := range d.Panels {
			assert.Empty(t, panelFaults(raw[i], p.Panel, known), "%s, panel %v", name, raw[i]["title"])
			require.NotNil(t, p.Panel.Id)
			assert.False(t, ids[*p.Panel.Id], "%s: two panels are number %d", name, *p.Panel.Id)
			ids[*p.Panel.Id] = true
			g := *p.Panel.GridPos
			for _, o := range taken {
				assert.False(t, g.X < o.X+o.W && o.X < g.X+g.W && g.Y < o.Y+o.H && o.Y < g.Y+g.H, "%s: %v lies over another panel", name, raw[i]["title"])
			}
			taken = append(taken, g)
		}
		assert.Greater(t, len(ids), 8)
	}
}

// What the strict decoding passes is found by our own rules; it is tried on one panel.
func TestFaultsOfAPanelAreFound(t *testing.T) {
	known := unitIDs(t)
	whole := wholeOf(t, "cabinet.json")
	for name, c := range map[string]struct{ put, in, said string }{
		"beside the grid":      {`"x": 4`, `"x": 0`, "grid"},
		"a style nobody draws": {`"drawStyle": "lines"`, `"drawStyle": "line"`, "no style"},
		"a unit nobody knows":  {`"unit": "celsiuss"`, `"unit": "celsius"`, "no unit"},
		"any cabinet":          {`instance=~\".*\"`, `instance=~\"$cabinet\"`, "chosen cabinet"},
		"another source":       {`"uid": "main"`, `"uid": "${datasource}"`, "data source"},
		"a bare counter":       {`"expr": "fumarium_steps_late_total{job=\"$job\",instance=~\"$cabinet\"} + `, `"expr": "`, "counter"},
	} {
		t.Run(name, func(t *testing.T) {
			at := strings.Index(whole, `"title": "Curve"`)
			from, _, found := strings.Cut(whole[at:], `"type": "state-timeline"`)
			require.True(t, found)
			require.Contains(t, from, c.in)
			bad := whole[:at] + strings.ReplaceAll(from, c.in, c.put) + whole[at+len(from):]
			var d dashboard.Dashboard
			require.NoError(t, strictly([]byte(bad), &d), "then our rule is not needed any more")
			var raw struct{ Panels []map[string]any }
			require.NoError(t, json.Unmarshal([]byte(bad), &raw))
			for i, p := range d.Panels {
				if p.Panel != nil && *p.Panel.Title == "Curve" {
					faults := panelFaults(raw.Panels[i], p.Panel, known)
					require.NotEmpty(t, faults)
					assert.Contains(t, strings.Join(faults, "; "), c.said)
				}
			}
		})
	}
	for _, wrong := range [][2]string{{`"tags"`, `"labels"`}, {`"expr"`, `"exprr"`}, {`"lineWidth"`, `"lineWidths"`}, {`"gridPos"`, `"grid"`}, {`"steps"`, `"stairs"`}} {
		var d dashboard.Dashboard
		require.Contains(t, whole, wrong[0])
		assert.Error(t, strictly([]byte(strings.Replace(whole, wrong[0], wrong[1], 1)), &d), "what it finds is found: %s", wrong[1])
	}
}

// The words of the pictures are those of the code, and each number has one.
func TestDashboardsNameStatesAsTheCodeDoes(t *testing.T) {
	words := func(panel map[string]any) map[string]string {
		defaults := panel["fieldConfig"].(map[string]any)["defaults"].(map[string]any)
		words := map[string]string{}
		for number, w := range defaults["mappings"].([]any)[0].(map[string]any)["options"].(map[string]any) {
			words[number] = w.(map[string]any)["text"].(string)
		}
		return words
	}
	phases, answers := map[string]string{}, map[string]string{}
	for p := range trip.Phases {
		phases[fmt.Sprint(uint8(p))] = p.String()
	}
	for a := range proof.DoesNotApply + 1 {
		answers[fmt.Sprint(uint8(a))] = a.String()
	}
	seen := 0
	for name := range boards(t) {
		for _, p := range rawPanels(t, name) {
			targets, _ := json.Marshal(p["targets"])
			switch {
			case p["type"] != "state-timeline":
			case strings.Contains(string(targets), "fumarium_alarm_state"):
				assert.Equal(t, phases, words(p), name)
				seen++
			case strings.Contains(string(targets), "fumarium_verdict_state"):
				assert.Equal(t, answers, words(p), name)
				seen++
			}
		}
	}
	assert.Equal(t, 3, seen)
}

// Whatever a panel asks for is in a scrape or recorded by a rule.
func TestDashboardsAskForMetricsThatExist(t *testing.T) {
	known := knownMetrics(t)
	for name := range boards(t) {
		if name == siteBoard {
			continue // every query of it is put to a Prometheus of a site (cmd/fumarium-hub/internal/desk)
		}
		asked := 0
		for _, p := range rawPanels(t, name) {
			targets, _ := p["targets"].([]any)
			for _, target := range targets {
				expr := target.(map[string]any)["expr"].(string)
				for _, metric := range metricNames(expr) {
					asked++
					assert.True(t, known[metric], "%s: no metric is called %s: %s", name, metric, expr)
				}
			}
		}
		assert.Greater(t, asked, 8)
	}
}

// Grafana's provisioning files have these keys (Grafana documentation, "Provision
// Grafana"; value from memory).
func TestProvisioningFiles(t *testing.T) {
	var dashboards struct {
		APIVersion int `yaml:"apiVersion"`
		Providers  []struct {
			Name, Folder, Type string
			AllowUIUpdates     bool `yaml:"allowUiUpdates"`
			Options            struct{ Path string }
		}
	}
	var sources struct {
		APIVersion  int `yaml:"apiVersion"`
		Datasources []struct {
			Name, Type, Access, URL string
			IsDefault               bool `yaml:"isDefault"`
			JSONData                struct {
				TimeInterval string `yaml:"timeInterval"`
			} `yaml:"jsonData"`
		}
	}
	var scrape struct {
		Global struct {
			Interval string `yaml:"scrape_interval"`
		}
	}
	for file, into := range map[string]any{"grafana/provisioning/dashboards/fumarium.yaml": &dashboards, "grafana/provisioning/datasources/fumarium.yaml": &sources, "prometheus.yaml": &scrape} {
		data, err := os.ReadFile("../../deploy/" + file)
		require.NoError(t, err)
		decoder, err := yaml.NewLoader(strings.NewReader(string(data)), yaml.WithKnownFields(file != "prometheus.yaml"))
		require.NoError(t, err)
		require.NoError(t, decoder.Load(into), file)
	}
	require.Len(t, dashboards.Providers, 1)
	assert.Equal(t, "file", dashboards.Providers[0].Type)
	require.Len(t, sources.Datasources, 1)
	assert.Equal(t, "prometheus", sources.Datasources[0].Type)
	assert.Equal(t, scrape.Global.Interval, sources.Datasources[0].JSONData.TimeInterval, "or its rates are too short")
}
