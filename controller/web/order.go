package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"fumarium/controller"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/portion"
	"fumarium/profile/quantity"
)

// An Order is the body of POST /api/commands, as clients write it.
type Order struct {
	Command     string `json:"command"`
	Product     string `json:"product,omitempty"`
	File        string `json:"file,omitempty"`
	ProductYAML string `json:"product_yaml,omitempty"`
	StuffedAt   string `json:"stuffed_at,omitempty"`
	Meat        string `json:"meat,omitempty"`
	Reason      string `json:"reason,omitempty"`
	Alarm       string `json:"alarm,omitempty"`
	For         string `json:"for,omitempty"`
	Question    string `json:"question,omitempty"`
	Probe       string `json:"probe,omitempty"`
	Batch       string `json:"batch,omitempty"`
	Text        string `json:"text,omitempty"`
	Mark        string `json:"mark,omitempty"`
	What        string `json:"what,omitempty"`
	Mass        string `json:"mass,omitempty"`
	Lot         string `json:"lot,omitempty"`
	Pack        string `json:"pack,omitempty"`
	Form        string `json:"form,omitempty"`
	Stage       string `json:"stage,omitempty"`
	Chamber     string `json:"chamber,omitempty"`
	Core        string `json:"core,omitempty"`
	Time        string `json:"time,omitempty"`
	Smoke       string `json:"smoke,omitempty"`
	// Who gives it and from where; it is no part of the body.
	Who string `json:"-"`
}

// A field is one key of an order, with what it is part of; those of a note and of facts are
// part of nothing that the controller takes.
type field struct {
	name  string
	value *string
	of    controller.With
}

// fields lists all but the command itself.
func (o *Order) fields() []field {
	return []field{
		{"product", &o.Product, controller.WithProduct}, {"file", &o.File, controller.WithProduct},
		{"product_yaml", &o.ProductYAML, controller.WithProduct}, {"stuffed_at", &o.StuffedAt, controller.WithProduct}, {"meat", &o.Meat, controller.WithProduct},
		{"reason", &o.Reason, controller.WithProduct | controller.WithReason}, {"alarm", &o.Alarm, controller.WithAlarm},
		{"for", &o.For, controller.WithDuration}, {"question", &o.Question, controller.WithQuestion},
		{"probe", &o.Probe, controller.WithProbe}, {"batch", &o.Batch, 0}, {"text", &o.Text, 0}, {"mark", &o.Mark, 0},
		{"what", &o.What, 0}, {"mass", &o.Mass, 0}, {"lot", &o.Lot, 0}, {"pack", &o.Pack, 0}, {"form", &o.Form, 0},
		{"stage", &o.Stage, controller.WithStage}, {"chamber", &o.Chamber, controller.WithBend}, {"core", &o.Core, controller.WithBend},
		{"time", &o.Time, controller.WithBend}, {"smoke", &o.Smoke, controller.WithBend},
	}
}

// readOrder reads a flat object of strings.
func readOrder(body []byte) (*Order, error) {
	o := &Order{}
	return o, readStrings(body, "a command", `{"command": "hold"}`, append([]field{{"command", &o.Command, 0}}, o.fields()...))
}

// readStrings reads a flat object of strings. It is stricter than encoding/json,
// which takes the last of two equal keys, any case of a key, and trailing text.
func readStrings(body []byte, what, example string, fields []field) error {
	left, names := map[string]*string{}, []string{}
	for _, f := range fields {
		left[f.name] = f.value
		names = append(names, f.name)
	}
	last := len(names) - 1
	d := json.NewDecoder(bytes.NewReader(body))
	token, err := d.Token()
	if err != nil || token != json.Delim('{') {
		return fmt.Errorf("the body is no JSON object; send for example %s", example)
	}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return fmt.Errorf("the body is no JSON: %w; correct it", err)
		}
		name, _ := key.(string)
		value, ok := left[name]
		if !ok {
			return fmt.Errorf("field %q is unknown or given twice; %s has %s and %s, each once", name, what, strings.Join(names[:last], ", "), names[last])
		}
		said, err := d.Token()
		if err != nil {
			return fmt.Errorf("the body is no JSON: %w; correct it", err)
		}
		if *value, ok = said.(string); !ok {
			return fmt.Errorf("field %q is no text; put it in quotes", name)
		}
		delete(left, name)
	}
	if _, err := d.Token(); err != nil {
		return fmt.Errorf("the body ends too early: %w; send it whole", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("something follows the JSON object; send one thing at a time")
	}
	return nil
}

// request turns an order into what the loop takes.
func (s *server) request(o *Order) (snapshot.Request, *problem) {
	kind, ok := controller.ParseCommand(o.Command)
	if o.Command == "resume" { // its name until ISA-88's was taken
		return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "command resume does not exist; to go on with a held batch send restart")
	}
	if !ok {
		return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "command %q does not exist; send one of %s", o.Command, commandNames())
	}
	for _, f := range o.fields() {
		if *f.value != "" && kind.Takes()&f.of == 0 {
			return snapshot.Request{}, refuse(http.StatusUnprocessableEntity, "%s takes no %s; leave it out", o.Command, f.name)
		}
	}
	request := snapshot.Request{Command: controller.Command{Kind: kind}}
	for _, part := range []struct {
		of   controller.With
		read func(*Order, *snapshot.Request) *problem
	}{
		{controller.WithProduct, s.product}, {controller.WithProduct, s.rest},
		{controller.WithAlarm, alarm}, {controller.WithDuration, duration}, {controller.WithQuestion, question},
		{controller.WithProbe, s.probe}, {controller.WithStage, stage}, {controller.WithBend, bend}, {controller.WithReason, reason},
	} {
		if kind.Takes()&part.of == 0 {
			continue
		}
		if p := part.read(o, &request); p != nil {
			return snapshot.Request{}, p
		}
	}
	return request, nil
}

func commandNames() string {
	var names []string
	for _, k := range controller.Commands() {
		names = append(names, k.String())
	}
	return strings.Join(names, ", ")
}

func alarm(o *Order, r *snapshot.Request) *problem {
	needed := r.Command.Kind.Needs()&controller.WithAlarm != 0
	if o.Alarm == "" {
		if needed {
			return refuse(http.StatusUnprocessableEntity, "%s needs alarm, a code from /api/status", o.Command)
		}
		return nil
	}
	code, ok := trip.Parse(o.Alarm)
	if !ok {
		remedy := ", or leave it out for all"
		if needed {
			remedy = ""
		}
		return refuse(http.StatusUnprocessableEntity, "alarm %q does not exist; take a code from /api/status%s", o.Alarm, remedy)
	}
	r.Command.Alarm = code
	return nil
}

func duration(o *Order, r *snapshot.Request) *problem {
	d, err := quantity.ParseDuration(o.For)
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "%s needs for, a duration such as 2 h: %v", o.Command, err)
	}
	r.Command.For = d
	return nil
}

// question is the one that the person has read; the step judges whether it still waits.
func question(o *Order, r *snapshot.Request) *problem {
	if o.Question == "" {
		return refuse(http.StatusUnprocessableEntity,
			"%s needs question: read what prompt of /api/status asks, and send its question back, so that no other is answered unread", o.Command)
	}
	q, ok := controller.ParseQuestion(o.Question)
	if !ok {
		return refuse(http.StatusUnprocessableEntity, "question %q is none; send the one that prompt of /api/status has", o.Question)
	}
	if q.Batch == 0 {
		return refuse(http.StatusUnprocessableEntity, "question %q does not say of which batch; send the whole name that prompt of /api/status has", o.Question)
	}
	r.Command.Question = q
	return nil
}

// probe is the one that is in ice water, by its name in the cabinet file.
func (s *server) probe(o *Order, r *snapshot.Request) *problem {
	snap := s.Loop.Snapshot()
	if snap == nil || snap.Cabinet == nil {
		return refuse(http.StatusServiceUnavailable, "the controller has made no step yet; try again")
	}
	slot, ok := controller.SlotOf(snap.Cabinet, o.Probe)
	if !ok {
		return refuse(http.StatusUnprocessableEntity, "probe %q is none of chamber or core; take a name from probes of /api/status", o.Probe)
	}
	r.Command.Probe = uint8(slot + 1)
	return nil
}

// product finds what a start asks for and puts it into the request.
func (s *server) product(o *Order, r *snapshot.Request) *problem {
	var err error
	switch {
	case o.Product != "" && o.ProductYAML == "" && o.File == "" && s.FindProduct != nil:
		r.ProductName = o.Product
		r.Product, r.ProductFile, err = s.FindProduct(o.Product)
	case o.Product == "" && o.ProductYAML != "" && o.File != "" && s.ParseProduct != nil:
		if len(o.ProductYAML) > MaxProduct {
			return refuse(http.StatusRequestEntityTooLarge, "the product file has more than %d bytes; check that it is the right one", MaxProduct)
		}
		r.ProductName, r.ProductFile = o.File, []byte(o.ProductYAML)
		r.Product, err = s.parse(o.File, r.ProductFile)
	default:
		return refuse(http.StatusUnprocessableEntity, "this needs either product, a name from /api/products, or both file and product_yaml")
	}
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	if r.Product == nil {
		return refuse(http.StatusUnprocessableEntity, "there is no product %q; take a name from /api/products", o.Product)
	}
	if o.Meat != "" {
		return forMeat(o.Meat, r)
	}
	return nil
}

// forMeat makes the product one for the meat in hand. Its file is then the one that is
// recorded: it says what was weighed.
func forMeat(text string, r *snapshot.Request) *problem {
	meat, err := portion.ParseMeat(text)
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "meat %q: %v; write it like 4.2 kg or 11 lb 4 oz", text, err)
	}
	if r.Product, r.ProductFile, err = portion.File(r.ProductName, r.ProductFile, meat); err != nil {
		return refuse(http.StatusUnprocessableEntity, "%v", err)
	}
	return nil
}

// parse reads a product here, in the time of who sent it: the step gets what is ready.
func (s *server) parse(file string, data []byte) (*profile.Product, error) {
	s.parsing.Lock()
	defer s.parsing.Unlock()
	return s.ParseProduct(file, data)
}

// because puts the reason that was given, if any, into the request.
func (o *Order) because(r *snapshot.Request) *problem {
	r.Reason = strings.TrimSpace(o.Reason)
	r.Command.Excused = r.Reason != ""
	if len(r.Reason) > maxReason {
		return refuse(http.StatusUnprocessableEntity, "the reason has more than %d bytes; shorten it", maxReason)
	}
	return nil
}

// rest works out how long the product has rested, and says what is missing in
// more words than the controller has.
func (s *server) rest(o *Order, r *snapshot.Request) *problem {
	need, why := r.Product.Rest()
	p := o.because(r)
	if p != nil {
		return p
	}
	if r.Command.Rested, p = s.rested(o); p != nil {
		return p
	}
	switch {
	case r.Command.Rested >= need || r.Command.Excused:
		return nil
	case o.StuffedAt == "":
		p = refuse(http.StatusConflict, "%s rests for %s before it is heated (%s); say when it was stuffed, or give a reason to start without",
			r.Product.Name, quantity.FormatDuration(need), why)
	default:
		p = refuse(http.StatusConflict, "%s rests for %s before it is heated (%s); %s are still to go, wait or give a reason to start without",
			r.Product.Name, quantity.FormatDuration(need), why, quantity.FormatDuration(need-r.Command.Rested))
	}
	p.Excusable = true
	return p
}

// rested is how long ago the product was stuffed or cured; 0 where nobody says it.
func (s *server) rested(o *Order) (time.Duration, *problem) {
	if o.StuffedAt == "" {
		return 0, nil
	}
	at, err := time.Parse(time.RFC3339, o.StuffedAt)
	if err != nil {
		return 0, refuse(http.StatusUnprocessableEntity, "stuffed_at %q is no RFC 3339 time; write it like 2026-11-25T18:30:00+01:00", o.StuffedAt)
	}
	rested := s.Now().Sub(at)
	if rested < 0 {
		return 0, refuse(http.StatusUnprocessableEntity, "stuffed_at %s lies ahead; check the date and the zone", o.StuffedAt)
	}
	return rested, nil
}
