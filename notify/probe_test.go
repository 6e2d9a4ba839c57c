package notify

import (
	"crypto/tls"
	"crypto/x509"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/smtptest"
)

// The probe goes the way of a send and names the stage that fails; no mail is
// ever left behind.
func TestProbe(t *testing.T) {
	t.Parallel()
	good, pool := certificate(t, "127.0.0.1")

	for _, c := range []struct {
		name       string
		conf       smtptest.Config
		mode       string
		pool       *x509.CertPool
		user, pass string
		class      error
		text       string
	}{
		{name: "plain on loopback", mode: "none"},
		{
			name: "TLS and login",
			conf: smtptest.Config{TLS: &tls.Config{Certificates: []tls.Certificate{good}}, User: "club", Pass: "secret"},
			mode: "starttls",
			pool: pool,
			user: "club",
			pass: "secret",
		},
		{
			name:  "wrong password",
			conf:  smtptest.Config{TLS: &tls.Config{Certificates: []tls.Certificate{good}}, User: "club", Pass: "secret"},
			mode:  "starttls",
			pool:  pool,
			user:  "club",
			pass:  "guess",
			class: coldseam.ErrRejected,
			text:  "stage hello",
		},
		{
			name:  "unknown certificate",
			conf:  smtptest.Config{TLS: &tls.Config{Certificates: []tls.Certificate{good}}},
			mode:  "starttls",
			class: coldseam.ErrRejected,
			text:  "certificate",
		},
		{name: "no TLS offered", mode: "starttls", pool: pool, text: "STARTTLS", class: coldseam.ErrRejected},
		{
			name:  "busy",
			conf:  smtptest.Config{Script: smtptest.At("greet", 1, smtptest.Reply(421, "4.3.2", "busy"))},
			mode:  "none",
			text:  "421",
			class: coldseam.ErrUnavailable,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s, err := smtptest.Start(c.conf)
			require.NoError(t, err)
			defer s.Close()
			r := Relay{
				Addr:     s.Addr(),
				TLS:      c.mode,
				User:     c.user,
				Password: c.pass,
				TLSConf:  &tls.Config{RootCAs: c.pool, MinVersion: tls.VersionTLS12},
				Command:  5 * time.Second,
			}
			err = r.Probe(t.Context())
			require.Zero(t, s.Count())
			if c.text == "" {
				require.NoError(t, err)
				return
			}

			require.ErrorContains(t, err, c.text)
			require.NotContains(t, err.Error(), "guess")
			require.ErrorIs(t, err, c.class)
		})
	}

	require.ErrorIs(t, Relay{Addr: "127.0.0.1:1", TLS: "none"}.Probe(t.Context()), coldseam.ErrUnavailable)
	require.ErrorIs(t, Relay{Addr: "mail.example.org:25", TLS: "none"}.Probe(t.Context()), coldseam.ErrInvalid)
	require.True(t, Relay{Addr: "127.0.0.1:25"}.Loopback())
	require.False(t, Relay{Addr: "mail.example.org:25"}.Loopback())
}
