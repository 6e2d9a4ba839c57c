package store

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// SeriesInfo is a stored series with how far it reaches.
type SeriesInfo struct {
	coldseam.SeriesKey
	ID         int32
	Zone       string
	FirstKnown time.Time // values valid before were back-filled, not lived through
	Newest     time.Time // valid time of the newest row
	Changed    time.Time // last change of anything in it
	DailyOnly  bool
	Preference int16
}

const sqlSeriesList = `
SELECT s.series_id, s.site_id, s.param, s.stat, s.period, s.provider, s.series_ref, t.zone, s.first_known_at,
       COALESCE(l.valid_at, '-infinity'), COALESCE(l.changed_at, '-infinity'), t.daily_only, s.preference
FROM coldseam.series s
JOIN coldseam.site t USING (site_id)
LEFT JOIN coldseam.latest l USING (series_id)
WHERE s.site_id = $1 AND ($2 = '' OR s.param = $2)
ORDER BY s.preference DESC, COALESCE(l.valid_at, '-infinity') DESC, s.series_id`

// SeriesList lists the series of a site, the leading one of a parameter first.
func (db *DB) SeriesList(ctx context.Context, site coldseam.SiteID) ([]SeriesInfo, error) {
	return db.seriesOf(ctx, site, "")
}

func (db *DB) seriesOf(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter) ([]SeriesInfo, error) {
	rows, err := db.pool.Query(ctx, sqlSeriesList, site, param)
	if err != nil {
		return nil, fmt.Errorf("series of %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (SeriesInfo, error) {
		var s SeriesInfo
		var newest, changed infTime
		err := r.Scan(&s.ID, &s.Site, &s.Param, &s.Stat, &s.Period, &s.Provider, &s.SeriesRef, &s.Zone, &s.FirstKnown,
			&newest, &changed, &s.DailyOnly, &s.Preference)
		s.FirstKnown, s.Newest, s.Changed = s.FirstKnown.UTC(), newest.Time, changed.Time
		return s, err
	})
	if err != nil {
		return nil, fmt.Errorf("series of %s: %w", site, classify(err))
	}
	return out, nil
}

// HistoryOption refines a read.
type HistoryOption func(*historyQuery)

type historyQuery struct {
	period                string
	periodSet             bool
	lagInstant, lagPeriod time.Duration
}

// AssumeLag reads values that were back-filled before the series was first
// fetched live as if each had become known so long after its valid time:
// instant values by the first lag, values of a period by the second. What
// follows from such a read rests on revised data and must say so.
func AssumeLag(instant, period time.Duration) HistoryOption {
	return func(q *historyQuery) { q.lagInstant, q.lagPeriod = instant, period }
}

func (q historyQuery) lag(k coldseam.SeriesKey) time.Duration {
	if k.Period == "" || periodOf(k.Period) < 24*time.Hour {
		return q.lagInstant
	}
	return q.lagPeriod
}

// History returns the values of one parameter and statistic with valid times
// in [from, to], as they were known at asOf: superseded versions known then,
// quality-control changes made later undone. Zero from or to leave the side
// open.
//
// Where a site has several such series, the leading one (greatest preference,
// then newest) is taken, and others only extend it before its first and after
// its last value. Several periods are never mixed: without Period, P1D is
// taken for a mean and the instants else, when there are such. ErrNotFound: no
// such series; a series without rows in the span gives an empty one.
func (db *DB) History(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, stat coldseam.Statistic,
	from, to, asOf time.Time, opts ...HistoryOption) (coldseam.Series, error) {
	var q historyQuery
	for _, o := range opts {
		o(&q)
	}
	all, err := db.seriesOf(ctx, site, param)
	if err != nil {
		return coldseam.Series{}, err
	}

	list := pickSeries(all, stat, q)
	if len(list) == 0 {
		return coldseam.Series{}, fmt.Errorf("history of %s %s %s: %w", site, param, stat, coldseam.ErrNotFound)
	}
	out := coldseam.Series{SeriesKey: list[0].SeriesKey}
	for _, s := range list {
		obs, err := db.asOf(ctx, s, from, to, asOf, q.lag(s.SeriesKey))
		if err != nil {
			return coldseam.Series{}, fmt.Errorf("history of %s: %w", s.SeriesKey, classify(err))
		}
		out.Obs = extend(out.Obs, obs)
	}

	return out, nil
}

// pickSeries keeps the series of the statistic and of one period.
func pickSeries(all []SeriesInfo, stat coldseam.Statistic, q historyQuery) []SeriesInfo {
	period := q.period
	if !q.periodSet {
		want := ""
		if stat != coldseam.Instant {
			want = "P1D"
		}
		found := false
		for _, s := range all {
			if s.Stat == stat && (!found || s.Period == want) {
				period, found = s.Period, true
			}
			if found && period == want {
				break
			}
		}
	}

	var out []SeriesInfo
	for _, s := range all {
		if s.Stat == stat && s.Period == period {
			out = append(out, s)
		}
	}

	return out
}

// extend adds the values of b that lie before or after all of a.
func extend(a, b []coldseam.Observation) []coldseam.Observation {
	if len(a) == 0 {
		return b
	}
	i := sort.Search(len(b), func(i int) bool { return !b[i].At.Before(a[0].At) })
	j := sort.Search(len(b), func(j int) bool { return b[j].At.After(a[len(a)-1].At) })
	if i == 0 && j == len(b) {
		return a
	}
	out := append([]coldseam.Observation(nil), b[:i]...)
	out = append(out, a...)
	return append(out, b[j:]...)
}

const sqlAsOf = `
SELECT series_id, valid_at, known_at, value, flags, qualifier_set, 'infinity'::timestamptz AS superseded_at
FROM coldseam.observation
WHERE series_id = $1 AND valid_at BETWEEN $2 AND $3 AND known_at <= $4
UNION ALL
SELECT series_id, valid_at, known_at, value, flags, qualifier_set, superseded_at
FROM coldseam.observation_revision
WHERE series_id = $1 AND valid_at BETWEEN $2 AND $3 AND known_at <= $4 AND superseded_at > $4
ORDER BY valid_at`

// sqlAssumed reads the oldest version of back-filled values that are not known
// at $4 but would have been with the lag.
const sqlAssumed = `
SELECT DISTINCT ON (valid_at) series_id, valid_at, known_at, value, flags, qualifier_set, superseded_at
FROM (
  SELECT series_id, valid_at, known_at, value, flags, qualifier_set, 'infinity'::timestamptz AS superseded_at
  FROM coldseam.observation
  WHERE series_id = $1 AND valid_at BETWEEN $2 AND $3
  UNION ALL
  SELECT series_id, valid_at, known_at, value, flags, qualifier_set, superseded_at
  FROM coldseam.observation_revision
  WHERE series_id = $1 AND valid_at BETWEEN $2 AND $3) v
ORDER BY valid_at, known_at`

const sqlUndoQC = `
SELECT DISTINCT ON (valid_at) valid_at, changed_at, old_flags
FROM coldseam.qc_change
WHERE series_id = $1 AND valid_at BETWEEN $2 AND $3 AND changed_at > $4
ORDER BY valid_at, changed_at`

var (
	minTime = time.Date(1700, 1, 1, 0, 0, 0, 0, time.UTC)
	maxTime = time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC)
)

// asOf reads one series as known at a time. The reads share a snapshot, so
// that a revision in between cannot hide a value.
func (db *DB) asOf(ctx context.Context, s SeriesInfo, from, to, asOf time.Time,
	lag time.Duration) ([]coldseam.Observation, error) {
	if from.IsZero() {
		from = minTime
	}
	if to.IsZero() {
		to = maxTime
	}
	asOf = micro(asOf)
	var known, assumed []knownRow
	var undo map[int64]qcUndo

	var quals map[int16][]string
	err := pgx.BeginTxFunc(ctx, db.pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly},
		func(tx pgx.Tx) (err error) {
			if known, err = readKnown(ctx, tx, sqlAsOf, s.ID, from, to, asOf); err != nil {
				return err
			}
			if lag > 0 && asOf.Before(s.Changed) {
				last := minOf(to, asOf.Add(-lag), s.FirstKnown)
				if assumed, err = readKnown(ctx, tx, sqlAssumed, s.ID, from, last); err != nil {
					return err
				}
			}

			if undo, err = readUndo(ctx, tx, s.ID, from, to, asOf); err != nil {
				return err
			}
			quals, err = qualifierCodes(ctx, tx)
			return err
		})
	if err != nil {
		return nil, err
	}

	for i := range assumed {
		assumed[i].known = assumed[i].at + lag.Microseconds()
	}
	return observations(mergeKnown(known, assumed), undo, quals), nil
}

func minOf(ts ...time.Time) time.Time {
	m := ts[0]
	for _, t := range ts[1:] {
		if t.Before(m) {
			m = t
		}
	}
	return m
}

// knownRow is a version with the end of its life.
type knownRow struct {
	row
	superseded int64
}

func readKnown(ctx context.Context, tx pgx.Tx, sql string, args ...any) ([]knownRow, error) {
	rows, err := tx.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []knownRow
	for rows.Next() {
		k, err := scanKnown(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, k)
	}
	return out, rows.Err()
}

func scanKnown(rows pgx.Rows) (k knownRow, err error) {
	if _, k.row, err = scanRowFast(rows); err == nil {
		if k.superseded, err = rawTime(rows, 6); err == nil {
			return k, nil
		}
	}

	var at, known time.Time
	var end infTime
	var v *float64
	var flags int16
	var id int32
	if err := rows.Scan(&id, &at, &known, &v, &flags, &k.quals, &end); err != nil {
		return knownRow{}, err
	}
	k.at, k.known, k.flags, k.missing, k.superseded = at.UnixMicro(), known.UnixMicro(), coldseam.Flag(uint16(flags)),
		v == nil, end.micro()
	if v != nil {
		k.value = *v
	}
	return k, nil
}

// mergeKnown adds the assumed rows of times that are not known, in order.
func mergeKnown(known, assumed []knownRow) []knownRow {
	if len(assumed) == 0 {
		return known
	}
	out := make([]knownRow, 0, len(known)+len(assumed))
	i := 0
	for _, a := range assumed {
		for i < len(known) && known[i].at < a.at {
			out, i = append(out, known[i]), i+1
		}
		if i < len(known) && known[i].at == a.at {
			continue
		}
		out = append(out, a)
	}
	return append(out, known[i:]...)
}

// qcUndo is the first quality-control change after the time of a read.
type qcUndo struct {
	at  int64
	old coldseam.Flag
}

func readUndo(ctx context.Context, tx pgx.Tx, id int32, from, to, asOf time.Time) (map[int64]qcUndo, error) {
	rows, err := tx.Query(ctx, sqlUndoQC, id, from, to, asOf)
	if err != nil {
		return nil, err
	}
	out := map[int64]qcUndo{}
	var at, changed time.Time
	var old int16
	_, err = pgx.ForEachRow(rows, []any{&at, &changed, &old}, func() error {
		out[at.UnixMicro()] = qcUndo{changed.UnixMicro(), coldseam.Flag(uint16(old))}
		return nil
	})
	return out, err
}

func qualifierCodes(ctx context.Context, q querier) (map[int16][]string, error) {
	byKey, _, err := readQualifiers(ctx, q)
	if err != nil {
		return nil, err
	}
	out := make(map[int16][]string, len(byKey))
	for k, id := range byKey {
		if k != "" {
			out[id] = strings.Split(k, "\x1f")
		}
	}
	return out, nil
}

func observations(rs []knownRow, undo map[int64]qcUndo, quals map[int16][]string) []coldseam.Observation {
	out := make([]coldseam.Observation, len(rs))
	for i, r := range rs {
		if u, ok := undo[r.at]; ok && u.at < r.superseded {
			r.flags = r.flags&coldseam.AgencyFlags | u.old&coldseam.QCFlags
		}
		out[i] = coldseam.Observation{
			At: time.UnixMicro(r.at).UTC(), KnownAt: time.UnixMicro(r.known).UTC(),
			Value: r.value, Flag: r.flags, Qualifiers: quals[r.quals],
		}
	}
	return out
}

// FetchedLiveFrom is the time from which the series of a site were fetched live: a
// morning before it can only be replayed from revised data. ErrNotFound: no
// series.
func (db *DB) FetchedLiveFrom(ctx context.Context, site coldseam.SiteID) (time.Time, error) {
	var t *time.Time
	err := db.pool.QueryRow(ctx, `SELECT min(first_known_at) FROM coldseam.series WHERE site_id = $1`, site).Scan(&t)
	if err == nil && t == nil {
		err = pgx.ErrNoRows
	}
	if err != nil {
		return time.Time{}, fmt.Errorf("lived from %s: %w", site, classify(err))
	}
	return t.UTC(), nil
}

// isNotFound tells "not measured here" from trouble.
func isNotFound(err error) bool { return errors.Is(err, coldseam.ErrNotFound) }
