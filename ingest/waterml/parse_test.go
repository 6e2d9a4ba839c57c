package waterml_test

import (
	"bytes"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"example.org/coldseam/ingest/waterml"
)

func TestCases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, "testdata/v2", waterml.Parse)
}

func TestTruncatedAtEveryByte(t *testing.T) {
	t.Parallel()
	for _, c := range []string{"plain", "scalars", "domain_range", "data_array_separators", "references",
		"soap_prefixes", "forecast", "nil_forms", "implied_months"} {
		t.Run(c, func(t *testing.T) {
			t.Parallel()
			dir := "testdata/v2/" + c
			ingesttest.Truncate(t, ingesttest.Response(t, dir), ingesttest.CaseProfile(t, dir), waterml.Parse)
		})
	}
}

func FuzzParse(f *testing.F) {
	ingesttest.Seeds(f, "testdata/v2")
	f.Fuzz(func(t *testing.T, body []byte) {
		p := ingest.Profile{
			Name:         "fuzz",
			Zone:         "America/Chicago",
			RequestSite:  "X",
			Parameters:   map[string]string{"": "stage"},
			MaxBodyBytes: 1 << 20,
		}
		b, err := waterml.Parse(bytes.NewReader(body), p)
		if err != nil {
			require.Zero(t, b.Rows())
			return
		}
		ingesttest.Sound(t, b)
	})
}

// attack is a hostile document and the words of its refusal.
func TestAttacks(t *testing.T) {
	for name, c := range map[string]struct{ body, want string }{
		"entity bomb": {`<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><Collection>&b;</Collection>`, "document type declarations"},
		"external entity": {`<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><Collection>&x;</Collection>`,
			"document type declarations"},
		"undeclared entity": {`<Collection>&x;</Collection>`, "entity"},
		"deep":              {strings.Repeat("<a>", 2_000_000), "nested deeper than 64"},
		"wide attribute":    {`<Collection a="` + strings.Repeat("x", 7<<20) + `"><`, "xml:"},
		"nul":               {"<Collection>\x00</Collection>", "illegal character"},
		"bad utf-8":         {"<Collection>\xff\xfe</Collection>", "invalid UTF-8"},
		"two roots":         {"<Collection/><Collection/>", "second root"},
		"empty":             {"", "ends early"},
		"text":              {"hello", "ends early"},
		"too large":         {strings.Repeat("x", 9<<20), "larger than"},
		"unknown charset":   {`<?xml version="1.0" encoding="x-none"?><Collection/>`, "xml:"},
		"many comments":     {`<Observation><procedure>` + strings.Repeat("<!--x-->a", 800_000), "unexpected EOF"},
	} {
		t.Run(name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			b, err := waterml.Parse(strings.NewReader(c.body), ingest.Profile{Name: "x"})
			runtime.ReadMemStats(&after)
			require.ErrorContains(t, err, c.want)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.Zero(t, b.Rows())
			require.Less(t, float64(after.HeapAlloc)-float64(before.HeapAlloc), 100e6)
		})
	}
}

// A profile's encoding override wins over what the document says of itself.
func TestEncodingOverride(t *testing.T) {
	t.Parallel()
	body := bytes.Replace(ingesttest.Response(t, "testdata/v2/latin1"), []byte("ISO-8859-1"), []byte("UTF-8"), 1)
	_, err := waterml.Parse(bytes.NewReader(body), ingest.Profile{Name: "x"})
	require.ErrorContains(t, err, "invalid UTF-8")
	b, err := waterml.Parse(bytes.NewReader(body), ingest.Profile{Name: "x", EncodingOverride: "ISO-8859-1"})
	require.NoError(t, err)
	require.Equal(t, 1, b.Rows())
	b, err = waterml.Parse(bytes.NewReader(append([]byte("\xef\xbb\xbf"),
		ingesttest.Response(t, "testdata/v2/plain")...)), ingest.Profile{Name: "x"})
	require.NoError(t, err, "a byte order mark is passed over")
	require.Equal(t, 2, b.Rows())
}

// An ice qualifier on a row without a value must reach the decision.
func TestIceOnANilRowIsKept(t *testing.T) {
	t.Parallel()
	b, err := waterml.Parse(bytes.NewReader(ingesttest.Response(t, "testdata/v2/nil_forms")), ingest.Profile{Name: "x"})
	require.NoError(t, err)
	last := b.Series[0].Obs[7]
	require.NotZero(t, last.Flag&coldseam.Ice)
	require.NotZero(t, last.Flag&coldseam.Missing)
	require.Equal(t, []string{"ICE"}, last.Qualifiers)
}

// A kind in the profile overrules the guess from the result time.
func TestKindOfProfile(t *testing.T) {
	t.Parallel()
	body := ingesttest.Response(t, "testdata/v2/forecast")
	b, err := waterml.Parse(bytes.NewReader(body), ingest.Profile{Name: "x", Kind: "observation"})
	require.NoError(t, err)
	require.Empty(t, b.Forecasts)
	require.Len(t, b.Series[0].Obs, 5)
	b, err = waterml.Parse(bytes.NewReader(ingesttest.Response(t, "testdata/v2/plain")),
		ingest.Profile{Name: "x", Kind: "forecast"})
	require.NoError(t, err)
	require.Len(t, b.Forecasts, 1)
	require.True(t, b.Forecasts[0].IssuedAssumed)
}

// Mean of a civil day of 23 hours, stamped at its begin (Succ) or end (Prec).
func TestSucceedingIntervalsAreShiftedByTheCalendar(t *testing.T) {
	t.Parallel()
	b, err := waterml.Parse(bytes.NewReader(ingesttest.Response(t, "testdata/v2/statistics")),
		ingest.Profile{Name: "x", Zone: "America/Chicago"})
	require.NoError(t, err)
	require.Len(t, b.Series, 3)
	require.Equal(t, coldseam.Mean, b.Series[0].Stat)
	require.Equal(t, "2026-03-08T06:00:00Z", b.Series[0].Obs[0].At.Format(time.RFC3339))
	require.Equal(t, "2026-03-09T05:00:00Z", b.Series[0].Obs[1].At.Format(time.RFC3339), "8 March 2026 had 23 hours")
	require.InDelta(t, 5, b.Series[0].Obs[0].Value, 1e-12)
	require.Equal(t, []coldseam.Statistic{coldseam.Min, coldseam.Max}, []coldseam.Statistic{b.Series[1].Stat,
		b.Series[2].Stat})
}

// One decision an array, by its earliest row: a result time among the rows is that
// of observations, one before all of them that of a forecast.
func TestArrayIsObservedOrForecastAsAWhole(t *testing.T) {
	t.Parallel()
	body := string(ingesttest.Response(t, "testdata/v2/data_array_separators"))
	for resultTime, forecasts := range map[string]int{"2026-04-10T00:30:00Z": 0, "2026-04-09T23:00:00Z": 1} {
		stamped := strings.Replace(body, "<om:procedure",
			"<om:resultTime><gml:TimeInstant gml:id=\"t\"><gml:timePosition>"+resultTime+
				"</gml:timePosition></gml:TimeInstant></om:resultTime>\n  <om:procedure", 1)
		stamped = strings.Replace(stamped, "-999999;gap", "1300,5;ok", 1)
		b, err := waterml.Parse(strings.NewReader(stamped), ingest.Profile{Name: "x"})
		require.NoError(t, err)
		require.Len(t, b.Forecasts, forecasts, resultTime)
		require.Len(t, b.Series, 1-forecasts, resultTime)
		require.Equal(t, 2, b.Rows())
	}
}
