package chart

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/sample"
)

// keep writes a picture for looking at when COLDSEAM_KEEP names a folder.
func keep(t *testing.T, name string, b []byte) {
	t.Helper()
	dir := os.Getenv("COLDSEAM_KEEP")
	if dir == "" {
		return
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), b, 0o644))
}

func TestMailPNG(t *testing.T) {
	t.Parallel()
	for _, b := range sample.All() {
		for _, units := range []string{"us", "metric"} {
			t.Run(b.Verdict.String()+" "+units, func(t *testing.T) {
				t.Parallel()
				got, err := MailPNG(b, units)
				if b.Verdict == coldseam.NoCall {
					require.ErrorIs(t, err, coldseam.ErrNotFound)
					return
				}
				require.NoError(t, err)
				require.LessOrEqual(t, len(got), 20<<10)
				t.Log(len(got), "bytes")
				keep(t, "mail-"+b.Verdict.String()+"-"+units+".png", got)
				img, err := png.Decode(bytes.NewReader(got))
				require.NoError(t, err)
				require.Equal(t, MailWidth, img.Bounds().Dx())
				pal, ok := img.(*image.Paletted)
				require.True(t, ok, "an indexed picture")
				require.LessOrEqual(t, len(pal.Palette), 32)
				again, err := MailPNG(b, units)
				require.NoError(t, err)
				require.Equal(t, got, again, "the same brief gives the same bytes")
			})
		}
	}
}
