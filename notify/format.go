package notify

import (
	"fmt"
	"html/template"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"example.org/coldseam"
)

// format writes numbers with their units for one reader. Strings carry the
// typographic form (no-break spaces, en dashes, degree signs); plain folds
// them for the text part.
type format struct {
	metric bool
	zone   *time.Location
	noOdds bool // on STOP and NO CALL no chance is told, whatever a reason carries
	short  bool // of each sentence the first clause alone, for subjects
}

const (
	nbsp   = "\u00a0"
	enDash = "\u2013"
	// unknown stands where a number should be and is none: NaN, infinity.
	unknown = "not known"
)

// formatFor reads units from the preferences and the clock from the river: the
// reader will stand at the river. An unknown zone falls back to UTC, and the
// zone name is printed then.
func formatFor(p coldseam.Preferences, zone string) format {
	loc, err := time.LoadLocation(zone)
	if err != nil || zone == "" {
		loc = time.UTC
	}
	return format{metric: p.Units == "metric", zone: loc}
}

// finite tells a number that can be one of a river from what is none, or a fault
// with hundreds of digits.
func finite(x float64) bool { return math.Abs(x) < 1e9 }

// flow writes a discharge in m3/s with three significant digits.
func (f format) flow(m3s float64) string {
	if !finite(m3s) {
		return unknown
	}
	if f.metric {
		return significant(m3s) + nbsp + "m³/s"
	}
	return significant(coldseam.CFS(m3s)) + nbsp + "cfs"
}

// significant writes three significant digits, thousands with commas: a gauge
// reading is no better than that.
func significant(x float64) string {
	if x == 0 {
		return "0"
	}
	r, digits := threeDigits(x)
	if digits <= 0 || r == math.Trunc(r) && math.Abs(r) >= 100 {
		return thousands(r)
	}
	return strings.Replace(strconv.FormatFloat(r, 'f', digits, 64), "-0.00", "0.00", 1)
}

// threeDigits rounds to three significant digits and at most two decimals.
func threeDigits(x float64) (r float64, decimals int) {
	if x == 0 {
		return 0, 0
	}
	decimals = min(2-int(math.Floor(math.Log10(math.Abs(x)))), 2)
	scale := math.Pow(10, float64(decimals))
	return math.Round(x*scale) / scale, decimals
}

func thousands(x float64) string {
	s := strconv.FormatFloat(math.Abs(math.Round(x)), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if x <= -0.5 {
		return "-" + s
	}
	return s
}

// temp writes a water or air temperature in degC: whole degrees Fahrenheit or
// tenths of a degree Celsius.
func (f format) temp(c float64) string {
	if !finite(c) {
		return unknown
	}
	if f.metric {
		return strconv.FormatFloat(math.Round(c*10)/10+0, 'f', 1, 64) + nbsp + "°C"
	}
	return thousands(coldseam.F(c)) + nbsp + "°F"
}

// depth writes a depth or height in m.
func (f format) depth(m float64) string {
	if !finite(m) {
		return unknown
	}
	if f.metric {
		return strconv.FormatFloat(m, 'f', 1, 64) + nbsp + "m"
	}
	return thousands(coldseam.Feet(m)) + nbsp + "ft"
}

// wind writes a speed in m/s.
func (f format) wind(ms float64) string {
	if !finite(ms) {
		return unknown
	}
	if f.metric {
		return thousands(ms) + nbsp + "m/s"
	}
	return thousands(coldseam.MPH(ms)) + nbsp + "mph"
}

// weight writes a jig size as stamped on the card; metric readers get the
// grams beside it, since the trade sizes are ounces everywhere.
func (f format) weight(oz float64) string {
	if !finite(oz) || oz <= 0 {
		return unknown
	}
	s := coldseam.OzName(oz) + nbsp + "oz"
	if f.metric {
		g := oz * coldseam.KgPerOunce * 1000
		s += " (" + strconv.FormatFloat(g, 'f', 1, 64) + nbsp + "g)"
	}
	return s
}

// odds writes a probability as the club reads it. The ends are words: "0 in
// 10" would say never.
func odds(p float64) string {
	if !finite(p) {
		return unknown
	}
	switch n := coldseam.Tenths(p); n {
	case 0:
		return "under 1" + nbsp + "in" + nbsp + "10"
	case 10:
		return "over 9" + nbsp + "in" + nbsp + "10"
	default:
		return strconv.Itoa(n) + nbsp + "in" + nbsp + "10"
	}
}

// chance is how a brief tells the odds of a good morning: as odds, or before a log
// as the third of the river's own mornings.
func chance(b coldseam.Brief, p float64) string {
	if b.Rank.Only() {
		return third(float64(b.Rank.Third(p)))
	}
	return odds(p)
}

// goodChance is the same with its noun, as it stands alone.
func goodChance(b coldseam.Brief, p float64) string {
	if b.Rank.Only() {
		return chance(b, p) + " of this river's fishable mornings"
	}
	return odds(p) + " for a good morning"
}

func third(n float64) string {
	return [...]string{"worse", "middle", "better"}[min(max(int(n), 1), 3)-1] + " third"
}

// thumb is what a rank rests on, in full: nobody may take it for a chance.
const thumb = ", by trade rules not tested here: a rank, not a chance of fish"

// percent writes a share 0-1 without its sign.
func percent(x float64) string {
	if !finite(x) {
		return unknown
	}
	return strconv.Itoa(int(math.Round(100 * min(max(x, 0), 1))))
}

// clock writes a local time of day, 24 hours, no leading zero.
func (f format) clock(t time.Time) string {
	if t.IsZero() {
		return unknown
	}
	t = t.In(f.zone)
	return fmt.Sprintf("%d:%02d", t.Hour(), t.Minute())
}

// dayClock adds the weekday when t is not on day d.
func (f format) dayClock(t time.Time, d coldseam.Date) string {
	if !t.IsZero() && coldseam.DateOf(t.In(f.zone)) != d {
		return t.In(f.zone).Format("Mon") + " " + f.clock(t)
	}
	return f.clock(t)
}

// either picks the text of the reader's unit system; an empty metric twin means
// that no number is in it.
func (f format) either(us, si string) string {
	if f.metric && si != "" {
		return clean(si)
	}
	return clean(us)
}

func (f format) span(a, b time.Time) string { return f.clock(a) + enDash + f.clock(b) }

// shortDay is "Sat 10 Apr".
func shortDay(d coldseam.Date) string { return d.UTC().Format("Mon 2 Jan") }

func weekday(d coldseam.Date) string { return d.UTC().Format("Mon") }

// hours writes an age: "40 min", "7 h", "3 days".
func hours(d time.Duration) string {
	switch {
	case d < 0:
		return "0 min"
	case d < 90*time.Minute:
		return strconv.Itoa(int(d.Round(time.Minute)/time.Minute)) + " min"
	case d < 72*time.Hour:
		return strconv.Itoa(int(d.Round(time.Hour)/time.Hour)) + " h"
	}
	return strconv.Itoa(int(d/(24*time.Hour))) + " days"
}

// plain folds the typographic form to what every terminal and mail reader
// shows in one column per rune.
func plain(s string) string { return toPlain.Replace(s) }

// Plain writes words without typographic marks, for terminals and files.
func Plain(s string) string { return plain(s) }

var toPlain = strings.NewReplacer(nbsp+"°F", "F", nbsp+"°C", "C", nbsp+"%", "%", " °F", "F", " °C", "C",
	nbsp, " ", "\u2002", " ", enDash, "-", "m³/s", "m3/s", "²", "2", "·", "-", "\u2019", "'")

// maxForeign bounds one piece of foreign text: a longer one would crowd the other
// rivers out of the mail [proposal].
const maxForeign = 400

// clean is oneLine, and what is too long is cut: for text that is shown.
func clean(s string) string { return clip(oneLine(s), maxForeign) }

// oneLine makes one line of foreign text: feed, admin or subscriber. Control and
// format characters (CR, LF, NUL, U+2028, bidirectional overrides) become
// spaces, bad UTF-8 disappears, runs of spaces shrink to one.
func oneLine(s string) string {
	var b strings.Builder
	space := false
	for _, r := range s {
		switch {
		case r == utf8.RuneError:
			continue
		case unicode.IsSpace(r) && r != '\u00a0', unicode.IsControl(r), unicode.Is(unicode.Cf, r),
			unicode.Is(unicode.Zl, r), unicode.Is(unicode.Zp, r):
			space = true
			continue
		}
		if space && b.Len() > 0 {
			b.WriteByte(' ')
		}
		space = false
		b.WriteRune(r)
	}
	return strings.TrimSpace(b.String())
}

// clip shortens to n runes at a word, marking the cut.
func clip(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	r := []rune(s)[:n-2]
	if i := strings.LastIndexAny(string(r), " ,;"); i > len(string(r))/2 {
		return strings.TrimRight(string(r)[:i], " ,;:") + " .."
	}
	return string(r) + ".."
}

// wrap breaks s into lines of at most width runes at spaces; a longer word is
// left whole.
func wrap(s string, width int) []string {
	var out []string
	line := ""
	for _, w := range strings.Fields(s) {
		switch {
		case line == "":
			line = w
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) <= width:
			line += " " + w
		default:
			out, line = append(out, line), w
		}
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

var (
	unitAfterNumber = regexp.MustCompile(
		`(\d) (in 10|in|oz|lb|ft|mi|d|mph|cfs|min|h|s|m/s|m³/s|m|cm|g|kg|mm|°F|°C|days)\b`)
	dayBeforeOdds = regexp.MustCompile(`\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) (\d+|under 1|over 9)(?:` + nbsp + `in|\b)`)
	bareDegrees   = regexp.MustCompile(`(^|[\s(,])(-?\d{1,3}(?:\.\d)?) ?([FC])\b`)
	// Short numbers standing free: no dates, telephone or station numbers.
	rangeOfNumbers = regexp.MustCompile(`(^|[\s(])(\d{1,2}(?:\.\d+)?)-(\d{1,2}(?:\.\d+)?)($|[\s,;.)%])`)
	// unbroken must not be torn at its hyphen or dash; nbsp does not help there.
	unbroken = regexp.MustCompile(`TOSS-UP|\d[\d.,:/]*` + enDash + `\d[\d.,:/]*(?:` + nbsp + `[^\s<&;,.)` + nbsp +
		`]+)?`)
)

// typeset gives foreign and plain text the typographic form: "39F" becomes
// "39 °F", "4-8 in" an en dash, and a number stays on the line of its unit.
func typeset(s string) string {
	s = bareDegrees.ReplaceAllString(s, "${1}${2}"+nbsp+"°$3")
	s = rangeOfNumbers.ReplaceAllString(s, "${1}${2}"+enDash+"${3}${4}")
	s = strings.ReplaceAll(unitAfterNumber.ReplaceAllString(s, "$1"+nbsp+"$2"), "in 10", "in"+nbsp+"10")
	return dayBeforeOdds.ReplaceAllStringFunc(s, func(m string) string { return strings.ReplaceAll(m, " ", nbsp) })
}

// bind is typeset text for the HTML of a mail, escaped, with ranges kept whole.
func bind(s string) template.HTML { return bound(s, `style="white-space:nowrap"`) }

// bound is bind with the attribute that forbids the break.
func bound(s, nowrap string) template.HTML {
	safe := template.HTMLEscapeString(typeset(s))
	return template.HTML(unbroken.ReplaceAllString(safe, `<span `+nowrap+`>$0</span>`))
}
