package store_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// newDurable starts a Postgres with everything on that keeps data safe:
// figures from a fast one would not count.
func newDurable(t testing.TB) *localpg.Server {
	t.Helper()
	if _, err := localpg.Find(); err != nil && os.Getenv("CI") == "" {
		t.Skipf("no private Postgres: %v", err)
	}
	dir, err := os.MkdirTemp("", "coldseam-bench-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o711))
	s, err := localpg.Start(context.Background(), localpg.Options{Dir: dir + "/s", Settings: map[string]string{
		"autovacuum": "off", "max_wal_size": "4GB", "shared_buffers": "512MB", "checkpoint_timeout": "1h"}})
	require.NoError(t, err)
	durable.gone = append(durable.gone, func() { s.Stop(); os.RemoveAll(dir) })
	return s
}

// durable is the server that gates and benchmarks of this binary share.
var durable struct {
	mu   sync.Mutex
	s    *localpg.Server
	gone []func()
}

func durableServer(t testing.TB) *localpg.Server {
	durable.mu.Lock()
	defer durable.mu.Unlock()
	if durable.s == nil {
		durable.s = newDurable(t)
	}
	return durable.s
}

func TestMain(m *testing.M) {
	code := m.Run()
	for _, f := range durable.gone {
		f()
	}
	os.Exit(code)
}

var benchDBs atomic.Int64

func durableDB(t testing.TB, s *localpg.Server) *store.DB {
	t.Helper()
	name := fmt.Sprintf("b%d", benchDBs.Add(1))
	admin, err := pgx.Connect(t.Context(), s.URL("postgres"))
	require.NoError(t, err)
	defer admin.Close(context.Background())
	_, err = admin.Exec(t.Context(), `CREATE DATABASE `+name)
	require.NoError(t, err)
	db, err := store.Open(t.Context(), s.URL(name), store.Options{})
	require.NoError(t, err)
	t.Cleanup(db.Close)
	require.NoError(t, db.Migrate(t.Context()))
	return db
}

// benchRows is the size of the load benchmarks; COLDSEAM_BENCH_ROWS=1000000
// gives the figures of the performance table.
func benchRows() int {
	if n, err := strconv.Atoi(os.Getenv("COLDSEAM_BENCH_ROWS")); err == nil && n > 0 {
		return n
	}
	return 100_000
}

// quarterHours makes series of 15-minute values that move like a river.
func quarterHours(series, from, n int, known time.Time) []coldseam.Series {
	out := make([]coldseam.Series, series)
	for s := range out {
		k := coldseam.SeriesKey{
			Site:      coldseam.SiteID(fmt.Sprintf("sim:s%04d", s)),
			Param:     coldseam.Discharge,
			Stat:      coldseam.Instant,
			Provider:  "sim",
			SeriesRef: "q",
		}
		os := make([]coldseam.Observation, n)
		for i := range os {
			h := float64(from+i) / 4
			os[i] = coldseam.Observation{
				At:      t0.Add(time.Duration(from+i) * 15 * time.Minute),
				KnownAt: known,
				Flag:    coldseam.Provisional,
				Value:   math.Round(1000*(50+float64(s%17)+10*math.Sin(h/200)+math.Sin(h/3.8))) / 1000,
			}
		}
		out[s] = coldseam.Series{SeriesKey: k, Obs: os}
	}
	return out
}

func upsert(t testing.TB, db *store.DB, ss []coldseam.Series) (int, int) {
	t.Helper()
	a, r, err := db.UpsertSeries(t.Context(), 0, ss)
	require.NoError(t, err)
	return a, r
}

func sqlExec(t testing.TB, p *pgxpool.Pool, sql string, args ...any) {
	t.Helper()
	_, err := p.Exec(t.Context(), sql, args...)
	require.NoError(t, err)
}

func walAt(t testing.TB, p *pgxpool.Pool) int64 {
	t.Helper()
	var n int64
	require.NoError(t, p.QueryRow(t.Context(), `SELECT (pg_current_wal_insert_lsn() - '0/0')::int8`).Scan(&n))
	return n
}

// Storing the same again writes nothing at all. The first read after a load
// sets hint bits and, with checksums on, logs whole pages: hence the VACUUM.
// Background records are not ours: three tries.
// Not parallel: other tests on the server would write in between.
func TestReingestWritesNoWAL(t *testing.T) {
	db := durableDB(t, durableServer(t))
	ss := quarterHours(20, 0, 500, t0)
	a, _ := upsert(t, db, ss)
	require.Equal(t, 10_000, a)
	sqlExec(t, db.Pool(), `VACUUM`)
	sqlExec(t, db.Pool(), `CHECKPOINT`)
	later := quarterHours(20, 0, 500, t0.Add(time.Hour)) // fetched again, known later
	upsert(t, db, later)

	var wrote int64 = -1
	for range 3 {
		before := walAt(t, db.Pool())
		a, r := upsert(t, db, later)
		require.Equal(t, []int{0, 0}, []int{a, r})
		if wrote = walAt(t, db.Pool()) - before; wrote == 0 {
			return
		}
	}

	t.Fatalf("storing the same again wrote %d bytes of WAL", wrote)
}

// A row with known-at and key stays within 95 bytes.
func TestRowSize(t *testing.T) {
	t.Parallel()
	db := durableDB(t, durableServer(t))
	upsert(t, db, quarterHours(20, 0, 2000, t0))
	var heap, key float64
	require.NoError(t, db.Pool().QueryRow(t.Context(), `
		SELECT pg_relation_size('coldseam.observation') / 40000.0, pg_relation_size('coldseam.observation_pkey') / 40000.0`).Scan(&heap, &key))
	t.Logf("heap %.1f + key %.1f = %.1f bytes a row", heap, key, heap+key)
	require.LessOrEqual(t, heap+key, 95.0)
}

// The hot reads go through the key.
func TestPlansUseTheKey(t *testing.T) {
	t.Parallel()
	db := durableDB(t, durableServer(t))
	upsert(t, db, quarterHours(2000, 0, 30, t0)) // so many that a scan costs more than the key
	sqlExec(t, db.Pool(), `ANALYZE`)
	for name, sql := range map[string]string{
		"window": `SELECT o.* FROM coldseam.observation o WHERE o.series_id = 7 AND o.valid_at BETWEEN '2026-03-02' AND '2026-03-03'`,
		"latest": `SELECT * FROM coldseam.latest WHERE series_id = 7`,
		"days":   `SELECT * FROM coldseam.day_summary WHERE series_id = 7 AND day BETWEEN '2026-03-02' AND '2026-03-05'`,
	} {
		rows, err := db.Pool().Query(t.Context(), `EXPLAIN `+sql)
		require.NoError(t, err)
		plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
		require.NoError(t, err)
		require.Contains(t, fmt.Sprint(plan), "pkey", name)
		require.NotContains(t, fmt.Sprint(plan), "Seq Scan", name)
	}
}

// staged is the usual way: copy into a temporary table, keep what changes,
// insert or update. It keeps revisions too, but neither summaries nor newest
// values: those come by the statements after it.
func staged(t testing.TB, p *pgxpool.Pool, ids map[coldseam.SiteID]int32, ss []coldseam.Series, after ...string) {
	t.Helper()

	err := pgx.BeginFunc(t.Context(), p, func(tx pgx.Tx) error {
		if _, err := tx.Exec(t.Context(),
			`CREATE TEMP TABLE incoming (LIKE coldseam.observation) ON COMMIT DROP`); err != nil {
			return err
		}
		if err := copyInto(t.Context(), tx, "incoming", ids, ss); err != nil {
			return err
		}

		if _, err := tx.Exec(t.Context(), `
			INSERT INTO coldseam.observation_revision (valid_at, known_at, superseded_at, value, series_id, flags, qualifier_set)
			SELECT o.valid_at, o.known_at, i.known_at, o.value, o.series_id, o.flags, o.qualifier_set
			FROM incoming i JOIN coldseam.observation o USING (series_id, valid_at)
			WHERE (o.value, o.flags, o.qualifier_set) IS DISTINCT FROM (i.value, i.flags, i.qualifier_set)`); err != nil {
			return err
		}

		if _, err := tx.Exec(t.Context(), `
			INSERT INTO coldseam.observation SELECT * FROM incoming
			ON CONFLICT (series_id, valid_at) DO UPDATE
			SET known_at = excluded.known_at, value = excluded.value, flags = excluded.flags, qualifier_set = excluded.qualifier_set
			WHERE (observation.value, observation.flags, observation.qualifier_set) IS DISTINCT FROM (excluded.value, excluded.flags, excluded.qualifier_set)`); err != nil {
			return err
		}

		for _, sql := range after {
			if _, err := tx.Exec(t.Context(), sql); err != nil {
				return err
			}
		}

		return nil
	})

	require.NoError(t, err)
}

// Upkeep of the newest values and of the day summaries as a staged upsert does
// it, from the temporary table.
const (
	stagedLatest = `
		INSERT INTO coldseam.latest (valid_at, known_at, changed_at, value, series_id, flags)
		SELECT DISTINCT ON (series_id) valid_at, known_at, known_at, value, series_id, flags FROM incoming ORDER BY series_id, valid_at DESC
		ON CONFLICT (series_id) DO UPDATE SET valid_at = excluded.valid_at, known_at = excluded.known_at, changed_at = excluded.changed_at,
			value = excluded.value, flags = excluded.flags
		WHERE excluded.valid_at >= latest.valid_at`
	stagedDays = `
		INSERT INTO coldseam.day_summary (lo, hi, total, series_id, day, n, quarters, flags)
		SELECT min(o.value), max(o.value), sum(o.value), w.series_id, w.day, count(*),
			bit_or((1 << (extract(hour FROM o.valid_at AT TIME ZONE 'UTC')::int / 6))::int2), bit_or(o.flags)
		FROM (SELECT DISTINCT series_id, (valid_at AT TIME ZONE 'UTC')::date AS day FROM incoming) w
		JOIN coldseam.observation o ON o.series_id = w.series_id AND o.valid_at >= w.day::timestamp AT TIME ZONE 'UTC' AND o.valid_at < (w.day + 1)::timestamp AT TIME ZONE 'UTC'
		WHERE o.value IS NOT NULL AND o.flags & 16544 = 0
		GROUP BY w.series_id, w.day
		ON CONFLICT (series_id, day) DO UPDATE
		SET lo = excluded.lo, hi = excluded.hi, total = excluded.total, n = excluded.n, quarters = excluded.quarters, flags = excluded.flags`
)

// summaries is the state of what is kept beside the observations.
func summaries(t testing.TB, p *pgxpool.Pool) string {
	t.Helper()
	var s string
	require.NoError(t, p.QueryRow(t.Context(), `
		SELECT (SELECT concat_ws(' ', count(*), sum(value::numeric), sum(extract(epoch FROM valid_at))) FROM coldseam.latest) || ' | ' ||
		       (SELECT concat_ws(' ', count(*), sum(n), sum(lo::numeric), sum(hi::numeric), sum(round(total::numeric, 6)), sum(quarters), sum(flags)) FROM coldseam.day_summary)`).Scan(&s))
	return s
}

func copyInto(ctx context.Context, tx pgx.Tx, table string, ids map[coldseam.SiteID]int32, ss []coldseam.Series) error {
	s, i := 0, 0
	_, err := tx.CopyFrom(ctx, pgx.Identifier{table}, []string{"valid_at", "known_at", "value", "series_id", "flags",
		"qualifier_set"},
		pgx.CopyFromFunc(func() ([]any, error) {
			for s < len(ss) && i == len(ss[s].Obs) {
				s, i = s+1, 0
			}
			if s == len(ss) {
				return nil, nil
			}
			o := ss[s].Obs[i]
			i++
			return []any{o.At, o.KnownAt, o.Value, ids[ss[s].Site], int16(o.Flag), int16(0)}, nil
		}))
	return err
}

func seriesIDs(t testing.TB, p *pgxpool.Pool) map[coldseam.SiteID]int32 {
	t.Helper()
	rows, err := p.Query(t.Context(), `SELECT site_id, series_id FROM coldseam.series`)
	require.NoError(t, err)
	out := map[coldseam.SiteID]int32{}
	var site coldseam.SiteID
	var id int32
	_, err = pgx.ForEachRow(rows, []any{&site, &id}, func() error { out[site] = id; return nil })
	require.NoError(t, err)
	return out
}

// content is the state of the observation tables for comparing two ways.
func content(t testing.TB, p *pgxpool.Pool) string {
	t.Helper()
	var s string
	require.NoError(t, p.QueryRow(t.Context(), `
		SELECT (SELECT concat_ws(' ', count(*), sum(value::numeric), sum(extract(epoch FROM known_at))) FROM coldseam.observation) || ' | ' ||
		       (SELECT concat_ws(' ', count(*), sum(value::numeric), sum(extract(epoch FROM superseded_at))) FROM coldseam.observation_revision)`).Scan(&s))
	return s
}

// emptied makes the tables as new, with the series known, and warms nothing.
func emptied(t testing.TB, db *store.DB, ss []coldseam.Series) map[coldseam.SiteID]int32 {
	t.Helper()
	first := make([]coldseam.Series, len(ss))
	for i, s := range ss {
		first[i] = coldseam.Series{SeriesKey: s.SeriesKey, Obs: s.Obs[:1]}
	}
	upsert(t, db, first)
	sqlExec(t, db.Pool(), `TRUNCATE coldseam.observation, coldseam.observation_revision, coldseam.latest, coldseam.day_summary, coldseam.qc_change`)
	return seriesIDs(t, db.Pool())
}

// BenchmarkFirstLoad loads series never seen. The floors have no index, no
// summaries and no check: "copyFloor" encodes the rows as every Go program
// would, "rawFloor" sends bytes that were ready before, "rawKey" the same into a
// table with the key, whose upkeep row by row nobody who stays safe can skip.
func BenchmarkFirstLoad(b *testing.B) {
	s := durableServer(b)
	n := benchRows()
	ss := quarterHours(100, 0, n/100, t0)
	var want string

	for _, way := range []string{"staged", "ours", "copyFloor", "rawFloor", "rawKey"} {
		b.Run(way, func(b *testing.B) {
			db := durableDB(b, s)
			var raw []byte
			if strings.HasPrefix(way, "raw") {
				raw = copyBytes(b, db, emptied(b, db, ss), ss)
			}

			for b.Loop() {
				b.StopTimer()
				ids := emptied(b, db, ss)
				if way == "ours" { // a first load meets series it has never seen
					sqlExec(b, db.Pool(), `DELETE FROM coldseam.series`)
				}
				sqlExec(b, db.Pool(), `DROP TABLE IF EXISTS floor; CREATE TABLE floor (LIKE coldseam.observation)`)
				if way == "rawKey" {
					sqlExec(b, db.Pool(), `ALTER TABLE floor ADD PRIMARY KEY (series_id, valid_at)`)
				}
				sqlExec(b, db.Pool(), `CHECKPOINT`)
				b.StartTimer()

				switch way {
				case "staged":
					staged(b, db.Pool(), ids, ss)
				case "ours":
					upsert(b, db, ss)
				case "copyFloor":
					require.NoError(b, pgx.BeginFunc(b.Context(), db.Pool(), func(tx pgx.Tx) error {
						return copyInto(b.Context(), tx, "floor", ids, ss)
					}))
				case "rawFloor", "rawKey":
					require.NoError(b, pgx.BeginFunc(b.Context(), db.Pool(), func(tx pgx.Tx) error {
						_, err := tx.Conn().PgConn().CopyFrom(b.Context(), bytes.NewReader(raw),
							`COPY floor FROM STDIN (FORMAT binary)`)
						return err
					}))
				}
			}

			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
			if way != "staged" && way != "ours" {
				require.Equal(b, n, count(b, db, `SELECT count(*) FROM floor`))
				return
			}
			if want == "" {
				want = content(b, db.Pool())
			}
			require.Equal(b, want, content(b, db.Pool()))
		})
	}
}

// copyBytes are the rows as one binary COPY.
func copyBytes(t testing.TB, db *store.DB, ids map[coldseam.SiteID]int32, ss []coldseam.Series) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, pgx.BeginFunc(t.Context(), db.Pool(), func(tx pgx.Tx) error {
		if _, err := tx.Exec(t.Context(),
			`CREATE TEMP TABLE ready (LIKE coldseam.observation) ON COMMIT DROP`); err != nil {
			return err
		}
		if err := copyInto(t.Context(), tx, "ready", ids, ss); err != nil {
			return err
		}
		_, err := tx.Conn().PgConn().CopyTo(t.Context(), &out, `COPY ready TO STDOUT (FORMAT binary)`)
		return err
	}))
	return out.Bytes()
}

func BenchmarkReingest(b *testing.B) {
	s := durableServer(b)
	n := benchRows()
	ss := quarterHours(100, 0, n/100, t0)

	for _, way := range []string{"staged", "ours"} {
		b.Run(way, func(b *testing.B) {
			db := durableDB(b, s)
			upsert(b, db, ss)
			sqlExec(b, db.Pool(), `VACUUM ANALYZE`)
			ids := seriesIDs(b, db.Pool())
			before := content(b, db.Pool())
			sqlExec(b, db.Pool(), `CHECKPOINT`)
			wal := walAt(b, db.Pool())

			for b.Loop() {
				if way == "ours" {
					upsert(b, db, ss)
				} else {
					staged(b, db.Pool(), ids, ss)
				}
			}
			b.ReportMetric(float64(walAt(b, db.Pool())-wal)/float64(b.N*n), "WAL-B/row")
			require.Equal(b, before, content(b, db.Pool()))
		})
	}
}

// BenchmarkIncrement stores 20 rows of each of 1,000 series, half of them
// known and 1 % corrected, on top of a history. "ours" keeps day summaries and
// newest values too; "stagedLatest" and "stagedWhole" show what one and both
// cost the usual way, and "stagedWhole" must end with the same of all.
func BenchmarkIncrement(b *testing.B) {
	s := durableServer(b)
	const series, history = 1000, 200
	base := quarterHours(series, 0, history, t0)
	step := func(i int) []coldseam.Series {
		known := t0.Add(time.Duration(i+1) * time.Hour)
		ss := quarterHours(series, history-10+10*i, 20, known)
		for k := range ss {
			if k%5 == 0 { // one of 20 rows of every fifth series
				ss[k].Obs[3].Value += 1 + float64(i)
			}
		}
		return ss
	}
	var contents, sums []string

	for _, way := range []string{"perSeries", "staged", "stagedLatest", "stagedWhole", "ours"} {
		b.Run(way, func(b *testing.B) {
			db := durableDB(b, s)
			upsert(b, db, base)
			sqlExec(b, db.Pool(), `VACUUM ANALYZE`)
			ids := seriesIDs(b, db.Pool())
			i := 0

			for b.Loop() {
				b.StopTimer()
				ss := step(i)
				sqlExec(b, db.Pool(), `CHECKPOINT`)
				b.StartTimer()

				switch way {
				case "ours":
					upsert(b, db, ss)
				case "staged":
					staged(b, db.Pool(), ids, ss)
				case "stagedLatest":
					staged(b, db.Pool(), ids, ss, stagedLatest)
				case "stagedWhole":
					staged(b, db.Pool(), ids, ss, stagedLatest, stagedDays)
				case "perSeries":
					for k := range ss {
						staged(b, db.Pool(), ids, ss[k:k+1])
					}
				}

				if i == 0 {
					b.StopTimer()
					contents = append(contents, content(b, db.Pool()))
					require.Equal(b, contents[0], contents[len(contents)-1])
					if way == "stagedWhole" || way == "ours" {
						sums = append(sums, summaries(b, db.Pool()))
						require.Equal(b, sums[0], sums[len(sums)-1])
					}
					b.StartTimer()
				}

				i++
			}
		})
	}
}

// BenchmarkLatest asks for the newest value of every series: of all by a sum in
// the database, and, as a page of the service does, brought here ("rows").
func BenchmarkLatest(b *testing.B) {
	db := durableDB(b, durableServer(b))
	const series = 5000
	for at, n := 0, max(benchRows()/series, 50); at < n; at += 100 {
		upsert(b, db, quarterHours(series, at, min(100, n-at), t0))
	}
	sqlExec(b, db.Pool(), `VACUUM ANALYZE`)
	const table = `SELECT series_id, valid_at, value FROM coldseam.latest`
	var want string

	for _, way := range []struct{ name, sql string }{
		{"distinct", `SELECT DISTINCT ON (series_id) series_id, valid_at, value FROM coldseam.observation ORDER BY series_id, valid_at DESC`},
		{"lateral", `SELECT s.series_id, o.valid_at, o.value FROM coldseam.series s CROSS JOIN LATERAL (
			SELECT valid_at, value FROM coldseam.observation o WHERE o.series_id = s.series_id ORDER BY valid_at DESC LIMIT 1) o`},
		{"table", table},
	} {
		b.Run(way.name, func(b *testing.B) {
			var got string
			for b.Loop() {
				require.NoError(b,
					db.Pool().QueryRow(b.Context(),
						`SELECT concat_ws(' ', count(*), sum(value::numeric), max(valid_at)) FROM (`+way.sql+
							`) x`).Scan(&got))
			}
			if want == "" {
				want = got
			}
			require.Equal(b, want, got)
		})
	}

	b.Run("rows", func(b *testing.B) {
		n := 0
		for b.Loop() {
			n = 0
			rows, err := db.Pool().Query(b.Context(), table)
			require.NoError(b, err)
			var id int32
			var at time.Time
			var v float64
			_, err = pgx.ForEachRow(rows, []any{&id, &at, &v}, func() error { n++; return nil })
			require.NoError(b, err)
		}

		require.Equal(b, series, n)
	})
}

func BenchmarkClimatology(b *testing.B) {
	db := durableDB(b, durableServer(b))
	k := coldseam.SeriesKey{
		Site:     "sim:tamsen",
		Param:    coldseam.Discharge,
		Stat:     coldseam.Mean,
		Period:   "P1D",
		Provider: "sim",
	}
	var os []coldseam.Observation
	for d := (coldseam.Date{Year: 1990, Month: 1, Day: 1}); d.Year < 2020; d = d.Add(1) {
		os = append(os, coldseam.Observation{At: d.Add(1).UTC(), KnownAt: t0,
			Value: 50 + 30*math.Sin(float64(d.YearDay())/58) + float64(d.Year%7)})
	}
	upsert(b, db, []coldseam.Series{{SeriesKey: k, Obs: os}})
	require.NoError(b, db.BuildClimatology(b.Context(), k.Site, k.Param, t0))
	sqlExec(b, db.Pool(), `VACUUM ANALYZE`)

	day := coldseam.Date{Year: 2026, Month: 4, Day: 1}
	var fromTable, fromDays float64
	b.Run("window", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, db.Pool().QueryRow(b.Context(), `
				SELECT percentile_cont(0.5) WITHIN GROUP (ORDER BY total / n) FROM coldseam.day_summary
				WHERE extract(doy FROM make_date(2000, extract(month FROM day)::int, extract(day FROM day)::int)) BETWEEN 92 - 15 AND 92 + 15`).Scan(&fromDays))
		}
	})
	b.Run("table", func(b *testing.B) {
		for b.Loop() {
			c, err := db.Climatology(b.Context(), k.Site, k.Param, day, t0)
			require.NoError(b, err)
			fromTable = c.Q[4]
		}
	})
	require.InDelta(b, fromDays, fromTable, 1e-4)
}

// BenchmarkRecap asks for days, mean and extremes by month and site, and for
// the first page of a season's recap through the readers' view.
func BenchmarkRecap(b *testing.B) {
	db := durableDB(b, durableServer(b))
	const series = 20
	for at, n := 0, max(benchRows()/series, 1000); at < n; at += 10_000 {
		upsert(b, db, quarterHours(series, at, min(10_000, n-at), t0))
	}
	for i := range series {
		r := bend
		r.ID, r.Site = coldseam.ReachID(fmt.Sprintf("r%d", i)), coldseam.SiteID(fmt.Sprintf("sim:s%04d", i))
		require.NoError(b, db.PutReach(b.Context(), r, chief))
	}

	sqlExec(b, db.Pool(), `VACUUM ANALYZE`)
	b.Logf("%d rows, %d days", count(b, db, `SELECT count(*) FROM coldseam.observation`),
		count(b, db, `SELECT count(*) FROM coldseam.day_summary`))
	const sums = `SELECT concat_ws(' ', count(*), sum(n), round(sum(mean)::numeric, 6), sum(lo::numeric), sum(hi::numeric)) FROM (`
	var want string

	for _, way := range []struct{ name, sql string }{
		{"raw", `SELECT s.site_id, to_char(o.valid_at AT TIME ZONE 'UTC', 'YYYY-MM') AS month, count(*) AS n, avg(value) AS mean, min(value) AS lo, max(value) AS hi
			FROM coldseam.observation o JOIN coldseam.series s USING (series_id) WHERE value IS NOT NULL AND o.flags & 16544 = 0 GROUP BY 1, 2`},
		{"summary", `SELECT s.site_id, to_char(d.day, 'YYYY-MM') AS month, sum(n) AS n, sum(total) / sum(n) AS mean, min(lo) AS lo, max(hi) AS hi
			FROM coldseam.day_summary d JOIN coldseam.series s USING (series_id) GROUP BY 1, 2`},
	} {
		b.Run(way.name, func(b *testing.B) {
			var got string
			for b.Loop() {
				require.NoError(b, db.Pool().QueryRow(b.Context(), sums+way.sql+`) x`).Scan(&got))
			}
			if want == "" {
				want = got
			}
			require.Equal(b, want, got)
		})
	}

	for _, way := range []struct{ name, sql string }{
		{"viewOneSeason", `SELECT count(*) FROM (SELECT reach_id, band, count(*), avg(discharge_m3s) FROM season.daily WHERE reach_id = 'r3' AND season = 2026 GROUP BY 1, 2) x`},
		{"viewAllRivers", `SELECT count(*) FROM (SELECT reach_id, to_char(day, 'YYYY-MM'), count(*), avg(discharge_m3s) FROM season.daily GROUP BY 1, 2) x`},
	} {
		b.Run(way.name, func(b *testing.B) {
			var got int
			for b.Loop() {
				require.NoError(b, db.Pool().QueryRow(b.Context(), way.sql).Scan(&got))
			}
			require.Positive(b, got)
		})
	}
}

// BenchmarkDailyFrame reads 30 years of daily flow and temperature, as every
// forecast of a morning does.
func BenchmarkDailyFrame(b *testing.B) {
	db := durableDB(b, durableServer(b))
	for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.WaterTemp} {
		k := coldseam.SeriesKey{Site: "sim:tamsen", Param: p, Stat: coldseam.Mean, Period: "P1D", Provider: "sim"}
		var os []coldseam.Observation
		for d := (coldseam.Date{Year: 1990, Month: 1, Day: 1}); d.Year < 2020; d = d.Add(1) {
			os = append(os, coldseam.Observation{At: d.Add(1).UTC(), KnownAt: t0,
				Value: 5 + 3*math.Sin(float64(d.YearDay())/58)})
		}
		upsert(b, db, []coldseam.Series{{SeriesKey: k, Obs: os}})
	}

	sqlExec(b, db.Pool(), `VACUUM ANALYZE`)
	var live, replay coldseam.Days
	var err error
	for _, way := range []struct {
		name string
		asOf time.Time
		to   *coldseam.Days
	}{{"live", t0, &live}, {"replay", t0.Add(-time.Hour), &replay}} {
		b.Run(way.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				*way.to, err = db.DailyFrame(b.Context(), "sim:tamsen", "", "", way.asOf, "UTC",
					store.AssumeLag(time.Hour, 24*time.Hour))
				require.NoError(b, err)
			}
		})
	}

	require.Equal(b, live, replay)
}
