package verdict

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// Odds writes a probability the way the trade reads it: "6 in 10". Below one
// in twenty and above nineteen in twenty it says so without a false 0 or 10.
// NaN gives "".
func Odds(p float64) string {
	switch {
	case math.IsNaN(p):
		return ""
	case p < 0.05:
		return "under 1 in 10"
	case p >= 0.95:
		return "over 9 in 10"
	}
	return strconv.Itoa(int(math.Floor(p*10+0.5+1e-9))) + " in 10"
}

// inHundred counts members for the text of a stop, which never speaks in the
// odds of a good morning: "93 of 100 forecasts".
func inHundred(p float64) string { return fmt.Sprintf("%.0f of 100 forecasts", math.Round(p*100)) }

// FlowWords is the class of a flow percentile (0-1) for the date.
func FlowWords(pct float64) string {
	switch {
	case math.IsNaN(pct):
		return ""
	case pct < 0.10:
		return "much below normal for the date"
	case pct < 0.25:
		return "below normal for the date"
	case pct <= 0.75:
		return "normal for the date"
	case pct <= 0.90:
		return "above normal for the date"
	}
	return "much above normal for the date"
}

// FlowClass is the key of the flow class in the advice and odds tables: low,
// normal, high or flood; "" without a percentile, which the tables read as
// normal and mark.
func FlowClass(pct float64) string {
	switch {
	case math.IsNaN(pct):
		return ""
	case pct < 0.25:
		return "low"
	case pct <= 0.75:
		return "normal"
	case pct <= 0.90:
		return "high"
	}
	return "flood"
}

// FlowPhrase is the class with the count of years behind it: "normal for the
// date (of 12 years)". Under minYears there is no percentile word and the
// result is "".
func FlowPhrase(pct float64, years, minYears int) string {
	w := FlowWords(pct)
	if w == "" || years < minYears {
		return ""
	}
	return fmt.Sprintf("%s (of %d years)", w, years)
}

// Trend puts the change from now to the middle of the window into words; hour
// is the local clock word of that moment, such as "noon". A change under 3 %
// is steady [proposal].
func Trend(now, then float64, hour string) string {
	if !(now > 0) || !(then > 0) {
		return ""
	}
	to := ""
	if hour != "" {
		to = " to " + hour
	}
	switch r := then / now; {
	case r > 1.10:
		return "rising fast" + to
	case r > 1.03:
		return "rising" + to
	case r < 0.90:
		return "dropping" + to
	case r < 0.97:
		return "easing" + to
	}
	return "steady" + to
}

// comma writes x rounded to three figures with a thousands comma.
func comma(x float64) string {
	if x == 0 || math.IsNaN(x) {
		return "0"
	}
	if a := math.Abs(x); a < 100 {
		return strconv.FormatFloat(round3(x), 'f', -1, 64)
	}
	s := strconv.FormatFloat(math.Abs(round3(x)), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if x < 0 {
		return "-" + s
	}
	return s
}

// round3 rounds to three significant figures.
func round3(x float64) float64 {
	k := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-2)
	return math.Round(math.Round(x/k)*k*1e6) / 1e6
}

func cfs(m3s float64) string { return comma(coldseam.CFS(m3s)) + " cfs" }
func m3s(m3s float64) string { return comma(m3s) + " m3/s" }
func degF(c float64) string {
	return fmt.Sprintf("%.0fF", math.Abs(math.Round(coldseam.F(c)))*sign(coldseam.F(c)))
}
func degC(c float64) string    { return trim(c, 1) + " C" }
func mph(ms float64) string    { return fmt.Sprintf("%.0f mph", coldseam.MPH(ms)) }
func kmh(ms float64) string    { return fmt.Sprintf("%.0f km/h", ms*3.6) }
func feet(m float64) string    { return trim(coldseam.Feet(m), 1) + " ft" }
func metres(m float64) string  { return trim(m, 2) + " m" }
func percent(f float64) string { return fmt.Sprintf("%.0f%%", math.Round(f*100)) }

func sign(x float64) float64 {
	if x <= -0.5 {
		return -1
	}
	return 1
}

// trim writes x with at most n decimals and no trailing zeros.
func trim(x float64, n int) string {
	s := strconv.FormatFloat(x, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
