package cabinet_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller/cabinet"
	"fumarium/controller/cabinet/shipped"
)

// What was learned is read as it was written, stands once however often, and nothing else
// of the file changes by it.
func TestLearnedIsWrittenAndReadAgain(t *testing.T) {
	entry, err := shipped.Find("plywood-cabinet")
	require.NoError(t, err)
	l := cabinet.Learned{
		FanOn:  cabinet.Response{Gain: 195.6, Lag: 2000 * time.Second, SecondLag: 20 * time.Second, DeadTime: 15 * time.Second},
		FanOff: cabinet.Response{Gain: 163.4, Lag: 1350 * time.Second, SecondLag: 14 * time.Second, DeadTime: 30 * time.Second},
	}
	once := cabinet.WithLearned(entry.Data, l, "on some day", "and how sure")
	c, err := cabinet.Parse("x.yaml", once)
	require.NoError(t, err)
	assert.Equal(t, l, c.Learned)
	c.Learned = cabinet.Learned{}
	assert.Equal(t, entry.Value, c)
	assert.Contains(t, string(once), "# Learned by the cabinet itself on some day\n# and how sure\nlearned:\n")

	again := cabinet.WithLearned(once, l, "on some day", "and how sure")
	assert.Equal(t, string(once), string(again))
	moved := "learned:\n  fan on: {gain: 1 K, lag: 1 s, second lag: 1 s, dead time: 1 s}\n\n# of the house\n" + string(entry.Data)
	assert.Equal(t, "# of the house\n"+string(entry.Data), string(cabinet.WithoutLearned([]byte(moved))), "by hand, and elsewhere")

	one, err := cabinet.Parse("x.yaml", cabinet.WithLearned(entry.Data, cabinet.Learned{FanOn: l.FanOn}, "x"))
	require.NoError(t, err)
	assert.Equal(t, l.FanOn, one.Law(false), "of what one state of the fan has shown is better than an estimate")
	assert.Equal(t, entry.Value.Response, entry.Value.Law(true))
	_, err = cabinet.Parse("x.yaml", []byte(strings.Replace(string(once), "second lag: 20 s", "second lag: 3000 s", 1)))
	assert.ErrorContains(t, err, "second lag")
	_, err = cabinet.Parse("x.yaml", []byte(strings.Replace(string(once), "fan on:", "fan left:", 1)))
	assert.ErrorContains(t, err, "fan left")
}
