package store

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
)

// Meaning is one column of schema season.
type Meaning struct {
	View, ViewMeaning, Column, Type, Meaning, Unit, Source string
}

// Dictionary lists every view and column of schema season with its comment,
// by view and place.
func (db *DB) Dictionary(ctx context.Context) ([]Meaning, error) {
	rows, err := db.pool.Query(ctx,
		`SELECT view_name, view_meaning, column_name, type, meaning, unit, source FROM season.dictionary ORDER BY view_name, place`)
	if err != nil {
		return nil, fmt.Errorf("dictionary: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Meaning])
	if err != nil {
		return nil, fmt.Errorf("dictionary: %w", classify(err))
	}
	return out, nil
}

// DictionaryText writes the data dictionary as Markdown.
func DictionaryText(ms []Meaning) string {
	var b strings.Builder
	b.WriteString("# Data dictionary of schema `season`\n\nMade from the comments in the database; the same rows are in `season.dictionary`.\n")
	view := ""
	cell := strings.NewReplacer("|", `\|`, "\n", " ")
	for _, m := range ms {
		if m.View != view {
			view = m.View
			fmt.Fprintf(&b, "\n## %s\n\n%s\n\n| column | type | unit | meaning | source |\n|---|---|---|---|---|\n", view, m.ViewMeaning)
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", m.Column, m.Type, m.Unit, cell.Replace(m.Meaning), m.Source)
	}
	return b.String()
}
