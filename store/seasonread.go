package store

import (
	"context"
	"time"

	"example.org/coldseam"
)

// What the recap reads of schema season, with the rights of a reader: cells of
// fewer than three anglers come hidden from there.

// Season is what a recap is about: a year, and a reach or "" for the club.
type Season struct {
	Year  int
	Reach coldseam.ReachID
}

// NewestSeason is the newest year with a brief or a trip, 0 for none.
func (db *DB) NewestSeason(ctx context.Context, reach coldseam.ReachID) (int, error) {
	got, err := ask[struct{ Year int }](ctx, db, `
		SELECT COALESCE(max(season), 0)::int AS year
		FROM (SELECT season, reach_id FROM season.brief UNION ALL SELECT season, reach_id FROM season.trip) s
		WHERE $1 = '' OR reach_id = $1`, reach)
	if err != nil {
		return 0, err
	}
	return got[0].Year, nil
}

// SeasonSpan is the first and the last day with a brief or a trip; ok is false
// for a season without either.
func (db *DB) SeasonSpan(ctx context.Context, s Season) (first, last coldseam.Date, ok bool, err error) {
	got, err := ask[struct{ First, Last *time.Time }](ctx, db, `
		SELECT min(day) AS first, max(day) AS last
		FROM (SELECT day, season, reach_id FROM season.brief UNION ALL SELECT cell::date, season, reach_id FROM season.trip WHERE dimension = 'day') s
		WHERE season = $1 AND ($2 = '' OR reach_id = $2)`, s.Year, s.Reach)
	if err != nil || got[0].First == nil {
		return first, last, false, err
	}
	return coldseam.DateOf(*got[0].First), coldseam.DateOf(*got[0].Last), true, nil
}

// SeasonWater is the water of one day in degC, nil where it is not known.
type SeasonWater struct {
	Reach string
	Day   time.Time
	Water *float64
}

// MeanWater is the water from one day to another, the mean over the reaches.
func (db *DB) MeanWater(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date) ([]SeasonWater, error) {
	return ask[SeasonWater](ctx, db, `
		SELECT '' AS reach, day, avg(water_c)::float8 AS water FROM season.daily
		WHERE day BETWEEN $1 AND $2 AND ($3 = '' OR reach_id = $3)
		GROUP BY day ORDER BY day`, from.UTC(), to.UTC(), reach)
}

// KnownWater is the water of each reach on the days on which it is known.
func (db *DB) KnownWater(ctx context.Context, s Season) ([]SeasonWater, error) {
	return ask[SeasonWater](ctx, db, `
		SELECT reach_id AS reach, day, water_c AS water FROM season.daily
		WHERE season = $1 AND water_c IS NOT NULL AND ($2 = '' OR reach_id = $2)`, s.Year, s.Reach)
}

// SeasonTripDay is a day with trips; Rate is fish a line-hour.
type SeasonTripDay struct {
	Day   time.Time
	Trips int
	Rate  float64
}

// SeasonTripDays are the days with trips.
func (db *DB) SeasonTripDays(ctx context.Context, s Season) ([]SeasonTripDay, error) {
	return ask[SeasonTripDay](ctx, db, `
		SELECT cell::date AS day, COALESCE(sum(trips), 0)::int AS trips,
		  COALESCE(sum(trips * fish_per_line_hour) / NULLIF(sum(trips), 0), 0)::float8 AS rate
		FROM season.trip
		WHERE dimension = 'day' AND season = $1 AND ($2 = '' OR reach_id = $2)
		GROUP BY cell`, s.Year, s.Reach)
}

// CatchCell is one cell of season.trip; a hidden one has no numbers.
type CatchCell struct {
	Dimension, Reach, Species, Cell string
	Hidden                          bool
	Anglers, Trips                  int
	Hours                           float64
	Fish                            int
	Rate                            float64
	Place                           int
}

// CatchCells are the cells of every dimension but the day, bands in their order.
func (db *DB) CatchCells(ctx context.Context, s Season) ([]CatchCell, error) {
	return ask[CatchCell](ctx, db, `
		SELECT c.dimension, c.reach_id AS reach, c.species, c.cell, c.hidden, COALESCE(c.anglers, 0)::int AS anglers,
		  COALESCE(c.trips, 0)::int AS trips, COALESCE(c.line_hours, 0)::float8 AS hours,
		  COALESCE(c.fish, 0)::int AS fish, COALESCE(c.fish_per_line_hour, 0)::float8 AS rate, COALESCE(b.band_no, 99)::int AS place
		FROM season.trip c
		LEFT JOIN season.band b ON c.dimension = 'band' AND b.band = c.cell
		WHERE c.season = $1 AND ($2 = '' OR c.reach_id = $2) AND c.dimension <> 'day'
		ORDER BY place, c.cell`, s.Year, s.Reach)
}

// HeldCell is how often a weight held at a spot.
type HeldCell struct {
	Reach, Spot string
	Oz          float64
	Logs        int
	Share       float64
}

// HeldCells are those that are not hidden.
func (db *DB) HeldCells(ctx context.Context, s Season) ([]HeldCell, error) {
	return ask[HeldCell](ctx, db, `
		SELECT reach_id AS reach, spot_id AS spot, weight_oz AS oz, logs::int AS logs, held_share::float8 AS share
		FROM season.weight
		WHERE season = $1 AND ($2 = '' OR reach_id = $2) AND NOT hidden
		ORDER BY reach_id, spot_id, weight_oz`, s.Year, s.Reach)
}

// RunDates are those of the run clock; nil is not known, and the likeliest wave
// is a peak only once half of the run is in.
type RunDates struct{ First, Peak, Last *time.Time }

// SeasonRunDates are the dates of one species; all nil where there are none.
func (db *DB) SeasonRunDates(ctx context.Context, s Season, species string) (RunDates, error) {
	got, err := ask[RunDates](ctx, db, `
		SELECT first_fish AS first, CASE WHEN half_in IS NOT NULL THEN best_wave END AS peak, last_fish AS last
		FROM season.run_date
		WHERE season = $1 AND reach_id = $2 AND species = $3`, s.Year, s.Reach, species)
	if err != nil || len(got) == 0 {
		return RunDates{}, err
	}
	return got[0], nil
}

// ForecastPair is an issued forecast beside what came: its CRPS and the error of
// "as it was yesterday".
type ForecastPair struct {
	Site, Param string
	Lead        int
	Day         time.Time
	CRPS        float64
	Ref         float64
}

// ForecastPairs has one issue a day, the last before each valid day's own lead,
// so that a day of many issues does not count many times.
func (db *DB) ForecastPairs(ctx context.Context, s Season) ([]ForecastPair, error) {
	return ask[ForecastPair](ctx, db, `
		SELECT DISTINCT ON (site_id, param, lead_day, valid_day) site_id AS site, param, lead_day AS lead, valid_day AS day, crps, persistence_error AS ref
		FROM season.forecast
		WHERE season = $1 AND ($2 = '' OR reach_id = $2) AND lead_day IN (1, 3, 5, 7, 10)
		  AND param IN ('water_temp', 'discharge') AND persistence_error IS NOT NULL
		ORDER BY site_id, param, lead_day, valid_day, issued_at DESC`, s.Year, s.Reach)
}

// StopCount is on how many days of reaches a rule stopped the morning.
type StopCount struct {
	Rule, Kind string
	N          int
}

// StopCounts count what is measured and what is forecast of one thing as one
// rule.
func (db *DB) StopCounts(ctx context.Context, s Season) ([]StopCount, error) {
	return ask[StopCount](ctx, db, `
		SELECT rule, kind, count(DISTINCT (reach_id, day))::int AS n
		FROM (
		  SELECT reach_id, day, kind, CASE
		    WHEN code LIKE 'max_flow%' THEN 'max_flow'
		    WHEN code LIKE 'flow_pct%' THEN 'flow_pct'
		    WHEN code LIKE 'rise%' AND kind = 'safety' THEN 'rise'
		    WHEN code IN ('flood_stage', 'flood_forecast', 'flood_stage_forecast') THEN 'flood_stage'
		    WHEN code IN ('discharge_stale', 'stage_stale', 'discharge_missing', 'stage_missing') THEN 'gauge_silent'
		    ELSE code END AS rule
		  FROM season.reason
		  WHERE season = $1 AND ($2 = '' OR reach_id = $2) AND (list = 'stop' OR kind = 'missing' AND verdict = 'NO CALL')) s
		GROUP BY rule, kind
		ORDER BY kind <> 'missing' DESC, n DESC, rule`, s.Year, s.Reach)
}

// Outage is a run of whole days without a value of a gauge.
type Outage struct {
	Gauge, Param string
	Day          time.Time
	Days         int
}

// Outages are those between two days; shorter silences leave no row in the daily
// record.
func (db *DB) Outages(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date) ([]Outage, error) {
	return ask[Outage](ctx, db, `
		SELECT DISTINCT r.gauge, o.param, o.from_day AS day, o.days::int AS days
		FROM season.outage o
		JOIN season.river r ON o.site_id = r.site_id OR o.site_id = r.temp_site_id
		WHERE o.from_day <= $2 AND o.to_day >= $1 AND ($3 = '' OR r.reach_id = $3) AND o.param IN ('discharge', 'stage', 'water_temp')
		ORDER BY o.from_day, r.gauge, o.param`, from.UTC(), to.UTC(), reach)
}

// OpenCatch is a reach and species whose season the views show.
type OpenCatch struct{ Reach, Species string }

// OpenCatches lists them.
func (db *DB) OpenCatches(ctx context.Context, s Season) ([]OpenCatch, error) {
	return ask[OpenCatch](ctx, db, `
		SELECT reach_id AS reach, species FROM season.trip
		WHERE dimension = 'all' AND NOT hidden AND season = $1 AND ($2 = '' OR reach_id = $2)`, s.Year, s.Reach)
}

// IssuedVerdict is the brief of a morning that people drove by.
type IssuedVerdict struct {
	Day, Issued time.Time
	Verdict     string
	Odds        *float64
}

// IssuedVerdicts are those of one reach; one that came after the mail is not
// among them.
func (db *DB) IssuedVerdicts(ctx context.Context, s Season) ([]IssuedVerdict, error) {
	return ask[IssuedVerdict](ctx, db, `
		SELECT day, issued_at AS issued, verdict, odds FROM season.brief
		WHERE morning_word AND season = $1 AND reach_id = $2
		ORDER BY day`, s.Year, s.Reach)
}

// RulesToCheck counts the rules whose check is missing or runs out before a day.
func (db *DB) RulesToCheck(ctx context.Context, reach coldseam.ReachID, before coldseam.Date) (int, error) {
	got, err := ask[struct{ N int }](ctx, db, `
		SELECT count(*)::int AS n FROM season.rule
		WHERE ($1 = '' OR reach_id = $1) AND (checked_on IS NULL OR recheck_by < $2)`, reach, before.UTC())
	if err != nil {
		return 0, err
	}
	return got[0].N, nil
}

// Normal names a quantity of a gauge.
type Normal struct{ Site, Param string }

// Normals lists the quantities of which it is known what is usual for the date.
func (db *DB) Normals(ctx context.Context) ([]Normal, error) {
	return ask[Normal](ctx, db, `SELECT DISTINCT site_id AS site, param FROM season.normal`)
}
