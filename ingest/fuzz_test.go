package ingest

import (
	"math"
	"testing"
	"time"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func FuzzParseTime(f *testing.F) {
	for _, s := range []string{"2026-03-20T14:00:00Z", "2026-03-20", "2026-03", "20260320", "2014-09-01-05:00",
		"2026-11-01T01:30:00", "24:00", "2026-03-20T24:00:00.5+14:00"} {
		f.Add(s)
	}
	loc, err := time.LoadLocation("America/Chicago")
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, s string) {
		for _, l := range []*time.Location{nil, loc} {
			st, err := ParseTime(s, l)
			if err != nil {
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				continue
			}
			require.False(t, st.End.Before(st.At))
			require.LessOrEqual(t, st.End.Sub(st.At), 32*24*time.Hour)
			require.Equal(t, st.Precision == ToInstant, st.End.Equal(st.At))
		}
	})
}

func FuzzParsePeriod(f *testing.F) {
	for _, s := range []string{"PT6H", "P1M", "P1Y2M3DT4H5M6.5S", "PT1H12M", "P2W"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		months, days, d, err := ParsePeriod(s)
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		require.True(t, months >= 0 && days >= 0 && d >= 0 && months <= 1200)
	})
}

func FuzzParseDecimal(f *testing.F) {
	for _, s := range []string{"1.5", " -0E-10 ", "NaN", "0x1", "1e999", "+.5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseDecimal(s)
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
	})
}

// What Go writes as RFC 3339 in any zone is read back to the same instant.
func TestParseTimeReadsRFC3339(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		off := rapid.IntRange(-14*4, 14*4).Draw(t, "quarters") * 900
		at := time.Unix(rapid.Int64Range(-3e9, 4e9).Draw(t, "s"), rapid.Int64Range(0, 999999999).Draw(t, "ns")).In(
			time.FixedZone("", off))
		st, err := ParseTime(at.Format(time.RFC3339Nano), nil)
		require.NoError(t, err)
		require.True(t, st.At.Equal(at))
	})
}

// Civil days of a zone follow one another without a hole or an overlap.
func TestCivilDaysTile(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"America/Chicago", "Asia/Beirut", "Australia/Lord_Howe", "Asia/Kathmandu",
		"America/Sao_Paulo"} {
		loc := zone(t, name)
		day := coldseam.Date{Year: 2018, Month: 1, Day: 1}
		end := time.Time{}
		for range 3 * 365 {
			st, err := ParseTime(day.String(), loc)
			require.NoError(t, err)
			if !end.IsZero() {
				require.Equal(t, end, st.At, "%s %s", name, day)
			}
			end, day = st.End, day.Add(1)
		}
	}
}
