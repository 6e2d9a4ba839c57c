package ingest

import (
	"testing"
	"time"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

func TestParseTime(t *testing.T) {
	t.Parallel()
	chicago := zone(t, "America/Chicago")
	utc := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339Nano, s)
		require.NoError(t, err)
		return v.UTC()
	}

	for _, c := range []struct {
		name, in string
		loc      *time.Location
		at, end  string // end "" = at
		amb      bool
	}{
		{"Z", "2026-03-20T14:00:00Z", nil, "2026-03-20T14:00:00Z", "", false},
		{"offset", "2026-08-07T18:45:00+00:00", nil, "2026-08-07T18:45:00Z", "", false},
		{"nine decimals", "2026-03-20T14:00:00.123456789-06:00", nil, "2026-03-20T20:00:00.123456789Z", "", false},
		{"ms and +10", "2010-01-01T09:00:00.000+10:00", nil, "2009-12-31T23:00:00Z", "", false},
		{"minus zero", "2026-03-20T14:00:00-00:00", nil, "2026-03-20T14:00:00Z", "", false},
		{"minutes only", "2026-03-20T14:00Z", nil, "2026-03-20T14:00:00Z", "", false},
		{"offset without colon", "2026-03-20T14:00:00-0530", nil, "2026-03-20T19:30:00Z", "", false},
		{"space for T", "2026-03-20 14:00:00+01", nil, "2026-03-20T13:00:00Z", "", false},
		{"end of day", "2026-03-20T24:00:00Z", nil, "2026-03-21T00:00:00Z", "", false},
		{"zone-less", "2026-03-20T08:00:00", chicago, "2026-03-20T13:00:00Z", "", false},
		{"compact date", "20260320", chicago, "2026-03-20T05:00:00Z", "2026-03-21T05:00:00Z", false},
		{"day", "2026-03-20", chicago, "2026-03-20T05:00:00Z", "2026-03-21T05:00:00Z", false},
		{"day of 23 h", "2026-03-08", chicago, "2026-03-08T06:00:00Z", "2026-03-09T05:00:00Z", false},
		{"day of 25 h", "2026-11-01", chicago, "2026-11-01T05:00:00Z", "2026-11-02T06:00:00Z", false},
		{"day with zone", "2014-09-01-05:00", nil, "2014-09-01T05:00:00Z", "2014-09-02T05:00:00Z", false},
		{"month", "2026-02", chicago, "2026-02-01T06:00:00Z", "2026-03-01T06:00:00Z", false},
		{"hour that comes twice", "2026-11-01T01:30:00", chicago, "2026-11-01T06:30:00Z", "", true},
		{"just before it", "2026-11-01T00:59:59", chicago, "2026-11-01T05:59:59Z", "", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			st, err := ParseTime(c.in, c.loc)
			require.NoError(t, err)
			require.Equal(t, utc(c.at), st.At)
			if c.end == "" {
				c.end = c.at
			}
			require.Equal(t, utc(c.end), st.End)
			require.Equal(t, c.amb, st.Ambiguous)
		})
	}

	for _, c := range []struct {
		name, in string
		loc      *time.Location
		want     string
	}{
		{"zone-less without zone", "2026-03-20T08:00:00", nil, "no zone"},
		{"date without zone", "2026-03-20", nil, "no zone"},
		{"skipped hour", "2026-03-08T02:30:00", chicago, "does not exist"},
		{"month 13", "2026-13-01", chicago, "want RFC 3339"},
		{"30 February", "2026-02-30T00:00:00Z", nil, "want RFC 3339"},
		{"unix seconds", "1774000000", nil, "want RFC 3339"},
		{"offset of 99 h", "2026-03-20T14:00:00+99:00", nil, "want RFC 3339"},
		{"empty", "", nil, "want RFC 3339"},
		{"T alone", "2026-03-20T", nil, "want RFC 3339"},
		{"month with clock", "2026-03T10:00Z", nil, "want RFC 3339"},
		{"no digits after the point", "2026-03-20T14:00:00.Z", nil, "want RFC 3339"},
	} {
		t.Run("refuse "+c.name, func(t *testing.T) {
			t.Parallel()
			_, err := ParseTime(c.in, c.loc)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}

func TestParsePeriod(t *testing.T) {
	t.Parallel()
	for in, want := range map[string][3]any{
		"PT6H": {0, 0, 6 * time.Hour}, "PT1M": {0, 0, time.Minute}, "P1M": {1, 0, time.Duration(0)},
		"P1Y2M3DT4H5M6.5S": {14, 3, 4*time.Hour + 5*time.Minute + 6500*time.Millisecond},
		"P2W":              {0, 14, time.Duration(0)}, "PT1H12M": {0, 0, 72 * time.Minute},
	} {
		m, d, rest, err := ParsePeriod(in)
		require.NoError(t, err, in)
		require.Equal(t, want, [3]any{m, d, rest}, in)
	}
	for _, in := range []string{"", "P", "PT", "1D", "P1H", "PT1D", "P-1D", "PT1.5H", "P1", "PTT1H", "PT99999999999H"} {
		_, _, _, err := ParsePeriod(in)
		require.ErrorIs(t, err, coldseam.ErrInvalid, in)
	}
}
