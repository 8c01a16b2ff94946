package desk

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/layout"
	"fumarium/controller/report"
	"fumarium/profile/quantity"
)

//go:embed pages.html
var pagesText string

// pageLayouts has a layout for each page, which begins with its part of the file.
var pageLayouts = func() map[string]*layout.Layout {
	all := map[string]*layout.Layout{}
	for _, name := range []string{"enter", "cabinets", "batches", "batch", "lots", "haccp", "alarms", "people"} {
		all[name] = layout.Must(layout.Parse("page", pagesText+`{{template "`+name+`" .}}`, nil))
	}
	return all
}()

const (
	cookie = "fumarium_hub"
	// mostListed bounds a list, and mostLogged the batches of one log; common practice, no source.
	mostListed = 100
	mostLogged = 1000
	// quietAfter is how long a board may be silent before the page says so: it looks in every
	// minute. Common practice, no source.
	quietAfter = 5 * time.Minute
)

// frame is what every page has.
type frame struct {
	Title, Said, Person, Role string
	Alarms                    int
	Admin                     bool
}

type handler func(w http.ResponseWriter, r *http.Request, p *store.Person) error

func asked(format string, args ...any) error {
	return store.Wrong(fmt.Sprintf(format, args...))
}

func (d *Desk) pages() {
	for pattern, page := range map[string]struct {
		role string
		then handler
	}{
		"GET /{$}":            {store.Look, d.cabinets},
		"GET /batches":        {store.Look, d.batches},
		"GET /batch":          {store.Look, d.batch},
		"GET /report":         {store.Look, d.report},
		"GET /compare":        {store.Look, d.compareBatches},
		"GET /record":         {store.Look, d.record},
		"GET /lots":           {store.Look, d.lots},
		"GET /haccp":          {store.Look, d.haccp},
		"GET /alarms":         {store.Look, d.alarms},
		"GET /metrics":        {store.Look, d.metrics},
		"POST /remark":        {store.Note, d.remark},
		"POST /settle":        {store.Administer, d.settle},
		"GET /people":         {store.Administer, d.people},
		"POST /people/add":    {store.Administer, d.addPerson},
		"POST /people/remove": {store.Administer, d.removePerson},
		"POST /boards":        {store.Administer, d.boards},
	} {
		d.mux.HandleFunc(pattern, d.person(page.role, page.then))
	}
	d.mux.HandleFunc("POST /enter", d.enter)
	d.mux.HandleFunc("POST /leave", d.leave)
}

// person lets through who may, and shows the door to others. A program gives the word of a
// person in place of a session.
func (d *Desk) person(role string, then handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		secret := ""
		if c, err := r.Cookie(cookie); err == nil {
			secret = c.Value
		}
		word, isProgram := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		if isProgram {
			if !d.guess() {
				http.Error(w, "too many words were tried; wait some seconds", http.StatusTooManyRequests)
				return
			}
			p, err := d.store.Worded(r.Context(), word)
			d.let(w, r, p, err, role, then, isProgram)
			return
		}
		p, err := d.store.Who(r.Context(), secret)
		d.let(w, r, p, err, role, then, isProgram)
	}
}

func (d *Desk) let(w http.ResponseWriter, r *http.Request, p *store.Person, err error, role string, then handler, isProgram bool) {
	switch {
	case errors.Is(err, store.ErrNone) && isProgram:
		http.Error(w, "this word is nobody's", http.StatusUnauthorized)
	case errors.Is(err, store.ErrNone):
		d.show(w, http.StatusUnauthorized, "enter", struct{ frame }{frame{Title: "Fumarium hub"}})
	case err != nil:
		d.fail(w, err)
	case !p.May(role):
		http.Error(w, "your role is "+p.Role+", and this takes "+role+"; ask an administrator", http.StatusForbidden)
	default:
		if err := then(w, r, p); err != nil {
			d.fail(w, err)
		}
	}
}

func (d *Desk) fail(w http.ResponseWriter, err error) {
	wrong := store.Wrong("")
	switch {
	case errors.As(err, &wrong):
		http.Error(w, err.Error(), http.StatusBadRequest)
	case errors.Is(err, store.ErrNone):
		http.Error(w, "there is none of that name", http.StatusNotFound)
	case errors.Is(err, store.ErrTaken):
		http.Error(w, err.Error(), http.StatusConflict)
	default:
		d.log.Error("a page could not be made", "err", err)
		http.Error(w, "the hub cannot answer this now; its log says why", http.StatusServiceUnavailable)
	}
}

func (d *Desk) show(w http.ResponseWriter, status int, name string, data any) {
	var page bytes.Buffer
	if err := pageLayouts[name].Execute(&page, data); err != nil {
		d.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(bytes.TrimSpace(page.Bytes()))
}

func (d *Desk) frame(r *http.Request, p *store.Person, title string) (frame, error) {
	alarms, err := d.store.Alarms(r.Context())
	return frame{Title: title, Person: p.Name, Role: "may " + p.Role, Alarms: len(alarms), Admin: p.May(store.Administer)}, err
}

func (d *Desk) enter(w http.ResponseWriter, r *http.Request) {
	if !d.guess() {
		http.Error(w, "too many words were tried; wait some seconds and try again", http.StatusTooManyRequests)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 4096)
	secret, err := d.store.Enter(r.Context(), r.PostFormValue("word"))
	if errors.Is(err, store.ErrNone) {
		d.show(w, http.StatusUnauthorized, "enter", struct{ frame }{frame{Title: "Fumarium hub", Said: "This word is nobody's; ask an administrator for a new one."}})
		return
	} else if err != nil {
		d.fail(w, err)
		return
	}
	http.SetCookie(w, &http.Cookie{Name: cookie, Value: secret, Path: "/", HttpOnly: true, Secure: d.secure, SameSite: http.SameSiteStrictMode, MaxAge: int(store.SessionLasts.Seconds())})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (d *Desk) leave(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(cookie); err == nil {
		if err := d.store.Leave(r.Context(), c.Value); err != nil {
			d.fail(w, err)
			return
		}
	}
	http.SetCookie(w, &http.Cookie{Name: cookie, Path: "/", MaxAge: -1})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// shown is a batch in words.
type shown struct {
	Name, Cabinet, World, Product, Program    string
	Began, Lasted, State, Stage               string
	Chamber, Set, Core, Standing              string
	Kind, Verdict, Seen, Quiet, Head, Subject string
	ToCome                                    string
	Mass                                      string
	Links                                     int64
	HubAlarms                                 int
	Revoked                                   bool
	Open                                      layout.HTML
}

func link(path, text string, pairs ...string) layout.HTML {
	q := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		q.Set(pairs[i], pairs[i+1])
	}
	return layout.HTML(`<a href="` + html.EscapeString(path+"?"+q.Encode()) + `">` + html.EscapeString(text) + `</a>`)
}

func degrees(v *float64) string {
	if v == nil {
		return quantity.Nothing
	}
	return fmt.Sprintf("%.1f °C", *v)
}

func inWords(b *store.Batch) shown {
	s := shown{
		Name: b.Name, Cabinet: b.Cabinet, World: b.World, Product: b.Product, Program: b.Program, Began: b.Started.UTC().Format("2006-01-02 15:04 UTC"),
		Lasted: quantity.FormatDuration(time.Duration(b.Elapsed) * time.Second), State: b.State, Stage: b.Stage,
		Chamber: degrees(b.Chamber), Core: degrees(b.Core), Standing: strings.Join(b.Standing, ", "), Links: b.Links - 1, Head: fmt.Sprintf("%x", b.Head),
		Open: link("/batch", b.Name, "cabinet", b.Cabinet, "name", b.Name),
	}
	if b.Set != nil {
		s.Set = degrees(b.Set)
	}
	switch {
	case b.Ended == nil:
		s.Verdict = "under way, as far as it was sent"
	case b.Judged < b.Links:
		s.Verdict = "not judged yet"
	case b.Good == nil:
		s.Kind, s.Verdict = "bad", b.Verdict
	case *b.Good:
		s.Kind, s.Verdict = "good", b.Verdict
	default:
		s.Kind, s.Verdict = "bad", b.Verdict
	}
	return s
}

func (d *Desk) cabinets(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	all, err := d.store.Cabinets(r.Context())
	if err != nil {
		return err
	}
	f, err := d.frame(r, p, "Cabinets")
	if err != nil {
		return err
	}
	list := make([]shown, 0, len(all))
	for _, c := range all {
		s := shown{}
		if c.Latest != nil {
			s = inWords(c.Latest)
			if c.Latest.Ended == nil {
				s.ToCome = d.expected(c.ID, c.Latest.Name)
			}
			if c.Latest.Ended == nil && s.ToCome == "" {
				before, err := d.store.Lasted(r.Context(), c.ID, c.Latest.Product, mostLikeIt)
				if err != nil {
					return err
				}
				s.ToCome = toCome(time.Duration(c.Latest.Elapsed)*time.Second, before)
			}
		}
		s.Seen, s.Quiet = "never heard of", "bad"
		if c.Seen != nil {
			ago := time.Since(*c.Seen).Truncate(time.Second)
			s.Seen, s.Quiet = "heard of "+quantity.FormatDuration(max(0, ago))+" ago", "mute"
			if ago > quietAfter {
				s.Quiet = "bad"
			}
		}
		s.Name, s.World, s.Revoked, s.HubAlarms = c.Name, c.World, c.Revoked, c.Alarms
		list = append(list, s)
	}
	d.show(w, http.StatusOK, "cabinets", struct {
		frame
		List []shown
	}{f, list})
	return nil
}

func day(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, asked("%q is no date; write it like 2026-11-30", text)
	}
	return t, nil
}

// question is what is asked for of batches; until is the last day.
func question(r *http.Request) (q store.Question, err error) {
	q = store.Question{Cabinet: r.FormValue("cabinet"), Product: r.FormValue("product"), Lot: r.FormValue("lot"), Most: mostListed}
	if q.From, err = day(r.FormValue("from")); err != nil {
		return q, err
	}
	if q.Until, err = day(r.FormValue("until")); err == nil && !q.Until.IsZero() {
		q.Until = q.Until.AddDate(0, 0, 1)
	}
	if before := r.FormValue("before"); before != "" {
		if _, err := fmt.Sscan(before, &q.Before); err != nil {
			return q, asked("%q is no place in the list", before)
		}
	}
	return q, err
}

func (d *Desk) batches(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	q, err := question(r)
	if err != nil {
		return err
	}
	all, err := d.store.Batches(r.Context(), q)
	if err != nil {
		return err
	}
	f, err := d.frame(r, p, "Batches")
	if err != nil {
		return err
	}
	list := make([]shown, len(all))
	more := layout.HTML("")
	for i := range all {
		list[i] = inWords(&all[i])
	}
	if len(all) == mostListed {
		more = link("/batches", "Older ones", "cabinet", q.Cabinet, "product", q.Product, "lot", q.Lot, "from", r.FormValue("from"), "until", r.FormValue("until"), "before", fmt.Sprint(all[len(all)-1].ID))
	}
	d.show(w, http.StatusOK, "batches", struct {
		frame
		Cabinet, Product, Lot, From, Until string
		List                               []shown
		More                               layout.HTML
	}{f, q.Cabinet, q.Product, q.Lot, r.FormValue("from"), r.FormValue("until"), list, more})
	return nil
}

func (d *Desk) batch(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	b, err := d.store.Batch(r.Context(), r.FormValue("cabinet"), r.FormValue("name"))
	if err != nil {
		return err
	}
	remarks, err := d.store.Remarks(r.Context(), b.ID)
	if err != nil {
		return err
	}
	f, err := d.frame(r, p, "Batch "+b.Name)
	if err != nil {
		return err
	}
	others, err := d.store.Batches(r.Context(), store.Question{Product: b.Product, Most: mostListed})
	if err != nil {
		return err
	}
	var with []shown
	for i := range others {
		if others[i].ID != b.ID {
			with = append(with, inWords(&others[i]))
		}
	}
	type remark struct{ Text, Who, When string }
	list := make([]remark, len(remarks))
	for i, m := range remarks {
		list[i] = remark{m.Text, m.Who, m.At.UTC().Format("2006-01-02 15:04 UTC")}
	}
	d.show(w, http.StatusOK, "batch", struct {
		frame
		Batch          shown
		Report, Record layout.HTML
		Remarks        []remark
		MayNote        bool
		With           []shown
	}{f, inWords(b), link("/report", "The report", "cabinet", b.Cabinet, "name", b.Name), link("/record", "The record as a file", "cabinet", b.Cabinet, "name", b.Name), list, p.May(store.Note), with})
	return nil
}

func (d *Desk) report(w http.ResponseWriter, r *http.Request, _ *store.Person) error {
	b, err := d.store.Batch(r.Context(), r.FormValue("cabinet"), r.FormValue("name"))
	if err != nil {
		return err
	}
	var page bytes.Buffer
	err = d.with(r.Context(), b, func(s *report.Source, _ string) error { return report.Make(s).HTML(&page, false) })
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err = w.Write(page.Bytes())
	return err
}

func (d *Desk) record(w http.ResponseWriter, r *http.Request, _ *store.Person) error {
	b, err := d.store.Batch(r.Context(), r.FormValue("cabinet"), r.FormValue("name"))
	if err != nil {
		return err
	}
	return d.with(r.Context(), b, func(_ *report.Source, file string) error {
		data, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		w.Header().Set("Content-Type", "application/vnd.sqlite3")
		w.Header().Set("Content-Disposition", `attachment; filename="batch.db"`)
		_, err = w.Write(data)
		return err
	})
}

func (d *Desk) lots(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	f, err := d.frame(r, p, "Where a lot went")
	if err != nil {
		return err
	}
	lot := strings.TrimSpace(r.FormValue("lot"))
	found, err := d.store.Lots(r.Context(), lot, mostLogged)
	if err != nil {
		return err
	}
	list := make([]shown, len(found))
	for i := range found {
		list[i] = inWords(&found[i].Batch)
		list[i].Subject, list[i].Mass = found[i].Subject, quantity.Nothing
		if kg := found[i].Kg; kg != nil {
			list[i].Mass = fmt.Sprintf("%.3g kg", *kg)
		}
	}
	d.show(w, http.StatusOK, "lots", struct {
		frame
		Lot  string
		List []shown
	}{f, lot, list})
	return nil
}

func (d *Desk) haccp(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	q, err := question(r)
	if err != nil {
		return err
	}
	if q.From.IsZero() || q.Until.IsZero() {
		f, err := d.frame(r, p, "HACCP log")
		if err == nil {
			d.show(w, http.StatusOK, "haccp", struct{ frame }{f})
		}
		return err
	}
	q.Most = mostLogged + 1
	all, err := d.store.Batches(r.Context(), q)
	if err != nil {
		return err
	}
	if len(all) > mostLogged {
		return asked("that are more than %d batches; ask for a shorter time", mostLogged)
	}
	l := &report.Log{From: q.From, Until: q.Until, Entries: []report.Limit{}}
	for i := len(all) - 1; i >= 0; i-- {
		if err := d.with(r.Context(), &all[i], func(s *report.Source, _ string) error {
			s.ID = all[i].Cabinet + " / " + s.ID // two cabinets may call a batch alike
			l.Add(s)
			return nil
		}); err != nil {
			return fmt.Errorf("batch %s of %s: %w", all[i].Name, all[i].Cabinet, err)
		}
	}
	var page bytes.Buffer
	write, kind := l.HTML, "text/html; charset=utf-8"
	if r.FormValue("as") == "csv" {
		write, kind = l.CSV, "text/csv; charset=utf-8"
	}
	if err := write(&page); err != nil {
		return err
	}
	w.Header().Set("Content-Type", kind)
	_, err = w.Write(page.Bytes())
	return err
}
