package notify

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// reasonWords holds the sentence of each reason code. {name} stands for a value
// of the reason and is written by the unit at the end of its name (see
// quantity), {at} for its time and any other name for one of its Names.
var reasonWords = map[string]string{
	"flood_stage": "stage {stage_m}; minor flood is {limit_m}",

	"rise_stage":         "rose {rise_m} in 6 h; the limit is {limit_m}",
	"rise_flow":          "flow rose {rise_share} in 6 h; the limit is {limit_share}",
	"rise_day":           "flow rose {rise_share} in 24 h; the limit is {limit_share}",
	"rise_day_flashy":    "flow rose {rise_share} in 24 h; the limit on this flashy river is {limit_share}",
	"rise_day_cap":       "flow rose {rise_share} in 24 h, over {limit_share}",
	"rise_day_stage":     "rose {rise_m} in 24 h; the limit is {limit_m}",
	"rise_day_stage_cap": "rose {rise_m} in 24 h, over {limit_m}",
	"rise_kept":          "rose to {peak_m3_s} by {at}; stop kept until it is below {until_m3_s}",
	"rise_kept_stage":    "rose to {peak_m} by {at}; stop kept until it is below {until_m}",
	"rise_falling":       "rose to {peak_m3_s} by {at}; caution until it is below {until_m3_s}",
	"limit_unconfirmed":  "flow limit {limit_m3_s} is a proposal, not confirmed yet",
	"high_water":         "high water: {flow_m3_s}, the limit here is {limit_m3_s}",
	"craft_limit":        "{flow_m3_s}; the limit for {craft} is {limit_m3_s}",
	"craft_high_water":   "high water for {craft}: {flow_m3_s} of {limit_m3_s}",
	"craft_unconfirmed":  "no flow limit confirmed here for {craft}",
	"drift":              "the river rose: logs and branches drift until a day after the peak",

	"word_over":     "this word was good until {at}",
	"input_stale":   "{input} is {age_h} old; the limit is {limit_h}",
	"hours_missing": "no forecast for the hours that were told",
	"told_hours":    "this is about the hours you were told, from {at}; the page below tells of the others",
}

var placeholder = regexp.MustCompile(`\{[a-z0-9_]+\}`)

// sentence words a reason for the reader's units. ok is false where the code
// has no sentence or the reason lacks one of its values, as in briefs that were
// stored before reasons carried values.
func (f format) sentence(r coldseam.Reason) (text string, ok bool) {
	words, ok := reasonWords[r.Code]
	if !ok {
		return "", false
	}

	text = placeholder.ReplaceAllStringFunc(words, func(m string) string {
		name := m[1 : len(m)-1]
		if name == "at" && !r.At.IsZero() {
			return r.At.In(f.zone).Format("Mon ") + f.clock(r.At)
		}
		if s, found := r.Names[name]; found {
			return clean(s)
		}
		v, found := r.Values[name]
		if !found {
			ok = false
			return ""
		}
		return f.quantity(name, v)
	})
	return text, ok
}

// quantity writes an SI value by the unit that ends its name.
func (f format) quantity(name string, v float64) string {
	if !finite(v) {
		return unknown
	}

	us := !f.metric
	switch unit := name[strings.LastIndexByte(name, '_')+1:]; {
	case strings.HasSuffix(name, "m3_s"):
		return f.flow(v)
	case unit == "m" && us:
		return trimmed(coldseam.Feet(v), 1) + nbsp + "ft"
	case unit == "m":
		return trimmed(v, 2) + nbsp + "m"
	case unit == "c":
		return f.temp(v)
	case unit == "k" && us: // a difference of temperatures
		return trimmed(v*1.8, 0) + nbsp + "°F"
	case unit == "k":
		return trimmed(v, 1) + nbsp + "°C"
	case unit == "mps":
		return f.wind(v)
	case unit == "mm" && us:
		return trimmed(v/25.4, 1) + nbsp + "in"
	case unit == "mm":
		return trimmed(v, 0) + nbsp + "mm"
	case unit == "share":
		return percent(v) + "%"
	case unit == "members": // a share of the forecasts, never an odds
		return percent(v) + " of 100 forecasts"
	case unit == "odds":
		return odds(v)
	case unit == "h":
		return hours(time.Duration(v * float64(time.Hour)))
	case unit == "d":
		return trimmed(v, 0) + nbsp + "d"
	}
	return trimmed(v, 1)
}

// trimmed writes v with at most n decimals and no trailing zeros.
func trimmed(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
