package ingest

import (
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestChoosePrimary(t *testing.T) {
	t.Parallel()
	m := func(ref string, primary bool, sub string, last int, stat coldseam.Statistic, period, comp string) SeriesMeta {
		return SeriesMeta{
			Key: coldseam.SeriesKey{Site: "ng:NG-0101", Param: coldseam.Discharge, Stat: stat, Period: period,
				SeriesRef: ref},
			Primary:     primary,
			Sublocation: sub,
			Last:        t0.AddDate(0, 0, last),
			Computation: comp,
		}
	}
	const i, mean = coldseam.Instant, coldseam.Mean

	for _, c := range []struct {
		name  string
		meta  []SeriesMeta
		want  []string
		notes int
	}{
		{"primary before newest", []SeriesMeta{m("a", false, "", 9, i, "", "Instantaneous"),
			m("b", true, "", 0, i, "", "Instantaneous")}, []string{"b"}, 0},
		{"gauge before sublocation", []SeriesMeta{m("a", true, "left bank", 9, i, "", "Instantaneous"),
			m("b", true, "", 0, i, "", "Instantaneous")}, []string{"b"}, 0},
		{"newest of equals", []SeriesMeta{m("a", true, "", 1, i, "", "Instantaneous"),
			m("b", true, "", 2, i, "", "Instantaneous")}, []string{"b"}, 0},
		{"tie is named, the choice stable", []SeriesMeta{m("b", true, "", 1, i, "", "Instantaneous"),
			m("a", true, "", 1, i, "", "Instantaneous")}, []string{"a"}, 1},
		{"one for each statistic", []SeriesMeta{m("a", true, "", 1, i, "", "Instantaneous"),
			m("d", true, "", 1, mean, "P1D", "Mean")}, []string{"a", "d"}, 0},
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
		{"asked for, whatever the document says", 40, -89, "ford", "ford",
			"ford: the document lies 444.8 km from the configured place"},
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
