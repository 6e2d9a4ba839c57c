package web

import (
	"fmt"
	"html/template"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// staffSVG draws the gauge staff: ten marks of odds or three of a rank, filled as
// far as they go, the toss-up reach in a bracket. Size "small" is the board's. It is decoration: the words beside
// it carry the verdict.
func staffSVG(v coldseam.Verdict, st notify.PageStaff, size string) template.HTML {
	gap, h, thin := 14., 11., ""
	if size == "small" {
		gap, h, thin = 8, 6, " sm"
	}
	marks := 10
	if st.Shown && st.Marks != marks { // the same height in fewer marks
		full := 10*gap + h - gap
		marks = st.Marks
		gap, h = (full+gap-h)/float64(marks), (full+gap-h)/float64(marks)-(gap-h)
	}
	total := int(float64(marks)*gap + h - gap + 4)
	var w strings.Builder
	fmt.Fprintf(&w, `<svg class="staff" width="34" height="%d" viewBox="0 0 34 %d" aria-hidden="true">`, total, total)

	switch {
	case v == coldseam.Stop: // a boom across the river
		w.WriteString(`<rect class="boom" x="1" y="2" width="32" height="76"/><rect class="bar" x="1" y="16" width="32" height="9"/><rect class="bar" x="1" y="55" width="32" height="9"/>`)
	case !st.Shown:
		fmt.Fprintf(&w, `<rect class="dash" x="1.5" y="2" width="16" height="%d"/>`, total-4)
	default:
		for i := 1; i <= marks; i++ {
			cls := "c"
			if i <= st.Filled {
				cls = "c f"
			}
			fmt.Fprintf(&w, `<rect class="%s%s" x="1.5" y="%g" width="16" height="%g"/>`, cls, thin,
				2+gap*float64(marks-i), h)
		}
		if top, bottom := 2+gap*float64(marks-st.Hi)-1, 2+gap*float64(marks-st.Lo)-(gap-h)+1; st.Hi > st.Lo {
			fmt.Fprintf(&w, `<path class="m" d="M21,%gH27V%gH21"/>`, top, bottom)
		}
	}

	w.WriteString(`</svg>`)
	return template.HTML(w.String())
}
