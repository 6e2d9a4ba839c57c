package chart

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
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

	for _, b := range brieftest.All() {
		for _, units := range []string{"us", "metric"} {
			t.Run(b.Verdict.String()+" "+units, func(t *testing.T) {
				t.Parallel()
				got, err := MailPNG(b, units)
				if b.Verdict == coldseam.NoCall {
					require.ErrorIs(t, err, coldseam.ErrNotFound)
					return
				}

				require.NoError(t, err)
				require.LessOrEqual(t, len(got), mailMost)
				t.Log(len(got), "bytes")
				keep(t, "mail-"+b.Verdict.String()+"-"+units+".png", got)
				img, err := png.Decode(bytes.NewReader(got))
				require.NoError(t, err)
				require.Equal(t, MailWidth, img.Bounds().Dx())

				pal, ok := img.(*image.Paletted)
				require.True(t, ok, "an indexed picture")
				require.LessOrEqual(t, len(pal.Palette), 16, "half a byte a pixel")
				require.LessOrEqual(t, len(got), 13<<10, "an ordinary river")
				if b.Verdict != coldseam.Stop {
					return
				}
				again, err := MailPNG(b, units)
				require.NoError(t, err)
				require.Equal(t, got, again, "the same brief gives the same bytes")
			})
		}
	}
}

// TestRestlessRiverStillFits: an hourly fan that jumps at every step, more than
// any river does, keeps the limit of the mail.
func TestRestlessRiverStillFits(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Chart.Valid, b.Chart.FlowFan, b.Chart.TempFan = nil, nil, nil
	for h := 1; h <= 100; h++ {
		b.Chart.Valid = append(b.Chart.Valid, brieftest.Issued.Add(time.Duration(h)*time.Hour))
		j := float64(h * 7919 % 97)
		b.Chart.FlowFan = append(b.Chart.FlowFan, [5]float64{60 - j/9, 64 - j/13, 68 + j/20, 72 + j/11, 76 + j/5})
		b.Chart.TempFan = append(b.Chart.TempFan, [5]float64{2 - j/90, 2.5, 3 + j/80, 4 + j/60, 5 + j/40})
	}
	got, err := MailPNG(b, "us")
	require.NoError(t, err)
	t.Log(len(got), "bytes")
	keep(t, "mail-restless.png", got)
	require.LessOrEqual(t, len(got), mailMost)
}

func TestMailWord(t *testing.T) {
	t.Parallel()
	for in, want := range map[string][]string{"ease": {"ease"}, "drop-back": {"drop-", "back"},
		"a long word": {"a lon."}, "x-somethinglong": {"x-som."}} {
		require.Equal(t, want, mailWord(in))
	}
}

// TestLimitAnywhere draws the limit above, below, and inside the fan.
func TestLimitAnywhere(t *testing.T) {
	t.Parallel()
	for _, m3s := range []float64{90, 120, 150, 180, 240, 330} {
		b := brieftest.Stop()
		b.Chart.FlowLimitM3S = m3s
		got, err := MailPNG(b, "us")
		require.NoError(t, err)
		keep(t, fmt.Sprintf("limit-%g.png", m3s), got)
		require.LessOrEqual(t, len(got), mailMost)
	}
}
