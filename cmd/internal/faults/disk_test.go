package faults

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// smallDisk mounts a disk of its own for a test.
func smallDisk(t *testing.T, megabytes int) string {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("only root can mount a small disk")
	}
	top, err := os.MkdirTemp("", "coldseam-small")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(top, 0o711))
	dir := filepath.Join(top, "disk")
	require.NoError(t, os.Mkdir(dir, 0o711))

	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dm,mode=0711", megabytes)); err != nil {
		_ = os.RemoveAll(top)
		t.Skipf("cannot mount a small disk: %v", err)
	}
	t.Cleanup(func() {
		require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH))
		require.NoError(t, os.RemoveAll(top))
	})
	return dir
}

// fillDisk takes all the room that is left on the disk of dir.
func fillDisk(t *testing.T, dir string) (again func()) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, "ballast"), os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	require.NoError(t, err)
	t.Cleanup(func() { _ = f.Close() })
	buf := make([]byte, 4096)
	again = func() {
		for {
			if _, err := f.Write(buf); err != nil {
				require.ErrorIs(t, err, syscall.ENOSPC)
				return
			}
		}
	}
	again()
	return again
}
