package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// LoggedDay is what the trip log, as far as the book counts it, says of one reach, day and species, of those
// who went or of those who stayed. It holds no person: Who numbers the anglers
// of this one answer, so that a caller can tell how many different ones stand
// behind a cell before it shows the cell to anybody.
type LoggedDay struct {
	Reach     coldseam.ReachID
	Day       coldseam.Date
	Species   string
	Stayed    bool // "did not go"
	Trips     int
	ZeroTrips int
	LineHours float64 // hours times lines; lines not said = anglers
	Fish      int
	ByMail    int   // of the trips, those because of the mail
	Who       []int // different anglers, from 1; without those whose name is not known
}

const sqlLoggedDays = `
WITH trips AS (
  SELECT *, CASE WHEN who <> '' THEN dense_rank() OVER (ORDER BY md5(who || $4)) END AS number
  FROM coldseam.book_open
  WHERE dimension = 'all' AND ($1 = '' OR reach_id = $1) AND day BETWEEN $2 AND $3)
SELECT reach_id, day, species, stayed, count(*)::int, (count(*) FILTER (WHERE fish = 0))::int,
  COALESCE(sum(line_hours), 0)::float8, COALESCE(sum(fish), 0)::int,
  (count(*) FILTER (WHERE by_mail))::int, COALESCE(array_agg(DISTINCT number::int) FILTER (WHERE number IS NOT NULL), '{}')
FROM trips
GROUP BY reach_id, day, species, stayed
ORDER BY day, reach_id, species, stayed`

// LoggedDays lists the log of a reach ("" = all) in [from, to] by day. The
// numbers of the anglers are dealt anew for each call.
func (db *DB) LoggedDays(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date) ([]LoggedDay, error) {
	rows, err := db.pool.Query(ctx, sqlLoggedDays, reach, from.UTC(), to.UTC(), time.Now().String())
	if err != nil {
		return nil, fmt.Errorf("logged days: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (d LoggedDay, err error) {
		var day *time.Time
		err = r.Scan(&d.Reach, &day, &d.Species, &d.Stayed, &d.Trips, &d.ZeroTrips, &d.LineHours, &d.Fish, &d.ByMail,
			&d.Who)
		d.Day = dateOf(day)
		return d, err
	})
	if err != nil {
		return nil, fmt.Errorf("logged days: %w", classify(err))
	}
	return out, nil
}
