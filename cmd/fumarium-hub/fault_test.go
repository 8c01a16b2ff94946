package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fumarium/cmd/fumarium-hub/internal/store"
	"fumarium/controller/access/certificate"
	"fumarium/controller/courier"
	"fumarium/controller/record"
	"fumarium/sim/postgrestest"
	"fumarium/sim/recordtest"
)

var (
	faults    = flag.Int("faults", 14, "how many faults to draw")
	faultSeed = flag.Uint64("fault-seed", 20, "of the draw")
)

// campaign is a hub, its database and boards, as processes, and a draw of what befalls them.
type campaign struct {
	t        *testing.T
	draw     *rand.Rand
	database *postgrestest.Server
	disk     string // of the database; empty where none could be made small
	url      string
	listen   string
	dir      string
	hub      *exec.Cmd
	boards   []*board
	store    *store.Store // the test's own look at the database
	counts   map[string]int
	thieves  int
	prints   string
}

// board is one board behind a link that can be cut.
type board struct {
	c         *campaign
	name, dir string
	space     string // the network namespace it runs in; empty is this one
	disk      bool   // its folder is a small disk of its own
	link      *link
	cmd       *exec.Cmd
	ended     chan struct{}
	years     int
}

func (c *campaign) self(mode string, env ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(append(os.Environ(), "FUMARIUM_HUB_TEST="+mode), env...)
	cmd.Stderr = c.t.Output()
	return cmd
}

func (c *campaign) startHub(years int) {
	cmd := c.self("hub", fmt.Sprintf("FUMARIUM_HUB_TEST_YEARS=%d", years), databaseEnv+"="+c.url)
	cmd.Args = append(cmd.Args, "run", "--listen", c.listen, "--tls-cert", c.dir+"/hub.pem", "--tls-key", c.dir+"/hub-key.pem", "--scratch", c.dir)
	said, err := os.OpenFile(c.dir+"/hub.log", os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(c.t, err)
	cmd.Stderr = said
	require.NoError(c.t, cmd.Start())
	said.Close()
	c.hub = cmd
	go func() { _ = cmd.Wait() }()
}

// serves waits until the hub answers; one that could not reach its database is started again.
func (c *campaign) serves(years int) {
	for until := time.Now().Add(2 * time.Minute); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		if d, err := tls.Dial("tcp", c.listen, &tls.Config{InsecureSkipVerify: true}); err == nil {
			d.Close()
			return
		}
		if c.hub.ProcessState != nil || c.hub.Process.Signal(syscall.Signal(0)) != nil {
			c.startHub(years)
		}
	}
	log, _ := os.ReadFile(c.dir + "/hub.log")
	c.t.Fatalf("the hub does not come back: %s", log[max(0, len(log)-2000):])
}

func (b *board) start() {
	b.cmd = b.c.self("board", "FUMARIUM_HUB_TEST_DIR="+b.dir, fmt.Sprintf("FUMARIUM_HUB_TEST_YEARS=%d", b.years))
	if b.space != "" {
		env := b.cmd.Env
		b.cmd = exec.Command("ip", append([]string{"netns", "exec", b.space}, b.cmd.Args...)...)
		b.cmd.Env = env
	}
	b.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	ended := make(chan struct{})
	b.ended = ended
	require.NoError(b.c.t, b.cmd.Start())
	go func(cmd *exec.Cmd) { _ = cmd.Wait(); close(ended) }(b.cmd)
}

func (b *board) kill() {
	_ = syscall.Kill(-b.cmd.Process.Pid, syscall.SIGKILL)
	<-b.ended
}

func (b *board) running() bool {
	select {
	case <-b.ended:
		return false
	default:
		return true
	}
}

func (b *board) file() string { return filepath.Join(b.dir, record.Simulated.File()) }

// boardComes is the board's process: it records one batch after the other, as long as nobody
// says rest, and brings them to the hub.
func boardComes(dir string, years int) {
	said, err := os.OpenFile(dir+"/courier.log", os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		fatal{}.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(said, nil))
	now := time.Now().AddDate(years, 0, 0)
	b := recordtest.Begin(fatal{}, dir, record.Simulated, now)
	go (&courier.Courier{Dir: dir, File: b.File(), World: b.World, Log: log, Look: 30 * time.Millisecond}).Run(context.Background())
	b.EndUnfinished()
	for {
		if _, err := os.Stat(dir + "/rest"); err == nil {
			time.Sleep(10 * time.Millisecond)
			continue
		}
		b.Batch(1 + int(time.Now().UnixNano()/1000%3))
		time.Sleep(time.Second)
	}
}

type fatal struct{}

func (fatal) Helper() {}
func (fatal) Fatal(args ...any) {
	fmt.Fprintln(os.Stderr, args...)
	os.Exit(1)
}

func TestMain(m *testing.M) {
	years := 0
	_, _ = fmt.Sscan(os.Getenv("FUMARIUM_HUB_TEST_YEARS"), &years)
	switch os.Getenv("FUMARIUM_HUB_TEST") {
	case "hub":
		clock = func() time.Time { return time.Now().AddDate(years, 0, 0) }
		main()
	case "board":
		boardComes(os.Getenv("FUMARIUM_HUB_TEST_DIR"), years)
	default:
		postgrestest.Main(m)
	}
}

// A link carries a board's connections to the hub, and does to them what is asked.
type link struct {
	to string
	l  net.Listener

	mu     sync.Mutex
	conns  map[net.Conn]bool
	refuse bool
	stall  bool
	swallo bool // answers go nowhere
	after  int  // bytes towards the hub after which all is cut; 0 is never
}

func newLink(t *testing.T, at, to string) *link {
	l, err := net.Listen("tcp", net.JoinHostPort(at, "0"))
	require.NoError(t, err)
	k := &link{to: to, l: l, conns: map[net.Conn]bool{}}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go k.carry(c)
		}
	}()
	t.Cleanup(func() { l.Close(); k.cut() })
	return k
}

func (k *link) carry(c net.Conn) {
	defer c.Close()
	k.mu.Lock()
	refuse := k.refuse
	k.mu.Unlock()
	if refuse {
		return
	}
	h, err := net.Dial("tcp", k.to)
	if err != nil {
		return
	}
	defer h.Close()
	k.mu.Lock()
	k.conns[c], k.conns[h] = true, true
	k.mu.Unlock()
	done := make(chan struct{}, 2)
	go func() { k.copy(h, c, true); done <- struct{}{} }()
	go func() { k.copy(c, h, false); done <- struct{}{} }()
	<-done
	k.mu.Lock()
	delete(k.conns, c)
	delete(k.conns, h)
	k.mu.Unlock()
}

func (k *link) copy(to, from net.Conn, up bool) {
	buffer := make([]byte, 2000)
	for {
		n, err := from.Read(buffer)
		if err != nil {
			return
		}
		for k.set(func() {}) && k.stalled() {
			time.Sleep(5 * time.Millisecond)
		}
		end := false
		k.mu.Lock()
		if up && k.after > 0 {
			if end = k.after <= n; end {
				n, k.after = k.after, 0
			} else {
				k.after -= n
			}
		}
		gone := !up && k.swallo
		k.mu.Unlock()
		if !gone {
			if _, err := to.Write(buffer[:n]); err != nil {
				return
			}
		}
		if end {
			return
		}
	}
}

func (k *link) set(f func()) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	f()
	return true
}

func (k *link) stalled() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.stall
}

func (k *link) cut() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for c := range k.conns {
		c.Close()
	}
}

func (c *campaign) pick() *board { return c.boards[c.draw.IntN(len(c.boards))] }

func (c *campaign) shortly(most int) {
	time.Sleep(time.Duration(20+c.draw.IntN(most)) * time.Millisecond)
}

// kinds are what befalls a campaign. Each ends as it began.
var kinds = []struct {
	name string
	do   func(c *campaign)
}{
	{"connections cut", func(c *campaign) {
		k := c.pick().link
		k.set(func() { k.refuse = true })
		k.cut()
		c.shortly(300)
		k.set(func() { k.refuse = false })
	}},
	{"cut in the middle of a post", func(c *campaign) {
		k := c.pick().link
		k.set(func() { k.after = 1 + c.draw.IntN(20000) })
		c.shortly(300)
		k.set(func() { k.after = 0 })
	}},
	{"answers lost", func(c *campaign) {
		k := c.pick().link
		k.set(func() { k.swallo = true })
		c.shortly(300)
		k.cut()
		k.set(func() { k.swallo = false })
	}},
	{"stalled", func(c *campaign) {
		k := c.pick().link
		k.set(func() { k.stall = true })
		c.shortly(500)
		k.set(func() { k.stall = false })
	}},
	{"link down", func(c *campaign) {
		b := c.pick()
		if b.space == "" {
			return
		}
		c.ip("link", "set", "dev", b.space, "down")
		c.shortly(400)
		c.ip("link", "set", "dev", b.space, "up")
		b.link.cut() // TCP would find out by itself in minutes
	}},
	{"hub killed", func(c *campaign) {
		_ = c.hub.Process.Kill()
		c.shortly(200)
		c.startHub(0)
		c.serves(0)
	}},
	{"hub killed, its clock wrong by years", func(c *campaign) {
		_ = c.hub.Process.Kill()
		years := c.draw.IntN(40) - 20
		c.startHub(years)
		c.serves(years)
	}},
	{"database killed", func(c *campaign) {
		c.database.Kill()
		c.shortly(200)
		require.NoError(c.t, c.database.Start())
	}},
	{"board killed", func(c *campaign) {
		b := c.pick()
		b.kill()
		b.start()
	}},
	{"board killed, its clock wrong by years", func(c *campaign) {
		b := c.pick()
		b.kill()
		b.years = c.draw.IntN(60) - 30
		b.start()
	}},
	{"the database's disk full", func(c *campaign) {
		if c.disk == "" {
			return
		}
		fill(c.disk + "/ballast")
		c.shortly(500)
		require.NoError(c.t, os.Remove(c.disk+"/ballast"))
		if _, err := c.database.Ask("postgres", "SELECT 1"); err != nil { // it had to stop
			require.NoError(c.t, c.database.Restart())
		}
	}},
	{"a board's disk full", func(c *campaign) {
		b := c.pick()
		if !b.disk {
			return
		}
		fill(b.dir + "/ballast")
		c.shortly(500)
		require.NoError(c.t, os.Remove(b.dir+"/ballast"))
	}},
	{"a tampered board", func(c *campaign) { c.tamper() }},
	{"a replayed board", func(c *campaign) { c.replay() }},
}

// fill leaves no byte on the disk of a folder.
func fill(file string) {
	f, err := os.Create(file)
	if err != nil {
		return
	}
	defer f.Close()
	for size := 1 << 20; size >= 512; size /= 2 {
		for {
			if _, err := f.Write(make([]byte, size)); err != nil {
				break
			}
		}
	}
}

func (c *campaign) ip(args ...string) {
	out, err := exec.Command("ip", args...).CombinedOutput()
	require.NoError(c.t, err, string(out))
}

// some gives links of a board's record as it is now.
func (c *campaign) some(b *board) []record.Link {
	r, err := record.OpenReader(b.file())
	if err != nil {
		return nil
	}
	defer r.Close()
	heads, err := r.Heads(c.t.Context())
	if err != nil || len(heads) == 0 {
		return nil
	}
	h := heads[c.draw.IntN(len(heads))]
	links, _ := r.LinksFrom(c.t.Context(), h.Batch, 0, 1<<20)
	return links
}

// send posts links with a key, past all couriers.
func (c *campaign) send(key string, links []record.Link) int {
	var body bytes.Buffer
	require.NoError(c.t, record.WriteLinks(&body, links))
	r, err := http.NewRequest(http.MethodPost, "https://"+c.listen+"/v1/links", &body)
	require.NoError(c.t, err)
	r.Header.Set("Authorization", "Bearer "+key)
	client := http.Client{Timeout: time.Minute, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, DisableKeepAlives: true}}
	got, err := client.Do(r)
	if err != nil {
		return 0
	}
	defer got.Body.Close()
	_, _ = io.Copy(io.Discard, got.Body)
	return got.StatusCode
}

// again asks the database until it answers: it may just have come back.
func (c *campaign) again(ask func() error) {
	c.t.Helper()
	err := ask()
	for n := 0; err != nil && n < 50; n++ {
		time.Sleep(100 * time.Millisecond)
		err = ask()
	}
	require.NoError(c.t, err)
}

// heads gives what is kept of the cabinet of a key.
func (c *campaign) heads(key string) (id int, heads []record.Head) {
	c.again(func() (err error) {
		if id, _, err = c.store.Known(c.t.Context(), key); err == nil {
			heads, err = c.store.Heads(c.t.Context(), id)
		}
		return err
	})
	return id, heads
}

// tamper posts, as a board of its own, links of another that were changed: what is not whole
// is not taken.
func (c *campaign) tamper() {
	links := c.some(c.pick())
	if len(links) < 3 {
		return
	}
	key := ""
	c.again(func() error {
		c.thieves++
		code, err := c.store.Code(c.t.Context(), fmt.Sprintf("Thief %d", c.thieves), "simulated", false)
		if err == nil {
			_, _, key, err = c.store.Join(c.t.Context(), code)
		}
		return err
	})
	i := 1 + c.draw.IntN(len(links)-2)
	what := c.draw.IntN(4)
	switch l := &links[i]; what {
	case 0:
		l.Rows = bytes.Clone(l.Rows)
		l.Rows[c.draw.IntN(len(l.Rows))] ^= 1 << c.draw.IntN(8)
	case 1:
		l.Hash[c.draw.IntN(len(l.Hash))] ^= 1 << c.draw.IntN(8)
	case 2:
		links = append(links[:i:i], links[i+1:]...)
	case 3:
		links[i], links[i+1] = links[i+1], links[i]
	}
	if status := c.send(key, links); status != 0 && status < 500 {
		assert.Equal(c.t, http.StatusConflict, status, "change %d of link %d", what, i)
		_, heads := c.heads(key)
		header, err := links[0].Told(0)
		require.NoError(c.t, err)
		if header.Previous != "" { // a batch that follows one which the thief never sent
			require.Empty(c.t, heads)
			return
		}
		require.Len(c.t, heads, 1)
		assert.EqualValues(c.t, i, heads[0].Links, "those before the change, and no more")
	}
}

// replay posts with a board's own key what it sent before: the same is nothing new, and
// another in its place is refused.
func (c *campaign) replay() {
	b := c.pick()
	hub, err := courier.Read(b.dir)
	require.NoError(c.t, err)
	links := c.some(b)
	_, heads := c.heads(hub.Key)
	kept := 0
	for _, h := range heads {
		if len(links) > 0 && h.Batch == links[0].Batch {
			kept = min(len(links), int(h.Links))
		}
	}
	if kept < 2 {
		return
	}
	from := c.draw.IntN(kept - 1)
	again := links[from:kept]
	want := http.StatusOK
	if c.draw.IntN(2) == 0 {
		again = append([]record.Link{}, again...)
		i := c.draw.IntN(len(again))
		again[i].Rows = bytes.Clone(again[i].Rows)
		again[i].Rows[c.draw.IntN(len(again[i].Rows))] ^= 1
		want = http.StatusConflict
	}
	if status := c.send(hub.Key, again); status != 0 && status < 500 {
		assert.Equal(c.t, want, status)
	}
}

// holds looks at the invariant, which no crash may break: a head is the count of its rows.
func (c *campaign) holds() {
	broken := ""
	c.again(func() (err error) {
		broken, err = c.database.Ask("postgres", `SELECT c.name, b.name, b.links FROM batch b JOIN cabinet c ON c.id = b.cabinet
		WHERE b.links <> (SELECT count(*) FROM link l WHERE l.cabinet = b.cabinet AND l.batch = b.id) OR b.links = 0`)
		return err
	})
	require.Empty(c.t, broken)
}

// patience is how long the hub may get nothing new of a board that has something, with nothing
// in its way. It bounds a standstill, not the whole: couriers yield to every other program, so
// that what piled up on a busy machine may take them long, and is none the worse for it.
const patience = 6 * time.Minute

// settled lets the boards rest until the hub has all, and holds every byte against theirs.
func (c *campaign) settled() (links int) {
	for _, b := range c.boards {
		require.NoError(c.t, os.WriteFile(b.dir+"/rest", nil, 0o600))
	}
	for _, b := range c.boards {
		hub, err := courier.Read(b.dir)
		require.NoError(c.t, err)
		id, _ := c.heads(hub.Key)
		var mine []record.Head
		began, moved := time.Now(), time.Now()
		same, behind, least := 0, int64(-1), int64(0)
		for same < 3 {
			if time.Since(moved) > patience {
				kept, _ := c.store.Heads(c.t.Context(), id)
				alarms, _ := c.store.Alarms(c.t.Context())
				log, _ := os.ReadFile(c.dir + "/hub.log")
				said, _ := os.ReadFile(b.dir + "/courier.log")
				c.t.Logf("alarms %v\nhub %s\nboard %s", alarms, log[max(0, len(log)-1500):], said[max(0, len(said)-1500):])
				c.t.Fatalf("%s: the hub never had all: %d batches of %d, last %v of %v", b.name, len(kept), len(mine), kept[max(0, len(kept)-1):], mine[max(0, len(mine)-1):])
			}
			if !b.running() {
				b.start()
			}
			time.Sleep(30 * time.Millisecond)
			r, err := record.OpenReader(b.file())
			if err != nil {
				continue
			}
			mine, err = r.Heads(c.t.Context())
			r.Close()
			kept, wrong := c.store.Heads(c.t.Context(), id)
			if same++; err != nil || wrong != nil || !assert.ObjectsAreEqual(mine, kept) {
				same = 0
			}
			if lacks := count(mine) - count(kept); err == nil && wrong == nil && (behind < 0 || lacks < least) {
				behind, least, moved = max(behind, lacks), lacks, time.Now()
			}
		}
		if took := time.Since(began); took > time.Minute {
			c.t.Logf("%s was %d links behind, which took %v", b.name, behind, took.Round(time.Second))
		}
		at := 0
		all := recordtest.Read(c.t, b.file())
		for _, h := range mine {
			for l, err := range c.store.All(c.t.Context(), id, h.Batch) {
				require.NoError(c.t, err)
				require.Less(c.t, at, len(all))
				require.Equal(c.t, all[at], l, "%s: link %d of batch %s", b.name, l.Number, l.Batch)
				at++
			}
		}
		require.Equal(c.t, len(all), at, "%s: nothing lost, nothing twice", b.name)
		links += at
	}
	for _, b := range c.boards {
		require.NoError(c.t, os.Remove(b.dir+"/rest"))
	}
	return links
}

func count(heads []record.Head) (links int64) {
	for _, h := range heads {
		links += h.Links
	}
	return links
}

// small makes a disk of so many MiB, where this user may.
func (c *campaign) small(dir string, mib int) bool {
	if os.Getuid() != 0 || syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dm,mode=0777", mib)) != nil {
		return false
	}
	c.t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return true
}

// apart makes a network namespace with one link to this one, where this user may.
func (c *campaign) apart(i int) (space, address string) {
	space = fmt.Sprintf("fum%d-%d", os.Getpid()%100000, i)
	if os.Getuid() != 0 || exec.Command("ip", "netns", "add", space).Run() != nil {
		return "", "127.0.0.1"
	}
	c.t.Cleanup(func() { _ = exec.Command("ip", "netns", "del", space).Run() })
	net := fmt.Sprintf("10.%d.%d.", 200+os.Getpid()%50, i)
	c.ip("link", "add", space, "type", "veth", "peer", "name", "hub0", "netns", space)
	c.ip("addr", "add", net+"1/30", "dev", space)
	c.ip("link", "set", "dev", space, "up")
	c.ip("-n", space, "addr", "add", net+"2/30", "dev", "hub0")
	c.ip("-n", space, "link", "set", "dev", "hub0", "up")
	return space, net + "1"
}

func free(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// TestFaults draws faults of all kinds by seed, most while another still lasts in the queues
// of those that it befell: the head is the count of rows after each, and in the end the hub
// has every byte of every board, once, and of a thief what is whole and no more.
func TestFaults(t *testing.T) {
	c := &campaign{t: t, draw: rand.New(rand.NewPCG(*faultSeed, 0)), dir: t.TempDir(), listen: free(t), counts: map[string]int{}}
	disk, err := os.MkdirTemp("", "hubdb")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(disk) })
	require.NoError(t, os.Chmod(disk, 0o777))
	if c.small(disk, 160+*faults/2) {
		c.disk = disk
	}
	c.database = postgrestest.Begin(t, disk)
	t.Cleanup(c.database.End)
	c.url = c.database.URL("postgres")
	cert, key, err := certificate.SelfSigned([]string{"127.0.0.1"}, 100*365*24*time.Hour)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(c.dir+"/hub.pem", cert, 0o600))
	require.NoError(t, os.WriteFile(c.dir+"/hub-key.pem", key, 0o600))
	if c.prints, err = certificate.FingerprintOf(cert); err != nil {
		t.Fatal(err)
	}
	c.store, err = store.Open(t.Context(), c.url, time.Now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(c.store.Close)
	c.startHub(0)
	t.Cleanup(func() { _ = c.hub.Process.Kill() })
	c.serves(0)
	for i := range 3 {
		b := &board{c: c, name: fmt.Sprintf("Cabinet %d", i), dir: t.TempDir()}
		b.disk = c.small(b.dir, 60+*faults/4)
		address := ""
		b.space, address = c.apart(i)
		b.link = newLink(t, address, c.listen)
		code, err := c.store.Code(t.Context(), b.name, "simulated", false)
		require.NoError(t, err)
		hub, err := courier.Join(t.Context(), "https://"+b.link.l.Addr().String(), code, c.prints)
		require.NoError(t, err)
		require.NoError(t, hub.Keep(b.dir))
		b.start()
		t.Cleanup(b.kill)
		c.boards = append(c.boards, b)
	}
	began, links := time.Now(), 0
	order := []int{} // each kind once before any twice
	for n := range *faults {
		if len(order) == 0 {
			order = c.draw.Perm(len(kinds))
		}
		kind := kinds[order[0]]
		order = order[1:]
		kind.do(c)
		c.counts[kind.name]++
		c.shortly(100)
		c.holds()
		for _, b := range c.boards {
			if !b.running() { // a full disk ended it
				b.start()
			}
		}
		if n%50 == 49 {
			links = c.settled()
			t.Logf("%d faults, %d links, %v", n+1, links, time.Since(began).Round(time.Second))
		}
		if t.Failed() {
			t.Fatalf("after fault %d, %s; repeat with -faults %d -fault-seed %d", n, kind.name, n+1, *faultSeed)
		}
	}
	links = c.settled()
	c.holds()
	batches, all, wrong, err := c.store.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, wrong)
	var told []string
	for _, k := range kinds {
		told = append(told, fmt.Sprintf("%s %d", k.name, c.counts[k.name]))
	}
	t.Logf("%d faults by seed %d: %s", *faults, *faultSeed, strings.Join(told, ", "))
	t.Logf("%d links of %d boards arrived, each once; with those of %d thieves %d batches and %d links, all whole; namespaces %v, small disks %v", links, len(c.boards), c.thieves, batches, all, c.boards[0].space != "", c.disk != "")
}
