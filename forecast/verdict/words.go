package verdict

import "math"

// DateClass is the class of a flow percentile (0-1) for the date: much below,
// below, normal, above or much above; "" for NaN.
func DateClass(pct float64) string {
	switch {
	case math.IsNaN(pct):
		return ""
	case pct < 0.10:
		return "much below"
	case pct < 0.25:
		return "below"
	case pct <= 0.75:
		return "normal"
	case pct <= 0.90:
		return "above"
	}
	return "much above"
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

// Trend classes the change of a flow: rising_fast, rising, steady, easing or
// dropping; "" where either is not above zero. A change under 3 % is steady
// [proposal].
func Trend(now, then float64) string {
	if !(now > 0) || !(then > 0) {
		return ""
	}
	switch r := then / now; {
	case r > 1.10:
		return "rising_fast"
	case r > 1.03:
		return "rising"
	case r < 0.90:
		return "dropping"
	case r < 0.97:
		return "easing"
	}
	return "steady"
}
