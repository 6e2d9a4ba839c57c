package covjson

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/ingesttest"
	"github.com/stretchr/testify/require"
)

const cases = "../../testdata/covjson"

func TestCases(t *testing.T) {
	t.Parallel()
	ingesttest.Cases(t, cases, Parse)
}

func TestTruncatedAnywhere(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"point_series", "collection_hoisted", "gridpoint"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := filepath.Join(cases, name)
			ingesttest.Truncate(t, ingesttest.Response(t, dir), ingesttest.CaseProfile(t, dir), Parse)
		})
	}
}

// A forecast that the parser reads as told and the range test refuses: the
// document says K and sends degrees Celsius.
func TestKelvinThatIsCelsius(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(cases, "kelvin_that_is_celsius")
	b, err := Parse(bytes.NewReader(ingesttest.Response(t, dir)), ingesttest.CaseProfile(t, dir))
	require.NoError(t, err)
	_, _, err = ingest.BoundForecast(b.Forecasts[0])
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// Every collected document gives the expected values or the expected refusal.
func TestRealDocuments(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(ingesttest.RealFeeds(t), "edr_covjson")
	const notCov = "want Coverage, CoverageCollection or Feature"

	for _, c := range []struct {
		file  string
		kind  string
		rows  [][]string
		refs  []string // reasons in Skipped
		wrong string   // of the range test
		level map[string]float64
		err   string
	}{
		{file: "fmi_pal_skandinavia_one_point.covjson", rows: [][]string{{"2008-08-05T09:00:00Z 14.9"}}},
		{file: "fmi_pal_skandinavia_location_874863.covjson", rows: [][]string{{"2008-08-05T09:00:00Z 14.7"}}},
		{file: "fmi_pal_skandinavia_one_point_time_interval.covjson",
			rows: [][]string{{"2008-08-05T09:00:00Z 14.9", "2008-08-05T10:00:00Z 14.5", "2008-08-05T11:00:00Z 14.7",
				"2008-08-05T12:00:00Z 14.7", "2008-08-05T13:00:00Z 14.7", "2008-08-05T14:00:00Z 14.9",
				"2008-08-05T15:00:00Z 15.2"}}},
		{file: "fmi_pal_skandinavia_multi_point.covjson", rows: [][]string{{"2008-08-05T09:00:00Z 14.9"},
			{"2008-08-05T09:00:00Z 15.7"}}},
		{file: "fmi_ecmwf_skadinavia_painepinta_one_point_multiple_levels.covjson",
			refs: []string{"axis z has 6 values: not a time series"}},
		{file: "fmi_synop_pointwise_station.covjson", kind: "observation",
			rows: [][]string{{"2008-11-29T00:00:00Z 6", "2008-11-29T01:00:00Z 6.2", "2008-11-29T02:00:00Z 6.1"}}},
		{file: "metno_position.covjson",
			refs: []string{"height z = 100000 (a pressure) is not 2 m: name it in the profile's levels"}},
		{
			file:  "metno_position.covjson",
			level: map[string]float64{"air_temp": 100000},
			rows: [][]string{{"2024-01-01T03:00:00Z -293.95", "2024-01-01T04:00:00Z -293.25",
				"2024-01-01T05:00:00Z -292.65"}},
			wrong: "is the unit right?",
		},
		{file: "fmi_metar_position.txt", err: `not JSON: begins "METAR EFHK`},
		{file: "fmi_metadata_pal_skandinavia.json", err: notCov},
		{file: "metno_collections.json", err: notCov},
		{file: "metno_instances.json", err: notCov},
		{file: "metno_landingpage.json", err: notCov},
		{file: "metno_locations.geojson", err: notCov},
	} {
		t.Run(c.file, func(t *testing.T) {
			t.Parallel()
			body, err := os.ReadFile(filepath.Join(dir, c.file))
			require.NoError(t, err)
			b, err := Parse(bytes.NewReader(body), ingest.Profile{
				Name:       "met",
				Kind:       c.kind,
				Levels:     c.level,
				Parameters: map[string]string{"Temperature": "air_temp"},
			})
			if c.err != "" {
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				require.ErrorContains(t, err, c.err)
				return
			}

			require.NoError(t, err)
			ingesttest.Sound(t, b)
			v := ingesttest.Readable(b)
			got := v.Forecasts
			if c.kind == "observation" {
				got = v.Series
			}
			require.Len(t, got, len(c.rows))

			for i := range got {
				require.Equal(t, c.rows[i], got[i].Rows)
				require.Equal(t, coldseam.AirTemp, b.Meta[i].Key.Param)
			}
			require.Len(t, b.Skipped, len(c.refs))
			for i, why := range c.refs {
				require.Equal(t, why, b.Skipped[i].Why)
			}

			for _, f := range b.Forecasts {
				require.True(t, f.IssuedAssumed)
				_, n, err := ingest.BoundForecast(f)
				if c.wrong == "" {
					require.NoError(t, err)
					require.Zero(t, n)
				} else {
					require.ErrorContains(t, err, c.wrong)
				}
			}
		})
	}
}

func FuzzParse(f *testing.F) {
	ingesttest.Seeds(f, cases)
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, p := range []ingest.Profile{{Name: "t", Statistics: map[string]string{"precip": "sum PT1H"}}, {
			Name:  "t",
			Kind:  "observation",
			Zone:  "America/Chicago",
			Units: map[string]string{"thunder_prob": "%"},
		}} {
			b, err := Parse(bytes.NewReader(body), p)
			if err != nil {
				require.ErrorIs(t, err, coldseam.ErrInvalid)
				require.Zero(t, b.Rows())
				continue
			}
			ingesttest.Sound(t, b)
		}
	})
}

// An interval of a gridpoint layer is a run of equal hours, unless the layer never
// has shorter ones or repeats a value.
func TestGridpointRunsAreNoSteps(t *testing.T) {
	t.Parallel()
	hour, half := 1, 12

	for _, row := range []struct {
		name   string
		param  coldseam.Parameter
		hours  []int
		values []float64
		want   []bool // one step
	}{
		{"a calm night among hours", coldseam.Wind, []int{hour, hour, 11, hour, hour, hour, hour, hour},
			[]float64{3, 2, 1, 2, 3, 4, 3, 2},
			[]bool{true, true, false, true, true, true, true, true}},
		{"half days", coldseam.Wind, []int{half, half, half}, []float64{3, 2, 1}, []bool{true, true, true}},
		{"hours, then half days", coldseam.Wind, []int{hour, hour, half, half, half, half, half, half},
			[]float64{3, 2, 1, 3, 2, 1, 3, 2},
			[]bool{true, true, true, true, true, true, true, true}},
		{"equal neighbours", coldseam.Wind, []int{hour, half, half, hour, hour, hour, hour},
			[]float64{3, 2, 2, 1, 3, 2, 1},
			[]bool{true, true, true, true, true, true, true}},
		{"no thunder for days", coldseam.ThunderProb, []int{96, half}, []float64{0, .4}, []bool{false, true}},
	} {
		var steps []gridStep
		at := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
		for i, h := range row.hours {
			steps = append(steps, gridStep{at, h, row.values[i]})
			at = at.Add(time.Duration(h) * time.Hour)
		}
		require.Equal(t, row.want, wholeSteps(row.param, steps), row.name)
	}
}
