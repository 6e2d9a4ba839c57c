package localpg

import (
	"errors"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// Running finds the server that another process of ours runs on a state
// directory and returns the connection string of the program's database. ok is
// false when none is up, or when this user may not enter the directory. The
// server ends with the process that owns it: what is attached to must be short.
func Running(dir string) (dsn string, ok bool) {
	b, err := os.ReadFile(filepath.Join(dir, "pg", "postmaster.pid"))
	if err != nil {
		return "", false
	}

	// pid, data directory, start time, port, socket directory, listen address,
	// shared memory, status [source: the server's own file, read on version 15].
	line := strings.Split(string(b), "\n")
	if len(line) < 8 || strings.TrimSpace(line[7]) != "ready" {
		return "", false
	}
	pid, err := strconv.Atoi(strings.TrimSpace(line[0]))
	if err != nil || pid <= 1 {
		return "", false
	}

	if err := syscall.Kill(pid, 0); err != nil && !errors.Is(err, syscall.EPERM) {
		return "", false
	}
	sock := strings.TrimSpace(line[4])
	if _, err := os.Stat(filepath.Join(sock, ".s.PGSQL."+strings.TrimSpace(line[3]))); err != nil {
		return "", false
	}
	q := url.Values{"host": {sock}, "port": {strings.TrimSpace(line[3])}, "user": {User}, "sslmode": {"disable"}}
	return "postgres:///" + User + "?" + q.Encode(), true
}
