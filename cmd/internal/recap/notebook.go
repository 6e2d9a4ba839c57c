package recap

import (
	"context"
	"errors"
	"fmt"
	"html"
	"html/template"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/deploy"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/chart"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// The blocks of a book, each with the answer of an earlier run: fenced in
// Markdown, comments in HTML.
var (
	markdownBlock = regexp.MustCompile("(?ms)^```sql[ \\t]*\\r?\\n(.*?)^```[ \\t]*$" + oldAnswer)
	htmlBlock     = regexp.MustCompile(`(?s)<!-- sql\s(.*?)-->` + oldAnswer)
)

const (
	answerFrom = "<!-- answer -->"
	answerTo   = "<!-- end of answer -->"
	oldAnswer  = `(?:\s*(?s:` + answerFrom + `.*?` + answerTo + `))?`
)

// answerRows is the most rows of an answer that are printed, readRows the most
// that are read for a chart.
const (
	answerRows = 40
	readRows   = 20_000
)

// notebookRun answers the blocks of one book.
type notebookRun struct {
	ctx    context.Context
	db     asker
	season int
	reach  string
	html   bool
	page   bool // of the club: the answers stand alone, without their questions
	failed []string
}

type asker interface {
	Ask(ctx context.Context, sql string, most int) (store.Answer, error)
}

// of is what a book is run for: the newest season and the club's first reach,
// where nothing else was asked.
func (bk *Season) of(ctx context.Context, season int, reach coldseam.ReachID) (int, coldseam.ReachID, error) {
	reaches, err := bk.DB.Reaches(ctx)
	if err != nil {
		return 0, "", err
	}
	if i := slices.IndexFunc(reaches, func(r coldseam.Reach) bool { return reach == "" || r.ID == reach }); i >= 0 {
		reach = reaches[i].ID
	} else {
		var ids []string
		for _, r := range reaches {
			ids = append(ids, string(r.ID))
		}
		return 0, "", fmt.Errorf("reach %q, want one of %s: %w", reach, strings.Join(ids, ", "), coldseam.ErrNotFound)
	}

	years, err := bk.DB.Seasons(ctx)
	switch {
	case err != nil:
		return 0, "", err
	case len(years) == 0:
		return 0, "", fmt.Errorf("no brief and no trip yet: %w", coldseam.ErrNotFound)
	case season == 0:
		season = years[len(years)-1]
	case !slices.Contains(years, season):
		return 0, "", fmt.Errorf("no brief and no trip of %d, there are seasons %v: %w", season, years, coldseam.ErrNotFound)
	}
	return season, reach, nil
}

// Yearbook is the yearbook as the club's page shows it. Its questions are ours.
func (bk *Season) Yearbook(ctx context.Context, year int) (web.Season, error) {
	year, reach, err := bk.of(ctx, year, "")
	if err != nil {
		return web.Season{}, err
	}
	out := web.Season{Year: year}
	if out.Years, err = bk.DB.Seasons(ctx); err != nil {
		return out, err
	}
	if out.Seal, err = bk.DB.SealHead(ctx); err != nil {
		return out, err
	}

	_, parts, _ := strings.Cut(deploy.Yearbook, "<main>")
	parts, _, _ = strings.Cut(parts, "</main>")
	run := &notebookRun{ctx: ctx, db: bk.DB, season: year, reach: string(reach), html: true, page: true}
	out.Parts = template.HTML(run.answer(parts)) // cells are escaped as they are written
	if len(run.failed) > 0 {
		return out, fmt.Errorf("yearbook %d: %s: %w", year, run.failed[0], coldseam.ErrUnavailable)
	}
	return out, nil
}

// RunNotebook executes the SQL of a book as season_reader and writes tables and
// charts beneath it; everything else of the file stays. Again, the answers are
// replaced.
func (bk *Season) RunNotebook(ctx context.Context, path string, season int, reach coldseam.ReachID) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if season, reach, err = bk.of(ctx, season, reach); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}

	dsn, err := bk.readerDSN()
	if err != nil {
		return err
	}
	db, err := store.OpenReader(ctx, dsn)
	if err != nil {
		return err
	}
	defer db.Close()

	run := &notebookRun{ctx: ctx, db: db, season: season, reach: string(reach),
		html: slices.Contains([]string{".html", ".htm"}, strings.ToLower(filepath.Ext(path)))}
	out := run.answer(string(text))
	if err := writeWhole(path, []byte(out)); err != nil {
		return err
	}
	if len(run.failed) > 0 {
		return env.Fail(1, fmt.Sprintf("%s: %d blocks have no answer: %s", path, len(run.failed), run.failed[0]))
	}
	return nil
}

// writeWhole replaces a file or leaves it as it was.
func writeWhole(path string, b []byte) error {
	mode := os.FileMode(0o644)
	if s, err := os.Stat(path); err == nil {
		mode = s.Mode().Perm()
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".book-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(b)
	if err = errors.Join(err, tmp.Chmod(mode), tmp.Close()); err != nil {
		return err
	}
	return os.Rename(tmp.Name(), path)
}

// answer puts the answers beneath the blocks of a text.
func (b *notebookRun) answer(text string) string {
	blocks := markdownBlock
	if b.html {
		blocks = htmlBlock
	}
	var out strings.Builder
	at := 0
	for _, m := range blocks.FindAllStringSubmatchIndex(text, -1) {
		block := text[m[0]:m[1]]
		if i := strings.Index(block, answerFrom); i >= 0 {
			block = block[:i]
		}
		sql := text[m[2]:m[3]]
		body, err := b.block(sql)
		if err != nil {
			line := 1 + strings.Count(text[:m[0]], "\n")
			b.failed = append(b.failed, fmt.Sprintf("line %d: %v", line, err))
			body = b.paragraph("No answer: " + err.Error())
		}
		if out.WriteString(text[at:m[0]]); b.page {
			out.WriteString(body)
		} else {
			out.WriteString(strings.TrimRight(block, " \t\r\n") + "\n\n" + answerFrom + "\n\n" + body + "\n" + answerTo)
		}
		at = m[1]
	}
	return out.String() + text[at:]
}

// blank is a Markdown book without its answers.
func blank(book string) string {
	return markdownBlock.ReplaceAllStringFunc(book, func(s string) string {
		q, _, _ := strings.Cut(s, answerFrom)
		return strings.TrimRight(q, "\n")
	})
}

// In a block :season and :'reach' stand for what the book is run for, as in psql.
var bookVariable = regexp.MustCompile(`(^|[^:\w])(:season\b|:'reach')`)

// chartLine asks for a drawing of a block's answer, noTable for nothing but that.
var (
	chartLine = regexp.MustCompile(`(?m)^--[ \t]*chart:[ \t]*(.*?)[ \t]*\r?$`)
	noTable   = regexp.MustCompile(`(?m)^--[ \t]*no table[ \t]*\r?$`)
)

func (b *notebookRun) block(sql string) (string, error) {
	sql = bookVariable.ReplaceAllStringFunc(sql, func(s string) string {
		if before, ok := strings.CutSuffix(s, ":season"); ok {
			return before + strconv.Itoa(b.season)
		}
		return strings.TrimSuffix(s, ":'reach'") + "'" + strings.ReplaceAll(b.reach, "'", "''") + "'"
	})
	a, err := b.db.Ask(b.ctx, sql, readRows)
	if err != nil {
		return "", err
	}

	out := b.table(a)
	if noTable.MatchString(sql) && len(a.Rows) > 0 {
		out = ""
	}
	for _, m := range chartLine.FindAllStringSubmatch(sql, -1) {
		svg, err := chartOf(m[1], a)
		if err != nil {
			return "", err
		}
		out = svg + "\n\n" + out
	}
	return strings.TrimRight(out, "\n") + "\n", nil
}

func (b *notebookRun) paragraph(s string) string {
	if b.html {
		return "<p>" + html.EscapeString(s) + "</p>\n"
	}
	return markdownCell.Replace(s) + "\n"
}

// number is what stands to the right of its column, unbroken: numbers and days.
var number = regexp.MustCompile(`^(-?\d+(\.\d+)?|\d{4}-\d\d-\d\d)$`)

// markdownCell keeps what a table says from being read as Markdown or HTML.
var markdownCell = strings.NewReplacer("&", "&amp;", "<", "&lt;", "|", `\|`, "\n", " ", "\r", " ")

func (b *notebookRun) table(a store.Answer) string {
	if len(a.Rows) == 0 {
		return b.paragraph("No rows.")
	}

	var w strings.Builder
	numbers := make([]bool, len(a.Columns))
	for i := range numbers {
		numbers[i] = !slices.ContainsFunc(a.Rows, func(r []string) bool { return r[i] != "" && !number.MatchString(r[i]) })
	}
	line := func(cells []string, tag string) {
		if b.html {
			w.WriteString("<tr>")
			for i, c := range cells {
				more := ""
				if tag == "th" {
					c, more = strings.ReplaceAll(c, "_", " "), ` scope="col"`
				}
				if numbers[i] {
					more += ` class="n"`
				}
				fmt.Fprintf(&w, "<%s%s>%s</%s>", tag, more, html.EscapeString(notify.Clean(c)), tag)
			}
			w.WriteString("</tr>\n")
			return
		}
		w.WriteString("|")
		for _, c := range cells {
			w.WriteString(strings.TrimRight(" "+markdownCell.Replace(c), " ") + " |")
		}
		w.WriteString("\n")
	}

	if b.html {
		w.WriteString("<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Answer\"><table>\n<thead>")
	}
	line(a.Columns, "th")
	if b.html {
		w.WriteString("</thead><tbody>\n")
	} else {
		w.WriteString("|" + strings.Repeat("---|", len(a.Columns)) + "\n")
	}
	for _, r := range a.Rows[:min(len(a.Rows), answerRows)] {
		line(r, "td")
	}
	if b.html {
		w.WriteString("</tbody></table></div>\n")
	}

	switch more := len(a.Rows) - answerRows; {
	case a.More:
		w.WriteString("\n" + b.paragraph(fmt.Sprintf("More than %d rows; the first %d are shown.", readRows, answerRows)))
	case more > 0:
		w.WriteString("\n" + b.paragraph(fmt.Sprintf("%d more rows.", more)))
	}
	return w.String()
}

// chartOf draws an answer: line, points or bars, then x=COLUMN, y=COLUMN[,COLUMN]
// and by=COLUMN, which gives each of its values a series.
func chartOf(say string, a store.Answer) (string, error) {
	wrong := func(found string) (string, error) {
		return "", fmt.Errorf("chart %q: %s, want line, points or bars, x=COLUMN y=COLUMN[,COLUMN] [by=COLUMN]: %w", say,
			found, coldseam.ErrInvalid)
	}
	words := strings.Fields(say)
	if len(words) == 0 || !slices.Contains([]string{"line", "points", "bars"}, words[0]) {
		return wrong("no such kind")
	}
	column := map[string][]int{}
	var names []string
	for _, w := range words[1:] {
		key, list, _ := strings.Cut(w, "=")
		if !slices.Contains([]string{"x", "y", "by"}, key) || column[key] != nil || key != "y" && strings.Contains(list, ",") {
			return wrong(w)
		}
		for _, name := range strings.Split(list, ",") {
			i := slices.Index(a.Columns, name)
			if i < 0 {
				return wrong(fmt.Sprintf("no column %q among %s", name, strings.Join(a.Columns, ", ")))
			}
			column[key] = append(column[key], i)
			if key == "y" {
				names = append(names, name)
			}
		}
	}
	if column["x"] == nil || column["y"] == nil {
		return wrong("x or y wanting")
	}

	p := chart.Plot{Title: strings.Join(names, ", ") + " by " + a.Columns[column["x"][0]], Points: words[0] == "points"}
	at := map[string]int{}
	for _, r := range a.Rows {
		x, ok := plotX(&p, r[column["x"][0]], words[0] == "bars")
		if !ok {
			return wrong(fmt.Sprintf("x %q is neither a day nor a number", r[column["x"][0]]))
		}
		for k, c := range column["y"] {
			name := names[k]
			if by := column["by"]; by != nil {
				name = strings.TrimSpace(r[by[0]] + " " + strings.TrimPrefix(name, names[0]))
			}
			i, seen := at[name]
			if !seen {
				i, at[name] = len(p.Series), len(p.Series)
				p.Series = append(p.Series, chart.PlotSeries{Name: name})
			}
			if y, err := strconv.ParseFloat(r[c], 64); err == nil {
				p.Series[i].X, p.Series[i].Y = append(p.Series[i].X, x), append(p.Series[i].Y, y)
			}
		}
	}
	p.Series = slices.DeleteFunc(p.Series, func(s chart.PlotSeries) bool { return len(s.X) == 0 })
	if len(p.Series) == 0 {
		return "", nil
	}
	return p.SVG(), nil
}

// plotX places a value: a word among the bars, a day, or a number.
func plotX(p *chart.Plot, s string, bars bool) (float64, bool) {
	if bars {
		i := slices.Index(p.Words, s)
		if i < 0 {
			i, p.Words = len(p.Words), append(p.Words, s)
		}
		return float64(i), true
	}
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		p.Days = true
		return float64(t.Unix()), true
	}
	x, err := strconv.ParseFloat(s, 64)
	return x, err == nil
}
