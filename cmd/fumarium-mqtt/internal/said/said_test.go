package said

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/history"
)

func teller() *Teller { return &Teller{ID: "kiln", Prefix: "fumarium", Discovery: "found"} }

func status(text string) *Status {
	s := &Status{}
	if err := json.Unmarshal([]byte(text), s); err != nil {
		panic(err)
	}
	return s
}

const running = `{"age_seconds":0.5,"world":"real","cabinet":"Kiln","state":"running","outputs":{"heater":true,"humidifier":null}`

func topics(all []Message) (names []string) {
	for _, m := range all {
		names = append(names, strings.TrimPrefix(m.Topic, "fumarium/kiln/"))
	}
	return names
}

var start = time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC)

// What is measured is told now and then, what happens at once, and nothing twice.
func TestWhatIsSaidWhen(t *testing.T) {
	te := teller()
	s := func(more string) *Status { return status(running + more + "}") }
	assert.Equal(t, []string{"found/device/fumarium-kiln/config", "state", "forecast", "alarms", "availability"}, topics(te.News(s(``), start, 0)))
	assert.Empty(t, te.News(s(``), start.Add(10*time.Second), 0))
	assert.Empty(t, te.News(s(`,"chamber_celsius":60`), start.Add(11*time.Second), 0), "five seconds have not passed")
	assert.Equal(t, []string{"state"}, topics(te.News(s(`,"chamber_celsius":61`), start.Add(16*time.Second), 0)))
	assert.Equal(t, []string{"state", "alarms"}, topics(te.News(s(`,"alarms":[{"code":"core-lost"}]`), start.Add(17*time.Second), 0)))
	assert.Equal(t, []string{"state"}, topics(te.News(s(`,"alarms":[{"code":"core-lost"}],"prompt":{"text":"Light it"}`), start.Add(18*time.Second), 0)))
	assert.Equal(t, []string{"state"}, topics(te.News(s(`,"alarms":[{"code":"core-lost"}],"prompt":{"text":"Light it"}`), start.Add(19*time.Second), 4)), "four events were dropped")
}

// A step that is old, one of no known age and a daemon that ends are offline: their readings
// are no readings.
func TestWhatIsNotAvailable(t *testing.T) {
	for _, text := range []string{`{}`, `{"age_seconds":null}`, `{"age_seconds":31}`, `{"age_seconds":0,"stopping":true}`} {
		te := teller()
		te.News(status(running+"}"), start, 0)
		got := te.News(status(text), start, 0)
		require.Equal(t, []Message{{"fumarium/kiln/availability", []byte("offline"), true}}, got, text)
		assert.Empty(t, te.Gone())
	}
}

// Events of before are of before; then each comes once, over a batch's end and a daemon's.
func TestEvents(t *testing.T) {
	te := teller()
	got := func(ids ...string) (said []string) {
		text := running + `,"events":[`
		for i, id := range ids {
			text += strings.Repeat(",", min(i, 1)) + fmt.Sprintf(`{"id":%q,"kind":"said"}`, id)
		}
		for _, m := range te.News(status(text+"]}"), start, 0) {
			if strings.HasSuffix(m.Topic, "/event") {
				var e struct{ ID, Event_type string }
				require.NoError(t, json.Unmarshal(m.Body, &e))
				assert.Equal(t, "said", e.Event_type)
				assert.False(t, m.Retain)
				said = append(said, e.ID)
			}
		}
		return said
	}
	assert.Empty(t, got("a/1", "a/2"))
	assert.Equal(t, []string{"a/3"}, got("a/1", "a/2", "a/3"))
	assert.Empty(t, got("a/1", "a/2", "a/3"))
	assert.Equal(t, []string{"b/1", "b/2"}, got("b/1", "b/2"), "another batch")
	assert.Empty(t, got("b/2"))
}

// The description names topics that are said, values that are in them, and nothing that could
// be written.
func TestTheDescriptionHolds(t *testing.T) {
	te := teller()
	all := te.News(status(running+"}"), start, 0)
	bodies := map[string]map[string]any{}
	for _, m := range all {
		v := map[string]any{}
		_ = json.Unmarshal(m.Body, &v)
		bodies[m.Topic] = v
	}
	d := te.described(status(running + "}"))
	value := regexp.MustCompile(`value_json\.(\w+)(?:\.(\w+))?`)
	for name, c := range d.Components {
		assert.Equal(t, "fumarium-kiln-"+name, c.UniqueID)
		assert.Equal(t, "fumarium/kiln/availability", c.AvailabilityTopic)
		for _, part := range value.FindAllStringSubmatch(c.ValueTemplate, -1) {
			in := bodies[c.StateTopic]
			require.Contains(t, in, part[1], name)
			if part[2] != "" {
				require.Contains(t, in[part[1]], part[2], name)
			}
		}
	}
	assert.Contains(t, d.Components, "heater")
	assert.NotContains(t, d.Components, "humidifier", "it is not fitted")
	text, err := json.Marshal(d)
	require.NoError(t, err)
	assert.NotContains(t, string(text), "command")
	assert.Equal(t, "Kiln", d.Device.Name)
	assert.Equal(t, "Kiln (simulated)", te.described(status(`{"world":"simulated","cabinet":"Kiln"}`)).Device.Name)
}

func TestAllKindsAreDescribed(t *testing.T) {
	for k := controller.EventKind(0); ; k++ {
		name := history.KindName(k)
		if _, known := history.ParseKind(name); !known {
			require.Greater(t, k, controller.EventKind(5))
			return
		}
		assert.Contains(t, kinds, name)
	}
}
