package metrics_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"

	"fumarium/controller"
	"fumarium/controller/trip"
)

//go:generate go test . -run ^(TestGoldenScrape|TestAlertRulesAreTheCatalogue)$ -update

const (
	rulesFile = "../../deploy/alerts.yaml"
	// madeFrom is the line of the file behind which every rule is made here.
	madeFrom = "      # From here on made from the alarm catalogue (controller/trip) by: go generate ./...\n"
)

// alertName is the name of the alert that an alarm's rule has.
func alertName(c trip.Code) string {
	name := "Fumarium"
	for word := range strings.SplitSeq(c.String(), "-") {
		name += string(unicode.ToUpper(rune(word[0]))) + word[1:]
	}
	return name
}

// made is one rule for each alarm. Priority comes with the series.
func made() string {
	var b strings.Builder
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		fmt.Fprintf(&b, "      - alert: %s\n        expr: fumarium:alarm_calling:last1d{alarm=%q}\n        annotations:\n          meaning: %q\n          action: %q\n",
			alertName(c), e.Name, e.Meaning, e.DoAnywhere())
	}
	return b.String()
}

func TestAlertRulesAreTheCatalogue(t *testing.T) {
	data, err := os.ReadFile(rulesFile)
	require.NoError(t, err)
	own, rest, found := strings.Cut(string(data), madeFrom)
	require.True(t, found, "%s has lost the line %q", rulesFile, madeFrom)
	if *update {
		require.NoError(t, os.WriteFile(rulesFile, []byte(own+madeFrom+made()), 0o644))
		return
	}
	assert.Equal(t, made(), rest, "the alarm catalogue has changed; run: go generate ./...")
}

// The rules name states by their words; the words are the code's.
func TestAlertRulesKnowEveryState(t *testing.T) {
	data, err := os.ReadFile(rulesFile)
	require.NoError(t, err)
	var active []string
	for b := range controller.BatchStates {
		if b.Active() {
			active = append(active, b.String())
		}
	}
	assert.Contains(t, string(data), `fumarium_batch_state{state=~"`+strings.Join(active, "|")+`"}`)
	assert.Contains(t, string(data), fmt.Sprintf("(fumarium_alarm_state == bool %d) + (fumarium_alarm_state == bool %d)", trip.Unacknowledged, trip.ReturnedUnacknowledged))
	assert.Contains(t, string(data), fmt.Sprintf("# %d is %s, %d %s:", trip.Unacknowledged, trip.Unacknowledged, trip.ReturnedUnacknowledged, trip.ReturnedUnacknowledged))
}

// A rule of the file: recorded under a name, or an alert.
type rule struct{ Record, Alert, Expr string }

func rules(t *testing.T) []rule {
	t.Helper()
	data, err := os.ReadFile(rulesFile)
	require.NoError(t, err)
	var file struct {
		Groups []struct{ Rules []rule }
	}
	require.NoError(t, yaml.Unmarshal(data, &file))
	require.Len(t, file.Groups, 1)
	return file.Groups[0].Rules
}

// knownMetrics is whatever is in a scrape or recorded by a rule.
func knownMetrics(t *testing.T) map[string]bool {
	t.Helper()
	known := map[string]bool{"up": true}
	for _, f := range families(scrape(t, over(running()))) {
		known[f] = true
	}
	known["fumarium_batch_good"] = true // of a batch that is over
	for _, histogram := range []string{"fumarium_step_duration_seconds", "fumarium_step_delay_seconds"} {
		known[histogram+"_count"], known[histogram+"_bucket"] = true, true
	}
	known["fumarium_smoke_fuel_ratio"] = true                  // of a stage that smokes
	known["fumarium_forecast_finish_timestamp_seconds"] = true // while somebody can say
	known["fumarium_copies_failing"] = true                    // of a daemon, which has a book
	for _, r := range rules(t) {
		if r.Record != "" {
			known[r.Record] = true
		}
	}
	return known
}

// Whatever a rule asks for is in a scrape under that name.
func TestAlertRulesAskForMetricsThatExist(t *testing.T) {
	known := knownMetrics(t)
	asked := 0
	for _, r := range rules(t) {
		for _, name := range metricNames(r.Expr) {
			asked++
			assert.True(t, known[name], "no metric is called %s: %s", name, r.Expr)
		}
	}
	assert.Greater(t, asked, int(trip.Count))
}

// Recorded names are level:metric:operations, where what is recorded is an operation of a
// metric (Prometheus documentation, "Recording rules", as of August 2026). The level is
// the cabinet's, which keeps no label to name.
func TestRecordedNamesKeepToTheNamingPractice(t *testing.T) {
	recorded := 0
	for _, r := range rules(t) {
		if r.Record != "" {
			recorded++
			assert.Regexp(t, `^fumarium:[a-z_]+(:[a-z]+(\d+[md])?)?$`, r.Record)
			assert.NotContains(t, r.Record, "_total", "a rate of a counter loses the ending")
			assert.NotRegexp(t, `\bby\b`, r.Expr, "without keeps the labels that a site adds")
		}
	}
	assert.Equal(t, 8, recorded)
}

// metricNames finds our names in an expression.
func metricNames(expr string) (names []string) {
	quoted := false
	for part := range strings.FieldsFuncSeq(expr, func(r rune) bool {
		if r == '"' {
			quoted = !quoted
			return true
		}
		return quoted || !(unicode.IsLetter(r) || unicode.IsDigit(r) || r == '_' || r == ':')
	}) {
		if strings.HasPrefix(part, "fumarium") {
			names = append(names, part)
		}
	}
	return names
}

func TestPromtoolTakesRulesAndConfiguration(t *testing.T) {
	promtool := debian(t, "promtool")
	for _, check := range [][]string{
		{"check", "rules", "--lint-fatal", rulesFile},
		{"check", "config", "../../deploy/prometheus.yaml"},
	} {
		said, err := exec.Command(promtool, check...).CombinedOutput()
		assert.NoError(t, err, "%s", said)
		assert.Contains(t, string(said), fmt.Sprint(9+7+int(trip.Count)-1, " rules found"))
	}
}

// Batches told minute by minute; promtool says whether the rules call as told.
func TestAlertRulesByPromtool(t *testing.T) {
	t.Parallel()
	promtool := debian(t, "promtool")
	said, err := exec.Command(promtool, "test", "rules", "testdata/alerts.yaml", "testdata/alerts-day.yaml").CombinedOutput()
	assert.NoError(t, err, "%s", said)
	t.Logf("%s", said)
}

// Every alarm of the catalogue calls by its own name with its own words, in the two
// states that nobody has acknowledged, and in no other.
func TestEveryAlarmCallsInItsOwnWords(t *testing.T) {
	t.Parallel()
	promtool := debian(t, "promtool")
	rules, err := filepath.Abs(rulesFile)
	require.NoError(t, err)
	var b strings.Builder
	fmt.Fprintf(&b, "rule_files: [%q]\nevaluation_interval: 10s\ntests:\n", rules)
	for c := trip.None + 1; c < trip.Count; c++ {
		e := c.Entry()
		fmt.Fprint(&b, "- interval: 10s\n  input_series:\n")
		values := ""
		for p := range trip.Phases { // twenty seconds in each
			values += fmt.Sprintf("%d %d ", p, p)
		}
		fmt.Fprintf(&b, "  - {series: 'fumarium_alarm_state{alarm=%q, priority=%q, job=\"fumarium\", instance=\"cabin\"}', values: %q}\n",
			e.Name, e.Priority, strings.TrimSpace(values))
		fmt.Fprint(&b, "  alert_rule_test:\n")
		for p := range trip.Phases {
			for _, at := range []int{20 * int(p), 20*int(p) + 10} {
				fmt.Fprintf(&b, "  - eval_time: %ds\n    alertname: %s\n", at, alertName(c))
				if p == trip.Unacknowledged || p == trip.ReturnedUnacknowledged {
					fmt.Fprintf(&b, "    exp_alerts:\n    - exp_labels: {alarm: %s, priority: %s, job: fumarium, instance: cabin}\n      exp_annotations: {meaning: %q, action: %q}\n",
						e.Name, e.Priority, e.Meaning, e.DoAnywhere())
				}
			}
		}
	}
	file := filepath.Join(t.TempDir(), "every.yaml")
	require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o600))
	said, err := exec.Command(promtool, "test", "rules", file).CombinedOutput()
	assert.NoError(t, err, "%s", said)
}
