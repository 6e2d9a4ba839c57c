package ingest

import (
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestParseDecimal(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, in string
		want     float64
		bad      bool
	}{
		{"plain", "2.395", 2.395, false},
		{"white space", " 8.8 ", 8.8, false},
		{"long tail", "26.89999999999999857891452847979962825775146484375", 26.9, false},
		{"zero with exponent", "0E-10", 0, false},
		{"exponent", "1.5e3", 1500, false},
		{"plus", "+41.12", 41.12, false},
		{"no whole part", ".5", .5, false},
		{"negative", "-0.1", -.1, false},
		{"NaN", "NaN", 0, true},
		{"infinity", "Inf", 0, true},
		{"hexadecimal", "0x1p4", 0, true},
		{"underscore", "1_000", 0, true},
		{"comma", "1,5", 0, true},
		{"overflow", "1e999", 0, true},
		{"empty", "", 0, true},
		{"sign alone", "-", 0, true},
		{"point alone", ".", 0, true},
		{"exponent alone", "1e", 0, true},
		{"two points", "1.2.3", 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := ParseDecimal(c.in)
			if c.bad {
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.want, got)
		})
	}
}

func TestValueMissing(t *testing.T) {
	t.Parallel()
	p := Profile{MissingTokens: []string{"n/v", "-8888.0"}}

	for _, c := range []struct {
		name, in string
		noData   []float64
		missing  bool
		want     float64
	}{
		{"null", "", nil, true, 0},
		{"missing", "missing", nil, true, 0},
		{"NaN", "NaN", nil, true, 0},
		{"sentinel", "-999999", nil, true, 0},
		{"sentinel with decimals", "-999999.0", nil, true, 0},
		{"second sentinel", "-9999", nil, true, 0},
		{"declared by the document", "-1", []float64{-1.0}, true, 0},
		{"genuine minus one", "-1", nil, false, -1},
		{"near a sentinel", "-9999.5", nil, false, -9999.5},
		{"token of the profile", "n/v", nil, true, 0},
		{"number of the profile", "-8888", nil, true, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			v, missing, err := p.Value(c.in, c.noData...)
			require.NoError(t, err)
			require.Equal(t, c.missing, missing)
			require.Equal(t, c.want, v)
		})
	}
}
