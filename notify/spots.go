package notify

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// spotRow is a spot of the weight table: what to tie on and to pack, or why nothing.
type spotRow struct {
	Spot, Depth, Tie, Pack string
	Mark                   string // uncal. = no log has checked it
	Why                    string // no weight is named
}

// mailedSpots is how many spots a mail names.
const mailedSpots = 4

// spotTable are the weights of the first spots; below it stands what to know of
// them, and that no log has checked those with a mark.
func (k *block) spotTable(f format) (rows []spotRow, notes []string) {
	if !k.Verdict.ShowsOdds() {
		return nil, nil
	}

	for i, j := range k.Brief.Jig[:min(len(k.Brief.Jig), mailedSpots)] {
		r := spotRow{Spot: cmp.Or(clean(j.Spot), "spot "+strconv.Itoa(i+1))}
		if j.DepthM > 0 {
			r.Depth = f.depth(j.DepthM)
		}
		if j.TieOz <= 0 || !finite(j.TieOz) {
			r.Why = withheld(f, j, k.Brief.Jig)
			rows = append(rows, r)
			continue
		}

		r.Tie = f.weight(j.TieOz)
		if j.PackOz > j.TieOz {
			r.Pack = f.weight(j.PackOz)
		}
		if j.MayNeedOz != [2]float64{} {
			r.Tie, r.Pack = f.sizes(j.MayNeedOz), ""
			notes = append(notes, r.Spot+": current not timed, start light")
		}
		if !j.Calibrated {
			r.Mark = "uncal."
		}
		for _, w := range j.Warnings {
			if w.Code != "uncalibrated" {
				notes = append(notes, r.Spot+": "+f.reason(w))
			}
		}
		rows = append(rows, r)
	}

	if slices.ContainsFunc(rows, func(r spotRow) bool { return r.Mark != "" }) {
		notes = append(notes, "uncal.: no log has checked it; step up if you lose bottom")
	}
	if more := len(k.Brief.Jig) - len(rows); more > 0 {
		notes = append(notes, Counted(float64(more), "more spot")+" on the page")
	}
	return rows, notes
}

// spotLines sets the table in columns for the text part.
func spotLines(rows []spotRow) []string {
	var out []string
	wide := [4]int{}
	cells := func(r spotRow) [4]string {
		return [4]string{plain(r.Spot), plain(r.Depth), plain(r.Tie), plain(r.Pack)}
	}
	head := spotRow{Spot: "spot", Depth: "depth", Tie: "tie", Pack: "pack"}
	all := append([]spotRow{head}, rows...)
	for _, r := range all {
		for i, c := range cells(r) {
			wide[i] = min(max(wide[i], len([]rune(c))), 24)
		}
	}

	for _, r := range all {
		line := ""
		for i, c := range cells(r) {
			if i == 2 && r.Why != "" {
				c = plain(r.Why)
				line += c
				break
			}
			c = clip(c, 24)
			line += c + strings.Repeat(" ", wide[i]-len([]rune(c))+2)
		}
		first := wrap(line+r.Mark, 72)
		if len(first) > 1 {
			out = append(out, first[0], "  "+strings.Join(wrap(strings.Join(first[1:], " "), 70), "\n  "))
			continue
		}
		out = append(out, strings.TrimRight(line+r.Mark, " "))
	}
	return out
}

// sizes is a range of trade sizes.
func (f format) sizes(oz [2]float64) string {
	if oz[0] < oz[1] {
		return coldseam.OzName(oz[0]) + enDash + f.weight(oz[1])
	}
	return f.weight(oz[1])
}
