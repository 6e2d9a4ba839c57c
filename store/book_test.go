package store_test

import (
	"context"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// bookOf is every row that the views show of the trip log, hidden ones too.
func bookOf(t *testing.T, db *store.DB) []string {
	t.Helper()
	require.NoError(t, db.PublishTrips(t.Context()))
	rows, err := db.Pool().Query(t.Context(), `
		SELECT 'trip ' || x::text FROM season.trip x UNION ALL SELECT 'weight ' || x::text FROM season.weight x UNION ALL SELECT 'call ' || x::text FROM season.call x
		UNION ALL SELECT 'morning ' || x::text FROM season.morning x UNION ALL SELECT 'wave ' || x::text FROM season.wave x
		UNION ALL SELECT 'roaming ' || x::text FROM season.roaming x UNION ALL SELECT 'stop ' || x::text FROM season.stop x ORDER BY 1`)
	require.NoError(t, err)
	out, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	return out
}

// Looking before and after what one or two members do shows no difference, in no row and no
// count of rows. What a third one does moves the cells that all three moved.
func TestNoSingleTripByDifference(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	day := func(n int) coldseam.Date { return coldseam.Date{Year: 2026, Month: 4, Day: n} }
	held := true
	trip := func(id int64, n, fish int) coldseam.Trip {
		return coldseam.Trip{Reach: "bend", Subscriber: id, Date: day(n), Hours: 3, Lines: 1, Species: "walleye", Fish: fish,
			WeightOz: .25, Held: &held, SpotID: "seam", Presentation: "vertical", Source: "form"}
	}

	var ids []int64
	for i := range 9 {
		s, _, err := db.AddSubscriber(ctx, fmt.Sprintf("m%d@club.example.org", i), "", coldseam.Preferences{Zone: "America/Chicago", InBook: i < 6})
		require.NoError(t, err)
		ids = append(ids, s.ID)
		for n := 1; n <= 4; n++ {
			require.NoError(t, db.ReplaceTrip(ctx, trip(s.ID, n, i)))
		}
	}
	for n := 1; n <= 5; n++ {
		b := aBrief(day(n).UTC().Add(9*time.Hour), coldseam.Go)
		b.Day = day(n)
		_, err := db.SaveBrief(ctx, b)
		require.NoError(t, err)
	}
	before := bookOf(t, db)
	require.Contains(t, before, "trip (all,2026,bend,walleye,all,6,24,72,60,0.83,f,0,4)", "those who did not say so are not counted")
	exec := func(sql string) {
		_, err := db.Pool().Exec(ctx, sql)
		require.NoError(t, err, sql)
	}
	exec(`CREATE TABLE coldseam.trip_kept AS SELECT * FROM coldseam.trip`)

	attacks := map[string]func(){}
	log := func(name string, id int64, change func(*coldseam.Trip)) {
		attacks[name] = func() {
			x := trip(id, 5, 9)
			change(&x)
			require.NoError(t, db.ReplaceTrip(ctx, x))
		}
	}
	for name, change := range map[string]func(*coldseam.Trip){
		"a new day": func(*coldseam.Trip) {}, "a day of others": func(x *coldseam.Trip) { x.Date = day(2) },
		"no fish": func(x *coldseam.Trip) { x.Fish = 0 }, "a long trip": func(x *coldseam.Trip) { x.Hours = 14 },
		"a new weight": func(x *coldseam.Trip) { x.WeightOz = .5 }, "no weight": func(x *coldseam.Trip) { x.WeightOz, x.Held = 0, nil },
		"lost bottom":     func(x *coldseam.Trip) { h := false; x.Held = &h },
		"another spot":    func(x *coldseam.Trip) { x.SpotID = "hole" },
		"another species": func(x *coldseam.Trip) { x.Species = "sauger" },
		"another method":  func(x *coldseam.Trip) { x.Presentation = "drag" },
		"did not go": func(x *coldseam.Trip) {
			y := true
			x.WentNot, x.BecauseMail, x.Hours, x.Lines, x.Fish = true, &y, 0, 0, 0
		},
		"last year":        func(x *coldseam.Trip) { x.Date.Year = 2025 },
		"another month":    func(x *coldseam.Trip) { x.Date.Month = time.May },
		"another week":     func(x *coldseam.Trip) { x.Date.Day = 25 },
		"before light":     func(x *coldseam.Trip) { x.Start, x.Night = x.Date.UTC().Add(9*time.Hour), true },
		"muddy water":      func(x *coldseam.Trip) { x.Clarity = "muddy" },
		"an old trip anew": func(x *coldseam.Trip) { x.Date, x.Hours = day(4), 9 },
		"nothing but a day": func(x *coldseam.Trip) {
			*x = coldseam.Trip{Reach: x.Reach, Subscriber: x.Subscriber, Date: x.Date, Species: x.Species, Source: x.Source}
		},
	} {
		log(name, ids[0], change)
		log(name+", by one who is not counted", ids[6], change)
	}
	for name, f := range map[string]func(){
		"a tick set": func() {
			require.NoError(t, db.SetPrefs(ctx, ids[6], coldseam.Preferences{Zone: "America/Chicago", InBook: true}))
		},
		"a tick taken back":          func() { require.NoError(t, db.SetPrefs(ctx, ids[0], coldseam.Preferences{Zone: "America/Chicago"})) },
		"two ticks set":              func() { attackTwo(ctx, t, db, ids[6:8], true) },
		"two ticks taken back":       func() { attackTwo(ctx, t, db, ids[:2], false) },
		"a trip struck by the admin": func() { exec(`DELETE FROM coldseam.trip WHERE trip_id = (SELECT min(trip_id) FROM coldseam.trip)`) },
		"a paper trip": func() {
			x := trip(0, 5, 30)
			x.Angler, x.Source = "paper", "csv"
			_, _, err := db.AddTrip(ctx, x)
			require.NoError(t, err)
		},
		"a rig log alone": func() {
			_, _, err := db.AddRigLog(ctx, store.RigLog{Reach: "bend", Spot: "seam", At: day(3).UTC(), Angler: "rig", WeightOz: .25})
			require.NoError(t, err)
		},
		"two with a weight of their own": func() {
			for _, id := range ids[:2] {
				x := trip(id, 5, 2)
				x.WeightOz = .75
				require.NoError(t, db.ReplaceTrip(ctx, x))
			}
		},
		"two of a rare species": func() {
			for _, id := range ids[:2] {
				x := trip(id, 5, 1)
				x.Species = "sauger"
				require.NoError(t, db.ReplaceTrip(ctx, x))
			}
		},
		"a tick set, a look, and taken back": func() {
			attackTwo(ctx, t, db, ids[6:7], true)
			require.Equal(t, before, bookOf(t, db))
			attackTwo(ctx, t, db, ids[6:7], false)
		},
		"one on each day": func() {
			for n := 1; n <= 28; n++ {
				require.NoError(t, db.ReplaceTrip(ctx, trip(ids[6], n, 1)))
			}
		},
		"a member who is forgotten": func() { require.NoError(t, db.Forget(ctx, ids[8])) },
	} {
		attacks[name] = f
	}
	require.GreaterOrEqual(t, len(attacks), 45)

	for name, f := range attacks {
		f()
		require.Equal(t, before, bookOf(t, db), name)
		exec(`DELETE FROM coldseam.rig_log`)
		exec(`DELETE FROM coldseam.trip`)
		exec(`INSERT INTO coldseam.trip OVERRIDING SYSTEM VALUE SELECT * FROM coldseam.trip_kept k
			WHERE subscriber_id IS NULL OR EXISTS (SELECT FROM coldseam.subscriber s WHERE s.subscriber_id = k.subscriber_id)`)
		attackTwo(ctx, t, db, ids[:2], true)
		attackTwo(ctx, t, db, ids[6:8], false)
		exec(`UPDATE coldseam.trip t SET in_book = k.in_book FROM coldseam.trip_kept k WHERE k.trip_id = t.trip_id`)
		require.Equal(t, before, bookOf(t, db), "after "+name)
	}

	for i := range 3 {
		require.NoError(t, db.ReplaceTrip(ctx, trip(ids[i], 5, 9)))
	}
	after := bookOf(t, db)
	require.Contains(t, after, "trip (all,2026,bend,walleye,all,6,27,81,87,1.07,f,0,4)", "three new ones are published")

	// Who leaves altogether leaves no trace in it either.
	require.NoError(t, db.Forget(ctx, ids[5]))
	require.Equal(t, after, bookOf(t, db))
}

func attackTwo(ctx context.Context, t *testing.T, db *store.DB, ids []int64, in bool) {
	t.Helper()
	for _, id := range ids {
		require.NoError(t, db.SetPrefs(ctx, id, coldseam.Preferences{Zone: "America/Chicago", InBook: in}))
	}
}

// TestTheBookIsQuick asks the whole cookbook of ten reaches and five seasons: five
// seconds of the server's own time, whatever else the machine does.
func TestTheBookIsQuick(t *testing.T) {
	url, db := lockedDown(t)
	seedSeason(t, db)
	ctx := t.Context()
	c := readerConn(t, url)
	exec := func(sql string) {
		_, err := db.Pool().Exec(ctx, sql)
		require.NoError(t, err, sql)
	}
	for i := range 9 {
		exec(fmt.Sprintf(`INSERT INTO coldseam.site SELECT (s).* FROM (SELECT jsonb_populate_record(s, '{"site_id": "sim:%[1]d", "code": "%[1]d"}') AS s FROM coldseam.site s WHERE site_id = 'sim:tamsen') x`, i))
		exec(fmt.Sprintf(`INSERT INTO coldseam.reach SELECT (r).* FROM (SELECT jsonb_populate_record(r, '{"reach_id": "reach%[1]d", "site_id": "sim:%[1]d"}') AS r FROM coldseam.reach r WHERE reach_id = 'bend') x`, i))
		exec(fmt.Sprintf(`INSERT INTO coldseam.series OVERRIDING SYSTEM VALUE SELECT (s).* FROM (
			SELECT jsonb_populate_record(s, jsonb_build_object('site_id', 'sim:%[1]d', 'series_id', s.series_id + %[2]d)) AS s FROM coldseam.series s WHERE site_id = 'sim:tamsen') x`, i, 1000*(i+1)))
		exec(fmt.Sprintf(`INSERT INTO coldseam.day_summary SELECT (d).* FROM (
			SELECT jsonb_populate_record(d, jsonb_build_object('series_id', d.series_id + %d)) AS d FROM coldseam.day_summary d WHERE d.series_id < 1000 AND d.day >= '2022-01-01') x`, 1000*(i+1)))
		exec(fmt.Sprintf(`INSERT INTO coldseam.climatology SELECT (k).* FROM (SELECT jsonb_populate_record(k, '{"site_id": "sim:%d"}') AS k FROM coldseam.climatology k WHERE site_id = 'sim:tamsen') x`, i))
		for y := range 5 {
			exec(fmt.Sprintf(`INSERT INTO coldseam.brief OVERRIDING SYSTEM VALUE SELECT (b).* FROM (
				SELECT jsonb_populate_record(b, jsonb_build_object('reach_id', 'reach%[1]d', 'brief_id', b.brief_id + %[2]d, 'day', b.day - interval '%[3]d years', 'issued_at', b.issued_at - interval '%[3]d years', 'seal', NULL)) AS b
				FROM coldseam.brief b WHERE reach_id = 'bend') x`, i, 100_000*(5*i+y+1), y))
		}
	}
	exec(`ANALYZE`)

	book, err := os.ReadFile("../deploy/cookbook.md")
	require.NoError(t, err)
	blocks := regexp.MustCompile("(?ms)^```sql\n(.*?)^```").FindAllStringSubmatch(string(book), -1)
	require.Greater(t, len(blocks), 25)
	var pid int
	require.NoError(t, c.QueryRow(ctx, `SELECT pg_backend_pid()`).Scan(&pid))
	used := func() time.Duration { // of the backend, in hundredths of a second
		raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			t.Skip("the server is on another machine")
		}
		f := strings.Fields(string(raw[strings.LastIndexByte(string(raw), ')'):]))
		user, err := strconv.Atoi(f[12])
		require.NoError(t, err)
		return time.Duration(user) * 10 * time.Millisecond
	}

	began, slowest, slow := used(), time.Duration(0), ""
	for _, b := range blocks {
		sql := strings.NewReplacer(":season", "2026", ":'reach'", "'bend'").Replace(b[1])
		at := used()
		_, err := c.Exec(ctx, sql)
		require.NoError(t, err, sql)
		if d := used() - at; d > slowest {
			slowest, slow = d, sql
		}
	}
	t.Logf("%d questions in %v, the slowest %v: %s", len(blocks), used()-began, slowest, slow)
	require.Less(t, used()-began, 5*time.Second)
}
