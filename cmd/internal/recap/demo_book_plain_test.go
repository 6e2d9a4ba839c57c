//go:build !race

package recap_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/notify/browsertest"
	"example.org/coldseam/store"
)

// update rewrites the golden files: make golden.
var update = flag.Bool("update", false, "rewrite golden files")

// changing are the parts of the cookbook's answers that hang on the second of an
// issue.
var changing = regexp.MustCompile(`(?s)<svg.*?</svg>|\d+\.\d+`)

// demoTown is what make demo leaves behind: the club with its past season, on
// the morning after.
func demoTown(t *testing.T) *clubtest.Harness {
	t.Helper()
	v := clubtest.New(t, nil)
	past, err := democlub.PastSeason()
	require.NoError(t, err)
	require.NoError(t, past.Enter(t.Context(), v.DB))
	v.History(t)
	v.Join(t, "all@club.example.org", coldseam.Preferences{})
	_, err = v.Morning.MakeAll(t.Context(), clubtest.Saturday)
	require.NoError(t, err)
	v.Send(t, "04:45")
	require.NoError(t, v.App.MaintenanceJob(t.Context(), store.MaintenanceArgs{Day: clubtest.Saturday}))
	return v
}

// What the demo leaves behind is answered, exported and looked at.
func TestGoldenCookbookOfTheDemo(t *testing.T) {
	t.Parallel()
	v := demoTown(t)
	var year string
	t.Run("both books answer", func(t *testing.T) { year = bothBooks(t, v) })
	t.Run("a second reader of Parquet", func(t *testing.T) { secondReader(t, v) })
	t.Run("the yearbook on a phone and on paper", func(t *testing.T) { yearbookFits(t, year) })
}

// bothBooks: every question of them has an answer on the demo. Those of the
// cookbook stand in deploy/cookbook.md, so that a reader sees real ones; -update
// writes it anew.
func bothBooks(t *testing.T, v *clubtest.Harness) string {
	dir := t.TempDir()
	run := func() (cookbook, yearbook string) {
		out := recapText(t, v.Recap, recap.Command{Season: 2025, Reach: "tamsen-bend", Out: dir})
		files := strings.Fields(out)
		require.Len(t, files, 2)
		y, err := os.ReadFile(files[0])
		require.NoError(t, err)
		c, err := os.ReadFile(files[1])
		require.NoError(t, err)
		return string(c), string(y)
	}
	got, year := run()
	again, yearAgain := run()
	require.Equal(t, got, again, "again changes nothing")
	require.Equal(t, year, yearAgain)

	path := filepath.Join("..", "..", "..", "deploy", "cookbook.md")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, changing.ReplaceAllString(string(want), "x"), changing.ReplaceAllString(got, "x"))

	parts := strings.Split(got, "\n## ")[1:]
	require.GreaterOrEqual(t, len(parts), 40)
	parts = append(parts, strings.Split(year, "<h2")[1:]...)
	for _, p := range parts {
		name, rest, _ := strings.Cut(p, "\n")
		require.Equal(t, 1, strings.Count(rest, "<!-- answer -->"), name)
		require.NotContains(t, rest, "No rows.", name)
		require.NotContains(t, rest, "No answer", name)
	}
	require.NotContains(t, got+year, "NaN")
	for _, who := range []string{"north bank", "red canoe", "thermos"} {
		require.NotContains(t, got+year, who)
	}
	return year
}

// parquetType is how a type of the dictionary is stored: physical, then what a
// reader takes it for [source: the Parquet format, LogicalTypes.md].
var parquetType = map[string]string{
	"date":                     "INT32 Date",
	"timestamp with time zone": "INT64 Timestamp(isAdjustedToUTC=true, timeUnit=microseconds, is_from_converted_type=false, force_set_converted_type=false)",
	"integer":                  "INT64 Int(bitWidth=64, isSigned=true)",
	"bigint":                   "INT64 Int(bitWidth=64, isSigned=true)",
	"smallint":                 "INT64 Int(bitWidth=64, isSigned=true)",
	"numeric":                  "DOUBLE None",
	"double precision":         "DOUBLE None",
	"real":                     "DOUBLE None",
	"boolean":                  "BOOLEAN None",
	"jsonb":                    "BYTE_ARRAY String",
	"text":                     "BYTE_ARRAY String",
}

// secondReader reads the export by Apache Arrow's reader of Parquet (tools/parquet,
// a module of its own) and holds it against the CSV, cell by cell.
func secondReader(t *testing.T, v *clubtest.Harness) {
	dir := filepath.Join(t.TempDir(), "book")
	recapText(t, v.Recap, recap.Command{Export: dir})

	arrow := filepath.Join("..", "..", "..", "tools", "parquet")
	bin := filepath.Join(t.TempDir(), "parquet")
	build := exec.Command("go", "build", "-o", bin, ".")
	build.Dir = arrow
	if out, err := build.CombinedOutput(); err != nil {
		fetch := exec.Command("go", "mod", "download")
		fetch.Dir = arrow
		if fetch.Run() != nil {
			t.Skipf("the second reader cannot be fetched: %s", out)
		}
		t.Fatalf("%v: %s", err, out)
	}

	files, err := filepath.Glob(filepath.Join(dir, "*.parquet"))
	require.NoError(t, err)
	text, err := exec.Command(bin, files...).Output()
	require.NoError(t, err)
	type column struct {
		File, Name, Type string
		Values           []*string
	}
	got := map[string]column{}
	for line := range bytes.Lines(text) {
		var c column
		require.NoError(t, json.Unmarshal(line, &c))
		got[strings.TrimSuffix(filepath.Base(c.File), ".parquet")+"."+c.Name] = c
	}

	dictionary, err := v.DB.Dictionary(t.Context())
	require.NoError(t, err)
	require.Len(t, got, len(dictionary), "a column more or less than the dictionary has")
	cells, nulls := 0, 0
	tables := map[string][][]string{}
	for _, m := range dictionary {
		name := m.View + "." + m.Column
		c, ok := got[name]
		require.True(t, ok, name)
		require.Equal(t, parquetType[m.Type], c.Type, name)
		if tables[m.View] == nil {
			tables[m.View] = csvTable(t, filepath.Join(dir, m.View+".csv"))
		}
		rows := tables[m.View]
		require.Len(t, c.Values, len(rows)-1, name)
		at := slices.Index(rows[0], m.Column)
		require.GreaterOrEqual(t, at, 0, name)
		for i, x := range c.Values {
			want := rows[i+1][at]
			cells++
			if x == nil {
				nulls++
				require.Empty(t, want, "%s, row %d", name, i+1)
				continue
			}
			require.Equal(t, want, likeCSV(t, m.Type, *x, want), "%s, row %d", name, i+1)
		}
	}
	require.Greater(t, cells-nulls, 10_000)
	require.Positive(t, nulls)
	t.Logf("%d columns, %d cells, %d of them null", len(got), cells, nulls)
}

// csvTable reads a file of the export. An empty text stands in quotes there and
// reads as two quotes, null as nothing.
func csvTable(t *testing.T, path string) [][]string {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	lines := bytes.Split(raw, []byte("\n"))
	r := csv.NewReader(bytes.NewReader(raw))
	var rows [][]string
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rows
		}
		require.NoError(t, err, path)
		for i := range row {
			if line, col := r.FieldPos(i); row[i] == "" && bytes.HasPrefix(lines[line-1][col-1:], []byte(`""`)) {
				row[i] = `""`
			}
		}
		rows = append(rows, row)
	}
}

// likeCSV is a value of the second reader as Postgres writes it, number for number
// and instant for instant.
func likeCSV(t *testing.T, kind, got, want string) string {
	t.Helper()
	switch kind {
	case "date":
		n, err := strconv.ParseInt(got, 10, 64)
		require.NoError(t, err)
		return time.Unix(n*86400, 0).UTC().Format(time.DateOnly)
	case "timestamp with time zone":
		n, err := strconv.ParseInt(got, 10, 64)
		require.NoError(t, err)
		at, err := time.Parse("2006-01-02 15:04:05.999999-07", want)
		require.NoError(t, err)
		if at.Equal(time.UnixMicro(n)) {
			return want
		}
	case "numeric", "double precision", "real":
		a, err := strconv.ParseFloat(got, 64)
		require.NoError(t, err)
		b, err := strconv.ParseFloat(want, 64)
		require.NoError(t, err)
		if a == b || kind == "real" && float32(a) == float32(b) {
			return want
		}
	case "boolean":
		return got[:1]
	case "text", "jsonb":
		if got == "" {
			return `""`
		}
	}
	return got
}

// yearbookFits: nothing of the yearbook is cut on a phone of 360 px, where a table
// that is wider scrolls and shows an edge, and on A4 nothing leaves the paper.
func yearbookFits(t *testing.T, page string) {
	ctx := browsertest.Start(t, 3*time.Minute)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = w.Write([]byte(page))
	}))
	defer srv.Close()

	for _, d := range []struct {
		medium, scheme string
		width          int64 // px, 96 to the inch; A4 less two margins of 18 mm
	}{{"screen", "light", 360}, {"screen", "dark", 360}, {"screen", "light", 1280}, {"print", "dark", 657}} {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(d.width, 800, d.medium, d.scheme), chromedp.Navigate(srv.URL)))
		bad, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](browsertest.CutOff))
		require.NoError(t, err)
		require.Empty(t, bad, "%s %s, %d px", d.medium, d.scheme, d.width)
		if dir := os.Getenv("COLDSEAM_KEEP"); dir != "" {
			png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			require.NoError(t, err)
			name := fmt.Sprintf("yearbook-%d-%s-%s.png", d.width, d.medium, d.scheme)
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), png, 0o644))
		}
	}
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(t, err)
	require.Contains(t, string(pdf), "/MediaBox [0 0 594.95996 841.91998]", "A4")
	if dir := os.Getenv("COLDSEAM_KEEP"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "yearbook.pdf"), pdf, 0o644))
	}
}
