package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/controller"
	"fumarium/controller/loop"
	"fumarium/controller/record"
	"fumarium/controller/web"
	"fumarium/profile"
	"fumarium/profile/lethality"
)

// The long run: go test ./cmd/fumarium -run TestKilledAtAnyInstant -kills 1000 -kill-streams 16 -parallel 16 -timeout 1h
var (
	kills       = flag.Int("kills", 12, "how often TestKilledAtAnyInstant kills the daemon")
	killStreams = flag.Int("kill-streams", 6, "how many daemons it kills at a time")
	killSeed    = flag.Uint64("kill-seed", 1, "where its chance begins")
)

// TestKilledAtAnyInstant kills the daemon at drawn instants, in the middle of whatever
// it does, starts it again on what it left, and holds the record and the batch to what
// a client has seen before.
func TestKilledAtAnyInstant(t *testing.T) {
	t.Parallel()
	var sum tally
	t.Run("streams", func(t *testing.T) {
		for n := range *killStreams {
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				t.Parallel()
				share := *kills / *killStreams
				if n < *kills%*killStreams {
					share++
				}
				s := newStream(t, n, &sum)
				for range share {
					s.life()
				}
				s.settle()
			})
		}
	})
	t.Logf("%d kills: %d before the page answered, %d with a batch under way, %d of them found held or over after a long absence; "+
		"%d batches, %d of them simulated, %d gaps, %d steps replayed; most steps lost %v of the batch's time; "+
		"commands answered as on disk: %d, lost %d; as not on disk: %d; stops answered last: %d, holds: %d, gone on with 0; notes acknowledged %d, lost 0",
		sum.kills, sum.early, sum.active, sum.held, sum.batches, sum.simulated, sum.gaps, sum.steps,
		sum.lost.Round(time.Millisecond), sum.commands, sum.commandsLost, sum.unrecorded, sum.stops, sum.holds, sum.notes)
	assert.Equal(t, *kills, sum.kills)
	assert.Positive(t, sum.active)
	assert.Zero(t, sum.commandsLost, "commands that were answered as on disk")
	assert.Positive(t, sum.commands)
}

// tally is what all streams together came to.
type tally struct {
	sync.Mutex
	kills, early, active, held, batches, simulated, gaps, notes int
	commands, commandsLost, unrecorded, stops, holds            int
	steps                                                       int64
	lost                                                        time.Duration
}

// A sight is one status that a client got.
type sight struct {
	at time.Time
	web.Status
}

// An ack is something that a client was told is done.
type ack struct {
	at   time.Time
	what string
}

// A stream is one state folder with the daemons that live and die on it.
type stream struct {
	t       *testing.T
	rng     *rand.Rand
	sum     *tally
	dir     string
	args    []string
	env     []string
	world   record.World
	pace    float64
	product string
	away    time.Duration // added to the computer's uptime
	absent  time.Duration // how much of it since the last step on disk
	died    time.Time
	rate    float64 // the most that a second of heat may count, log10

	// What clients know.
	mu       sync.Mutex
	seen     []sight
	notes    []string
	commands []ack
	stopping bool              // a stop was sent in this life
	had      map[string]int    // commands on the record before this life
	found    *record.Recovery  // what the last death left
	events   map[string]string // of its batch, in words by id, that clients had seen and the record must have
}

func newStream(t *testing.T, n int, sum *tally) *stream {
	s := &stream{t: t, rng: rand.New(rand.NewPCG(*killSeed, uint64(n))), sum: sum, dir: t.TempDir(), product: quick(t), pace: 1, world: record.Real}
	if n%3 == 2 { // a simulated cabinet writes thousands of steps a second
		s.world, s.pace = record.Simulated, 10000
		s.args = []string{"--cabinet", "plywood-cabinet", "--pace", "10000"}
		s.product = contractProduct(t)
	} else {
		chamber := 62 + 10*s.rng.Float64()
		o := newOutside(t, n%3 == 1, chamber, chamber-4-12*s.rng.Float64())
		s.env = o.env()
		s.args = []string{"--cabinet", file(t, "outside.yaml", outsideCabinet)}
	}
	p, err := profile.Parse("product.yaml", []byte(s.product))
	require.NoError(t, err)
	c := p.Criterion()
	// The core of the cabinet outside never gets hotter than this.
	s.rate = c.Log10(c.Add(lethality.Count{}, 72, 72, time.Second))
	return s
}

// wait draws how long a daemon may live: from the first instant of its process on.
func (s *stream) wait() time.Duration {
	between := func(from, to float64) time.Duration {
		return time.Duration((from + (to-from)*s.rng.Float64()) * float64(time.Second))
	}
	switch draw := s.rng.Float64(); {
	case draw < 0.15:
		return between(0, 0.15)
	case draw < 0.40:
		return between(0.1, 0.8)
	case draw < 0.85 || *kills < 100:
		return between(0.5, 3.5)
	}
	return between(9, 12.5) // around a commit
}

// life is one daemon from its start to its death, and what it left behind.
func (s *stream) life() {
	env := append([]string{fmt.Sprintf("%s=%d", awayEnv, int(s.away.Seconds()))}, s.env...)
	limit := time.Now().Add(s.wait())
	d := launchDaemon(s.t, s.dir, env, s.args...)
	s.mu.Lock()
	s.seen, s.commands, s.stopping = nil, nil, false
	s.mu.Unlock()
	ctx, cancel := context.WithDeadline(context.Background(), limit)
	defer cancel()
	busy := make(chan struct{})
	seed := s.rng.Uint64()
	go func() {
		defer close(busy)
		s.visit(ctx, cancel, d, rand.New(rand.NewPCG(seed, 0)))
	}()
	<-ctx.Done()
	died := time.Now()
	require.NoError(s.t, d.cmd.Process.Kill())
	_ = d.cmd.Wait()
	<-busy // its last request has failed
	s.died = died
	before := s.found
	s.examine()
	if u := s.found; u == nil || before == nil || u.Batch.ID != before.Batch.ID || u.Steps != before.Steps {
		s.absent = 0 // else this life has left no step: to the next it never was
	}
	absent := time.Duration(0)
	switch draw := s.rng.Float64(); {
	case draw > 0.97:
		absent = 5 * time.Hour
	case draw > 0.85:
		absent = time.Duration(150+s.rng.IntN(3600)) * time.Second
	}
	s.absent += absent
	s.away += absent
}

// visit is a client: it looks again and again, starts what can be started and writes
// notes, until the daemon is gone. Of the answers that a command is on disk, some are
// the signal to kill it.
func (s *stream) visit(ctx context.Context, kill func(), d *daemon, rng *rand.Rand) {
	if !d.answersUntil(ctx) {
		s.sum.Lock()
		s.sum.early++
		s.sum.Unlock()
		return
	}
	token, err := os.ReadFile(filepath.Join(s.dir, tokenFile))
	if err != nil {
		s.t.Error(err)
		return
	}
	send := func(o web.Order) (done bool, a web.Accepted) {
		body, err := json.Marshal(o)
		if err != nil {
			s.t.Error(err)
		}
		r, err := http.NewRequest(http.MethodPost, d.url+"/api/commands", bytes.NewReader(body))
		if err != nil {
			s.t.Error(err)
		}
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(token)))
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			return false, a
		}
		defer resp.Body.Close()
		body, err = io.ReadAll(resp.Body)
		return err == nil && resp.StatusCode < 300 && json.Unmarshal(body, &a) == nil, a
	}
	command := func(o web.Order) {
		s.mu.Lock()
		s.stopping = s.stopping || o.Command == "stop"
		s.mu.Unlock()
		done, a := send(o)
		if done && !a.Recorded { // a disk that was too slow for its word
			s.sum.Lock()
			s.sum.unrecorded++
			s.sum.Unlock()
			return
		}
		if done {
			s.mu.Lock()
			s.commands = append(s.commands, ack{time.Now(), o.Command})
			s.mu.Unlock()
			if rng.IntN(3) == 0 {
				kill()
			}
		}
	}
	for n := 0; ctx.Err() == nil; n++ {
		resp, err := http.Get(d.url + "/api/status")
		if err != nil {
			return
		}
		var st web.Status
		err = json.NewDecoder(resp.Body).Decode(&st)
		resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK {
			continue // not yet, or cut in the middle
		}
		s.mu.Lock()
		first := len(s.seen) == 0
		s.seen = append(s.seen, sight{time.Now(), st})
		s.mu.Unlock()
		if first {
			s.resumed(st)
		}
		switch {
		case st.State == "held":
			command(simply("restart"))
		case st.Prompt != nil && s.world == record.Real:
			command(web.Order{Command: "confirm", Question: st.Prompt.Question})
		case slices.Contains([]string{"idle", "complete", "stopped", "aborted"}, st.State):
			command(web.Order{Command: "start", File: "product.yaml", ProductYAML: s.product, Reason: "trial"})
		case s.world == record.Real && st.State == "running" && rng.Float64() < 0.2:
			command(simply([]string{"stop", "hold"}[rng.IntN(2)]))
		case rng.Float64() < 0.3:
			text := fmt.Sprintf("note %d of %d", n, rng.Uint64())
			if done, _ := send(simply("note", text)); done {
				s.mu.Lock()
				s.notes = append(s.notes, text)
				s.mu.Unlock()
			}
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Duration(rng.IntN(150)) * time.Millisecond):
		}
	}
}

// simply is a command without more, or a note.
func simply(command string, text ...string) web.Order {
	return web.Order{Command: command, Text: strings.Join(text, "")}
}

// answersUntil waits for the page, and is false when ctx ends or the daemon dies first.
func (d *daemon) answersUntil(ctx context.Context) bool {
	for {
		select {
		case line, open := <-d.lines:
			if !open {
				return false
			}
			if page, found := strings.CutPrefix(line, "page "); found {
				d.url = strings.TrimSuffix(strings.TrimSpace(page), "/")
				return true
			}
		case <-ctx.Done():
			return false
		}
	}
}

// resumed holds the first status of a new daemon to what the last one left.
func (s *stream) resumed(st web.Status) {
	u := s.found
	if u == nil {
		return
	}
	said := ""
	for _, e := range st.Events {
		said += e.Text + "\n"
	}
	if s.world == record.Simulated {
		assert.Contains(s.t, said, u.Batch.ID+" of Juniper venison sticks was under way when the program ended and is closed as aborted: the simulated cabinet did not outlive the program")
		return
	}
	if u.Ended != controller.Idle {
		assert.Contains(s.t, said, u.Batch.ID+" of Juniper venison sticks was "+u.Ended.String()+" before the program ended")
		assert.NotContains(s.t, under, st.State)
		return
	}
	since := time.Since(s.died) + s.absent
	lost := s.died.Sub(u.LastWall)
	unseen := since + lost // about
	listed := map[string]string{}
	for _, e := range st.Events {
		listed[e.ID] = e.Text
	}
	if len(st.Events) < 200 { // or the oldest are not shown
		for id, text := range s.events {
			assert.Equal(s.t, text, listed[id], "event %s is still on the page", id)
		}
	}
	assert.Contains(s.t, said, "power-lost", "it is never silent about it")
	switch {
	case unseen > 4*time.Hour+time.Minute:
		assert.Contains(s.t, []string{"aborting", "aborted"}, st.State, "after %v", unseen)
	case unseen > 2*time.Minute+20*time.Second && slices.Contains(under, u.State.Batch.String()):
		assert.Contains(s.t, []string{"holding", "held"}, st.State, "after %v it waits for the person", unseen)
		s.sum.Lock()
		s.sum.held++
		s.sum.Unlock()
	}
	if st.Stage != nil && st.Stage.Index != u.State.Stage {
		assert.Equal(s.t, u.State.Stage+1, st.Stage.Index, "the stage may only have gone on")
		assert.Contains(s.t, said, "ends: ", "and says so")
	}
	heat, _ := u.State.LethalityLog10(u.Product)
	heat, _ = lethality.Shown(heat) // a client sees no more
	if st.LethalityLog10 == nil {   // not known before the core was read again
		assert.Zero(s.t, heat)
	} else {
		assert.GreaterOrEqual(s.t, *st.LethalityLog10, heat-1e-9)
		// Steps since it is back: at most one a second and one more.
		assert.LessOrEqual(s.t, *st.LethalityLog10, heat+s.rate*(time.Since(s.died).Seconds()+1), "what nobody saw does not count as heat")
	}
	if u.State.ComeUp.Begun && !u.State.ComeUp.Done && assert.NotNil(s.t, st.ComeUpSeconds) {
		assert.GreaterOrEqual(s.t, *st.ComeUpSeconds, (u.State.ComeUp.Time+s.absent).Seconds()-1e-6, "and counts in full as come-up")
	}
}

// examine looks at what a killed daemon left, on a copy, so that the next daemon finds
// it as it is.
func (s *stream) examine() {
	t := s.t
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sum.Lock()
	defer s.sum.Unlock()
	s.sum.kills++
	s.found, s.events = nil, map[string]string{}
	copied := s.copied()
	defer os.RemoveAll(copied)
	boot, uptime := record.ThisBoot()
	r, err := record.Open(record.Options{Dir: copied, World: s.world, Program: version(), Pace: s.pace, Boot: boot, Uptime: uptime + s.away})
	require.NoError(t, err)
	defer r.Close(context.Background())
	require.Empty(t, r.Notice(), "a kill damages nothing")
	now := record.Moment{Wall: time.Now(), ClockSet: loop.ClockSet(time.Now())}
	u, err := r.Unfinished(t.Context(), now)
	require.NoError(t, err)
	batches, err := r.List(t.Context())
	require.NoError(t, err)
	known := ""
	for _, b := range batches {
		if b == batches[0] || u != nil && b.ID == u.Batch.ID { // the others were looked at before
			s.whole(r, b.ID)
		}
		notes, err := r.Notes(t.Context(), b.ID)
		require.NoError(t, err)
		for _, n := range notes {
			known += n.Text + "\n"
		}
	}
	for _, text := range s.notes {
		require.Contains(t, known, text+"\n", "a note that was acknowledged")
	}
	mine := s.mine()
	s.acknowledged(r, batches)
	if n := len(s.commands); n > 0 && s.world == record.Real {
		switch s.commands[n-1].what {
		case "stop":
			s.sum.stops++
			require.True(t, u == nil || u.Ended == controller.Stopped, "a stop that was answered stays a stop")
		case "hold":
			s.sum.holds++
			require.NotEqual(t, "running", u.State.Batch.String(), "a hold that was answered")
		}
	}
	if u == nil {
		if len(mine) > 0 && s.world == record.Real && s.began(time.Second) && !s.stopping {
			t.Errorf("the batch that ran is not found again: %s", mine[len(mine)-1].Summary)
		}
		return
	}
	require.True(t, u.Sound, u.Why)
	s.found = u
	s.sum.active++
	if len(mine) == 0 || u.Ended != controller.Idle {
		return
	}
	last := &mine[len(mine)-1]
	elapsed := u.State.Elapsed - u.State.Started
	lost := time.Duration(*last.ElapsedSeconds*float64(time.Second)) - elapsed
	s.sum.lost = max(s.sum.lost, time.Duration(float64(lost)/s.pace))
	assert.LessOrEqual(t, lost, time.Duration(s.pace*float64(record.QuietEvery+time.Second)), "steps lost at a kill")
	heat, _ := u.State.LethalityLog10(u.Product)
	heat, _ = lethality.Shown(heat) // a client saw no more
	for i := range mine {
		v := &mine[i]
		if v.ElapsedSeconds == nil || v.LethalityLog10 == nil {
			continue
		}
		e := time.Duration(*v.ElapsedSeconds * float64(time.Second))
		switch {
		case e >= elapsed-time.Microsecond:
			assert.LessOrEqual(t, heat, *v.LethalityLog10+1e-9, "no more heat than was seen at %v", e)
			if v.ComeUpSeconds != nil {
				assert.LessOrEqual(t, u.State.ComeUp.Time.Seconds(), *v.ComeUpSeconds+1e-6)
			}
		default:
			assert.GreaterOrEqual(t, heat, *v.LethalityLog10-1e-9, "no less heat than was seen at %v", e)
			if v.Stage != nil {
				assert.GreaterOrEqual(t, u.State.Stage, v.Stage.Index)
			}
		}
	}
	// Events go to disk at once: what is a second old is there.
	told, err := r.History(t.Context(), u.Batch.ID)
	require.NoError(t, err)
	ids := map[string]string{}
	for e := range happened(told) {
		ids[e.ID.String()] = e.Text()
	}
	for i := range mine {
		if v := &mine[i]; s.world == record.Real && s.died.Sub(v.at) > time.Second {
			for _, e := range v.Events {
				if strings.HasPrefix(e.ID, u.Batch.ID+"/") && e.Kind != "said" {
					require.Equal(t, e.Text, ids[e.ID], "an event that a client saw a second before")
					s.events[e.ID] = e.Text
				}
			}
		}
	}
}

// mine are the statuses of the batch that was under way at the kill: a client starts
// another only after it has seen that the last is over.
func (s *stream) mine() []sight {
	n := len(s.seen)
	for n > 0 && slices.Contains(under, s.seen[n-1].State) {
		n--
	}
	return s.seen[n:]
}

// under are the states of a batch that is under way and not about to end.
var under = []string{"running", "holding", "held", "restarting"}

// began reports whether the batch was begun so long before the kill.
func (s *stream) began(before time.Duration) bool {
	for _, c := range slices.Backward(s.commands) {
		if c.what == "start" {
			return s.died.Sub(c.at) > before
		}
	}
	return true
}

// acknowledged holds the commands that a client was told are done to the record.
func (s *stream) acknowledged(r *record.Recorder, batches []*record.Batch) {
	have := map[string]int{}
	for _, b := range batches {
		commands, err := r.Commands(s.t.Context(), b.ID)
		require.NoError(s.t, err)
		for _, c := range commands {
			have[c.Command]++
		}
	}
	want := map[string]int{}
	for _, c := range s.commands {
		want[c.what]++
		s.sum.commands++
		if have[c.what]-s.had[c.what] < want[c.what] {
			s.sum.commandsLost++
			s.t.Errorf("%s was answered as on disk %v before the kill and is lost", c.what, s.died.Sub(c.at))
		}
	}
	s.had = have
}

// whole holds a batch's chain, and that replaying it gives every output again.
func (s *stream) whole(r *record.Recorder, id string) {
	verdict, err := r.Verify(s.t.Context(), id)
	require.NoError(s.t, err)
	require.True(s.t, verdict.Whole, verdict.String())
	result, err := r.Replay(s.t.Context(), id)
	require.NoError(s.t, err)
	require.True(s.t, result.Same(), "%v %v", result.Decisions, result.State)
}

func (s *stream) copied() string {
	to, err := os.MkdirTemp("", "killed")
	require.NoError(s.t, err)
	for _, name := range []string{s.world.File(), s.world.File() + "-wal", record.MarksFile} {
		data, err := os.ReadFile(filepath.Join(s.dir, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		require.NoError(s.t, err)
		require.NoError(s.t, os.WriteFile(filepath.Join(to, name), data, 0o600))
	}
	return to
}

// settle looks at every batch once more when all is over.
func (s *stream) settle() {
	copied := s.copied()
	defer os.RemoveAll(copied)
	r, err := record.Open(record.Options{Dir: copied, World: s.world, Program: version()})
	require.NoError(s.t, err)
	defer r.Close(context.Background())
	batches, err := r.List(s.t.Context())
	require.NoError(s.t, err)
	for i, b := range batches {
		s.whole(r, b.ID)
		gaps, err := r.Gaps(s.t.Context(), b.ID)
		require.NoError(s.t, err)
		s.sum.Lock()
		s.sum.batches++
		s.sum.gaps += len(gaps)
		s.sum.steps += b.Steps
		if s.world == record.Simulated {
			s.sum.simulated++
		}
		s.sum.Unlock()
		if i > 0 {
			assert.NotEmpty(s.t, b.State, "only the newest batch can be without an end")
		}
	}
	s.sum.Lock()
	s.sum.notes += len(s.notes)
	s.sum.Unlock()
}
