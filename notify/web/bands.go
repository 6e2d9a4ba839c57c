package web

import (
	"math"
	"sort"
	"strconv"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// bandTable is the band calendar: days down, bands across, chances in ten.
type bandTable struct {
	Heads []bandHead
	Rows  []bandRow
	Span  string // the window of the day
}

type bandHead struct{ Name, Range string }

type bandRow struct {
	Day   string
	Cells []bandCell
	Wave  string
}

// bandCell is one chance in ten and its tone, 0 to 3.
type bandCell struct {
	Text string
	Tone int
}

// bandTableOf is nil when no day has its shares.
func bandTableOf(b coldseam.Brief, w notify.Words) *bandTable {
	bands := b.BandRows()
	t := &bandTable{}
	lo := ""
	for i, bd := range bands {
		up := edge(bd.Upper, w)
		h := bandHead{Name: notify.BandWord(coldseam.Advice{Band: bd.Key, Stage: b.Run.Stage}), Range: lo + "–" + up}
		switch {
		case i == 0:
			h.Range = "≤ " + up
		case i == len(bands)-1:
			h.Range = "> " + lo
		}
		lo = up
		t.Heads = append(t.Heads, h)
	}

	if win, ok := b.Best(); ok {
		t.Span = w.Span(win.Start, win.End)
		shares := win.Bands
		if len(shares) != len(bands) {
			shares = sharesOf(bands, win.WaterC)
		}
		wave := "·"
		if b.Run.Active {
			wave = inTen(b.Run.PWave)
		}
		t.add(b.Day, shares, wave)
	}

	for _, d := range b.Next {
		if len(d.Bands) != len(bands) {
			continue
		}
		wave := "·"
		if d.WaveOK {
			wave = inTen(d.PWave)
		}
		t.add(d.Day, d.Bands, wave)
	}

	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

func edge(f float64, w notify.Words) string {
	if w.Metric() {
		return strconv.FormatFloat(math.Round(coldseam.C(f)*10)/10, 'f', -1, 64)
	}
	return strconv.FormatFloat(f, 'f', -1, 64)
}

func (t *bandTable) add(d coldseam.Date, shares []float64, wave string) {
	row := bandRow{Day: d.UTC().Format("Mon 2"), Wave: wave}
	for _, n := range tens(shares) {
		c := bandCell{Text: "·"}
		if n > 0 {
			c.Text = strconv.Itoa(n)
			c.Tone = 1 + b2i(n > 3) + b2i(n > 6)
		}
		row.Cells = append(row.Cells, c)
	}
	if len(row.Cells) > 0 {
		t.Rows = append(t.Rows, row)
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// tens turns shares into whole tenths that add up to ten, by largest remainder.
// Shares that are not finite or all zero give nothing.
func tens(shares []float64) []int {
	sum := 0.
	for _, s := range shares {
		if math.IsNaN(s) || math.IsInf(s, 0) || s < 0 {
			return nil
		}
		sum += s
	}

	if sum <= 0 {
		return nil
	}
	out := make([]int, len(shares))
	order := make([]int, len(shares))

	left := 10
	rest := make([]float64, len(shares))
	for i, s := range shares {
		x := s / sum * 10
		out[i] = int(x + 1e-9)
		rest[i] = x - float64(out[i])
		left -= out[i]
		order[i] = i
	}

	sort.SliceStable(order, func(a, b int) bool { return rest[order[a]] > rest[order[b]]+1e-12 })
	for _, i := range order[:max(left, 0)] {
		out[i]++
	}
	return out
}

// inTen is a chance in tenths for a column whose head says so.
func inTen(p float64) string {
	if math.IsNaN(p) || p < .05 {
		return "·"
	}
	return strconv.Itoa(int(min(p, 1)*10 + .5))
}

// sharesOf reads band shares off p10, p50 and p90, for a window whose members
// were not counted: a normal curve of its own width on each side of the middle.
// It is for display alone and ends being right where the members have two
// humps.
func sharesOf(bands []coldseam.Band, q [3]float64) []float64 {
	const z90 = 1.2815515655 // standard normal 90 % quantile
	cdf := func(x float64) float64 {
		sd := (q[1] - q[0]) / z90
		if x > q[1] {
			sd = (q[2] - q[1]) / z90
		}
		return .5 * math.Erfc(-(x-q[1])/(max(sd, .05)*math.Sqrt2))
	}

	var out []float64
	last := 0.
	for _, e := range append(coldseam.BandEdgesC(bands), math.Inf(1)) {
		c := 1.
		if !math.IsInf(e, 1) {
			c = cdf(e)
		}
		out, last = append(out, max(c-last, 0)), c
	}

	return out
}

// shift is the outlook of one band edge.
type shift struct {
	What                  string
	In3, In7, In10, Not   string
	When                  string
	LowConf, Done, AtEdge bool
	Since                 string
}

func shiftsOf(b coldseam.Brief, w notify.Words) []shift {
	var out []shift

	for _, c := range b.Crossings {
		s := shift{
			What:    "up past " + w.Temp(c.EdgeC),
			In3:     inTen(c.Within3),
			In7:     inTen(c.Within7),
			In10:    inTen(c.Within10),
			Not:     inTen(c.Not),
			LowConf: c.LowConf,
			Done:    c.Confirmed,
		}
		if !c.Up {
			s.What = "down past " + w.Temp(c.EdgeC)
		}
		past := !c.Confirmed && !c.Dates[2].IsZero() && !b.Day.Before(c.Dates[2])

		switch {
		case c.Confirmed:
			s.When = "crossed"
		case past:
			s.When = "since " + dayShort(c.Dates[1])
		case c.Not > .5 || c.Dates[1].IsZero():
			s.When = "not within " + strconv.Itoa(c.Horizon) + " days"
		default:
			s.When = dayShort(c.Dates[0]) + " to " + dayShort(c.Dates[2])
			if c.Dates[0] == c.Dates[2] {
				s.When = dayShort(c.Dates[0])
			}
		}

		if !c.AtEdge.IsZero() && !past {
			s.Since = "at the edge since " + dayShort(c.AtEdge)
		}
		out = append(out, s)
	}

	return out
}

func dayShort(d coldseam.Date) string {
	if d.IsZero() {
		return "later"
	}
	return d.UTC().Format("Mon 2 Jan")
}
