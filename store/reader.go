package store

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"example.org/coldseam"
)

// ReaderConn is a connection that was opened as the readers' role, so that no
// statement can do more than that role may.
type ReaderConn struct{ c *pgx.Conn }

// OpenReader connects; ErrRejected: as somebody else than the reader.
func OpenReader(ctx context.Context, dsn string) (*ReaderConn, error) {
	c, err := pgx.Connect(ctx, dsn)
	if err != nil {
		return nil, fmt.Errorf("connect as %s: %w", Reader, classify(err))
	}
	var who string
	err = c.QueryRow(ctx, `SELECT session_user::text`).Scan(&who)
	if err == nil && who == Reader {
		// JSON stays the text that Postgres writes.
		c.TypeMap().RegisterType(&pgtype.Type{Name: "jsonb", OID: pgtype.JSONBOID,
			Codec: &pgtype.TextFormatOnlyCodec{Codec: pgtype.TextCodec{}}})
		return &ReaderConn{c}, nil
	}
	c.Close(ctx)
	if err != nil {
		return nil, fmt.Errorf("connect as %s: %w", Reader, classify(err))
	}
	return nil, fmt.Errorf("connected as %s, want %s: %w", who, Reader, coldseam.ErrRejected)
}

// Close ends the connection.
func (r *ReaderConn) Close() { r.c.Close(context.Background()) }

// Answer is a table as Postgres writes it.
type Answer struct {
	Columns []string
	Rows    [][]string // null is ""
	More    bool       // rows were left out
}

// Ask runs one statement and reads up to most rows.
func (r *ReaderConn) Ask(ctx context.Context, sql string, most int) (Answer, error) {
	return answer(ctx, r.c, sql, most)
}

// Ask runs one statement of ours with the rights of a reader.
func (db *DB) Ask(ctx context.Context, sql string, most int) (out Answer, err error) {
	err = db.asReader(ctx, func(tx pgx.Tx) error {
		out, err = answer(ctx, tx, sql, most)
		return err
	})
	return out, err
}

func answer(ctx context.Context, q querier, sql string, most int) (out Answer, err error) {
	rows, err := q.Query(ctx, sql, pgx.QueryExecModeExec) // one statement, text form
	if err != nil {
		return Answer{}, fmt.Errorf("ask season: %w", classify(err))
	}
	for _, f := range rows.FieldDescriptions() {
		out.Columns = append(out.Columns, f.Name)
	}

	for rows.Next() {
		if len(out.Rows) == most {
			out.More = true
			break
		}
		var row []string
		for _, v := range rows.RawValues() {
			row = append(row, string(v))
		}
		out.Rows = append(out.Rows, row)
	}

	rows.Close()
	if err := rows.Err(); err != nil {
		return Answer{}, fmt.Errorf("ask season: %w", classify(err))
	}
	return out, nil
}

// CopyCSV writes a view as CSV with its header.
func (r *ReaderConn) CopyCSV(ctx context.Context, w io.Writer, view string) error {
	_, err := r.c.PgConn().CopyTo(ctx, w, `COPY (SELECT * FROM `+pgx.Identifier{"season", view}.Sanitize()+
		`) TO STDOUT WITH (FORMAT csv, HEADER)`)
	if err != nil {
		return fmt.Errorf("view %s: %w", view, classify(err))
	}
	return nil
}

// EachRow gives the rows of a view as int64, float64, bool, time.Time, string or
// nil.
func (r *ReaderConn) EachRow(ctx context.Context, view string, f func([]any) error) error {
	rows, err := r.c.Query(ctx, `SELECT * FROM `+pgx.Identifier{"season", view}.Sanitize())
	if err != nil {
		return fmt.Errorf("view %s: %w", view, classify(err))
	}
	defer rows.Close()
	for rows.Next() {
		vs, err := rows.Values()
		if err != nil {
			return fmt.Errorf("view %s: %w", view, err)
		}
		for i := range vs {
			vs[i] = plainValue(vs[i])
		}
		if err := f(vs); err != nil {
			return err
		}
	}
	return rows.Err()
}

func plainValue(v any) any {
	switch v := v.(type) {
	case nil, int64, float64, bool, string, time.Time:
		return v
	case int16:
		return int64(v)
	case int32:
		return int64(v)
	case float32:
		return float64(v)
	case pgtype.Numeric:
		if f, err := v.Float64Value(); err == nil && f.Valid {
			return f.Float64
		}
		return nil
	}
	return fmt.Sprint(v)
}
