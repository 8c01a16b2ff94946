package fault

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fumarium/controller"
	"fumarium/controller/cabinet"
	"fumarium/profile"
	"fumarium/sensors"
	"fumarium/sim/plant"
)

func ExampleParse() {
	f, err := Parse("chamber2-offset@30m+1h=-8K")
	fmt.Println(f.Kind, f.Probe, f.At, f.For, f.Value, err)
	fmt.Println(f)
	// Output:
	// chamber-offset 2 30m0s 1h0m0s -8 <nil>
	// chamber2-offset@30m+1h=-8K
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		spec string
		want Fault
	}{
		{"core-open@1h10m+2m", Fault{Kind: CoreOpen, At: 70 * time.Minute, For: 2 * time.Minute}},
		{"core4-open@0s", Fault{Kind: CoreOpen, Probe: 4}},
		{"chamber-offset@30m=-8K", Fault{Kind: ChamberOffset, At: 30 * time.Minute, Value: -8}},
		{"chamber1-drift@1 h 30 min + 2 h=36 K/h", Fault{Kind: ChamberDrift, Probe: 1, At: 90 * time.Minute, For: 2 * time.Hour, Value: 36}},
		{"ambient-step@2h=-15K", Fault{Kind: AmbientStep, At: 2 * time.Hour, Value: -15}},
		{"fire@2h+5m=3kW", Fault{Kind: Fire, At: 2 * time.Hour, For: 5 * time.Minute, Value: 3000}},
		{"power-cut@90s+1h", Fault{Kind: PowerCut, At: 90 * time.Second, For: time.Hour}},
	} {
		got, err := Parse(c.spec)
		require.NoError(t, err, c.spec)
		assert.InDelta(t, c.want.Value, got.Value, 1e-9, c.spec)
		got.Value = c.want.Value
		assert.Equal(t, c.want, got, c.spec)
	}
}

func TestParseErrorsSayWhatToDo(t *testing.T) {
	for _, c := range []struct{ spec, says string }{
		{"", "KIND@TIME"},
		{"core-open", "core-open@1h10m+2m"},
		{"gremlin@1h", "chamber-frozen"},
		{"core9-open@1h", "the highest is 4"},
		{"core0-open@1h", "no kind of fault"},
		{"power1-cut@1h", "no kind of fault"},
		{"core-open@", "time"},
		{"core-open@-3m", "0 s or more"},
		{"core-open@1:30", "2 h 30 min"},
		{"core-open@1h+0s", "leave it out"},
		{"core-open@1h+", "duration"},
		{"core-open@31d", "30 d"},
		{"core-open@1h=3K", "takes no value"},
		{"chamber-offset@1h", "needs a value"},
		{"chamber-offset@1h=-8", "value"},
		{"chamber-offset@1h=8000K", "outside -300K to 300K"},
		{"chamber-noise@1h=-1K", "outside 0K to 300K"},
		{"fire@1h=NaNW", "value"},
	} {
		_, err := Parse(c.spec)
		require.Error(t, err, c.spec)
		assert.Contains(t, err.Error(), c.says)
		assert.Contains(t, err.Error(), fmt.Sprintf("%q", c.spec))
		assert.NotContains(t, err.Error(), "\n")
	}
}

func TestEveryKindIsExplained(t *testing.T) {
	lines := Kinds()
	require.Len(t, lines, len(All()))
	for i, k := range All() {
		assert.True(t, strings.HasPrefix(lines[i], k.String()), lines[i])
		assert.Less(t, len(lines[i]), 110)
		name, value, takes := strings.Cut(strings.Fields(lines[i])[0], "=")
		spec := name + "@30m"
		if takes {
			_, err := Parse(spec)
			assert.ErrorContains(t, err, spec+"="+value, "the same example in both places")
			spec += "=" + value
		}
		f, err := Parse(spec)
		assert.NoError(t, err, "the example of %s", k)
		assert.Equal(t, k, f.Kind)
	}
}

func drawn(t *rapid.T) Fault {
	f := Fault{Kind: rapid.SampledFrom(All()).Draw(t, "kind")}
	f.At = time.Duration(rapid.Int64Range(0, int64(Longest)).Draw(t, "at"))
	f.For = time.Duration(rapid.Int64Range(0, int64(Longest)).Draw(t, "for"))
	if n := f.Kind.Probes(); n > 0 {
		f.Probe = rapid.IntRange(0, n).Draw(t, "probe")
	}
	if least, most, takes := f.Kind.Range(); takes {
		f.Value = rapid.Float64Range(least, most).Draw(t, "value")
		if catalogue[f.Kind].unit == wire {
			f.Value = math.Round(f.Value)
		}
	}
	return f
}

// What is written is what is read again.
func TestWrittenAndReadAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawn(t)
		f.At, f.For = f.At.Truncate(time.Millisecond), f.For.Truncate(time.Millisecond)
		if f.Value < 0.01 && f.Value > -0.01 && f.Kind != Fire {
			f.Value = 0 // digits beyond what anyone writes
		}
		got, err := Parse(f.String())
		if err != nil {
			t.Fatal(err)
		}
		if d := got.Value - f.Value; d > 1e-6 || d < -1e-6 {
			t.Fatalf("%s: value %v became %v", f, f.Value, got.Value)
		}
		got.Value = f.Value
		if got != f {
			t.Fatalf("%v became %v", f, got)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"core-open@1h10m+2m", "chamber-offset@30m=-8K", "ambient-step@2h=-15K", "fire@1s=2kW",
		"core1-swapped@0s", "@", "=", "+", "core-drift@1h", "chamber2-drift@1h30m+2h=-36K/h", "chamber-noise@1h=1e400K"} {
		f.Add(seed)
	}
	for _, kind := range All() {
		for _, value := range []string{"", "=2K", "=2K/h", "=2W", "=N"} {
			f.Add(kind.String() + "@1h+2m" + value)
		}
	}
	f.Fuzz(func(t *testing.T, spec string) {
		fault, err := Parse(spec)
		if err != nil {
			return
		}
		again, err := Parse(fault.String())
		if err != nil {
			t.Fatalf("%q gave %v, which does not parse: %v", spec, fault, err)
		}
		if again.Kind != fault.Kind || again.Probe != fault.Probe || again.At.Round(time.Microsecond) != fault.At.Round(time.Microsecond) {
			t.Fatalf("%q gave %v and then %v", spec, fault, again)
		}
	})
}

func good() controller.Inputs {
	return controller.Inputs{
		Chamber: [cabinet.MaxChamberProbes]sensors.Reading{sensors.At(80)},
		Core:    [cabinet.MaxCoreProbes]sensors.Reading{sensors.At(50), sensors.At(51)},
		WetBulb: sensors.At(60),
	}
}

func TestReadings(t *testing.T) {
	value := func(r sensors.Reading) float64 {
		v, ok := r.Value()
		if !ok {
			return -999
		}
		return float64(v)
	}
	for _, c := range []struct {
		spec                 string
		chamber, core0, core float64 // after 1 h
	}{
		{"core-open@1h", 80, -999, -999},
		{"core2-open@1h", 80, 50, -999},
		{"core-open@59m+1m", 80, 50, 51},
		{"core-open@1h1s", 80, 50, 51},
		{"chamber-open@1h", -999, 50, 51},
		{"chamber2-open@1h", 80, 50, 51},
		{"chamber-offset@1h=-8K", 72, 50, 51},
		{"chamber-drift@30m=-10K/h", 75, 50, 51},
		{"core1-offset@0s=0.5K", 80, 50.5, 51},
		{"core1-swapped@0s", 50, 80, 51},
		{"core2-swapped@0s", 51, 50, 80},
		{"chamber-frozen@30m", 70, 50, 51},
		{"core-frozen@2m", 80, 40, 41},
	} {
		f, err := Parse(c.spec)
		require.NoError(t, err)
		j := New([]Fault{f}, 1)
		early := good()
		early.Chamber[0], early.Core[0], early.Core[1] = sensors.At(70), sensors.At(40), sensors.At(41)
		j.Readings(time.Minute, &early)
		in := good()
		j.Readings(time.Hour, &in)
		assert.Equal(t, c.chamber, value(in.Chamber[0]), c.spec)
		assert.Equal(t, c.core0, value(in.Core[0]), c.spec)
		assert.Equal(t, c.core, value(in.Core[1]), c.spec)
		assert.Equal(t, sensors.Unread, in.Core[2].Status(), "%s: a probe that is not fitted stays so", c.spec)
		assert.Equal(t, sensors.Unread, in.Chamber[1].Status(), c.spec)
	}
}

func TestDrive(t *testing.T) {
	all := plant.Drive{Heater: true, Fan: true, Smoke: true, Place: profile.IceWater}
	with := func(change func(*plant.Drive)) plant.Drive {
		d := all
		change(&d)
		return d
	}
	for _, c := range []struct {
		spec string
		want plant.Drive
	}{
		{"heater-dead@0s", with(func(d *plant.Drive) { d.Heater = false })},
		{"fan-dead@0s", with(func(d *plant.Drive) { d.Fan = false })},
		{"smoke-dead@0s", with(func(d *plant.Drive) { d.Smoke = false })},
		{"generator-out@0s", with(func(d *plant.Drive) { d.Unlit = true })},
		{"fire@0s=1kW", with(func(d *plant.Drive) { d.Fire = 1000 })},
		{"door-open@0s", with(func(d *plant.Drive) { d.DoorOpen = true })},
		{"no-ice@0s", with(func(d *plant.Drive) { d.Place = profile.Room })},
		{"no-ice@1h", all},
	} {
		f, err := Parse(c.spec)
		require.NoError(t, err)
		d := all
		New([]Fault{f}, 1).Drive(time.Minute, &d)
		assert.Equal(t, c.want, d, c.spec)
	}
	off := plant.Drive{}
	welded := New([]Fault{{Kind: HeaterWelded}, {Kind: PowerCut, At: time.Hour, For: time.Minute}}, 1)
	welded.Drive(time.Minute, &off)
	assert.True(t, off.Heater, "a welded contact heats without being asked")
	off = plant.Drive{}
	welded.Drive(time.Hour, &off)
	assert.False(t, off.Heater, "but not without mains")
}

func TestCallRoomAndPerson(t *testing.T) {
	j := New([]Fault{
		{Kind: Stall, At: time.Hour, For: time.Minute}, {Kind: PowerCut, At: 2 * time.Hour, For: time.Minute},
		{Kind: AmbientRamp, At: time.Hour, For: 2 * time.Hour, Value: 3}, {Kind: AmbientStep, At: 5 * time.Hour, Value: -100},
		{Kind: Away, At: 3 * time.Hour, For: time.Hour}, {Kind: CoreOut, At: 6 * time.Hour},
	}, 1)
	assert.Equal(t, Made, j.Call(time.Hour-1))
	assert.Equal(t, Stalled, j.Call(time.Hour))
	assert.Equal(t, Cut, j.Call(time.Hour+Watchdog))
	assert.Equal(t, Made, j.Call(time.Hour+time.Minute))
	assert.Equal(t, Cut, j.Call(2*time.Hour))

	assert.InDelta(t, 10, float64(j.Room(time.Hour, 10)), 1e-9)
	assert.InDelta(t, 13, float64(j.Room(2*time.Hour, 10)), 1e-9)
	assert.InDelta(t, 16, float64(j.Room(4*time.Hour, 10)), 1e-9, "what it gained stays")
	assert.InDelta(t, -40, float64(j.Room(5*time.Hour, 10)), 1e-9, "no colder than the plant allows")

	assert.Equal(t, Person{News: true}, j.Person(0))
	assert.True(t, j.Person(3*time.Hour).Away)
	assert.Equal(t, Person{Finds: true}, j.Person(6*time.Hour))
}

// Equal seeds lie equally.
func TestNoiseIsSeeded(t *testing.T) {
	read := func(seed uint64) controller.Inputs {
		in := good()
		New([]Fault{{Kind: ChamberNoise, Value: 5}}, seed).Readings(time.Hour, &in)
		return in
	}
	assert.Equal(t, read(1), read(1))
	assert.NotEqual(t, read(1), read(2))
}

func BenchmarkThreeFaults(b *testing.B) {
	j := New([]Fault{{Kind: ChamberOffset, Value: 3}, {Kind: CoreOpen}, {Kind: HeaterDead}}, 1)
	in, d := good(), plant.Drive{}
	b.ReportAllocs()
	for b.Loop() {
		j.Readings(time.Hour, &in)
		j.Drive(time.Hour, &d)
		j.Call(time.Hour)
	}
}
