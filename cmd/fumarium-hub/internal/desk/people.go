package desk

import (
	"fmt"
	"net/http"
	"strconv"

	"fumarium/cmd/fumarium-hub/internal/store"
)

func (d *Desk) alarms(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	f, err := d.frame(r, p, "Alarms of the hub")
	if err != nil {
		return err
	}
	all, err := d.store.Alarms(r.Context())
	if err != nil {
		return err
	}
	type alarm struct {
		ID, Cabinet, Batch, Kind, Text, First, Last string
		Times                                       int64
	}
	list := make([]alarm, len(all))
	for i, a := range all {
		const at = "2006-01-02 15:04 UTC"
		list[i] = alarm{fmt.Sprint(a.ID), a.Cabinet, a.Batch, a.Kind, a.Text, a.First.UTC().Format(at), a.Last.UTC().Format(at), a.Times}
	}
	d.show(w, http.StatusOK, "alarms", struct {
		frame
		List []alarm
	}{f, list})
	return nil
}

func (d *Desk) remark(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	b, err := d.store.Batch(r.Context(), r.PostFormValue("cabinet"), r.PostFormValue("name"))
	if err != nil {
		return err
	}
	if err := d.store.Remark(r.Context(), b.ID, p.Name, r.PostFormValue("text")); err != nil {
		return err
	}
	return d.batch(w, r, p)
}

func (d *Desk) settle(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	id, err := strconv.ParseInt(r.PostFormValue("id"), 10, 64)
	reason := r.PostFormValue("reason")
	if err != nil || reason == "" || len(reason) > 500 {
		return asked("say which alarm, and in 1 to 500 bytes what was found")
	}
	if err := d.store.Settle(r.Context(), id, p.Name, reason); err != nil {
		return err
	}
	d.log.Info("an alarm was settled", "by", p.Name, "reason", reason)
	return d.alarms(w, r, p)
}

func (d *Desk) people(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	return d.showPeople(w, r, p, "", "")
}

// showPeople shows a secret once, and what was done.
func (d *Desk) showPeople(w http.ResponseWriter, r *http.Request, p *store.Person, said, word string) error {
	f, err := d.frame(r, p, "People and boards")
	if err != nil {
		return err
	}
	f.Said = said
	people, err := d.store.People(r.Context())
	if err != nil {
		return err
	}
	boards, err := d.store.Cabinets(r.Context())
	if err != nil {
		return err
	}
	d.show(w, http.StatusOK, "people", struct {
		frame
		Word   string
		People []store.Person
		Boards []store.Cabinet
		Roles  []string
	}{f, word, people, boards, store.Roles})
	return nil
}

func (d *Desk) addPerson(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	r.Body = http.MaxBytesReader(w, r.Body, 4096)
	name, role := r.PostFormValue("name"), r.PostFormValue("role")
	word, err := d.store.AddPerson(r.Context(), name, role)
	if err != nil {
		return err
	}
	d.log.Info("a person was added", "name", name, "role", role, "by", p.Name)
	return d.showPeople(w, r, p, name+" may "+role+".", word)
}

func (d *Desk) removePerson(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	r.Body = http.MaxBytesReader(w, r.Body, 4096)
	name := r.PostFormValue("name")
	if name == p.Name {
		return asked("nobody takes away the own role; let another administrator do it")
	}
	if err := d.store.RemovePerson(r.Context(), name); err != nil {
		return err
	}
	d.log.Info("a person was removed", "name", name, "by", p.Name)
	return d.showPeople(w, r, p, name+" was removed.", "")
}

func (d *Desk) boards(w http.ResponseWriter, r *http.Request, p *store.Person) error {
	r.Body = http.MaxBytesReader(w, r.Body, 4096)
	name, do := r.PostFormValue("name"), r.PostFormValue("do")
	said, word, err := "", "", error(nil)
	switch do {
	case "code", "again":
		word, err = d.store.Code(r.Context(), name, r.PostFormValue("world"), do == "again")
		said = "On the board of " + name + ": fumarium hub join ADDRESS CODE"
	case "revoke":
		err, said = d.store.Revoke(r.Context(), name), "The key of "+name+" is good for nothing now. Its records stay."
	case "admit":
		err, said = d.store.Admit(r.Context(), name), "The next batch of "+name+" that does not follow what is kept is taken, once."
	default:
		err = asked("nothing of that kind can be done")
	}
	if err != nil {
		return err
	}
	d.log.Info("something was done with a board", "what", do, "cabinet", name, "by", p.Name)
	return d.showPeople(w, r, p, said, word)
}
