package localpg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

func (s *Server) prepare(ctx context.Context) (err error) {
	if s.bin == "" {
		if s.bin, err = Find(); err != nil {
			return err
		}
	}

	if s.acct, err = serverAccount(); err != nil {
		return err
	}
	if s.dir, err = openDir(s.opts.Dir, s.acct); err != nil {
		return err
	}
	if s.lock, err = lockDir(s.dir); err != nil {
		return err
	}

	s.pg = filepath.Join(s.dir, "pg")
	if err = s.checkVersion(); err != nil {
		return err
	}
	if s.sock, s.tempSock, err = socketDir(s.dir, s.acct); err != nil {
		return err
	}
	if err = s.initdb(ctx); err != nil {
		return err
	}
	return s.endLeftOver(ctx)
}

func (s *Server) checkVersion() error {
	var err error
	if s.major, err = binMajor(s.bin); err != nil {
		return err
	}
	have, err := dataMajor(s.pg)
	if err != nil {
		return err
	}
	if have != 0 && have != s.major {
		return fmt.Errorf("%s was made by Postgres %d, the programs in %s are %d: dump it with the %d programs (coldseam backup, PG_BIN), move the directory away and restore; nothing was touched: %w",
			s.pg, have, s.bin, s.major, have, coldseam.ErrInvalid)
	}
	return nil
}

// initdb makes the cluster beside its final place and renames it, so that a
// kill half-way leaves no directory that looks whole.
func (s *Server) initdb(ctx context.Context) error {
	if _, err := os.Stat(s.pg); err == nil {
		return nil
	}
	tmp := s.pg + ".tmp"
	endAllOn(tmp) // one that outlived a killed start would write into ours
	if err := os.RemoveAll(tmp); err != nil {
		return fmt.Errorf("initdb: %w", err)
	}
	if err := os.Mkdir(tmp, 0o700); err != nil {
		return fmt.Errorf("initdb: %w", err)
	}

	if err := s.acct.own(tmp); err != nil {
		return fmt.Errorf("initdb: %w", err)
	}
	args := []string{"-D", tmp, "-U", User, "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8", "--data-checksums"}
	if s.opts.Fast {
		args = append(args, "--no-sync")
	}
	runtime.LockOSThread() // the thread's end is what Pdeathsig tells
	defer runtime.UnlockOSThread()

	cmd := exec.CommandContext(ctx, filepath.Join(s.bin, "initdb"), args...)
	cmd.SysProcAttr, cmd.Dir, cmd.Env = s.acct.sys(), "/", environ()
	cmd.SysProcAttr.Pdeathsig = syscall.SIGKILL
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %s: %w", lastLine(out), err)
	}
	if err := os.Rename(tmp, s.pg); err != nil {
		return fmt.Errorf("initdb: %w", err)
	}
	return syncDir(s.dir)
}

// endLeftOver asks a server that still runs on our directory to stop. The lock
// is ours, so its owner is gone. A server that was killed leaves its number
// behind, which may be that of any other process by now.
func (s *Server) endLeftOver(ctx context.Context) error {
	pid := s.filePid()
	if pid <= 0 {
		return nil
	}
	if !isPostmaster(pid, s.pg) {
		return s.disown()
	}
	s.log.Info("stopping left-over database", "pid", pid)

	limit := time.Now().Add(startLimit)
	for isPostmaster(pid, s.pg) {
		if err := syscall.Kill(pid, syscall.SIGINT); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("stop left-over database %d: %w", pid, err)
		}
		if time.Now().After(limit) {
			return fmt.Errorf("left-over database %d does not stop: %w", pid, coldseam.ErrUnavailable)
		}
		if err := pause(ctx, 100*time.Millisecond); err != nil {
			return err
		}
	}

	return nil
}

// disown writes our own number into postmaster.pid: the server takes the file of
// its parent for a stale one, and still looks at the rest of it, which tells
// whether children of the killed server hold its memory. The lock of the socket
// tells nothing more.
func (s *Server) disown() error {
	path := filepath.Join(s.pg, "postmaster.pid")
	b, err := os.ReadFile(path)
	if err == nil {
		_, rest, _ := strings.Cut(string(b), "\n")
		err = os.WriteFile(path, []byte(strconv.Itoa(os.Getpid())+"\n"+rest), 0o600)
	}
	if err == nil {
		err = os.Remove(filepath.Join(s.sock, ".s.PGSQL.5432.lock"))
	}
	if err != nil && !os.IsNotExist(err) {
		return fmt.Errorf("left-over postmaster.pid: %w", err)
	}
	return nil
}

// endAllOn kills what works in a directory of ours.
func endAllOn(dir string) {
	links, _ := filepath.Glob("/proc/[0-9]*/cwd") // the only error is a bad pattern
	for _, l := range links {
		pid, _ := strconv.Atoi(filepath.Base(filepath.Dir(l)))
		at, err := os.Readlink(l)
		if (err == nil && (at == dir || at == dir+" (deleted)")) || isPostmaster(pid, dir) {
			_ = syscall.Kill(pid, syscall.SIGKILL) // it may be gone
			for end := time.Now().Add(startLimit); !ended(pid) && time.Now().Before(end); {
				time.Sleep(10 * time.Millisecond)
			}
		}
	}
}

// ended: the process is gone, or dead and not collected, as it stays for ever in a
// container whose first process collects nobody.
func ended(pid int) bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid)) // number (name) state ...
	return err != nil || strings.Contains(string(stat), ") Z ")
}

// filePid is the process in postmaster.pid, 0 = none.
func (s *Server) filePid() int {
	b, err := os.ReadFile(filepath.Join(s.pg, "postmaster.pid"))
	if err != nil {
		return 0
	}
	pid, _ := strconv.Atoi(strings.TrimSpace(strings.SplitN(string(b), "\n", 2)[0])) // unreadable = none
	return pid
}

func isPostmaster(pid int, pg string) bool {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
	if err != nil {
		return false
	}
	args := strings.Split(string(b), "\x00")
	for i, a := range args {
		if a == "-D" && i+1 < len(args) && args[i+1] == pg {
			return true
		}
	}
	return false
}

func (s *Server) ensureDatabase(ctx context.Context) error {
	c, err := pgx.Connect(ctx, s.URL("postgres"))
	if err != nil {
		return fmt.Errorf("create database: %w", err)
	}
	defer c.Close(ctx)
	var there bool
	if err := c.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, User).Scan(
		&there); err != nil {
		return fmt.Errorf("create database: %w", err)
	}
	if there {
		return nil
	}
	if _, err := c.Exec(ctx, `CREATE DATABASE `+User); err != nil {
		return fmt.Errorf("create database: %w", err)
	}
	return nil
}

func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync %s: %w", dir, err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("sync %s: %w", dir, err)
	}
	return nil
}
