package loop

import (
	"strings"

	"fumarium/controller"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/profile/source"
)

// Why a start is refused before the controller sees it.
const (
	forbidden = "check finds errors in this product, and no batch is started with them; mend the file"
	advised   = "check has advice on this product; follow it, or give a reason to start nevertheless"
)

// gate holds the product of a start against what check says of it: an error refuses it
// whatever is said, and so does advice that nobody has given a reason against. It gives why
// it refuses, or nothing, and what was found.
func (l *Loop) gate(r *snapshot.Request) (why string, found []string) {
	if l.cfg.Judge == nil {
		return "", nil
	}
	for _, f := range l.cfg.Judge(r.Product, record.File{Name: r.ProductName, Data: r.ProductFile}) {
		if f.Severity == source.Error {
			why = forbidden
		}
		f.Excerpt = ""
		found = append(found, f.Severity.Asks()+": "+f.Error())
	}
	if why == "" && len(found) > 0 && !r.Command.Excused {
		why = advised
	}
	return why, found
}

// barred is the answer to a start that the gate refuses, with what speaks against the
// probes, so that a person who gives a reason knows all that it is given for.
func (l *Loop) barred(why string, found []string) snapshot.Reply {
	reply := snapshot.Reply{Why: why, Findings: found, Excusable: why == advised}
	if s := l.Snapshot(); s != nil {
		reply.State = s.State.Batch
		if why := controller.Start.Refused(&s.State); why != 0 { // whatever there is to say of the product
			return snapshot.Reply{Why: why.String(), State: s.State.Batch}
		}
		reply.Findings = append(reply.Findings, l.doubts(&s.State)...)
	}
	return reply
}

// doubts says in words what spoke against the probes when a batch was started. Nothing
// that they remember is changed by a start.
func (l *Loop) doubts(s *controller.State) (texts []string) {
	for _, d := range controller.Doubts(l.cfg.Cabinet, s) {
		texts = append(texts, d.Text(l.cfg.Cabinet))
	}
	return texts
}

// despite is the reason of a start as it goes on the record: with what it was given for.
func despite(reason string, findings []string) string {
	if reason == "" || len(findings) == 0 {
		return reason
	}
	return reason + " (despite: " + strings.Join(findings, "; ") + ")"
}
