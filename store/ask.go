package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// ask reads rows of T, matched by column name, with the rights of a reader and
// no others: whatever the query names beyond schema season is refused, and so
// is whatever writes. ErrInvalid: the query.
func ask[T any](ctx context.Context, db *DB, sql string, args ...any) ([]T, error) {
	var out []T
	err := db.asReader(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sql, args...)
		if err != nil {
			return err
		}
		out, err = pgx.CollectRows(rows, pgx.RowToStructByName[T])
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("ask season: %w", classify(err))
	}
	return out, nil
}

// asReader runs f in a read-only transaction as the readers' role. Where the
// program's own role may not become the reader (an admin's database in which
// it is not a member), the read-only transaction alone guards: our own
// questions name nothing but season.
func (db *DB) asReader(ctx context.Context, f func(tx pgx.Tx) error) error {
	return pgx.BeginTxFunc(ctx, db.pool, pgx.TxOptions{AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		err := pgx.BeginFunc(ctx, tx, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, `SET LOCAL ROLE season_reader`)
			return err
		})
		var pe *pgconn.PgError
		if err != nil && !(errors.As(err, &pe) && pe.Code == "42501") {
			return err
		}
		if _, err := tx.Exec(ctx, `SET LOCAL statement_timeout = '15s'; SET LOCAL search_path = season`); err != nil {
			return err
		}
		return f(tx)
	})
}
