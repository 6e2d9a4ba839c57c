package covjson

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// layers of a gridpoint forecast and what we take of them [from memory; the
// service was not called].
var layers = []struct {
	name  string
	param coldseam.Parameter
}{
	{"temperature", coldseam.AirTemp},
	{"windSpeed", coldseam.Wind},
	{"windGust", coldseam.Gust},
	{"windDirection", coldseam.WindFrom},
	{"quantitativePrecipitation", coldseam.Precip},
	{"probabilityOfThunder", coldseam.ThunderProb},
	{"visibility", coldseam.Visibility},
}

type layer struct {
	Unit   string `json:"uom"`
	Values []struct {
		Valid string       `json:"validTime"`
		Value *json.Number `json:"value"`
	} `json:"values"`
}

// gridpoint reads the layers of a gridpoint forecast as hourly steps. A point
// record has no layers but the address of the forecast, which becomes Next.
func gridpoint(p ingest.Profile, d document) (ingest.Batch, error) {
	text := func(k string) string {
		var s string
		_ = json.Unmarshal(d.Properties[k], &s) // absent or no text = ""
		return s
	}
	if next := text("forecastGridData"); next != "" {
		return ingest.Batch{Format: ingest.FormatGridpoint, Next: next}, nil
	}

	updated := text("updateTime")
	if updated == "" {
		return ingest.Batch{}, fmt.Errorf("gridpoint: a Feature without updateTime: %w", coldseam.ErrInvalid)
	}
	issued, err := ingest.ParseTime(updated, nil)
	if err != nil {
		return ingest.Batch{}, fmt.Errorf("gridpoint: updateTime: %w", err)
	}

	g := newGather(p)
	site := g.cell(d)
	for _, l := range layers {
		raw, ok := d.Properties[l.name]
		if !ok {
			continue
		}
		if err := g.layer(site, l.name, l.param, raw, issued.At); err != nil {
			g.rows.Skip("layer "+l.name, ingest.CodeOf(err), err.Error())
		}
	}

	if len(g.out.Forecasts) == 0 && len(g.rows.Skipped()) == 0 {
		return ingest.Batch{}, fmt.Errorf("gridpoint: no layer of a known name: %w", coldseam.ErrInvalid)
	}
	return g.batch(ingest.FormatGridpoint)
}

// cell names the place by the middle of the grid cell, or by the grid's own
// name where no place is configured near.
func (g *gather) cell(d document) string {
	var geo struct {
		Coordinates [][][]float64 `json:"coordinates"`
	}

	if json.Unmarshal(d.Geometry, &geo) == nil && len(geo.Coordinates) > 0 && len(geo.Coordinates[0]) > 3 {
		ring := geo.Coordinates[0][:len(geo.Coordinates[0])-1]
		lat, lon := 0., 0.
		for _, c := range ring {
			if len(c) < 2 {
				return g.p.RequestSite
			}
			lon += c[0] / float64(len(ring))
			lat += c[1] / float64(len(ring))
		}

		// A cell is 2.5 km wide, so its middle may lie 2 km from the place: no note.
		code, _ := g.p.PlaceAt(lat, lon, maxPlaceKM)
		note := ""
		if pl, ok := g.p.Places[code]; ok {
			if km := ingest.DistanceKM(lat, lon, pl.Lat, pl.Lon); km > 2*ingest.FarKM {
				note = fmt.Sprintf("%s: the grid cell lies %.1f km from the configured place", code, km)
			}
		}

		g.site(code, lat, lon, note)
		return code
	}

	if g.p.RequestSite != "" {
		return g.p.RequestSite
	}
	return strings.Trim(string(d.Properties["gridId"]), `"`) + "/" + string(d.Properties["gridX"]) + "," +
		string(d.Properties["gridY"])
}

// layer expands the intervals of one layer into hours; those of a step keep it as
// what they stand for. A state holds through
// its interval; rain is spread evenly over it, which makes the series uniform
// but blurs the start of a shower inside an interval of several hours.
func (g *gather) layer(site, name string, q coldseam.Parameter, raw json.RawMessage, issued time.Time) error {
	var l layer
	if err := ingest.DecodeJSON(raw, &l); err != nil {
		return err
	}
	conv, from, err := g.p.Unit(q, l.Unit)
	if err != nil {
		return err
	}

	f := coldseam.Forecast{
		Site:     g.p.SiteID(site),
		Param:    q,
		Stat:     coldseam.Instant,
		Provider: g.p.Provider,
		Issued:   issued,
	}
	if q == coldseam.Precip {
		f.Stat, f.Period = coldseam.Sum, "PT1H"
	}
	m := ingest.SeriesMeta{
		Key: coldseam.SeriesKey{Site: f.Site, Param: q, Stat: f.Stat, Period: f.Period, Provider: f.Provider,
			SeriesRef: name},
		Name:     name,
		Unit:     l.Unit,
		UnitFrom: from,
		SI:       q.Unit(),
		Points:   len(l.Values),
	}
	var steps []gridStep

	for _, v := range l.Values {
		if v.Value == nil {
			m.Missing++
			continue
		}
		x, missing, err := g.p.Value(v.Value.String())
		if err != nil {
			return err
		}

		if missing {
			m.Missing++
			continue
		}

		start, hours, err := interval(v.Valid)
		if err != nil {
			return err
		}
		if start.Year() < 2 {
			return ingest.Because(ingest.CodeTime, errors.New("no time, written as year 1"))
		}
		if n := len(steps); n > 0 && start.Before(steps[n-1].end()) {
			return fmt.Errorf("interval %q overlaps the one before", clip(v.Valid))
		}
		steps = append(steps, gridStep{start, hours, conv.Apply(x)})
	}

	whole := wholeSteps(q, steps)
	for i, st := range steps {
		if len(f.At)+st.hours > maxSteps {
			return fmt.Errorf("more than %d hours", maxSteps)
		}

		for h := range st.hours {
			t, si := st.start.Add(time.Duration(h)*time.Hour), st.value
			span := [2]time.Time{t, t.Add(time.Hour)}
			if whole[i] {
				span = [2]time.Time{st.start, st.end()}
			}
			if q == coldseam.Precip {
				t, si = t.Add(time.Hour), si/float64(st.hours)
			}
			f.At, f.Value, f.Span = append(f.At, t), append(f.Value, si), append(f.Span, span)
		}
	}

	if len(f.At) > 0 {
		m.First, m.Last = f.At[0], f.At[len(f.At)-1]
		g.out.Forecasts = append(g.out.Forecasts, f)
	}
	g.out.Meta = append(g.out.Meta, m)
	return nil
}

type gridStep struct {
	start time.Time
	hours int
	value float64
}

func (s gridStep) end() time.Time { return s.start.Add(time.Duration(s.hours) * time.Hour) }

// wholeSteps reports which intervals are one step of the forecast. The others are
// runs of shorter steps with one value: the service joins equal neighbours, as
// none of the 50 to 150 intervals of a layer repeats the one before, up to 11 h
// long [source: a gridpoint document of 2022]. A layer that does repeat one is not
// joined. No thunder in a long interval is none in its hours.
func wholeSteps(q coldseam.Parameter, steps []gridStep) []bool {
	lengths := make([]time.Duration, len(steps))
	joined := true
	for i, s := range steps {
		lengths[i] = time.Duration(s.hours) * time.Hour
		if i > 0 && s.start.Equal(steps[i-1].end()) && s.value == steps[i-1].value {
			joined = false
		}
	}
	own := coldseam.OwnSteps(lengths)
	out := make([]bool, len(steps))

	for i, s := range steps {
		none := joined && q == coldseam.ThunderProb && s.value == 0
		out[i] = !none && (!joined || own[i] == lengths[i] || own[i] > coldseam.CoarseStep)
	}
	return out
}

// interval reads "2026-03-20T06:00:00+00:00/PT3H" in whole hours.
func interval(s string) (time.Time, int, error) {
	a, b, ok := strings.Cut(s, "/")
	if !ok {
		return time.Time{}, 0, fmt.Errorf("validTime %q: want start/period", clip(s))
	}
	st, err := ingest.ParseTime(a, nil)
	if err != nil {
		return time.Time{}, 0, err
	}
	months, days, d, err := ingest.ParsePeriod(b)
	if err != nil {
		return time.Time{}, 0, err
	}
	d += time.Duration(days) * 24 * time.Hour
	if months != 0 || d < time.Hour || d%time.Hour != 0 || d > 31*24*time.Hour {
		return time.Time{}, 0, fmt.Errorf("validTime %q: want 1 to 744 whole hours", clip(s))
	}
	return st.At, int(d / time.Hour), nil
}
