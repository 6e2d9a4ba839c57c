package store

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// dayValue is the mean of one civil day.
type dayValue struct {
	mean  float64
	flags coldseam.Flag // all that any value of the day has
}

// doubtful are the flags with which a day's water temperature proves nothing.
const doubtful = coldseam.Equipment | coldseam.Suspect | coldseam.QCRange | coldseam.QCFlat | coldseam.QCSentinel | coldseam.QCUnit

// DailyFrame returns daily means of flow, water temperature and air
// temperature on consecutive civil days of zone, as known at asOf. tempSite
// stands in where the gauge has no thermometer ("" = the gauge itself), airSite
// is where air temperature is measured ("" = not at all). A daily-mean series
// leads; days it lacks come from shorter values when they cover all four
// quarters of the day, so that a half day never passes for a mean (a site that
// reports once a day is taken as it is). ErrNotFound: nothing at all.
func (db *DB) DailyFrame(ctx context.Context, site, tempSite, airSite coldseam.SiteID, asOf time.Time, zone string,
	opts ...HistoryOption) (coldseam.Days, error) {
	fail := func(err error) (coldseam.Days, error) {
		return coldseam.Days{}, fmt.Errorf("daily frame of %s: %w", site, err)
	}
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return fail(fmt.Errorf("zone %q: %w", zone, coldseam.ErrInvalid))
	}

	if tempSite == "" {
		tempSite = site
	}
	wanted := []struct {
		site  coldseam.SiteID
		param coldseam.Parameter
	}{{site, coldseam.Discharge}, {tempSite, coldseam.WaterTemp}, {airSite, coldseam.AirTemp}}

	var days [3]map[coldseam.Date]dayValue
	for i, w := range wanted {
		if w.site == "" {
			continue
		}
		if days[i], err = db.dailyMeans(ctx, w.site, w.param, asOf, loc, opts); err != nil {
			return fail(err)
		}
	}

	frame, ok := frameOf(days)
	if !ok {
		return fail(coldseam.ErrNotFound)
	}
	if s, err := db.Site(ctx, site); err == nil {
		frame.Lat = s.Lat
	} else if !isNotFound(err) {
		return fail(err)
	}

	return frame, nil
}

// dailyMeans returns nil when the quantity is not measured at the site.
func (db *DB) dailyMeans(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, asOf time.Time,
	loc *time.Location, opts []HistoryOption) (map[coldseam.Date]dayValue, error) {
	all, err := db.seriesOf(ctx, site, param)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	var q historyQuery
	for _, o := range opts {
		o(&q)
	}
	out := map[coldseam.Date]dayValue{}

	for _, daily := range []bool{true, false} {
		for _, s := range all {
			if (s.Stat != coldseam.Mean && s.Stat != coldseam.Instant) || daily != isDaily(s.SeriesKey) {
				continue
			}
			found, err := db.seriesDays(ctx, s, asOf, loc, q.lag(s.SeriesKey))
			if err != nil {
				return nil, err
			}

			if len(out) == 0 {
				out = found
				continue
			}

			for d, v := range found {
				if _, there := out[d]; !there {
					out[d] = v
				}
			}
		}
	}

	if len(out) == 0 {
		return nil, nil
	}
	return out, nil
}

func isDaily(k coldseam.SeriesKey) bool {
	return k.Stat == coldseam.Mean && periodOf(k.Period) == 24*time.Hour
}

// seriesDays takes the stored summaries when nothing has changed since asOf
// and the days are cut alike, and sums the history up else.
func (db *DB) seriesDays(ctx context.Context, s SeriesInfo, asOf time.Time, loc *time.Location,
	lag time.Duration) (map[coldseam.Date]dayValue, error) {
	var sums []daySum
	var err error
	if !asOf.Before(s.Changed) && loc.String() == s.Zone {
		sums, err = db.storedDays(ctx, s.ID)
	} else {
		sums, err = db.summedDays(ctx, s, asOf, loc, lag)
	}

	if err != nil {
		return nil, err
	}

	out := make(map[coldseam.Date]dayValue, len(sums))
	whole := isDaily(s.SeriesKey) || s.DailyOnly
	for _, d := range sums {
		if d.quarters != 15 && !whole {
			continue
		}
		out[d.day] = dayValue{d.total / float64(d.n), d.flags}
	}

	return out, nil
}

// storedDays reads the packed years, then the days of all others.
func (db *DB) storedDays(ctx context.Context, id int32) ([]daySum, error) {
	out, packed, err := db.packedDays(ctx, id)
	if err != nil {
		return nil, err
	}

	var from, to []time.Time // spans of days that are not packed
	next := minTime
	for _, y := range packed {
		if first := time.Date(int(y), 1, 1, 0, 0, 0, 0, time.UTC); first.After(next) {
			from, to = append(from, next), append(to, first)
		}
		next = time.Date(int(y)+1, 1, 1, 0, 0, 0, 0, time.UTC)
	}

	from, to = append(from, next), append(to, maxTime)
	rows, err := db.pool.Query(ctx, `
		SELECT day, total, n, quarters, flags
		FROM unnest($2::date[], $3::date[]) AS w (lo, hi)
		JOIN coldseam.day_summary d ON d.series_id = $1 AND d.day >= w.lo AND d.day < w.hi`, id, from, to)
	if err != nil {
		return nil, classify(err)
	}
	defer rows.Close()

	for rows.Next() {
		d, ok := rawDay(rows)
		if !ok {
			if d, err = scanDay(rows); err != nil {
				return nil, classify(err)
			}
		}
		out = append(out, d)
	}

	return out, classify(rows.Err())
}

// rawDay decodes day, total, n, quarters, flags by hand: decades of days for
// every forecast. False: the connection speaks text.
func rawDay(rows pgx.Rows) (d daySum, ok bool) {
	raw := rows.RawValues()
	if rows.FieldDescriptions()[0].Format != 1 || len(raw[0]) != 4 || len(raw[1]) != 8 || len(raw[2]) != 4 ||
		len(raw[3]) != 2 || len(raw[4]) != 2 {
		return daySum{}, false
	}
	be := binary.BigEndian
	d.day = coldseam.DateOf(day2000.AddDate(0, 0, int(int32(be.Uint32(raw[0])))))
	d.total, d.n = math.Float64frombits(be.Uint64(raw[1])), int32(be.Uint32(raw[2]))
	d.quarters, d.flags = int16(be.Uint16(raw[3])), coldseam.Flag(be.Uint16(raw[4]))
	return d, true
}

func scanDay(rows pgx.Rows) (d daySum, err error) {
	var day time.Time
	var flags int16
	err = rows.Scan(&day, &d.total, &d.n, &d.quarters, &flags)
	d.day, d.flags = coldseam.DateOf(day), coldseam.Flag(uint16(flags))
	return d, err
}

func (db *DB) summedDays(ctx context.Context, s SeriesInfo, asOf time.Time, loc *time.Location,
	lag time.Duration) ([]daySum, error) {
	obs, err := db.asOf(ctx, s, time.Time{}, time.Time{}, asOf, lag)
	if err != nil {
		return nil, classify(err)
	}
	f := &feed{id: s.ID, zone: loc, offset: periodOf(s.Period) / 2}
	for _, o := range obs {
		f.added = append(f.added, row{
			at:      o.At.UnixMicro(),
			value:   o.Value,
			flags:   o.Flag,
			missing: o.Flag&coldseam.Missing != 0,
		})
	}
	return f.sums(), nil
}

// frameOf lays the days out from the first to the last that has any value.
func frameOf(days [3]map[coldseam.Date]dayValue) (coldseam.Days, bool) {
	var first, last coldseam.Date
	for _, m := range days {
		for d := range m {
			if first.IsZero() || d.Before(first) {
				first = d
			}
			if last.IsZero() || last.Before(d) {
				last = d
			}
		}
	}

	if first.IsZero() {
		return coldseam.Days{}, false
	}
	n := last.Sub(first) + 1
	f := coldseam.Days{First: first}

	var cols [3][]float64
	for i, m := range days {
		if m == nil {
			continue
		}
		cols[i] = make([]float64, n)
		for k := range cols[i] {
			cols[i][k] = math.NaN()
		}
		for d, v := range m {
			cols[i][d.Sub(first)] = v.mean
		}
	}

	f.FlowM3S, f.WaterC, f.AirC = cols[0], cols[1], cols[2]
	mark := func(into *[]bool, from map[coldseam.Date]dayValue, flags coldseam.Flag) {
		if from != nil && *into == nil {
			*into = make([]bool, n)
		}
		for d, v := range from {
			if v.flags&flags != 0 {
				(*into)[d.Sub(first)] = true
			}
		}
	}
	mark(&f.FlowSoft, days[0], coldseam.Estimated|coldseam.Ice)
	mark(&f.IceMark, days[0], coldseam.Ice)
	mark(&f.IceMark, days[1], coldseam.Ice)
	mark(&f.WaterDoubt, days[1], doubtful)
	return f, true
}
