package loop

import (
	"strings"

	"fumarium/controller"
)

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
