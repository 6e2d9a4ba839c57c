package notify

import (
	"context"
	"fmt"

	"example.org/coldseam"
)

// Probe opens a conversation with the relay the way a send does: greeting,
// TLS, login; then it says goodbye without a mail. The error names the stage
// that failed; ErrUnavailable when nobody answers, ErrInvalid for a relay that
// would carry mail in the clear, ErrRejected when the login is refused.
func (r Relay) Probe(ctx context.Context) error {
	if err := r.Check(); err != nil {
		return err
	}
	rc, stage, err := r.dial(ctx)
	if err != nil {
		class := coldseam.ErrUnavailable
		if o := Classify(stage, err); o.Code >= 500 || insecure(err) {
			class = coldseam.ErrRejected
		}
		return fmt.Errorf("relay %s, stage %s: %s: %w", r.Addr, stage, replyText(err), class)
	}
	rc.close()
	return nil
}

// Loopback reports whether the relay runs on this machine.
func (r Relay) Loopback() bool { return r.loopback() }
