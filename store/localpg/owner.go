package localpg

import (
	"os"
	"path/filepath"
	"syscall"
)

// Inherit gives what root has just made the owner of the directory that it is in:
// the user of a service has to read what root puts into the service's state
// directory. Whoever is not root owns what he makes.
func Inherit(path string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	st, err := os.Stat(filepath.Dir(path))
	if err != nil {
		return err
	}
	if own, ok := st.Sys().(*syscall.Stat_t); ok {
		return os.Lchown(path, int(own.Uid), int(own.Gid))
	}
	return nil
}

// MakeDir makes a directory and those above it, each with the owner of the one
// above.
func MakeDir(path string, mode os.FileMode) error {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		return nil
	}
	if err := MakeDir(filepath.Dir(path), mode); err != nil {
		return err
	}
	err := os.Mkdir(path, mode)
	switch {
	case os.IsExist(err): // another process made it meanwhile
		return nil
	case err != nil:
		return err
	}
	return Inherit(path)
}
