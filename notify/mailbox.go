package notify

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"example.org/coldseam"
)

// Drain reads a mailbox file and empties it, holding both locks that delivery
// agents use (dot lock and fcntl). It returns how many reports were handled.
// While an agent holds the file it is ErrUnavailable; when a report cannot be
// stored the file stays whole and is read again, so Handle may see a report
// twice. A missing file is an empty one.
func (in *Inbox) Drain(ctx context.Context, path string) (reports int, err error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("mailbox %s: %w: %w", path, err, coldseam.ErrUnavailable)
	}
	defer func() { err = errors.Join(err, f.Close()) }()

	unlock, err := lockMailbox(f, path)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	reports, others, err := in.Tokens.ReadMailbox(f, func(r Report) error { return in.Handle(ctx, r) })
	if err != nil {
		return reports, err
	}

	if in.Log != nil && others > 0 {
		in.Log.Warn("mails that are no reports dropped", "n", others)
	}
	if err := f.Truncate(0); err != nil {
		return reports, fmt.Errorf("empty mailbox %s: %w", path, err)
	}
	return reports, nil
}

func lockMailbox(f *os.File, path string) (unlock func() error, err error) {
	dot, err := os.OpenFile(path+".lock", os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, fmt.Errorf("mailbox %s is locked: %w: %w", path, err, coldseam.ErrUnavailable)
	}
	unlock = func() error { return errors.Join(dot.Close(), os.Remove(path+".lock")) }
	// Closing f releases the record lock.
	if err := syscall.FcntlFlock(f.Fd(), syscall.F_SETLK, &syscall.Flock_t{Type: syscall.F_WRLCK}); err != nil {
		return nil, errors.Join(fmt.Errorf("mailbox %s is locked: %w: %w", path, err, coldseam.ErrUnavailable),
			unlock())
	}
	return unlock, nil
}
