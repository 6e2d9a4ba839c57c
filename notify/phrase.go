package notify

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// becomes says how a measurement narrows the sizes that may be needed: "1/4 or
// 3/8 oz becomes 1/4".
func becomes(before, after string) string {
	choice := func(sizes string) string {
		s := strings.Split(sizes, ",")
		if len(s) > 2 {
			return s[0] + " to " + s[len(s)-1]
		}
		return strings.Join(s, " or ")
	}
	b, a := choice(before), choice(after)
	if a == b {
		return b + nbsp + "oz either way, but surer"
	}
	return b + nbsp + "oz becomes " + a
}

// heightOfDunes is never finer than the two methods agree: whole feet or half
// metres.
func (f format) heightOfDunes(low, high float64) string {
	step, unit := 1., nbsp+"ft"
	if f.metric {
		step, unit = .5, nbsp+"m"
	} else {
		low, high = coldseam.Feet(low), coldseam.Feet(high)
	}
	a, b := math.Floor(low/step)*step, math.Ceil(high/step)*step
	switch {
	case b <= step:
		return "under " + trimmed(step, 1) + unit
	case a <= 0:
		return "up to " + trimmed(b, 1) + unit
	}
	return trimmed(a, 1) + enDash + trimmed(b, 1) + unit
}

// keyed words a key. What is none stands as it is: briefs stored before hold
// words in the place of keys.
func keyed(words map[string]string, key string) string {
	if w, ok := words[key]; ok {
		return w
	}
	return clean(key)
}

var (
	placeholder = regexp.MustCompile(`\{[a-z0-9_]+\}`)
	either      = regexp.MustCompile(`\[([^]|]*)(?:\|([^]]*))?\]`)
	// furtherClauses of a sentence as it stands in reasonWords.
	furtherClauses = regexp.MustCompile(`\[?; .*$`)
	piece          = regexp.MustCompile(either.String() + "|" + placeholder.String())
)

// SetWording keeps the words of a brief's reasons as they are issued, for the
// season's record.
func SetWording(b *coldseam.Brief) {
	f := formatFor(coldseam.Preferences{}, b.Zone)
	b.OddsNote.Text = plain(f.words(b.OddsNote))
	for _, list := range []*[]coldseam.Reason{&b.Stops, &b.Reasons, &b.Cautions} {
		*list = slices.Clone(*list)
		for i, r := range *list {
			(*list)[i].Text = plain(f.reason(r))
		}
	}
}

// sentence words a reason for the reader's units. ok is false where the code
// has no sentence or the reason lacks one of its values.
func (f format) sentence(r coldseam.Reason) (text string, ok bool) {
	code := r.Code
	if why := r.Names["case"]; why != "" {
		code += "_" + why
	}
	words, ok := reasonWords[code]
	if !ok {
		if words, ok = jigWords[code]; !ok {
			return "", false
		}
	}

	if f.short {
		words = furtherClauses.ReplaceAllString(words, "")
	}
	return f.fill(words, r)
}

// fill puts the values of a reason into its words; ok is false when one lacks.
// A value is printed as it is: braces and brackets in foreign words mean nothing.
func (f format) fill(words string, r coldseam.Reason) (text string, ok bool) {
	ok = true
	text = piece.ReplaceAllStringFunc(words, func(m string) string {
		if part := either.FindStringSubmatch(m); part != nil {
			s, complete := f.fill(part[1], r)
			if !complete {
				s, _ = f.fill(part[2], r)
			}
			return s
		}
		s, found := f.value(m[1:len(m)-1], r)
		ok = ok && found
		return s
	})
	return text, ok
}

// value words one value of a reason.
func (f format) value(name string, r coldseam.Reason) (text string, ok bool) {
	moment := map[string]time.Time{"at": r.At, "clock": r.At, "since": r.At, "date": r.At, "from": r.From,
		"until": r.Until}
	if t, ok := moment[name]; ok {
		switch {
		case t.IsZero():
			return "", false
		case name == "clock" || name == "from":
			return f.clock(t), true
		case name == "since":
			return t.In(f.zone).Format("2 Jan"), true
		case name == "date":
			return t.In(f.zone).Format("2 January"), true
		}
		return t.In(f.zone).Format("Mon ") + f.clock(t), true
	}

	if s, ok := r.Names[name]; ok {
		switch name {
		case "stop", "rests_on":
			r.Code = s
			return f.reason(r), true
		case "becomes":
			return becomes(clean(r.Names["sizes"]), clean(s)), true
		case "quantity", "input", "inputs", "craft", "lie", "speed_by", "gear", "why":
			return keyList(s), true
		case "day":
			if d, err := coldseam.ParseDate(s); err == nil {
				return d.UTC().Format("2 January"), true
			}
		case "doubt":
			return strings.Replace(doubtWords[s], "{flag}", clean(r.Names["flag"]), 1), true
		}

		return clean(s), true
	}

	if name == "leader_range" {
		return f.leaderLength([2]float64{r.Values["short_m"], r.Values["long_m"]}), true
	}
	v, ok := r.Values[name]
	if !ok || f.noOdds && strings.HasSuffix(name, "_odds") {
		return "", false
	}
	if name == "high_m" {
		return f.heightOfDunes(r.Values["low_m"], v), true
	}
	return f.quantity(name, v), true
}

// keyList words one key or several, separated by commas.
func keyList(keys string) string {
	list := strings.Split(keys, ",")
	for i, k := range list {
		if w, ok := keyWords[k]; ok {
			list[i] = w
		} else {
			list[i] = strings.ReplaceAll(clean(k), "_", " ")
		}
	}
	return strings.Join(list, ", ")
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
	case strings.HasSuffix(name, "m2_s") && us: // depth times current
		return trimmed(v/coldseam.MetrePerFoot/coldseam.MetrePerFoot, 1) + nbsp + "ft²/s"
	case strings.HasSuffix(name, "m2_s"):
		return trimmed(v, 2) + nbsp + "m²/s"
	case strings.HasSuffix(name, "m_s") && us: // a current
		return trimmed(coldseam.Feet(v), 1) + nbsp + "ft/s"
	case strings.HasSuffix(name, "m_s"):
		return trimmed(v, 2) + nbsp + "m/s"
	case name == "spot_depth_m" || name == "line_out_m":
		return f.depth(v)
	case name == "apart_m" && us: // of dunes, no finer than known
		return thousands(math.Round(coldseam.Feet(v)/10)*10) + nbsp + "ft"
	case name == "apart_m":
		return thousands(math.Round(v/5)*5) + nbsp + "m"
	case unit == "cm" && us && v < 2.54:
		return "under 1" + nbsp + "in"
	case unit == "cm" && us:
		return trimmed(v/2.54, 0) + nbsp + "in"
	case unit == "cm":
		return trimmed(v, 0) + nbsp + "cm"
	case unit == "deg":
		return trimmed(v, 0) + nbsp + "deg"
	case unit == "oz":
		return f.weight(v)
	case unit == "floats":
		return Counted(v, "float")
	case unit == "m" && us:
		return trimmed(coldseam.Feet(v), 1) + nbsp + "ft"
	case unit == "m":
		return trimmed(v, 2) + nbsp + "m"
	case unit == "c":
		return f.temp(v)
	case name == "offset_k" && us: // of the reach against its gauge
		return signed(v*1.8) + nbsp + "°F"
	case name == "offset_k":
		return signed(v) + nbsp + "°C"
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
	case unit == "of100":
		return percent(v)
	case unit == "members": // a share of the forecasts, never an odds
		return percent(v) + " of 100 forecasts"
	case unit == "odds", unit == "in10":
		return odds(v)
	case unit == "h":
		return age(v)
	case unit == "d":
		return trimmed(v, 0) + nbsp + "d"
	case unit == "trips" && v < .5:
		return "no trips"
	case unit == "trips":
		return Counted(v, "trip")
	case unit == "mornings":
		return Counted(v, "morning")
	case unit == "of3":
		return third(v)
	case unit == "years":
		return Counted(v, "year")
	case unit == "days":
		return Counted(v, "day")
	case unit == "readings" && v < .5:
		return "no member's reading"
	case unit == "readings" && v < 1.5:
		return "1 member's reading"
	case unit == "readings":
		return thousands(v) + " members' readings"
	case unit == "peak":
		return peakWords(v)
	case unit == "fnu":
		return trimmed(v, 0) + nbsp + "FNU"
	}

	return trimmed(v, 1)
}

// peakWords is a share of a usual season's peak in quarters [proposal].
func peakWords(share float64) string {
	switch {
	case share < .375:
		return "about a quarter of a usual peak"
	case share < .625:
		return "about half of a usual peak"
	case share < .875:
		return "about three quarters of a usual peak"
	case share < 1.2:
		return "about a usual peak"
	}
	return "above a usual peak"
}

// signed writes a difference with its sign, to a tenth.
func signed(v float64) string { return fmt.Sprintf("%+.1f", v) }

// age writes hours beside a limit, so fine that the two differ when they do.
func age(h float64) string {
	d := time.Duration(h * float64(time.Hour))
	if d >= 100*time.Minute && d < 10*time.Hour {
		return trimmed(h, 1) + nbsp + "h"
	}
	if d >= time.Hour && d < 90*time.Minute && d%time.Hour == 0 {
		return "1" + nbsp + "h"
	}
	return strings.Replace(hours(d), " ", nbsp, 1)
}

// Counted writes a whole number with its noun.
func Counted(v float64, noun string) string {
	if math.Round(v) == 1 {
		return "1 " + noun
	}
	return thousands(v) + " " + noun + "s"
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
