package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

const sqlSaveForecast = `
INSERT INTO coldseam.forecast (site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value, members, from_at, until_at)
SELECT $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13
WHERE NOT EXISTS (
  SELECT FROM (
    SELECT issued_at, valid_at, value, from_at, until_at FROM coldseam.forecast
    WHERE site_id = $1 AND param = $2 AND stat = $3 AND period = $4 AND provider = $5
      AND (issued_at = $6 OR issued_assumed AND $8)
    ORDER BY issued_at DESC, known_at DESC LIMIT 1) newest
  WHERE newest.issued_at >= $6 AND newest.valid_at = $9 AND newest.value = $10
    AND newest.from_at IS NOT DISTINCT FROM $12 AND newest.until_at IS NOT DISTINCT FROM $13)
ON CONFLICT ON CONSTRAINT forecast_key DO NOTHING`

// SaveForecasts archives agency forecasts. The same issue fetched again is not
// stored twice; an issue that was corrected is, with its own known-at. One
// without an issue time was issued when its content was first seen. A forecast
// that cannot be stored is named and does not stop the others.
func (db *DB) SaveForecasts(ctx context.Context, fs []coldseam.Forecast) error {
	var errs []error
	fs, err := db.firstSeen(ctx, fs)
	if err != nil {
		errs = append(errs, err)
	}
	for _, f := range fs {
		if err := db.saveForecast(ctx, f); err != nil {
			errs = append(errs, fmt.Errorf("forecast %s/%s of %s: %w", f.Site, f.Param, f.Issued.Format(time.RFC3339),
				classify(err)))
		}
	}
	return errors.Join(errs...)
}

func (db *DB) saveForecast(ctx context.Context, f coldseam.Forecast) error {
	if err := checkForecast(f); err != nil {
		return err
	}
	at := make([]time.Time, len(f.At))
	for i, t := range f.At {
		at[i] = micro(t)
	}

	known := f.KnownAt
	if known.IsZero() {
		known = db.now()
	}
	issued := f.Issued
	if issued.IsZero() {
		issued, f.IssuedAssumed = known, true
	}

	var members [][]float32
	for _, m := range f.Members {
		members = append(members, float32s(m))
	}
	var from, until []time.Time
	for _, s := range f.Span {
		from, until = append(from, micro(s[0])), append(until, micro(s[1]))
	}
	_, err := db.pool.Exec(ctx, sqlSaveForecast, f.Site, f.Param, f.Stat, f.Period, f.Provider, micro(issued),
		micro(known),
		f.IssuedAssumed, at, f.Value, members, from, until)
	return err
}

// seenBack is how many contents of a forecast without issue time are compared:
// a service may answer from several caches in turn [proposal].
const seenBack = 16

const sqlSeen = `
SELECT site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value, members, from_at, until_at
FROM coldseam.forecast
WHERE site_id = $1 AND param = $2 AND stat = $3 AND period = $4 AND provider = $5 AND issued_assumed AND known_at <= $6
ORDER BY known_at DESC LIMIT $7`

// firstSeen dates forecasts whose document gives no issue time: by the oldest of
// the last contents that says the same for all times the two share. A fetch makes
// nothing young, nor do hours that drop off the front or join at the end. Rain,
// thunder and visibility that never change in those times, as in a dry spell, say
// nothing of their age: they are as young as the youngest other part.
func (db *DB) firstSeen(ctx context.Context, in []coldseam.Forecast) ([]coldseam.Forecast, error) {
	fs := slices.Clone(in)
	flat := make([]bool, len(fs))
	youngest := map[coldseam.SiteID]time.Time{}
	var errs []error

	for i := range fs {
		f := &fs[i]
		if !f.IssuedAssumed && !f.Issued.IsZero() {
			continue
		}
		if f.KnownAt.IsZero() {
			f.KnownAt = db.now()
		}
		f.Issued, f.IssuedAssumed = f.KnownAt, true
		past, err := db.forecasts(ctx, sqlSeen, f.Site, f.Param, f.Stat, f.Period, f.Provider, micro(f.KnownAt),
			seenBack)
		if err != nil {
			errs = append(errs, err)
		}

		quiet := f.Param == coldseam.Precip || f.Param == coldseam.ThunderProb || f.Param == coldseam.Visibility
		for _, p := range past {
			same, changes := repeats(p, *f)
			if same && p.Issued.Before(f.Issued) {
				f.Issued, flat[i] = p.Issued, quiet && !changes
			}
		}

		if !flat[i] && f.Issued.After(youngest[f.Site]) {
			youngest[f.Site] = f.Issued
		}
	}

	for i := range fs {
		if y := youngest[fs[i].Site]; flat[i] && y.After(fs[i].Issued) {
			fs[i].Issued = y
		}
	}

	return fs, errors.Join(errs...)
}

// repeats reports whether b says what a says at every time that both have, and
// whether those values change at all.
func repeats(a, b coldseam.Forecast) (same, changes bool) {
	var shared []float64
	i := 0
	for k, t := range b.At {
		for i < len(a.At) && a.At[i].Before(micro(t)) {
			i++
		}
		if i == len(a.At) {
			break
		}

		if !a.At[i].Equal(micro(t)) {
			continue
		}
		if a.Value[i] != b.Value[k] {
			return false, false
		}
		shared = append(shared, b.Value[k])
		changes = changes || shared[0] != b.Value[k]
	}

	return len(shared) > 0, changes
}

func checkForecast(f coldseam.Forecast) error {
	if f.Param.Unit() == "" || f.Site == "" || len(f.At) == 0 || len(f.At) != len(f.Value) {
		return fmt.Errorf("%d times, %d values of %q: %w", len(f.At), len(f.Value), f.Param, coldseam.ErrInvalid)
	}
	for i, v := range f.Value {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("step %d is not finite: %w", i, coldseam.ErrInvalid)
		}
		if i > 0 && !f.At[i].After(f.At[i-1]) {
			return fmt.Errorf("step %d is not after the one before: %w", i, coldseam.ErrInvalid)
		}
	}

	if f.Span != nil && len(f.Span) != len(f.At) {
		return fmt.Errorf("%d spans of %d steps: %w", len(f.Span), len(f.At), coldseam.ErrInvalid)
	}
	for i, m := range f.Members {
		if len(m) != len(f.At) {
			return fmt.Errorf("member %d has %d of %d steps: %w", i, len(m), len(f.At), coldseam.ErrInvalid)
		}
	}

	return nil
}

func float32s(x []float64) []float32 {
	out := make([]float32, len(x))
	for i, v := range x {
		out[i] = float32(v)
	}
	return out
}

func float64s(x []float32) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = float64(v)
	}
	return out
}

const sqlForecasts = `
SELECT DISTINCT ON (stat, period, provider) site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value, members, from_at, until_at
FROM coldseam.forecast
WHERE site_id = $1 AND param = $2 AND known_at <= $3 AND issued_at > $4
ORDER BY stat, period, provider, issued_at DESC, known_at DESC`

// Forecasts returns the newest issue known at asOf of every statistic, period
// and provider of one parameter at one place; empty when there is none.
func (db *DB) Forecasts(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter,
	asOf time.Time) ([]coldseam.Forecast, error) {
	// Years of issues are not looked through for the newest; only a feed that
	// has been silent for longer is searched back to its beginning.
	const recent = 10 * 24 * time.Hour
	fcs, err := db.forecasts(ctx, sqlForecasts, site, param, micro(asOf), micro(asOf.Add(-recent)))
	if err != nil || len(fcs) > 0 {
		return fcs, err
	}
	return db.forecasts(ctx, sqlForecasts, site, param, micro(asOf), "-infinity")
}

const sqlArchived = `
SELECT site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value, members, from_at, until_at
FROM coldseam.forecast
WHERE site_id = $1 AND param = $2 AND issued_at BETWEEN $3 AND $4 AND known_at <= $5
ORDER BY issued_at, known_at`

// ArchivedForecasts returns every issue of one parameter at one place issued
// in [from, to] and known at asOf, oldest first.
func (db *DB) ArchivedForecasts(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, from, to,
	asOf time.Time) ([]coldseam.Forecast, error) {
	return db.forecasts(ctx, sqlArchived, site, param, micro(from), micro(to), micro(asOf))
}

// sqlDailyIssue picks the first issue of each civil day before it reads any
// steps: hourly issues of 240 days are 30 MB.
const sqlDailyIssue = `
SELECT DISTINCT ON ((issued_at AT TIME ZONE $6)::date) site_id, param, stat, period, provider, issued_at, known_at, issued_assumed, valid_at, value, members, from_at, until_at
FROM coldseam.forecast
WHERE site_id = $1 AND param = $2 AND issued_at BETWEEN $3 AND $4 AND known_at <= $5
ORDER BY (issued_at AT TIME ZONE $6)::date, issued_at, known_at`

// DailyIssues returns the first issue of each civil day of zone, of one
// parameter at one place, issued in [from, to] and known at asOf, oldest first.
func (db *DB) DailyIssues(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, from, to, asOf time.Time,
	zone string) ([]coldseam.Forecast, error) {
	return db.forecasts(ctx, sqlDailyIssue, site, param, micro(from), micro(to), micro(asOf), zone)
}

func (db *DB) forecasts(ctx context.Context, sql string, args ...any) ([]coldseam.Forecast, error) {
	rows, err := db.pool.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("forecasts: %w", classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (coldseam.Forecast, error) {
		var f coldseam.Forecast
		var members [][]float32
		var from, until []time.Time
		err := r.Scan(&f.Site, &f.Param, &f.Stat, &f.Period, &f.Provider, &f.Issued, &f.KnownAt, &f.IssuedAssumed,
			&f.At, &f.Value, &members,
			&from, &until)
		for i := range from {
			f.Span = append(f.Span, [2]time.Time{from[i].UTC(), until[i].UTC()})
		}

		f.Issued, f.KnownAt = f.Issued.UTC(), f.KnownAt.UTC()
		for i := range f.At {
			f.At[i] = f.At[i].UTC()
		}
		for _, m := range members {
			f.Members = append(f.Members, float64s(m))
		}
		return f, err
	})
	if err != nil {
		return nil, fmt.Errorf("forecasts: %w", classify(err))
	}

	return out, nil
}

const sqlSaveAlert = `
INSERT INTO coldseam.alert (feed, document, provider, sender, identifier, sent_at, known_at, starts_at, ends_at, status, msg_type, event, severity, reference_ids, body)
SELECT $1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15::jsonb
WHERE NOT EXISTS (
  SELECT FROM (
    SELECT body FROM coldseam.alert
    WHERE feed = $1 AND document = $2 AND provider = $3 AND sender = $4 AND identifier = $5 AND sent_at = $6
    ORDER BY known_at DESC LIMIT 1) newest
  WHERE newest.body - 'KnownAt' = $15::jsonb - 'KnownAt')
ON CONFLICT ON CONSTRAINT alert_pkey DO NOTHING`

// SaveAlerts stores official warnings, each message once. A message that says
// something else under the same name is a version of its own: the newest one
// known counts. One that cannot be stored is named and does not stop the others.
func (db *DB) SaveAlerts(ctx context.Context, as []coldseam.Alert) error {
	var errs []error
	for _, a := range as {
		if err := db.saveAlert(ctx, a); err != nil {
			errs = append(errs, fmt.Errorf("alert %s %s: %w", a.Provider, a.Identifier, classify(err)))
		}
	}
	return errors.Join(errs...)
}

func (db *DB) saveAlert(ctx context.Context, a coldseam.Alert) error {
	if a.Identifier == "" || a.Sent.IsZero() || a.End.IsZero() {
		return fmt.Errorf("needs identifier, sent and end: %w", coldseam.ErrInvalid)
	}
	if a.KnownAt.IsZero() {
		a.KnownAt = db.now()
	}
	if a.From.IsZero() {
		a.From = a.Sent
	}
	body, err := json.Marshal(a)
	if err != nil {
		return fmt.Errorf("%w: %w", err, coldseam.ErrInvalid)
	}
	_, err = db.pool.Exec(ctx, sqlSaveAlert, a.Feed, a.Document, a.Provider, a.Sender, a.Identifier, micro(a.Sent),
		micro(a.KnownAt), micro(a.From), micro(a.End),
		a.Status, a.MsgType, a.Event, a.Severity, referenceIDs(a.References), body)
	return err
}

// referenceIDs takes the identifiers out of CAP references, which are
// "sender,identifier,sent" triples; a bare identifier stands for itself.
func referenceIDs(refs []string) []string {
	out := []string{}
	for _, r := range refs {
		if f := strings.Split(r, ","); len(f) == 3 {
			r = f[1]
		}
		out = append(out, r)
	}
	return out
}

// A warning of a feed that is not known is one stored before feeds were kept
// apart: it counts for every feed, and a message of any feed ends it. OFFSET 0
// has the few in force looked up one by one: joined, the planner reads the
// warnings of all years.
const sqlAlerts = `
SELECT a.body
FROM coldseam.alert a
WHERE a.feed IN ($2, '') AND a.known_at <= $1 AND a.ends_at > $1 AND a.msg_type <> 'Cancel'
  AND NOT EXISTS (
    SELECT FROM coldseam.alert v
    WHERE v.feed = a.feed AND v.document = a.document AND v.provider = a.provider AND v.sender = a.sender
      AND v.identifier = a.identifier AND v.sent_at = a.sent_at AND v.known_at > a.known_at AND v.known_at <= $1
    OFFSET 0)
  AND NOT EXISTS (
    SELECT FROM coldseam.alert n
    WHERE (n.feed = a.feed OR a.feed = '') AND n.provider = a.provider AND n.known_at <= $1 AND n.sent_at >= a.sent_at
      AND n.status = a.status AND n.sender = a.sender
      AND n.msg_type IN ('Update', 'Cancel') AND n.reference_ids @> ARRAY[a.identifier]
      AND (n.sender, n.identifier, n.sent_at) IS DISTINCT FROM (a.sender, a.identifier, a.sent_at)
    OFFSET 0)
ORDER BY a.starts_at, a.identifier`

// Alerts returns the warnings of a feed in force or announced at asOf: known
// then, not ended, not updated or cancelled by a message known then. All
// statuses are returned: a test message is told apart by its Status.
func (db *DB) Alerts(ctx context.Context, feed string, asOf time.Time) ([]coldseam.Alert, error) {
	rows, err := db.pool.Query(ctx, sqlAlerts, micro(asOf), feed)
	if err != nil {
		return nil, fmt.Errorf("alerts: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[coldseam.Alert])
	if err != nil {
		return nil, fmt.Errorf("alerts: %w", classify(err))
	}
	return out, nil
}
