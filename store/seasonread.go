package store

import "context"

// Seasons are the years with a brief or a trip, in order.
func (db *DB) Seasons(ctx context.Context) (out []int, err error) {
	got, err := ask[struct{ Season int }](ctx, db, `
		SELECT season FROM season.brief UNION SELECT season FROM season.trip ORDER BY season`)
	for _, x := range got {
		out = append(out, x.Season)
	}
	return out, err
}

// Normal names a quantity of a gauge.
type Normal struct{ Site, Param string }

// Normals lists the quantities of which it is known what is usual for the date.
func (db *DB) Normals(ctx context.Context) ([]Normal, error) {
	return ask[Normal](ctx, db, `SELECT DISTINCT site_id AS site, param FROM season.normal`)
}
