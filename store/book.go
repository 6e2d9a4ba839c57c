package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// bookKey are the columns that name a cell of the book.
const bookKey = `dimension, season, reach_id, species, cell`

// sqlPublishBook renews the cells that three different anglers have moved, and
// keeps none of fewer: a cell that came with one trip would tell of it. A
// pseudonym that changed counts once: the larger of those who came and those who
// went.
var sqlPublishBook = []string{
	`CREATE TEMP TABLE book_new ON COMMIT DROP AS SELECT * FROM coldseam.book_now`,
	`CREATE TEMP TABLE book_move ON COMMIT DROP AS
	 SELECT ` + bookKey + `
	 FROM book_new n FULL JOIN coldseam.book_row o USING (` + bookKey + `, source)
	 WHERE (n.who, n.day, n.line_hours, n.fish, n.stayed, n.by_mail, n.held, n.discharge_m3s)
	   IS DISTINCT FROM (o.who, o.day, o.line_hours, o.fish, o.stayed, o.by_mail, o.held, o.discharge_m3s)
	 GROUP BY ` + bookKey + `
	 HAVING GREATEST(count(DISTINCT NULLIF(n.who, '')), count(DISTINCT NULLIF(o.who, ''))) >= 3`,
	`DELETE FROM coldseam.book_row o USING book_move m WHERE (o.dimension, o.season, o.reach_id, o.species, o.cell) =
	   (m.dimension, m.season, m.reach_id, m.species, m.cell)`,
	`INSERT INTO coldseam.book_row (` + bookKey + `, source, who, day, line_hours, fish, stayed, by_mail, held, discharge_m3s)
	 SELECT ` + bookKey + `, source, who, day, line_hours, fish, stayed, by_mail, held, discharge_m3s
	 FROM book_new JOIN book_move USING (` + bookKey + `)
	 WHERE (` + bookKey + `) IN (SELECT ` + bookKey + ` FROM book_new GROUP BY ` + bookKey + ` HAVING count(DISTINCT NULLIF(who, '')) >= 3)`,
}

// PublishTrips brings what the season views show of the trip log up to date, as
// far as no change of fewer than three anglers can be seen in it.
func (db *DB) PublishTrips(ctx context.Context) error {
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtext('book'))`); err != nil {
			return err
		}
		for _, sql := range sqlPublishBook {
			if _, err := tx.Exec(ctx, sql); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("publish the book: %w", classify(err))
	}
	return nil
}
