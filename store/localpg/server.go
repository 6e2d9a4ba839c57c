// Package localpg runs a private Postgres for one program: no network, its
// own data directory, ended with the program however that ends. It is used
// where no database_url is configured, and by the tests.
//
// Authentication on the socket is "trust": who can enter the socket directory
// is superuser. The directory is 0700 for that reason.
package localpg

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// User is the superuser of the private cluster; it is also the name of the
// database that New creates.
const User = "coldseam"

// Options of Start. Only Dir is needed.
type Options struct {
	Dir  string       // state directory; holds pg, run, lock and postgres.log
	Bin  string       // directory of the server programs; "" = Find
	Log  *slog.Logger // nil = silent
	Fast bool         // tests only: a crash of the machine may lose everything
	// Settings are further server settings, such as "max_connections": "50".
	Settings map[string]string
}

// Server is a running private Postgres.
type Server struct {
	dir, pg, sock string
	tempSock      bool
	bin           string
	acct          account
	opts          Options
	log           *slog.Logger
	lock          *os.File
	major         int

	mu       sync.Mutex
	pid      int
	stopping bool
	failure  error // why it is not running now
	restarts int
	done     chan struct{} // closed when the supervisor ended
}

// startLimit is how long a start is retried: the children of a killed
// postmaster hold its shared memory for a while [trial: 2.1 s].
const startLimit = 15 * time.Second

// maxRestartWait is the ceiling of the back-off of the supervisor: a morning
// is short, and a start that fails costs little.
const maxRestartWait = 2 * time.Second

// Start finds the server programs, takes the directory, makes the cluster when
// there is none, and starts and supervises the server. ErrNotFound: no
// programs. ErrUnavailable: the directory is in use. ErrInvalid: the directory
// is closed to the database user, or it was made by another major version;
// nothing is ever deleted.
func Start(ctx context.Context, o Options) (*Server, error) {
	s := &Server{opts: o, log: o.Log, bin: o.Bin, done: make(chan struct{})}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if err := s.prepare(ctx); err != nil {
		s.release()
		return nil, err
	}

	up := make(chan error, 1)
	go s.supervise(ctx, up)
	if err := <-up; err != nil {
		s.Stop()
		return nil, err
	}

	if err := s.ensureDatabase(ctx); err != nil {
		s.Stop()
		return nil, err
	}

	return s, nil
}

// supervise holds one operating-system thread for the life of the server:
// Pdeathsig is sent when the starting thread ends, not when the process does.
// It gives the thread back once the server has ended: the thread may have begun
// another process before, which would get the signal of its own.
// It restarts a server that died, with back-off to a ceiling, until Stop.
func (s *Server) supervise(ctx context.Context, up chan<- error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	defer close(s.done)
	limit := time.Now().Add(startLimit)
	first, wait := true, 100*time.Millisecond
	var last error

	for {
		began := time.Now()
		cmd, err := s.spawn()
		if err == nil {
			exited := make(chan struct{})
			var werr error
			go func() { werr = cmd.Wait(); close(exited) }()

			if err = s.waitReady(ctx, exited); err == nil {
				s.setState(cmd.Process.Pid, nil)
				if first {
					first = false
					ctx = context.Background() // the caller's was for the start alone
					up <- nil
				} else {
					s.log.Warn("database restarted", "n", s.Restarts())
				}
			} else if ctx.Err() != nil {
				s.signal(cmd.Process, syscall.SIGINT)
			}

			<-exited
			if err == nil {
				err = fmt.Errorf("database ended: %w", errors.Join(werr, coldseam.ErrUnavailable))
			}
			if time.Since(began) > 10*time.Second {
				wait = 100 * time.Millisecond
			}
		}

		s.setState(0, err)
		if s.isStopping() {
			return
		}
		if first && (time.Now().After(limit) || ctx.Err() != nil) {
			up <- errors.Join(err, last)
			return
		}

		last = err
		if !first {
			s.log.Error("database ended, restarting", "err", err)
		}
		s.sleep(wait)
		wait = min(wait*2, maxRestartWait)
		if s.isStopping() {
			return
		}
		s.countRestart(!first)
	}
}

func (s *Server) spawn() (*exec.Cmd, error) {
	out, err := openLog(filepath.Join(s.dir, "postgres.log"))
	if err != nil {
		return nil, err
	}
	defer out.Close() // the child has its own copy
	cmd := exec.Command("/bin/sh", append([]string{"-c", limited, filepath.Join(s.bin, "postgres")}, s.args()...)...)
	cmd.Stdout, cmd.Stderr, cmd.Dir, cmd.Env = out, out, "/", environ()
	cmd.SysProcAttr = s.acct.sys()
	cmd.SysProcAttr.Pdeathsig = syscall.SIGINT // fast shutdown
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start postgres: %w", err)
	}
	s.setState(cmd.Process.Pid, fmt.Errorf("database is starting: %w", coldseam.ErrUnavailable))
	if s.isStopping() { // Stop may have looked before the process was there
		s.signal(cmd.Process, syscall.SIGINT)
	}
	return cmd, nil
}

// sessionMemory bounds what one process of the server may allocate for itself,
// whatever work_mem a reader sets: it gets an error, not the machine's memory
// [proposal].
const sessionMemory = 512 << 20

// limited runs a program under the bound, which its children inherit.
var limited = fmt.Sprintf(`ulimit -d %d; exec "$0" "$@"`, sessionMemory>>10)

func (s *Server) args() []string {
	set := map[string]string{
		"listen_addresses":        "",
		"unix_socket_directories": s.sock,
		"unix_socket_permissions": "0700",
		"port":                    "5432",
		"timezone":                "UTC",
		"log_timezone":            "UTC",
		"max_connections":         "60",
		"max_worker_processes":    "3", // helpers of parallel reads; each may take as much memory as its session
		"shared_buffers":          "96MB",
		"jit":                     "off",
		"log_min_messages":        "warning",
	}

	if s.opts.Fast {
		set["fsync"], set["synchronous_commit"], set["full_page_writes"] = "off", "off", "off"
	}
	for k, v := range s.opts.Settings {
		set[k] = v
	}
	args := []string{"-D", s.pg}
	for k, v := range set {
		args = append(args, "-c", k+"="+v)
	}
	return args
}

// waitReady returns nil when the server answers a query. It waits as long as
// the process lives: recovery after a crash may take minutes.
func (s *Server) waitReady(ctx context.Context, exited <-chan struct{}) error {
	began, told := time.Now(), time.Now()
	for {
		select {
		case <-exited:
			return fmt.Errorf("postgres did not start: %s: %w", s.lastLog(), coldseam.ErrUnavailable)
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}

		c, err := pgx.Connect(ctx, s.URL("postgres"))
		if err == nil {
			return c.Close(ctx)
		}

		if time.Since(told) > 30*time.Second {
			told = time.Now()
			s.log.Warn("database does not answer yet", "dur", time.Since(began).Round(time.Second), "err", err)
		}
	}
}

// URL is the connection string of one database of the cluster as superuser;
// "" = the program's own database.
func (s *Server) URL(database string) string { return s.URLAs(User, database) }

// URLAs is URL for another role.
func (s *Server) URLAs(role, database string) string {
	if database == "" {
		database = User
	}
	q := url.Values{"host": {s.sock}, "user": {role}, "sslmode": {"disable"}}
	return "postgres:///" + url.PathEscape(database) + "?" + q.Encode()
}

// Bin is the directory of the server programs, where pg_dump is too.
func (s *Server) Bin() string { return s.bin }

// Major is the major version of the server.
func (s *Server) Major() int { return s.major }

// Ready returns nil while the server runs, and the reason while it does not.
func (s *Server) Ready() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.failure
}

// Restarts counts the restarts after an unwanted end.
func (s *Server) Restarts() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.restarts
}

// Pid is the process id of the server, 0 while there is none.
func (s *Server) Pid() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.pid
}

// Stop shuts the server down: sessions are ended, everything committed is on
// disk. A second Stop does nothing.
func (s *Server) Stop() error {
	s.mu.Lock()
	again := s.stopping
	s.stopping = true
	pid := s.pid
	s.mu.Unlock()
	if !again && pid > 0 {
		_ = syscall.Kill(pid, syscall.SIGINT) // gone already is as good
	}

	var err error
	select {
	case <-s.done:
	case <-time.After(20 * time.Second):
		// Immediate shutdown: the next start recovers from the log.
		if pid := s.Pid(); pid > 0 {
			_ = syscall.Kill(pid, syscall.SIGQUIT)
		}
		<-s.done
		err = fmt.Errorf("database did not stop within 20 s and was cut: %w", coldseam.ErrUnavailable)
	}

	if !again {
		s.release()
	}
	return err
}

func (s *Server) release() {
	if s.tempSock {
		_ = os.RemoveAll(s.sock) // a temporary directory of ours
	}
	if s.lock != nil {
		s.lock.Close()
	}
}

func (s *Server) setState(pid int, failure error) {
	s.mu.Lock()
	s.pid, s.failure = pid, failure
	s.mu.Unlock()
}

func (s *Server) isStopping() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.stopping
}

func (s *Server) countRestart(yes bool) {
	if yes {
		s.mu.Lock()
		s.restarts++
		s.mu.Unlock()
	}
}

// sleep waits d or until Stop.
func (s *Server) sleep(d time.Duration) {
	for end := time.Now().Add(d); time.Now().Before(end) && !s.isStopping(); {
		time.Sleep(20 * time.Millisecond)
	}
}

func (s *Server) signal(p *os.Process, sig syscall.Signal) { _ = p.Signal(sig) } // it may be gone

func (s *Server) lastLog() string {
	b, err := os.ReadFile(filepath.Join(s.dir, "postgres.log"))
	if err != nil {
		return "no log"
	}
	return lastLine(b)
}

// openLog appends, and starts anew when the file has grown past 10 MB.
func openLog(path string) (*os.File, error) {
	flags := os.O_CREATE | os.O_WRONLY | os.O_APPEND
	if st, err := os.Stat(path); err == nil && st.Size() > 10<<20 {
		flags |= os.O_TRUNC
	}
	f, err := os.OpenFile(path, flags, 0o600)
	if err != nil {
		return nil, fmt.Errorf("database log: %w", err)
	}
	return f, nil
}

// environ keeps foreign PG* settings away from the server.
func environ() []string {
	return []string{"PATH=/usr/local/bin:/usr/bin:/bin", "LC_ALL=C.UTF-8", "TZ=UTC"}
}

func lastLine(b []byte) string {
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	return strings.TrimSpace(lines[len(lines)-1])
}

func pause(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
