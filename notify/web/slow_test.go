package web

import (
	"context"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestSlowClients opens 200 connections that never finish their header: honest
// readers are served all the while, and the slow ones are cut off.
func TestSlowClients(t *testing.T) {
	t.Parallel()
	srv := Server("", testHandler(t, newMemory()))
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { _ = srv.Serve(l) }()

	t.Cleanup(func() { _ = srv.Close() })
	var slow []net.Conn
	for range 200 {
		c, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		_, err = c.Write([]byte("GET / HTTP/1.1\r\nHost: club.example\r\nX-Slow: "))
		require.NoError(t, err)
		slow = append(slow, c)
	}

	client := http.Client{Timeout: 4 * time.Second}
	for range 20 {
		resp, err := client.Get("http://" + l.Addr().String() + "/how")
		require.NoError(t, err)
		_, err = io.Copy(io.Discard, resp.Body)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, 200, resp.StatusCode)
	}

	for _, c := range slow {
		require.NoError(t, c.SetReadDeadline(time.Now().Add(15*time.Second)))
		_, err := io.Copy(io.Discard, c) // an answer or nothing, then the end
		require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "cut off by the server, not by the test")
		_ = c.Close()
	}
	require.NoError(t, srv.Shutdown(context.Background()))
}

// TestSoakEnumeration times 1,000 sign-ups of known and of unknown addresses:
// their medians differ by less than 5 %.
func TestSoakEnumeration(t *testing.T) {
	if os.Getenv("COLDSEAM_SOAK") == "" {
		t.Skip("COLDSEAM_SOAK is not set: timing of sign-ups skipped")
	}
	m := newMemory()
	cfg := testConfig(m)
	cfg.SignUpFloor = 10 * time.Millisecond
	cfg.Limits.SignUpsPerHour, cfg.Limits.SignUpsAllHour = 1e6, 1e6
	h, err := New(cfg)
	require.NoError(t, err)

	var took [2][]float64
	for i := range 1000 {
		for k, e := range []string{"ann@example.org", fmt.Sprintf("new%d@example.org", i)} {
			begun := time.Now()
			require.Equal(t, 200, post(h, "/signup", signUpValues(e)).Code)
			took[k] = append(took[k], time.Since(begun).Seconds())
		}
	}

	sort.Float64s(took[0])
	sort.Float64s(took[1])
	known, unknown := took[0][500], took[1][500]
	t.Logf("known %.2f ms, unknown %.2f ms", known*1e3, unknown*1e3)
	require.Less(t, math.Abs(known/unknown-1), .05)
}
