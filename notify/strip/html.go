package strip

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

//go:embed season.html
var pageSource string

var page = template.Must(template.New("season").Parse(pageSource))

// The strip in SVG: a month a row.
const (
	cellPX  = 22
	labelPX = 80
	rowPX   = 30
)

// square is one morning as it is drawn.
type square struct {
	X, Y    int
	Class   string // of the word
	Hatched bool   // not all stops were replayed
	Letter  string
	Brief   string // what hovering shows: the morning in a line
}

// row is a month of the strip.
type row struct {
	Label string
	Y     int
}

// HTML writes a season as a page of its own: the strip as SVG, every cell with
// its morning to hover or tap, and the counts.
func HTML(w io.Writer, r coldseam.Replay, u Units) error {
	p := struct {
		Reach         coldseam.ReachID
		From, To      coldseam.Date
		Assumed       []string
		NotReplayed   string
		Legend        string
		Rows          []row
		Squares       []square
		Width, Height int
		Counts        string
		Sentences     string
		Cells         [][]string
	}{
		Reach:       r.Reach,
		From:        r.From,
		To:          r.To,
		NotReplayed: strings.Join(plain(notReplayed(r)), ", "),
		Legend:      legend,
		Width:       labelPX + 31*cellPX,
	}

	for _, a := range r.Assumed {
		p.Assumed = append(p.Assumed, cmp.Or(assumedWords[a], notify.CodeName(a)))
	}

	for i, c := range r.Cells {
		if i == 0 || c.Day.Day == 1 {
			p.Rows = append(p.Rows, row{Label: fmt.Sprintf("%s %04d", c.Day.Month.String()[:3], c.Day.Year),
				Y: len(p.Rows) * rowPX})
		}
		p.Squares = append(p.Squares, square{
			X: labelPX + (c.Day.Day-1)*cellPX, Y: p.Rows[len(p.Rows)-1].Y,
			Class:   strings.ToLower(strings.NewReplacer(" ", "", "-", "").Replace(c.Word.String())),
			Hatched: len(c.NotReplayed) > 0 && c.Word.ShowsOdds(),
			Letter:  letter(c), Brief: c.Day.String() + " " + strings.Join(line(c, u), ", "),
		})
		p.Cells = append(p.Cells, append([]string{c.Day.String()}, line(c, u)...))
	}

	p.Height = len(p.Rows) * rowPX

	var table, text strings.Builder
	if err := counts(&table, r); err != nil {
		return err
	}
	if err := sentences(&text, r, u); err != nil {
		return err
	}
	p.Counts, p.Sentences = table.String(), text.String()
	if err := page.Execute(w, p); err != nil {
		return fmt.Errorf("season page: %w", err)
	}
	return nil
}

// line is a morning in the columns of the list.
func line(c coldseam.ReplayCell, u Units) []string {
	return []string{Word(c), odds(c), u.water(c.WaterC), u.flow(c.FlowM3S), tie(c), cmp.Or(notify.CodeName(c.Place), "-"),
		cmp.Or(c.Stage, "-"),
		cmp.Or(strings.Join(plain(why(c)), "; "), "-")}
}
