package recap

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"

	"example.org/coldseam/store"
)

// packageField is a column in the words of a Frictionless table schema.
type packageField struct {
	Name        string `json:"name"`
	Type        string `json:"type"`
	Description string `json:"description"`
	Unit        string `json:"unit"`
	Source      string `json:"source"`
}

type packageResource struct {
	Profile     string         `json:"profile"`
	Name        string         `json:"name"`
	Path        string         `json:"path"`
	Format      string         `json:"format"`
	Mediatype   string         `json:"mediatype"`
	Encoding    string         `json:"encoding"`
	Description string         `json:"description"`
	Schema      map[string]any `json:"schema"`
}

// frictionless names the types of columns as the table schema does.
var frictionless = map[string]string{"integer": "integer", "bigint": "integer", "smallint": "integer",
	"numeric": "number", "double precision": "number", "real": "number", "boolean": "boolean", "date": "date",
	"timestamp with time zone": "string", "jsonb": "string", "text": "string"}

// Export writes each view of schema season into a folder as CSV and Parquet, and
// the dictionary as the description of a data package.
func (bk *Season) Export(ctx context.Context, dir string) error {
	dsn, err := bk.readerDSN()
	if err != nil {
		return err
	}
	db, err := store.OpenReader(ctx, dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	// All files are of one moment, though the service writes on.
	if _, err := db.Ask(ctx, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", 0); err != nil {
		return err
	}
	columns, err := bk.DB.Dictionary(ctx)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}

	var list []packageResource
	for len(columns) > 0 {
		view := columns[0].View
		n := slices.IndexFunc(columns, func(m store.Meaning) bool { return m.View != view })
		if n < 0 {
			n = len(columns)
		}
		of := columns[:n]
		columns = columns[n:]

		path := filepath.Join(dir, view)
		if err := toFile(path+".csv", func(f *os.File) error { return db.CopyCSV(ctx, f, view) }); err != nil {
			return err
		}
		if err := toFile(path+".parquet", func(f *os.File) error { return writeParquet(ctx, db, f, of) }); err != nil {
			return err
		}

		var fields []packageField
		for _, m := range of {
			fields = append(fields, packageField{m.Column, frictionless[m.Type], m.Meaning, m.Unit, m.Source})
		}
		list = append(list, packageResource{
			Profile:     "tabular-data-resource",
			Name:        strings.ReplaceAll(view, "_", "-"),
			Path:        view + ".csv",
			Format:      "csv",
			Mediatype:   "text/csv",
			Encoding:    "utf-8",
			Description: of[0].ViewMeaning,
			Schema:      map[string]any{"fields": fields, "missingValues": []string{""}},
		})
	}

	return toFile(filepath.Join(dir, "datapackage.json"), func(f *os.File) error {
		e := json.NewEncoder(f)
		e.SetIndent("", "  ")
		return e.Encode(map[string]any{"profile": "tabular-data-package", "name": "season-book",
			"title": bk.Config.Club.Name, "created": bk.Now().UTC().Format(time.RFC3339), "resources": list})
	})
}

func toFile(path string, write func(*os.File) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}

// writeParquet writes a view; every column may be null.
func writeParquet(ctx context.Context, db *store.ReaderConn, f *os.File, of []store.Meaning) error {
	group := parquet.Group{}
	for _, m := range of {
		leaf := parquet.String()
		switch {
		case m.Type == "date":
			leaf = parquet.Date()
		case m.Type == "timestamp with time zone":
			leaf = parquet.Timestamp(parquet.Microsecond)
		case frictionless[m.Type] == "integer":
			leaf = parquet.Int(64)
		case frictionless[m.Type] == "number":
			leaf = parquet.Leaf(parquet.DoubleType)
		case m.Type == "boolean":
			leaf = parquet.Leaf(parquet.BooleanType)
		}
		group[m.Column] = parquet.Optional(leaf)
	}

	schema := parquet.NewSchema(of[0].View, group)
	place := map[string]int{} // a group sorts its columns
	for i, c := range schema.Columns() {
		place[c[0]] = i
	}
	w := parquet.NewWriter(f, schema)
	row := make(parquet.Row, len(of))
	err := db.EachRow(ctx, of[0].View, func(vs []any) error {
		for i, v := range vs {
			k := place[of[i].Column]
			if v == nil {
				row[k] = parquet.NullValue().Level(0, 0, k)
				continue
			}
			row[k] = parquetValue(of[i].Type, v).Level(0, 1, k)
		}
		_, err := w.WriteRows([]parquet.Row{row})
		return err
	})
	if err != nil {
		return err
	}
	return w.Close()
}

func parquetValue(kind string, v any) parquet.Value {
	if t, ok := v.(time.Time); ok {
		if kind == "date" {
			return parquet.ValueOf(int32(t.Unix() / 86400))
		}
		return parquet.ValueOf(t.UnixMicro())
	}
	return parquet.ValueOf(v)
}
