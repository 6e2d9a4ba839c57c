package notify

import (
	"bytes"
	"fmt"
	"html/template"
	"image/png"
	"slices"
	"strings"

	"example.org/coldseam"
)

var htmlTemplate = template.Must(template.New("mail_html.html.tmpl").Option("missingkey=error").Funcs(template.FuncMap{
	"css":        css,
	"upper":      upperFirst,
	"source":     sourceText,
	"cells":      staffCells,
	"shown":      shownFacts,
	"shownBelow": shownBelow,
	"headline":   headline,
	"bind":       bind,
	"sep":        separator,
	"spotHeads":  func() []string { return []string{"Spot", "Depth", "Tie on", "Pack"} },
	"num":        func(i int) int { return i + 1 },
	"pairs":      pairs,
	"item":       boldLabel,
	"danger":     dangerous,
	"lone":       func(s section) bool { return len(s.Items) == 1 && !dangerous(s) },
	"runs":       runs,
}).ParseFS(templates, "templates/mail_html.html.tmpl"))

// css is an inline style by name.
func css(name string) (template.CSS, error) {
	s, ok := styles[name]
	if !ok {
		return "", fmt.Errorf("style %q: %w", name, coldseam.ErrInvalid)
	}
	return s, nil
}

const sansStack = "-apple-system,Segoe UI,Roboto,Helvetica Neue,Arial,sans-serif"

// styles are the light look, which must work alone where a reader drops the
// style block. Sizes and colours are the look's tokens.
var styles = map[string]template.CSS{
	"lead":    "margin:0 0 10px;font:400 15px/20px " + sansStack + ";color:#4B5860",
	"intro":   "margin:0 0 12px;font:400 17px/24px " + sansStack + ";color:#17222A",
	"title":   "margin:0 0 12px;font:700 24px/30px " + sansStack + ";color:#17222A",
	"box":     "font-family:" + sansStack + ";color:#17222A",
	"slab":    "padding:14px 16px 16px;color:#FFFFFF;font-family:" + sansStack,
	"river":   "margin:0;font-size:17px;line-height:22px;font-weight:400",
	"name":    "font-family:Georgia,Times New Roman,serif;font-style:italic;font-size:22px;line-height:26px",
	"verdict": "margin:5px 0 6px;font-size:44px;line-height:46px;font-weight:800;letter-spacing:-.5px",
	"head":    "margin:0;font-size:20px;line-height:25px",
	"sub":     "margin:3px 0 0;font-size:16px;line-height:22px",
	"facts":   "border-collapse:collapse;margin-top:10px;font:400 17px/23px " + sansStack + ";color:#17222A",
	"th":      "padding:6px 8px 6px 0;border-bottom:1px solid #D2D1C8;font-weight:400;font-size:15px;color:#4B5860",
	"td":      "padding:6px 0;border-bottom:1px solid #D2D1C8",
	"img":     "display:block;width:100%;max-width:520px;height:auto;border:0;margin-top:16px;background:#F4F3EE;color:#17222A;font:400 16px/22px " + sansStack,
	"ask":     "margin:26px 0 2px;font:700 17px/23px " + sansStack + ";color:#17222A",
	"small":   "margin:0 0 6px;font:400 15px/21px " + sansStack + ";color:#4B5860",
	"button":  "display:block;border:2px solid #737E84;border-radius:3px;padding:14px 4px;text-align:center;text-decoration:none;font:700 16px/20px " + sansStack + ";color:#17222A",
	"aside":   "font-size:15px;color:#4B5860",
	"key":     "margin:5px 0 0;font:400 13px/18px " + sansStack + ";color:#4B5860",
	"below":   "margin:14px 0 0;font:700 14px/20px " + sansStack + ";color:#17222A",
	"lone":    "margin:14px 0 0;font:400 14px/20px " + sansStack + ";color:#4B5860",
	"list":    "margin:2px 0 0;padding:0 0 0 17px;font:400 14px/20px " + sansStack + ";color:#4B5860",
	"urgent":  "margin:2px 0 0;padding:0 0 0 17px;font:400 16px/22px " + sansStack + ";color:#17222A",
	"li":      "margin:0 0 3px;padding:0",
	"foot": "margin:28px 0 0;padding-top:12px;border-top:1px solid #D2D1C8;font:400 14px/20px " + sansStack +
		";color:#4B5860",
	"next":    "margin:8px 0 0;font:400 14px/20px " + sansStack + ";color:#4B5860",
	"ways":    "margin:4px 0 0;font:400 15px/44px " + sansStack + ";color:#4B5860",
	"way":     "color:#4B5860;display:inline-block;margin-right:18px",
	"link":    "color:#4B5860",
	"water":   "color:#0C566A",
	"rowhead": "padding:8px 12px 8px 0;border-bottom:1px solid #D2D1C8;font-weight:400;font-size:20px",
	"gist":    "margin:10px 0 0;font:400 17px/23px " + sansStack + ";color:#17222A",
	"spots":   "border-collapse:collapse;margin-top:14px;font:400 15px/20px " + sansStack + ";color:#17222A",
	"board":   "margin:0 0 22px;font:400 17px/27px " + sansStack + ";color:#17222A",
	"more":    "margin:6px 0 0;font:400 17px/26px " + sansStack + ";color:#17222A",
}

// cell is one mark of the staff, from the top.
type cell struct {
	Class   string       // we empty, wf filled, gf grey
	Fill    template.CSS // background
	Bracket int          // rows the bracket spans from here, 0 = none
}

// staffCells draws the marks with the reader's toss-up reach as a bracket
// beside them.
func staffCells(k riverView) []cell {
	out := make([]cell, k.Staff.Marks)
	for i := range out {
		mark := k.Staff.Marks - i
		c := cell{Class: "we"}
		switch {
		case mark > k.Staff.Filled:
		case k.Verdict == coldseam.Stay:
			c.Class, c.Fill = "gf", ";background:#737E84"
		default:
			c.Class, c.Fill = "wf", ";background:#0C566A;border-color:#0C566A"
		}
		if mark == k.Staff.Hi {
			c.Bracket = k.Staff.Hi - k.Staff.Lo
		}
		out[i] = c
	}
	return out
}

// shownFacts leaves out what the verdict box, the buttons and the link to later
// news already hold.
func shownFacts(k riverView) []fact {
	var out []fact
	for _, f := range k.Facts {
		switch f.Label {
		case "Window", "Why", "Log":
			continue
		case "Made":
			f.Items = [][]part{slices.DeleteFunc(slices.Clone(f.Items[0]), func(p part) bool { return p.Text == laterNews })}
		}
		out = append(out, f)
	}
	return out
}

// shownBelow are the sections of danger (first), which stand right under the
// weights, or the others, which stand under the trip log. Stops and cautions
// of the fact table do not stand here again: other than in the text part it is whole.
func shownBelow(k riverView, first bool) []section {
	var out []section
	told := k.told()
	for _, s := range k.Mailed {
		if isCautions(s) {
			s.Items = slices.DeleteFunc(slices.Clone(s.Items), func(x string) bool { return strings.Contains(told, x) })
		}
		if len(s.Items) == 0 {
			continue
		}
		if s.Title != "Stops" && dangerous(s) == first && (first || !k.Short) {
			out = append(out, s)
		}
	}
	return out
}

func isCautions(s section) bool { return s.Title == "Cautions" || s.Title == furtherCautions }

func dangerous(s section) bool {
	return isCautions(s) || s.Title == "Hazards of the reach" || s.Title == "Why"
}

// boldLabel sets the words before an item's first colon in bold, so that a list
// can be scanned.
func boldLabel(s string) template.HTML {
	label, rest, ok := strings.Cut(s, ": ")
	if !ok || len([]rune(label)) > 40 {
		return bind(s)
	}
	return "<b>" + bind(label) + "</b>: " + bind(rest)
}

// runs are the parts in the words of HTML and pages, which have more room.
func runs(ps []part) []part {
	out := append([]part(nil), ps...)
	for i := range out {
		if out[i].Long != "" {
			out[i].Text = out[i].Long
		}
	}
	return out
}

// headline begins with a capital, odds excepted.
func headline(k riverView) []part {
	out := append([]part(nil), k.Head...)
	if len(out) > 0 && !k.Verdict.ShowsOdds() {
		out[0].Text = upperFirst(out[0].Text)
	}
	return out
}

// pairs puts two buttons in a row.
func pairs(b []button) [][]button {
	var out [][]button
	for ; len(b) > 2; b = b[2:] {
		out = append(out, b[:2])
	}
	return append(out, b)
}

func separator(i int, p part) string {
	switch {
	case i == 0:
		return ""
	case p.Sep == "":
		return ", "
	}
	return p.Sep
}

// pictureSize is the displayed size of a chart of double resolution; ok is
// false for bytes that are no PNG.
func pictureSize(raw []byte) (w, h int, ok bool) {
	c, err := png.DecodeConfig(bytes.NewReader(raw))
	if err != nil || c.Width < 2 || c.Height < 2 {
		return 0, 0, false
	}
	return c.Width / 2, c.Height / 2, true
}

func renderHTML(v mailView) (string, error) {
	var b bytes.Buffer
	if err := htmlTemplate.Execute(&b, v); err != nil {
		return "", fmt.Errorf("html part: %w: %w", err, coldseam.ErrInvalid)
	}
	return strings.TrimSpace(b.String()) + "\n", nil
}
