package main

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

func smtpDial(addr string) (net.Conn, error) { return net.Dial("tcp", addr) }

// do runs one job as its worker would.
func (v *town) do(ctx context.Context, t *testing.T, kind, raw string) {
	t.Helper()
	switch kind {
	case "fetch":
		var a store.FetchArgs
		require.NoError(t, json.Unmarshal([]byte(raw), &a))
		require.NoError(t, v.fetchJob(ctx, a))
	case "brief":
		var a store.BriefArgs
		require.NoError(t, json.Unmarshal([]byte(raw), &a))
		require.NoError(t, v.briefJob(ctx, a))
	case "mail":
		if _, err := v.sender("job").Run(ctx, 50); !errors.Is(err, coldseam.ErrUnavailable) {
			require.NoError(t, err)
		}
	}
}
