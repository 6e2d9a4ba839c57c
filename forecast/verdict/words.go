package verdict

import (
	"fmt"
	"math"
	"strconv"

	"example.org/coldseam"
)

// Odds writes a probability the way the trade reads it: "6 in 10". Below one
// in twenty and above nineteen in twenty it says so without a false 0 or 10.
// NaN gives "".
func Odds(p float64) string {
	if math.IsNaN(p) {
		return ""
	}
	switch n := coldseam.Tenths(p); n {
	case 0:
		return "under 1 in 10"
	case 10:
		return "over 9 in 10"
	default:
		return strconv.Itoa(n) + " in 10"
	}
}

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
