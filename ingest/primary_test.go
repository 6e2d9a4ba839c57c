package ingest

import (
	"testing"
	"time"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestChoosePrimary(t *testing.T) {
	t.Parallel()
	m := func(ref string, primary bool, sub string, last int, stat coldseam.Statistic, period, comp string) SeriesMeta {
		return SeriesMeta{Key: coldseam.SeriesKey{Site: "ng:NG-0101", Param: coldseam.Discharge, Stat: stat, Period: period, SeriesRef: ref},
			Primary: primary, Sublocation: sub, Last: t0.AddDate(0, 0, last), Computation: comp}
	}
	const i, mean = coldseam.Instant, coldseam.Mean
	for _, c := range []struct {
		name  string
		meta  []SeriesMeta
		want  []string
		notes int
	}{
		{"primary before newest", []SeriesMeta{m("a", false, "", 9, i, "", "Instantaneous"), m("b", true, "", 0, i, "", "Instantaneous")}, []string{"b"}, 0},
		{"gauge before sublocation", []SeriesMeta{m("a", true, "left bank", 9, i, "", "Instantaneous"), m("b", true, "", 0, i, "", "Instantaneous")}, []string{"b"}, 0},
		{"newest of equals", []SeriesMeta{m("a", true, "", 1, i, "", "Instantaneous"), m("b", true, "", 2, i, "", "Instantaneous")}, []string{"b"}, 0},
		{"tie is named, the choice stable", []SeriesMeta{m("b", true, "", 1, i, "", "Instantaneous"), m("a", true, "", 1, i, "", "Instantaneous")}, []string{"a"}, 1},
		{"one for each statistic", []SeriesMeta{m("a", true, "", 1, i, "", "Instantaneous"), m("d", true, "", 1, mean, "P1D", "Mean")}, []string{"a", "d"}, 0},
		{"rows are no metadata", []SeriesMeta{m("a", true, "", 1, i, "", "")}, nil, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, passed, notes := ChoosePrimary(c.meta)
			require.Equal(t, c.want, got["NG-0101"])
			listed := 0
			for _, m := range c.meta {
				if m.Computation != "" {
					listed++
				}
			}
			require.Len(t, passed["NG-0101"], listed-len(c.want), "every other series is passed over")
			require.Len(t, notes, c.notes)
		})
	}
}

func TestApplyRating(t *testing.T) {
	t.Parallel()
	r := coldseam.Rating{Site: "t:1", From: t0, To: t0.Add(10 * time.Hour), StageM: []float64{1, 2, 4}, Discharge: []float64{10, 40, 160}}
	s := series(coldseam.Stage, time.Hour, 1, 2, 3, 4, 5, 2)
	s.SeriesRef = "a1"
	s.Obs[5].Flag, s.Obs[5].Value = coldseam.Missing|coldseam.Ice, 0
	s.Obs = append(s.Obs, coldseam.Observation{At: t0.Add(11 * time.Hour), Value: 2})
	q, err := ApplyRating(s, r)
	require.NoError(t, err)
	require.Equal(t, coldseam.Discharge, q.Param)
	require.Equal(t, "rating/a1", q.SeriesRef)
	require.Len(t, q.Obs, 6, "the last stage lies after the validity")
	// log-log line through (1,10), (2,40), (4,160): Q = 10 h^2.
	for i, want := range []float64{10, 40, 90, 160, 250} {
		require.InDelta(t, want, q.Obs[i].Value, 1e-9)
		require.NotZero(t, q.Obs[i].Flag&coldseam.Estimated)
		require.Equal(t, i == 4, q.Obs[i].Flag&coldseam.QCRange != 0, "only the stage above the table is marked")
	}
	require.Equal(t, coldseam.Missing|coldseam.Ice|coldseam.Estimated, q.Obs[5].Flag)

	_, err = ApplyRating(series(coldseam.WaterTemp, time.Hour, 4), r)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = ApplyRating(s, coldseam.Rating{StageM: []float64{1, 1}, Discharge: []float64{1, 2}})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestPlaceAt(t *testing.T) {
	t.Parallel()
	p := Profile{Places: map[string]Place{"bend": {Lat: 45.2, Lon: -89}, "ford": {Lat: 44, Lon: -89}}}
	for _, c := range []struct {
		name       string
		lat, lon   float64
		site       string
		code, note string
	}{
		{"near", 45.201, -89, "", "bend", ""},
		{"a few km off", 45.23, -89, "", "bend", "bend: the document lies 3.3 km from the configured place"},
		{"none near", 46, -89, "", "46.0000,-89.0000", ""},
		{"swapped", -89, 45.2, "", "bend", "bend: latitude and longitude of the document are swapped"},
		{"asked for, whatever the document says", 40, -89, "ford", "ford", "ford: the document lies 444.8 km from the configured place"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := p
			p.RequestSite = c.site
			code, note := p.PlaceAt(c.lat, c.lon, 10)
			require.Equal(t, c.code, code)
			require.Equal(t, c.note, note)
		})
	}
}
