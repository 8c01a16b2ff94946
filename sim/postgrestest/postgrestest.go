// Package postgrestest runs Debian's PostgreSQL for tests: in a folder of its own, as a user who
// may do nothing else, heard on a socket alone, and gone afterwards.
package postgrestest

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"
)

// A Server is one PostgreSQL.
type Server struct {
	dir, bin string
	who      *syscall.Credential
	settings []string
	cmd      *exec.Cmd
	ended    chan struct{}
	count    int
}

// bin is the folder of PostgreSQL's programs; Debian has them off the PATH.
func bin() string {
	if path, err := exec.LookPath("initdb"); err == nil {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			return filepath.Dir(real)
		}
	}
	all, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if len(all) == 0 {
		return ""
	}
	return filepath.Dir(all[len(all)-1])
}

// unprivileged is another user where this one is root, as whom PostgreSQL does not run.
func unprivileged() (*syscall.Credential, error) {
	if os.Getuid() != 0 {
		return nil, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		if u, err = user.Lookup("nobody"); err != nil {
			return nil, err
		}
	}
	uid, err1 := strconv.Atoi(u.Uid)
	gid, err2 := strconv.Atoi(u.Gid)
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, errors.Join(err1, err2)
}

// Begin makes a server in a folder and starts it. Without PostgreSQL here the test is
// skipped, except under CI=true. What the folder is on may be lost: nothing is synced.
func Begin(t testing.TB, in string, settings ...string) *Server {
	t.Helper()
	s := &Server{bin: bin(), settings: settings}
	if s.bin == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("this needs PostgreSQL: apt-get install --no-install-recommends postgresql")
		}
		t.Skip("without PostgreSQL: apt-get install --no-install-recommends postgresql")
	}
	if err := s.begin(in); err != nil {
		t.Fatal(err)
	}
	return s
}

func (s *Server) begin(in string) (err error) {
	if s.who, err = unprivileged(); err != nil {
		return err
	}
	if s.dir, err = os.MkdirTemp(in, "pg"); err != nil { // short, for a socket's path is
		return err
	}
	if s.who != nil {
		if err := os.Chown(s.dir, int(s.who.Uid), int(s.who.Gid)); err != nil {
			return err
		}
	}
	made, err := s.command("initdb", "-D", s.dir+"/data", "-U", "hub", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync", "--wal-segsize=1").CombinedOutput()
	if err != nil {
		return fmt.Errorf("initdb: %w: %s", err, made)
	}
	return s.Start()
}

func (s *Server) command(name string, args ...string) *exec.Cmd {
	c := exec.Command(filepath.Join(s.bin, name), args...)
	c.Dir = s.dir
	c.SysProcAttr = &syscall.SysProcAttr{Credential: s.who, Setpgid: true}
	return c
}

// Start starts it, also after Kill, and waits until it answers.
func (s *Server) Start() error {
	log, err := os.OpenFile(s.dir+"/log", os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	defer log.Close()
	until := time.Now().Add(time.Minute)
	for time.Now().Before(until) {
		args := []string{"-D", s.dir + "/data", "-k", s.dir, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "shared_buffers=32MB", "-c", "logging_collector=off", "-c", "max_wal_size=32MB", "-c", "min_wal_size=4MB"}
		for _, setting := range s.settings {
			args = append(args, "-c", setting)
		}
		s.cmd, s.ended = s.command("postgres", args...), make(chan struct{})
		s.cmd.Stdout, s.cmd.Stderr = log, log
		if err := s.cmd.Start(); err != nil {
			return err
		}
		go func(cmd *exec.Cmd, ended chan struct{}) { _ = cmd.Wait(); close(ended) }(s.cmd, s.ended)
		for s.running() && time.Now().Before(until) {
			if err := s.Exec("postgres", "SELECT 1"); err == nil {
				return nil
			}
			time.Sleep(50 * time.Millisecond)
		}
		time.Sleep(100 * time.Millisecond) // those that it left still hold its memory
	}
	text, _ := os.ReadFile(s.dir + "/log")
	return fmt.Errorf("PostgreSQL does not start: %s", text[max(0, len(text)-2000):])
}

func (s *Server) running() bool {
	select {
	case <-s.ended:
		return false
	default:
		return true
	}
}

// Kill ends it as a power cut would end the program.
func (s *Server) Kill() {
	_ = s.cmd.Process.Kill()
	<-s.ended
}

// Restart starts it where it has ended by itself, or hangs.
func (s *Server) Restart() error {
	if s.running() {
		s.Kill()
	}
	return s.Start()
}

// End stops it and removes the folder.
func (s *Server) End() {
	if s.running() {
		_ = s.cmd.Process.Signal(syscall.SIGQUIT) // at once, without a goodbye
		<-s.ended
	}
	os.RemoveAll(s.dir)
}

// URL is the address of one of its databases.
func (s *Server) URL(database string) string {
	return "postgres://hub@/" + database + "?host=" + s.dir
}

// Exec runs one statement.
func (s *Server) Exec(database, statement string) error {
	out, err := s.Ask(database, statement)
	if err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}

// Ask runs one statement and gives what it says, a line a row.
func (s *Server) Ask(database, statement string) (string, error) {
	c := s.command("psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-c", statement, s.URL(database))
	c.Env = append(os.Environ(), "PGCONNECT_TIMEOUT=10")
	out, err := c.CombinedOutput()
	return string(bytes.TrimSpace(out)), err
}

// Fresh makes an empty schema and gives an address that goes there.
func (s *Server) Fresh(t testing.TB) string {
	t.Helper()
	s.count++
	name := fmt.Sprintf("fresh%d", s.count)
	if err := s.Exec("postgres", "CREATE SCHEMA "+name); err != nil {
		t.Fatal(err)
	}
	return s.URL("postgres") + "&search_path=" + name
}

var shared struct {
	sync.Mutex
	server *Server
}

// Fresh is an empty schema of a server that all tests of a package share. Its TestMain must
// call Main.
func Fresh(t testing.TB) string {
	t.Helper()
	shared.Lock()
	defer shared.Unlock()
	if shared.server == nil {
		shared.server = Begin(t, "")
	}
	return shared.server.Fresh(t)
}

// Main runs the tests of a package and ends the server that they shared.
func Main(m *testing.M) {
	code := m.Run()
	if shared.server != nil {
		shared.server.End()
	}
	os.Exit(code)
}
