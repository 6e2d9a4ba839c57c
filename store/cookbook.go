package store

import (
	"context"
	_ "embed"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
)

//go:embed cookbook.sql
var cookbook string

// Question is one query of the cookbook.
type Question struct {
	Name string
	Asks string // in words
	SQL  string
}

// Cookbook lists the questions a club asks of schema season.
func Cookbook() []Question {
	var out []Question
	for _, part := range strings.Split(cookbook, "\n-- name: ")[1:] {
		name, rest, _ := strings.Cut(part, "\n")
		q := Question{Name: strings.TrimSpace(name)}
		for strings.HasPrefix(rest, "--") {
			var line string
			line, rest, _ = strings.Cut(rest, "\n")
			q.Asks = strings.TrimSpace(q.Asks + " " + strings.TrimSpace(strings.TrimPrefix(line, "--")))
		}
		q.SQL = strings.TrimSpace(rest)
		out = append(out, q)
	}
	return out
}

// Meaning is one column of schema season.
type Meaning struct {
	View, ViewMeaning, Column, Type, Meaning string
}

// Dictionary lists every view and column of schema season with its comment,
// by view and place.
func (db *DB) Dictionary(ctx context.Context) ([]Meaning, error) {
	rows, err := db.pool.Query(ctx,
		`SELECT view_name, view_meaning, column_name, type, meaning FROM season.dictionary ORDER BY view_name, place`)
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
			fmt.Fprintf(&b, "\n## %s\n\n%s\n\n| column | type | meaning |\n|---|---|---|\n", view, m.ViewMeaning)
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", m.Column, m.Type, cell.Replace(m.Meaning))
	}
	return b.String()
}
