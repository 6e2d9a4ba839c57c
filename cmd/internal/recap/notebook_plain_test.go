//go:build !race

package recap_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/recap"
)

// bookTown is a club with one morning told.
func bookTown(t *testing.T) *clubtest.Harness {
	v := clubtest.New(t, nil)
	r, err := v.DB.Reach(t.Context(), "tamsen-bend")
	require.NoError(t, err)
	_, err = v.Morning.MakeBrief(t.Context(), r, clubtest.Saturday)
	require.NoError(t, err)
	return v
}

func runBook(t *testing.T, v *clubtest.Harness, name, text string) (string, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o640))
	var out bytes.Buffer
	err := (&recap.Command{RunNotebook: path}).With(t.Context(), &env.Streams{Out: &out, Err: &out}, v.Recap)
	got, rerr := os.ReadFile(path)
	require.NoError(t, rerr)
	s, rerr := os.Stat(path)
	require.NoError(t, rerr)
	require.Equal(t, os.FileMode(0o640), s.Mode().Perm())
	return string(got), err
}

// The prose of a book stays byte by byte, a second run changes nothing, and a
// block that fails stands beside its reason while the others answer.
func TestABookRuns(t *testing.T) {
	t.Parallel()
	v := bookTown(t)
	const bands = "```sql\nSELECT band, upper_f, '<b>|' AS odd FROM season.band ORDER BY band_no LIMIT 2; -- :season\n```"
	text := "# Ours\r\n\r\n  prose, 'kept' | <i>as it is</i>\n\n" + bands + "\n\nmore prose\n\n```go\nSELECT\n```\n\n" + bands + "\n"
	got, err := runBook(t, v, "book.md", text)
	require.NoError(t, err)
	require.Equal(t, 2, strings.Count(got, "| slow | 37 | &lt;b>\\| |\n| ease | 40 |"))
	blank := func(s string) string {
		for {
			from, rest, ok := strings.Cut(s, "\n\n<!-- answer -->")
			if !ok {
				return s
			}
			_, after, _ := strings.Cut(rest, "<!-- end of answer -->")
			s = from + after
		}
	}
	require.Equal(t, text, blank(got))
	again, err := runBook(t, v, "book.md", got)
	require.NoError(t, err)
	require.Equal(t, got, again)

	var b strings.Builder
	hostile := []string{`SELECT * FROM coldseam.trip`, `COMMIT; DELETE FROM coldseam.trip`, `RESET ROLE; SELECT 1`,
		`CREATE TABLE season.x (a int)`, `COPY coldseam.subscriber TO STDOUT`, `SELECT pg_sleep(30)`, `SELEC 1`,
		"SELECT day FROM season.morning\n-- chart: pie x=day y=day", "SELECT day FROM season.morning\n-- chart: line x=day y=catch"}
	for _, sql := range hostile {
		fmt.Fprintf(&b, "```sql\n%s\n```\n", sql)
	}
	got, err = runBook(t, v, "hostile.md", b.String()+"```sql\nSELECT 40 + 2 AS answer, :season AS season, :'reach' AS reach\n```\n")
	require.ErrorContains(t, err, fmt.Sprintf("%d blocks have no answer: line 1", len(hostile)))
	require.Equal(t, len(hostile), strings.Count(got, "\nNo answer: "))
	require.Contains(t, got, "| 42 | 2026 | brandt-ledge |")
}

// The yearbook is a page for the printer; its answers are HTML.
func TestTheYearbookRuns(t *testing.T) {
	t.Parallel()
	v := bookTown(t)
	page, err := os.ReadFile(filepath.Join("..", "..", "..", "deploy", "yearbook.html"))
	require.NoError(t, err)
	got, err := runBook(t, v, "yearbook.html", string(page))
	require.NoError(t, err)
	require.Equal(t, 10, strings.Count(got, "<!-- answer -->"))
	require.Contains(t, got, "<td>Bend reach</td>")
	require.Contains(t, got, "</svg>")
	again, err := runBook(t, v, "yearbook.html", got)
	require.NoError(t, err)
	require.Equal(t, got, again)
}

// Every view goes out twice, and both files say the same.
func TestTheExportReadsBack(t *testing.T) {
	t.Parallel()
	v := bookTown(t)
	dir := filepath.Join(t.TempDir(), "book")
	var out bytes.Buffer
	require.NoError(t, (&recap.Command{Export: dir}).With(t.Context(), &env.Streams{Out: &out, Err: &out}, v.Recap))

	raw, err := os.ReadFile(filepath.Join(dir, "datapackage.json"))
	require.NoError(t, err)
	var pack struct {
		Profile   string
		Resources []struct {
			Path   string
			Schema struct {
				Fields []struct{ Name, Type, Description, Unit, Source string }
			}
		}
	}
	require.NoError(t, json.Unmarshal(raw, &pack))
	require.Equal(t, "tabular-data-package", pack.Profile)
	require.Greater(t, len(pack.Resources), 15)
	told := 0

	for _, r := range pack.Resources {
		f, err := os.Open(filepath.Join(dir, r.Path))
		require.NoError(t, err)
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		require.NoError(t, err, r.Path)
		var names []string
		for _, c := range r.Schema.Fields {
			names = append(names, c.Name)
			require.NotEmpty(t, c.Type, "%s %s", r.Path, c.Name)
			require.NotEmpty(t, c.Description, "%s %s", r.Path, c.Name)
			require.NotEmpty(t, c.Unit, "%s %s", r.Path, c.Name)
			require.NotEmpty(t, c.Source, "%s %s", r.Path, c.Name)
		}
		require.Equal(t, names, rows[0], r.Path)

		pf, err := os.ReadFile(filepath.Join(dir, strings.TrimSuffix(r.Path, ".csv")+".parquet"))
		require.NoError(t, err)
		pq, err := parquet.OpenFile(bytes.NewReader(pf), int64(len(pf)))
		require.NoError(t, err, r.Path)
		require.EqualValues(t, len(rows)-1, pq.NumRows(), r.Path)
		if r.Path != "brief.csv" {
			continue
		}

		type brief struct {
			ReachID *string  `parquet:"reach_id,optional"`
			Day     *int32   `parquet:"day,optional,date"`
			Verdict *string  `parquet:"verdict,optional"`
			WaterC  *float64 `parquet:"water_c,optional"`
		}
		got, err := parquet.Read[brief](bytes.NewReader(pf), int64(len(pf)))
		require.NoError(t, err)
		for i, b := range got {
			told++
			row := map[string]string{}
			for k, n := range names {
				row[n] = rows[i+1][k]
			}
			require.Equal(t, row["reach_id"], *b.ReachID)
			require.Equal(t, row["verdict"], *b.Verdict)
			require.EqualValues(t, clubtest.Saturday.UTC().Unix()/86400, *b.Day)
			require.Equal(t, row["water_c"] == "", b.WaterC == nil)
		}
	}

	require.Equal(t, 1, told)
}
