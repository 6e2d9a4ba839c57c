package env

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"

	"example.org/coldseam/store/localpg"
)

func DiskSpace(path string) (free, total uint64, err error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(path, &st); err != nil {
		return 0, 0, err
	}
	return st.Bavail * uint64(st.Bsize), st.Blocks * uint64(st.Bsize), nil
}

// Existing is the nearest directory above a path that is there.
func Existing(path string) string {
	for path != "/" && path != "." && !Exists(path) {
		path = filepath.Dir(path)
	}
	return path
}

// WriteNew writes a file unless it is there, for the owner of its directory.
func WriteNew(path string, b []byte, mode os.FileMode) (bool, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
	if os.IsExist(err) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer f.Close()
	if _, err := f.Write(b); err != nil {
		return false, err
	}
	if err := errors.Join(localpg.Inherit(path), f.Sync()); err != nil {
		return false, err
	}
	return true, f.Close()
}

// WriteClosed writes a file that only its owner may read, who is the owner of its
// directory, also where one stood that others could read.
func WriteClosed(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	if st, err := f.Stat(); err == nil && st.Mode().IsRegular() { // a device stays as it is
		if err := errors.Join(f.Chmod(0o600), localpg.Inherit(path), f.Truncate(0)); err != nil {
			return err
		}
	}
	if _, err := f.Write(b); err != nil {
		return err
	}
	return f.Close()
}

// Exists reports a file or directory.
func Exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}
