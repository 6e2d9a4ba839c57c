package coldseam

import "errors"

// The error classes. Wrap one of them with the operation and the ids, once per
// boundary; callers decide with errors.Is.
var (
	ErrNotFound    = errors.New("not found")
	ErrInvalid     = errors.New("invalid")     // the input is wrong; retrying the same input is useless
	ErrStale       = errors.New("stale")       // the newest value is older than its greatest age
	ErrUnavailable = errors.New("unavailable") // try again later
	ErrRejected    = errors.New("rejected")    // refused for good; never retry
)
