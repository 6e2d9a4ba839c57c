package localpg

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// Find returns the directory with the Postgres server programs: $PG_BIN, then
// PATH, then the places of the Debian and Red Hat packages, the newest major
// version first. Without any it returns ErrNotFound with the package to
// install.
func Find() (string, error) {
	if dir, ok := find("postgres", "initdb"); ok {
		return dir, nil
	}
	return "", fmt.Errorf("postgres server programs (install the package postgresql, or set PG_BIN, or set database_url): %w", coldseam.ErrNotFound)
}

// FindClient returns the directory with pg_dump and pg_restore in the same way:
// beside a database elsewhere there may be no server programs.
func FindClient() (string, error) {
	if dir, ok := find("pg_dump", "pg_restore"); ok {
		return dir, nil
	}
	return "", fmt.Errorf("pg_dump and pg_restore (install the package postgresql-client, or set PG_BIN): %w",
		coldseam.ErrNotFound)
}

func find(programs ...string) (string, bool) {
	for _, dir := range candidates(programs[0]) {
		if complete(dir, programs) {
			return dir, true
		}
	}
	return "", false
}

func candidates(program string) []string {
	if dir := os.Getenv("PG_BIN"); dir != "" {
		return []string{dir} // stated by the admin: no silent second choice
	}
	var dirs []string
	if p, err := exec.LookPath(program); err == nil {
		if p, err = filepath.EvalSymlinks(p); err == nil { // Debian's leads to a wrapper, elsewhere
			dirs = append(dirs, filepath.Dir(p))
		}
	}
	for _, pattern := range []string{"/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin"} {
		found, _ := filepath.Glob(pattern) // the only error is a bad pattern
		sort.Slice(found, func(i, j int) bool { return majorInPath(found[i]) > majorInPath(found[j]) })
		dirs = append(dirs, found...)
	}
	return dirs
}

func complete(dir string, programs []string) bool {
	for _, name := range programs {
		st, err := os.Stat(filepath.Join(dir, name))
		if err != nil || st.Mode()&0o111 == 0 {
			return false
		}
	}
	return true
}

func majorInPath(dir string) int {
	s := filepath.Base(filepath.Dir(dir))
	n, _ := strconv.Atoi(strings.TrimPrefix(s, "pgsql-")) // not a number: last
	return n
}

// binMajor is the major version of the programs in bin, such as 15.
func binMajor(bin string) (int, error) {
	out, err := exec.Command(filepath.Join(bin, "postgres"), "--version").Output()
	if err != nil {
		return 0, fmt.Errorf("postgres --version: %w", err)
	}
	f := strings.Fields(string(out)) // postgres (PostgreSQL) 15.18 (Debian ...)
	if len(f) < 3 {
		return 0, fmt.Errorf("postgres --version said %q: %w", out, coldseam.ErrInvalid)
	}
	n, err := strconv.Atoi(strings.SplitN(f[2], ".", 2)[0])
	if err != nil {
		return 0, fmt.Errorf("postgres --version said %q: %w", out, coldseam.ErrInvalid)
	}
	return n, nil
}

// dataMajor reads PG_VERSION of a data directory; 0 = there is none yet.
func dataMajor(pg string) (int, error) {
	b, err := os.ReadFile(filepath.Join(pg, "PG_VERSION"))
	if os.IsNotExist(err) {
		if _, err := os.Stat(pg); err == nil {
			return 0, fmt.Errorf("%s exists without PG_VERSION: not a data directory of ours, nothing was touched: %w",
				pg, coldseam.ErrInvalid)
		}
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read PG_VERSION: %w", err)
	}
	n, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		return 0, fmt.Errorf("%s/PG_VERSION holds %q: %w", pg, b, coldseam.ErrInvalid)
	}
	return n, nil
}
