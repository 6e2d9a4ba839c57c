package democlub

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/ingest/simagency"
)

// What the demo leaves behind is the configuration that it ran with.
func TestFileIsTheRunningConfiguration(t *testing.T) {
	profiles := simagency.Profiles("http://127.0.0.1:1")
	want, err := config.Parse("demo.toml", TOML+Cold, profiles...)
	require.NoError(t, err)

	text, err := File("/srv/demo", "127.0.0.1:2", "127.0.0.1:3", profiles)
	require.NoError(t, err)
	got, err := config.Parse("coldseam.toml", text)
	require.NoError(t, err)
	require.Equal(t, want.Profiles, got.Profiles)
	require.Equal(t, want.Reaches, got.Reaches)
	require.Equal(t, "/srv/demo", got.StateDir)
	require.Equal(t, "127.0.0.1:3", got.Mail.SMTP)
}
