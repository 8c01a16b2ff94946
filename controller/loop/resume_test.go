package loop

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/cabinet/shipped"
	"fumarium/controller/history"
	"fumarium/controller/record"
	"fumarium/controller/snapshot"
	"fumarium/controller/trip"
	"fumarium/profile"
	"fumarium/profile/catalog"
	"fumarium/profile/proof"
)

// told is all of what events say, for comparing.
func told(events []history.Event) (all []string) {
	for i := range events {
		e := &events[i]
		all = append(all, fmt.Sprintf("%s %s, %v, %s, %s, %q, %s", e.ID, e.Text(), e.Elapsed, e.Wall.Format(time.RFC3339Nano), history.KindName(e.Kind), e.StageName(), e.Priority))
	}
	return all
}

// A program that was killed in the middle of a batch goes on where the record ends:
// same stage, same heat, and it says that it was away.
func TestABatchGoesOnAfterTheProgramWasLost(t *testing.T) {
	dir := t.TempDir()
	product, err := catalog.Find("caraway-sticks")
	require.NoError(t, err)
	cab, err := shipped.Find(shipped.Default)
	require.NoError(t, err)
	begin := func(resume *Resume, records *record.Recorder) (*Loop, func()) {
		l, err := New(Config{
			World: &bench{chamber: 20, core: 10}, Cabinet: cab.Value, Pace: 100, Log: slog.New(slog.DiscardHandler), Record: records, Resume: resume,
			CabinetFile: record.File{Name: cab.File, Data: cab.Data},
		})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- l.Run(ctx) }()
		return l, func() {
			cancel()
			require.NoError(t, <-ended)
			require.NoError(t, records.Close(context.Background()))
		}
	}
	open := func() *record.Recorder {
		boot, uptime := record.ThisBoot()
		r, err := record.Open(record.Options{Dir: dir, World: record.Real, Program: "test", Pace: 1, Boot: boot, Uptime: uptime})
		require.NoError(t, err)
		return r
	}
	now := func() record.Moment { return record.Moment{Wall: time.Now(), ClockSet: true} }

	l, end := begin(nil, open())
	reply, err := l.Do(t.Context(), snapshot.Request{
		Command: controller.Command{Kind: controller.Start, Excused: true}, Reason: "trial", Who: "test",
		Product: product.Value, ProductName: product.File, ProductFile: product.Data,
	})
	require.NoError(t, err)
	require.True(t, reply.Accepted, reply.Why)
	reply, err = l.Do(t.Context(), snapshot.Request{
		Command: controller.Command{Kind: controller.Adjust, Question: l.Snapshot().State.StageName(), Excused: true, Bend: controller.Bend{Parts: controller.BentChamber, Chamber: 49}},
		Reason:  "the wood is wet", Who: "test",
	})
	require.NoError(t, err)
	require.True(t, reply.Accepted, reply.Why)
	require.Eventually(t, func() bool { return l.Snapshot().State.Elapsed > 30*time.Second }, 10*time.Second, 10*time.Millisecond)
	end() // the batch itself was not ended
	before := l.Snapshot().State
	require.Equal(t, controller.Running, before.Batch)
	saw := l.Snapshot().History

	records := open()
	u, err := records.Unfinished(t.Context(), now())
	require.NoError(t, err)
	require.NotNil(t, u)
	require.True(t, u.Sound, u.Why)
	assert.Equal(t, before.Stage, u.State.Stage)
	assert.True(t, before.Heat == u.State.Heat && before.StageClock == u.State.StageClock, "the replayed state is the lost one")
	assert.Equal(t, told(saw.Events()), told(u.History.Events()), "so are its events, with their ids")
	assert.Equal(t, saw.Stages(), u.History.Stages())
	assert.Equal(t, fmt.Sprint(saw.Samples(), saw.Duties()), fmt.Sprint(u.History.Samples(), u.History.Duties()), "and its curve")
	require.Len(t, saw.BatchEvents(), 6, "started early, running, the first stage, its question, why it was changed, and how")
	assert.Contains(t, saw.BatchEvents()[4].Text(), "because: the wood is wet")
	assert.EqualValues(t, 49, u.State.CurrentStage(u.Product).ChamberSetpoint)
	l, end = begin(&Resume{Product: u.Product, State: u.State, Recovery: u}, records)
	require.Eventually(t, func() bool {
		s := l.Snapshot()
		return s != nil && s.State.Alarms[trip.PowerLost].Phase != trip.Normal
	}, 10*time.Second, 10*time.Millisecond, "it is never silent about it")
	s := l.Snapshot()
	assert.Equal(t, u.Batch.ID, s.BatchID)
	assert.Equal(t, "Caraway barn sticks", s.Product.Name)
	assert.True(t, s.State.Batch.Active())
	assert.Equal(t, before.Started, s.State.Started)
	lists := told(s.History.Events())
	require.Greater(t, len(lists), len(saw.Events()), "the page still lists what was before")
	assert.Equal(t, told(saw.Events()), lists[:len(saw.Events())])
	assert.Contains(t, strings.Join(lists[len(saw.Events()):], "\n"), fmt.Sprintf("%s/%d.0 ", u.Batch.ID, u.Steps), "and counts on")
	assert.Equal(t, fmt.Sprint(saw.Samples()[0]), fmt.Sprint(s.History.Samples()[0]), "and draws it")
	assert.Less(t, s.History.Use().HeaterOn, saw.Use().HeaterOn+time.Minute, "counters begin anew")
	_, err = l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Abort}})
	require.NoError(t, err)
	require.Eventually(t, func() bool { return l.Snapshot().State.Batch == controller.Aborted }, 10*time.Second, 10*time.Millisecond)
	end()

	reader, err := record.OpenReader(dir + "/" + record.Real.File())
	require.NoError(t, err)
	defer reader.Close()
	result, err := reader.Replay(t.Context(), u.Batch.ID)
	require.NoError(t, err)
	assert.True(t, result.Same(), "across the gap every decision is the same again")
	verdict, err := reader.Verify(t.Context(), u.Batch.ID)
	require.NoError(t, err)
	assert.True(t, verdict.Whole, verdict.Why)
}

// A batch is held to the rules of the place that was set when it began, whatever is set when
// the program comes back. Limits of nitrite: 156 ppm of sodium nitrite in the US (9 CFR
// 424.21(c)), 80 ppm of the ion in the EU (Regulation (EU) 2023/2108); it gets 150 ppm of the
// salt, 100 ppm of the ion.
func TestAnotherPlaceSetMeanwhileChangesNoVerdict(t *testing.T) {
	dir := t.TempDir()
	product, err := catalog.Find("marjoram-ring")
	require.NoError(t, err)
	cab, err := shipped.Find(shipped.Default)
	require.NoError(t, err)
	open := func() *record.Recorder {
		boot, uptime := record.ThisBoot()
		r, err := record.Open(record.Options{Dir: dir, World: record.Real, Program: "test", Pace: 1, Boot: boot, Uptime: uptime})
		require.NoError(t, err)
		return r
	}
	begin := func(set profile.Jurisdiction, resume *Resume, records *record.Recorder) (*Loop, func()) {
		l, err := New(Config{
			World: &bench{chamber: 20, core: 10}, Cabinet: cab.Value, Pace: 100, Log: slog.New(slog.DiscardHandler), Record: records, Resume: resume,
			CabinetFile: record.File{Name: cab.File, Data: cab.Data}, Where: set,
		})
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- l.Run(ctx) }()
		return l, func() {
			cancel()
			require.NoError(t, <-ended)
			require.NoError(t, records.Close(context.Background()))
		}
	}
	start := func(l *Loop) {
		reply, err := l.Do(t.Context(), snapshot.Request{
			Command: controller.Command{Kind: controller.Start, Excused: true}, Reason: "trial", Who: "test",
			Product: product.Value, ProductName: product.File, ProductFile: product.Data,
		})
		require.NoError(t, err)
		require.True(t, reply.Accepted, reply.Why)
	}
	formula := func(l *Loop) string {
		v, known := l.Snapshot().Verdict()
		require.True(t, known)
		return v[proof.Formula].Answer.String() + ": " + v[proof.Formula].Why
	}
	const inEU, inUS = "not met: the make sheet by the rules of EU", "met: within the limits of the make sheet by the rules of US"

	l, end := begin(profile.EuropeanUnion, nil, open())
	start(l)
	assert.Contains(t, formula(l), inEU)
	require.Eventually(t, func() bool { return l.Snapshot().State.Elapsed > 30*time.Second }, 10*time.Second, 10*time.Millisecond)
	end()

	records := open()
	u, err := records.Unfinished(t.Context(), record.Moment{Wall: time.Now(), ClockSet: true})
	require.NoError(t, err)
	require.NotNil(t, u)
	require.True(t, u.Sound, u.Why)
	l, end = begin(profile.UnitedStates, &Resume{Product: u.Product, State: u.State, Recovery: u}, records)
	require.Eventually(t, func() bool { return l.Snapshot() != nil }, 10*time.Second, 10*time.Millisecond)
	require.True(t, l.Snapshot().State.Batch.Active())
	assert.Contains(t, formula(l), inEU, "what is set now is for the next batch")
	_, err = l.Do(t.Context(), snapshot.Request{Command: controller.Command{Kind: controller.Abort}})
	require.NoError(t, err)
	require.Eventually(t, func() bool { return l.Snapshot().State.Batch == controller.Aborted }, 10*time.Second, 10*time.Millisecond)
	assert.Contains(t, formula(l), inEU)
	start(l)
	assert.Contains(t, formula(l), inUS)
	next := l.Snapshot().BatchID
	end()

	reader, err := record.OpenReader(dir + "/" + record.Real.File())
	require.NoError(t, err)
	defer reader.Close()
	for id, want := range map[string]profile.Jurisdiction{u.Batch.ID: profile.EuropeanUnion, next: profile.UnitedStates} {
		result, err := reader.Replay(t.Context(), id)
		require.NoError(t, err)
		assert.True(t, result.Same())
		assert.Equal(t, want, result.Final.Where)
		assert.Contains(t, result.Verdict[proof.Formula].Why, "by the rules of "+want.String())
	}
}
