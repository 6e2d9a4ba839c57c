package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"example.org/coldseam"
)

// unit turns an SI value into what the axis shows.
type unit struct {
	title, unit string
	f           func(float64) float64
}

func flowUnit(metric bool) unit {
	if metric {
		return unit{"Flow", "m³/s", func(v float64) float64 { return v }}
	}
	return unit{"Flow", "cfs", coldseam.CFS}
}

func tempUnit(metric bool) unit {
	if metric {
		return unit{"Water temperature", "°C", func(v float64) float64 { return v }}
	}
	return unit{"Water temperature", "°F", coldseam.F}
}

// ticks are three or four round values inside the frame.
func ticks(fr frame) []mark {
	var best []mark
	raw := (fr.hi - fr.lo) / 3
	base := math.Pow(10, math.Floor(math.Log10(raw)))

	for _, m := range []float64{.5, 1, 2, 2.5, 5, 10, .4, .8, 4, .6, 1.5, 3, 6} { // rounder ones first
		d := base * m
		var t []mark
		for v := math.Ceil(fr.lo/d) * d; v <= fr.hi+d*1e-9; v += d {
			// A value at the very edge has no room for its number.
			if y := fr.y(v); y > 6 && y < fr.h-1 {
				t = append(t, mark{Y: y, Label: number(v)})
			}
		}

		if len(t) == 3 || len(t) == 4 {
			return t
		}
		if len(t) >= 2 && (best == nil || len(t) < len(best)) && len(t) < 6 {
			best = t
		}
	}

	return best
}

// withoutRun words the bands that are named after the spring, for days that have
// no run to speak of: autumn, and rivers whose run is not known.
var withoutRun = map[string]string{"spawn": "mild water", "drop-back": "warm water"}

// bandWords name bands whose key is an order too, and not the one that is given.
var bandWords = map[string]string{"lift": "brisk"}

// BandWord is a band as its reader may hear it; run says whether there is a run.
func BandWord(key string, run bool) string {
	if w, ok := withoutRun[key]; ok && !run {
		return w
	}
	if w, ok := bandWords[key]; ok {
		return w
	}
	return key
}

// bandLines are the band edges inside the frame and the words of the bands
// that show, at the middle of their visible part; the band of the reading, or
// of today's window without one, is bold. run says whether there is a run.
func bandLines(b coldseam.Brief, fr frame, metric, run bool) (lines, words []mark) {
	bands := b.BandRows()
	conv := tempUnit(metric)
	now := -1
	if b.Temp.NowOK {
		now = coldseam.BandOf(bands, b.Temp.Now)
	}
	if w, ok := b.Best(); ok && w.WaterC != [3]float64{} {
		now = coldseam.BandOf(bands, w.WaterC[1])
	}
	low := fr.lo

	for i, bd := range bands {
		edge := conv.f(coldseam.C(bd.Upper))
		if i == len(bands)-1 {
			edge = math.Inf(1)
		}
		if edge > fr.lo && edge < fr.hi {
			lines = append(lines, mark{Y: fr.y(edge), Label: number(math.Round(edge*10) / 10)})
		}
		top := min(edge, fr.hi)
		if y0, y1 := fr.y(top), fr.y(low); y1-y0 >= 14 {
			words = append(words, mark{Y: (y0 + y1) / 2, Label: tidy(BandWord(bd.Key, run)), Bold: i == now})
		}
		low = max(low, min(edge, fr.hi))
	}

	return lines, words
}

// labelGap is the least distance between two numbers of an axis, px; the
// mail's text is twice as tall.
const labelGap = 30

// plainMarks are round values for a temperature axis on which fewer than two
// band lines show: one line, or none, is no scale.
func plainMarks(fr frame, lines []mark) []mark {
	if len(lines) > 1 {
		return nil
	}
	var out []mark
	for _, t := range ticks(fr) {
		if len(lines) == 1 && math.Abs(t.Y-lines[0].Y) < labelGap {
			continue
		}
		out = append(out, t)
	}
	return out
}

func dayMarks(fr frame, today coldseam.Date, loc *time.Location) []dayMark {
	var out []dayMark
	for d := coldseam.DateOf(fr.from.In(loc)); !d.In(loc).After(fr.to); d = d.Add(1) {
		from, to := d.In(loc), d.Add(1).In(loc)
		m := dayMark{
			Midnight: fr.x(from),
			Noon:     fr.x(from.Add(to.Sub(from) / 2)),
			Short:    d.Weekday().String()[:3],
			Date:     strconv.Itoa(d.Day),
			Today:    d == today,
			Past:     d.Before(today),
			Odd:      d.Sub(today)%2 != 0,
		}
		out = append(out, m)
	}
	return out
}

// describe puts the numbers of the chart into words, for readers who hear the
// page.
func describe(b coldseam.Brief, c unit, strokes [][]coldseam.Point, steps []step, limit float64,
	loc *time.Location) string {
	var s []string
	if n := len(strokes); n > 0 {
		st := strokes[n-1]
		p := st[len(st)-1]
		s = append(s, fmt.Sprintf("Last reading %s %s at %s.", show(c, p.V), c.unit, clock(p.At.In(loc))))
	} else {
		s = append(s, "No reading.")
	}

	if len(steps) == 0 {
		s = append(s, "No forecast.")
	}
	var days []string
	for _, d := range []int{1, 3, 6} {
		at := b.Issued.In(loc).AddDate(0, 0, d)
		for i := 1; i < len(steps); i++ {
			if !at.Before(steps[i-1].at) && !at.After(steps[i].at) {
				q := between(steps[i-1], steps[i], at).q
				days = append(days, fmt.Sprintf("%s %s, most from %s to %s", at.In(loc).Weekday().String(),
					show(c, q[2]), show(c, q[0]), show(c, q[4])))
				break
			}
		}
	}

	if len(days) > 0 {
		s = append(s, "Middle forecast this time of day: "+strings.Join(days, "; ")+".")
	}
	if !math.IsNaN(limit) {
		s = append(s, fmt.Sprintf("The line: club limit %s %s.", show(c, limit), c.unit))
	}
	return strings.Join(s, " ")
}

// show writes a value in words at the precision of its quantity: whole degF,
// tenths of degC, three figures of flow.
func show(c unit, v float64) string {
	switch c.unit {
	case "°F":
		return number(math.Round(v))
	case "°C":
		return number(math.Round(v*10) / 10)
	}
	return number(threeFigures(v))
}

func threeFigures(v float64) float64 {
	if v == 0 {
		return 0
	}
	d := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-2)
	return math.Round(v/d) * d
}

// number writes v without needless decimals, with commas at thousands.
func number(v float64) string {
	s := strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64)
	neg := strings.HasPrefix(s, "-")
	s = strings.TrimPrefix(s, "-")
	whole, frac, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if frac != "" {
		whole += "." + frac
	}
	if neg && whole != "0" {
		whole = "−" + whole
	}
	return whole
}

// tidy makes one line of a name from data: control and format characters, the
// ones that turn the direction of text among them, become spaces.
func tidy(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool {
		return r == utf8.RuneError || unicode.IsSpace(r) || unicode.IsControl(r) || unicode.Is(unicode.Cf, r)
	}), " ")
}

// clock is the 24-hour time without a leading zero.
func clock(t time.Time) string { return t.Format("15:04")[b2i(t.Hour() < 10):] }

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
