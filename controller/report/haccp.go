package report

import (
	_ "embed"
	"encoding/csv"
	"html/template"
	"io"
	"strings"
	"time"

	"fumarium/controller/caution"
	"fumarium/profile/proof"
)

// A Log is the monitoring of the critical limits of all batches of a period, as a hazard
// plan keeps it: each limit with what was measured, what deviated, what the guidance allows
// and what a person decided, and what was verified. It decides nothing.
type Log struct {
	From    time.Time `json:"from"`
	Until   time.Time `json:"until"` // the first moment that is not in it
	Entries []Limit   `json:"entries"`
	Aid     string    `json:"aid"`
}

// A Limit is one line of the log.
type Limit struct {
	Batch      string    `json:"batch"`
	Product    string    `json:"product"`
	Started    time.Time `json:"started"`
	Rule       string    `json:"rule"`
	What       string    `json:"what"`
	Limit      string    `json:"limit"`
	Figure     string    `json:"figure"`
	Source     string    `json:"source"`
	Answer     string    `json:"answer"`
	Deviation  string    `json:"deviation"`  // empty is none
	Corrective string    `json:"corrective"` // what the guidance says to do first
	Decided    string    `json:"decided"`    // by a person, as it is on record
	Verified   string    `json:"verified"`   // probes, record, who read it
}

// Add puts the lines of one batch into the log. A batch that cannot be replayed has one
// that says so.
func (l *Log) Add(s *Source) {
	r := Make(s)
	verified := verification(r)
	line := Limit{Batch: r.ID, Product: r.Product.Title, Started: r.Started, Verified: verified}
	if s.Replayed == nil || s.State == "" {
		line.Rule, line.Answer, line.Deviation, line.Decided = "all", proof.NotShown.String(), r.Ending, r.decided("")
		if s.State == "" {
			line.Deviation = "it is under way"
		}
		l.Entries = append(l.Entries, line)
		return
	}
	for _, rule := range r.Rules {
		if rule.Answer == proof.DoesNotApply.String() {
			continue
		}
		line := line
		line.Rule, line.Answer, line.Decided = rule.Rule, rule.Answer, r.decided(rule.Rule)
		if rule.Answer != proof.Met.String() {
			line.Deviation, line.Corrective = rule.Answer+": "+rule.Why, r.corrective(rule.Rule)
		}
		if len(rule.Measures) == 0 {
			line.What = rule.Why
			l.Entries = append(l.Entries, line)
			continue
		}
		for _, m := range rule.Measures {
			line.What, line.Limit, line.Figure, line.Source = m.What, m.Limit, m.Figure, m.Source
			l.Entries = append(l.Entries, line)
		}
	}
}

// corrective is what the guidance says to do first about a rule.
func (r *Report) corrective(rule string) string {
	var texts []string
	for _, c := range r.Worksheet {
		if c.Rule == rule && len(c.Steps) > 0 {
			texts = append(texts, c.Steps[0].Do)
		}
	}
	return strings.Join(texts, "; ")
}

// decided is what people decided of a rule, or of the whole batch.
func (r *Report) decided(rule string) string {
	var texts []string
	for _, d := range r.Decisions {
		if rule == "" || d.What == rule || d.What == Whole {
			texts = append(texts, d.Text+" ("+d.Who+", "+d.Time.Format("2006-01-02 15:04")+")")
		}
	}
	return strings.Join(texts, "; ")
}

// verification is how the cores were known to be right, what was found of the record, and
// who read it.
func verification(r *Report) string {
	var texts []string
	for _, p := range r.Probes {
		if p.Why != "" { // a core
			texts = append(texts, p.Name+" ±"+p.ErrorKelvin.String()+", "+p.Why)
		}
	}
	record := "record whole"
	if !r.Whole {
		record = "RECORD " + r.Record
	}
	texts = append(texts, record)
	read := "read by nobody yet"
	for _, d := range r.Decisions {
		if d.What == Read {
			read = "read by " + d.Text + ", " + d.Time.Format("2006-01-02")
		}
	}
	return strings.Join(append(texts, read), "; ")
}

// CSV writes the log for a spreadsheet.
func (l *Log) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"batch", "product", "started", "rule", "what", "limit", "measured", "source", "answer", "deviation", "corrective action by the guidance", "decided", "verification"}}
	for _, e := range l.Entries {
		rows = append(rows, []string{e.Batch, e.Product, e.Started.Format(time.RFC3339), e.Rule, e.What, e.Limit, e.Figure, e.Source, e.Answer, e.Deviation, e.Corrective, e.Decided, e.Verified})
	}
	if err := out.WriteAll(rows); err != nil {
		return err
	}
	return out.Error()
}

//go:embed haccp.html
var logPage string

var logLayout = template.Must(template.New("haccp").Funcs(template.FuncMap{
	"plain": plain, "class": func(answer string) string { return strings.ReplaceAll(answer, " ", "-") }, "day": func(t time.Time) string { return t.Format("2 January 2006") },
}).Parse(logPage))

// HTML writes the log as one page that needs nothing else, to be printed across.
func (l *Log) HTML(w io.Writer) error {
	l.Aid = caution.Food
	return logLayout.Execute(w, struct {
		*Log
		Last time.Time
	}{l, l.Until.Add(-time.Second)})
}
