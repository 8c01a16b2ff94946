package cabinet

import (
	"bytes"
	"fmt"
	"strings"
	"time"
)

// learnedMark begins the comment over what was learned, by which the next one finds it.
const learnedMark = "# Learned by the cabinet itself"

// WithLearned is a cabinet file with what was learned at its end, under a comment that
// holds the words given, in place of what stood there before. Nothing else of it changes.
// Whoever writes it to a disk has to read it first, and hold it against the old.
func WithLearned(file []byte, l Learned, words ...string) []byte {
	var b bytes.Buffer
	b.Write(bytes.TrimRight(WithoutLearned(file), "\n"))
	if b.Len() > 0 {
		b.WriteString("\n")
	}
	for i, text := range words {
		if i == 0 {
			b.WriteString(learnedMark + " " + text + "\n")
		} else {
			b.WriteString("# " + text + "\n")
		}
	}
	b.WriteString("learned:\n")
	for _, one := range []struct {
		key string
		r   Response
	}{{"fan on", l.FanOn}, {"fan off", l.FanOff}} {
		if one.r.Gain > 0 {
			fmt.Fprintf(&b, "  %s: {gain: %.1f K, lag: %s, second lag: %s, dead time: %s}\n", one.key, float64(one.r.Gain),
				wholeSeconds(one.r.Lag), wholeSeconds(one.r.SecondLag), wholeSeconds(one.r.DeadTime))
		}
	}
	return b.Bytes()
}

func wholeSeconds(d time.Duration) string { return fmt.Sprintf("%.0f s", d.Seconds()) }

// WithoutLearned takes away what was learned, and the comment over it.
func WithoutLearned(file []byte) []byte {
	var kept []string
	inside, comment := false, false
	for line := range strings.Lines(string(file)) {
		blank := strings.TrimSpace(line) == ""
		indented := strings.HasPrefix(line, " ") || strings.HasPrefix(line, "\t")
		switch {
		case strings.HasPrefix(line, learnedMark):
			inside, comment = false, true
		case strings.HasPrefix(line, "learned:"):
			inside, comment = true, false
		case inside && (indented || blank), comment && strings.HasPrefix(line, "#"):
		default:
			inside, comment = false, false
			kept = append(kept, line)
		}
	}
	return []byte(strings.Join(kept, ""))
}
