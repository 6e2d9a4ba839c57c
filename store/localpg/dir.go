package localpg

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/user"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"unicode"
	"unicode/utf8"

	"example.org/coldseam"
)

// account is the user the server runs as. Postgres refuses to run as root, so
// root drops to postgres or nobody; anybody else stays who he is.
type account struct {
	name     string
	uid, gid int
	groups   []int
	drop     bool // we are root and must change user
}

func serverAccount() (account, error) {
	if uid := os.Getuid(); uid != 0 {
		groups, _ := os.Getgroups() // only refines a message
		return account{name: strconv.Itoa(uid), uid: uid, gid: os.Getgid(), groups: groups}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		if err1 == nil && err2 == nil && uid != 0 {
			return account{name: name, uid: uid, gid: gid, groups: []int{gid}, drop: true}, nil
		}
	}
	return account{}, fmt.Errorf("user postgres or nobody to run the database as: %w", coldseam.ErrNotFound)
}

func (a account) sys() *syscall.SysProcAttr {
	s := &syscall.SysProcAttr{Setpgid: true}
	if a.drop {
		s.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return s
}

// own hands path to the account; without a change of user it is ours already.
func (a account) own(path string) error {
	if !a.drop {
		return nil
	}
	return os.Chown(path, a.uid, a.gid)
}

// mayEnter reports whether the account may pass through a directory. It knows
// mode bits only: an access control list may still say otherwise, and then
// Postgres reports it itself.
func (a account) mayEnter(st os.FileInfo) bool {
	sys, ok := st.Sys().(*syscall.Stat_t)
	if !ok || a.uid == 0 {
		return true
	}
	mode := st.Mode().Perm()
	if int(sys.Uid) == a.uid {
		return mode&0o100 != 0
	}
	for _, g := range append([]int{a.gid}, a.groups...) {
		if int(sys.Gid) == g {
			return mode&0o010 != 0
		}
	}
	return mode&0o001 != 0
}

// closedParent returns the first directory on the way from / to dir, dir
// included, that the account may not enter; "" = the way is open.
func (a account) closedParent(dir string) (string, error) {
	var way []string
	for p := dir; ; p = filepath.Dir(p) {
		way = append(way, p)
		if p == filepath.Dir(p) {
			break
		}
	}
	for i := len(way) - 1; i >= 0; i-- {
		st, err := os.Stat(way[i])
		if err != nil {
			return "", fmt.Errorf("state directory: %w", err)
		}
		if !a.mayEnter(st) {
			return way[i], nil
		}
	}
	return "", nil
}

// openDir makes dir if it is not there and refuses one that the database user
// cannot reach.
func openDir(dir string, a account) (string, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}

	if strings.ContainsFunc(dir, unicode.IsControl) || !utf8.ValidString(dir) {
		return "", fmt.Errorf("state directory %q: a name that initdb cannot be told; "+
			"choose one of letters and digits: %w", dir, coldseam.ErrInvalid)
	}

	mode := os.FileMode(0o700)
	if a.drop {
		mode = 0o711 // the database user passes through, it cannot list
	}
	if err := os.MkdirAll(dir, mode); err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}

	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return "", fmt.Errorf("state directory: %w", err)
	}
	closed, err := a.closedParent(dir)
	if err != nil {
		return "", err
	}

	if closed != "" {
		return "", fmt.Errorf(
			"database user %s cannot enter %s, which is on the way to %s: choose another directory, or chmod o+x it: %w",
			a.name, closed, dir, coldseam.ErrInvalid)
	}

	return dir, nil
}

// lockDir takes the directory for this process. The lock goes with the
// process, however it ends.
func lockDir(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR|syscall.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, fmt.Errorf("lock state directory: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("%s is in use by another process, as by a service that runs already: %w", dir,
				coldseam.ErrUnavailable)
		}
		return nil, fmt.Errorf("lock %s: %w", dir, err)
	}
	return f, nil
}

// socketDir is the directory of the unix socket, 0700. The kernel allows 108
// bytes for the whole socket path, and a comma or a space means something else
// in the settings of server and clients: a state directory with such a path gets
// a private temporary one. A socket is made there to see that it can be.
func socketDir(dir string, a account) (path string, temporary bool, err error) {
	var refused []error
	for _, top := range []string{dir, os.TempDir(), "/tmp", "/run", "/var/tmp"} {
		if path, err = trySocketDir(top, top == dir, a); err == nil {
			return path, top != dir, nil
		}
		refused = append(refused, err)
	}
	return "", false, fmt.Errorf("no directory for the database's socket; "+
		"set TMPDIR to one with a short plain name that %s may enter: %w: %w",
		a.name, errors.Join(refused...), coldseam.ErrInvalid)
}

// plainPath is a path without characters that anybody splits a list at.
var plainPath = regexp.MustCompile(`^[A-Za-z0-9/._+-]+$`)

func trySocketDir(top string, own bool, a account) (path string, err error) {
	if closed, err := a.closedParent(top); err != nil || closed != "" {
		return "", errors.Join(err, fmt.Errorf("%s: %s is closed", top, closed))
	}
	path = filepath.Join(top, "run")
	if !own {
		path = filepath.Join(top, "coldseam-pg-0123456789") // as long as the name will be
	}
	if len(path) > maxSocketDir || !plainPath.MatchString(path) {
		return "", fmt.Errorf("%s: longer than %d bytes, or not plain letters", top, maxSocketDir)
	}

	if !own {
		path, err = os.MkdirTemp(top, "coldseam-pg-")
	} else if err = os.Mkdir(path, 0o700); os.IsExist(err) {
		err = nil
	}
	if err != nil {
		return "", err
	}

	test := filepath.Join(path, ".test")
	_ = os.Remove(test)
	l, err := net.Listen("unix", test)
	if err == nil {
		err = errors.Join(l.Close(), a.own(path), os.Chmod(path, 0o700))
	}
	if err != nil && !own {
		_ = os.RemoveAll(path)
	}

	return path, err
}

// maxSocketDir leaves room for "/.s.PGSQL.5432" and for the lock file beside
// it under the limit of 108 bytes.
const maxSocketDir = 90
