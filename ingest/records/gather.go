package records

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// floodLevel reads one flood stage or flow; one that is missing is none.
func (d *doc) floodLevel(i int, chain []any) error {
	x, key := d.m.FloodLevels[i], fmt.Sprintf("flood_levels[%d].", i)
	var texts [4]string
	for n, c := range []*place{d.m.at[key+"value"], d.m.at[key+"unit"], d.m.at[key+"gauge"], d.m.at["site"]} {
		f, err := c.at(chain, d.asked)
		if err != nil {
			return err
		}
		texts[n] = f.text
	}
	v, missing, err := d.p.Value(texts[0])
	if err != nil || missing {
		return err
	}
	param := coldseam.Parameter(x.Parameter)
	conv, _, err := d.p.Unit(param, texts[1])
	if err != nil {
		return err
	}
	if texts[3] == "" {
		return ingest.Because(ingest.CodeStation, errNoSite)
	}
	d.limits = append(d.limits, coldseam.FloodLevel{Site: d.p.SiteID(texts[3]), Kind: x.Kind, Param: param,
		Value: conv.Apply(v), Gauge: texts[2]})
	return nil
}

// span moves the stamp of a period to its end.
func (d *doc) span(row *ingest.Row, stamp, site string) error {
	period := row.Key.Period
	if row.Key.Stat == "" {
		stat, p, err := d.p.Stat(row.Key.Param)
		if err != nil {
			return err
		}
		if row.Key.Stat = stat; period == "" {
			period = p
		}
	}
	if row.Key.Stat == coldseam.Instant {
		row.Key.Period, period = "", ""
	}
	if row.Key.Stat == "" || period == "" || row.Stamp.Precision != ingest.ToInstant {
		return nil
	}

	row.Key.Period = period
	months, days, rest, err := ingest.ParsePeriod(period)
	if err != nil {
		return err
	}
	loc, err := d.p.Location(site)
	if err != nil {
		return err
	}
	if loc == nil {
		loc = time.UTC
	}
	switch at := row.Stamp.At.In(loc); stamp {
	case "begin":
		row.Stamp.At = at.AddDate(0, months, days).Add(rest).UTC()
	case "day":
		row.Stamp.At = coldseam.DateOf(at).Add(1).In(loc).UTC()
	}
	row.Stamp.End = row.Stamp.At
	return nil
}

// add hands the row to the observations or to the forecast that it belongs to.
func (d *doc) add(row ingest.Row, chain []any, site string) error {
	if d.p.Kind != "forecast" {
		d.b.Add(row)
		return nil
	}
	f, err := d.m.at["issued"].at(chain, d.asked)
	if err != nil {
		return err
	}
	var issued time.Time
	if f.text != "" {
		st, err := d.times.ParseLayout(f.text, d.m.TimeLayout, site)
		if err != nil {
			return err
		}
		if issued = st.At; issued.Year() < 2 {
			d.b.Skip("forecast", ingest.CodeTime, "not issued")
			return nil
		}
	} else if d.m.at["issued"] != nil {
		d.b.Skip("forecast", ingest.CodeTime, "not issued")
		return nil
	}

	b, ok := d.issues[issued]
	if !ok {
		b = ingest.NewBuilder(d.p)
		d.issues[issued] = b
	}
	b.Add(row)
	return nil
}

func (d *doc) batch() (ingest.Batch, error) {
	out, err := d.b.Batch(ingest.FormatRecords)
	if err != nil {
		return out, err
	}
	for _, issued := range slices.SortedFunc(maps.Keys(d.issues), time.Time.Compare) {
		b, err := d.issues[issued].Batch(ingest.FormatRecords)
		if err != nil {
			return out, err
		}
		for _, s := range b.Skipped {
			if s.Code == ingest.CodeTime { // year 1 stands for no step
				continue
			}
			return ingest.Batch{}, fmt.Errorf("a forecast is read whole or not at all: %s: %s: %w", s.What,
				strings.TrimSuffix(s.Why, ": "+coldseam.ErrInvalid.Error()), coldseam.ErrInvalid)
		}
		for _, s := range b.Series {
			if f := ingest.ForecastOf(s, issued); len(f.At) > 0 {
				out.Forecasts = append(out.Forecasts, f)
			}
		}
		out.Meta = append(out.Meta, b.Meta...)
	}
	return out, nil
}

// statistics are the words for one, lower case; "" leaves it to the profile.
var statistics = map[string]coldseam.Statistic{
	"": "", "instant": coldseam.Instant, "instantaneous": coldseam.Instant,
	"mean": coldseam.Mean, "average": coldseam.Mean,
	"min": coldseam.Min, "minimum": coldseam.Min, "max": coldseam.Max, "maximum": coldseam.Max,
	"sum": coldseam.Sum, "total": coldseam.Sum,
}

// ownNames lets a constant be one of our own words.
func ownNames(p *place) map[string]coldseam.Parameter {
	if p.path != nil || p.asked != "" {
		return nil
	}
	if own := coldseam.Parameter(p.constant); own.Unit() != "" {
		return map[string]coldseam.Parameter{p.constant: own}
	}
	return nil
}
