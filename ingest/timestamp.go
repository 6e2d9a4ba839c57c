package ingest

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// Precision says how much of a time a document gave.
type Precision int

// The precisions.
const (
	ToInstant Precision = iota
	ToDay               // a civil day of 23, 24 or 25 h
	ToMonth
)

// Stamp is a time as a document gives it. At is the instant, or the first
// instant of the civil day or month.
type Stamp struct {
	At        time.Time // UTC
	End       time.Time // end of the day or month; At for an instant
	Precision Precision
	Ambiguous bool // zone-less, in the hour that the clock repeats; the earlier instant was taken
}

// ParseTime reads the forms that services send: RFC 3339 with Z, an offset
// (also +hhmm, +hh, -00:00) and any number of decimals, minutes only, 24:00,
// a space for the T, zone-less, a bare date and year-month. A written offset is
// trusted even when it disagrees with daylight saving. Zone-less forms are
// taken in loc; with loc nil they are ErrInvalid, as is a zone-less time that
// the clock skips.
func ParseTime(s string, loc *time.Location) (Stamp, error) {
	st, err := parseTime(strings.TrimSpace(s), loc)
	if err != nil {
		return Stamp{}, Because(CodeTime, fmt.Errorf("time %q: %s: %w", clip(s), err.Error(), coldseam.ErrInvalid))
	}
	return st, nil
}

type timeError string

func (e timeError) Error() string { return string(e) }

const (
	errForm timeError = "want RFC 3339, a date or year-month"
	errZone timeError = "no zone in the document and none configured"
	errSkip timeError = "this local time does not exist (clock change)"
)

func parseTime(s string, loc *time.Location) (Stamp, error) {
	date, clock := s, ""
	if i := strings.IndexAny(s, "Tt "); i >= 0 {
		date, clock = s[:i], s[i+1:]
		if clock == "" {
			return Stamp{}, errForm
		}
	} else if len(s) > 10 {
		// xs:date with a zone: 2014-09-01Z or 2014-09-01-05:00.
		off, rest, ok := cutOffset(s[10:])
		if !ok || rest != "" {
			return Stamp{}, errForm
		}
		date, loc = s[:10], off
	}

	y, m, d, err := parseDate(date)
	if err != nil {
		return Stamp{}, err
	}

	if clock == "" {
		return civil(y, m, d, loc)
	}
	if d == 0 {
		return Stamp{}, errForm
	}
	off, rest, hasOff := cutOffset(clock)
	hh, mm, ss, ns, err := parseClock(rest)
	if err != nil {
		return Stamp{}, err
	}

	if hasOff {
		at := time.Date(y, m, d, hh, mm, ss, ns, off).UTC()
		return Stamp{At: at, End: at}, nil
	}
	if loc == nil {
		return Stamp{}, errZone
	}
	return local(y, m, d, hh, mm, ss, ns, loc)
}

// local resolves a zone-less time; the earlier of two instants is taken.
func local(y int, m time.Month, d, hh, mm, ss, ns int, loc *time.Location) (Stamp, error) {
	want := time.Date(y, m, d, hh, mm, ss, ns, time.UTC)
	var found []time.Time
	for _, probe := range []time.Duration{-26 * time.Hour, 26 * time.Hour} {
		_, off := want.Add(probe).In(loc).Zone()
		t := want.Add(-time.Duration(off) * time.Second)
		ty, tm, td := t.In(loc).Date()
		th, tmi, ts := t.In(loc).Clock()
		if time.Date(ty, tm, td, th, tmi, ts, ns, time.UTC).Equal(want) {
			found = append(found, t)
		}
	}

	switch {
	case len(found) == 0:
		return Stamp{}, errSkip
	case found[0].Equal(found[len(found)-1]):
		return Stamp{At: found[0], End: found[0]}, nil
	}

	at := found[0]
	if found[1].Before(at) {
		at = found[1]
	}
	return Stamp{At: at, End: at, Ambiguous: true}, nil
}

func civil(y int, m time.Month, d int, loc *time.Location) (Stamp, error) {
	if loc == nil {
		return Stamp{}, errZone
	}
	if d == 0 {
		first := coldseam.Date{Year: y, Month: m, Day: 1}
		next := coldseam.DateOf(first.UTC().AddDate(0, 1, 0))
		return Stamp{At: first.In(loc).UTC(), End: next.In(loc).UTC(), Precision: ToMonth}, nil
	}
	day := coldseam.Date{Year: y, Month: m, Day: d}
	return Stamp{At: day.In(loc).UTC(), End: day.Add(1).In(loc).UTC(), Precision: ToDay}, nil
}

// parseDate reads 2006-01-02, 20060102 or 2006-01 (day 0).
func parseDate(s string) (int, time.Month, int, error) {
	if len(s) == 8 && digits(s) {
		s = s[:4] + "-" + s[4:6] + "-" + s[6:]
	}
	layout := time.DateOnly
	if len(s) == 7 {
		layout = "2006-01"
	}
	t, err := time.Parse(layout, s)
	if err != nil || t.Year() < 1 {
		return 0, 0, 0, errForm
	}
	y, m, d := t.Date()
	if len(s) == 7 {
		d = 0
	}
	return y, m, d, nil
}

// parseClock reads hh:mm[:ss[.f]] or 24:00, which is the end of the day.
func parseClock(s string) (hh, mm, ss, ns int, err error) {
	if s == "24:00" || s == "24:00:00" {
		return 24, 0, 0, 0, nil
	}
	frac := ""
	if i := strings.IndexAny(s, ".,"); i >= 0 {
		s, frac = s[:i], s[i+1:]
		if frac == "" || !digits(frac) || len(s) != 8 {
			return 0, 0, 0, 0, errForm
		}
	}

	layout := "15:04:05"
	if len(s) == 5 {
		layout = "15:04"
	} else if len(s) != 8 {
		return 0, 0, 0, 0, errForm
	}

	t, perr := time.Parse(layout, s)
	if perr != nil {
		return 0, 0, 0, 0, errForm
	}
	if frac != "" {
		ns, _ = strconv.Atoi((frac + "000000000")[:9])
	}
	return t.Hour(), t.Minute(), t.Second(), ns, nil
}

// cutOffset takes a zone designator off the end of a clock text.
func cutOffset(s string) (*time.Location, string, bool) {
	if n := len(s); n > 0 && (s[n-1] == 'Z' || s[n-1] == 'z') {
		return time.UTC, s[:n-1], true
	}
	i := strings.LastIndexAny(s, "+-")
	if i < 0 {
		return nil, s, false
	}

	hm := strings.ReplaceAll(s[i+1:], ":", "")
	if !digits(hm) || len(hm) != 4 && len(hm) != 2 || len(s)-i-1 > 5 {
		return nil, s, false
	}
	h, _ := strconv.Atoi(hm[:2])
	m := 0
	if len(hm) == 4 {
		m, _ = strconv.Atoi(hm[2:])
	}

	if h > 15 || m > 59 {
		return nil, s, false
	}
	sec := h*3600 + m*60
	if s[i] == '-' {
		sec = -sec
	}
	return time.FixedZone("", sec), s[:i], true
}

// leastEpochMS: as seconds the year 5138, as milliseconds March 1973. No feed
// has the one, and none that reads the other in milliseconds is known.
const leastEpochMS = 100_000_000_000

// ParseLayout reads a time in a Go layout, as iso (see ParseTime), epoch_s or
// epoch_ms. Forms without a zone are taken in loc.
func ParseLayout(text, layout string, loc *time.Location) (Stamp, error) {
	bad := func(want string) (Stamp, error) {
		return Stamp{}, Because(CodeTime, fmt.Errorf("time %q: want %s: %w", clip(text), want, coldseam.ErrInvalid))
	}
	switch layout {
	case "", "iso":
		return ParseTime(text, loc)
	case "epoch_s", "epoch_ms":
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return bad("a whole number of " + layout)
		}
		at, small := time.Unix(n, 0), max(n, -n) < leastEpochMS
		if layout == "epoch_ms" {
			at = time.UnixMilli(n)
		}
		if small != (layout == "epoch_s") {
			return bad(layout + ": this looks like the other of epoch_s and epoch_ms")
		}
		return Stamp{At: at.UTC(), End: at.UTC()}, nil
	}

	if strings.Contains(layout, "MST") {
		return parseNamed(text, layout, loc)
	}
	t, err := time.Parse(layout, text)
	if err != nil {
		return bad(fmt.Sprintf("the layout %q", layout))
	}
	date := strings.ReplaceAll(layout, "2006", "")
	switch {
	case strings.Contains(layout, "Z07") || strings.Contains(layout, "-07"):
		return Stamp{At: t.UTC(), End: t.UTC()}, nil
	case strings.Contains(layout, ":") || strings.Contains(layout, "15") || strings.Contains(layout, "03"):
		// zone-less: clock changes are checked there
		return ParseTime(t.Format("2006-01-02T15:04:05.999999999"), loc)
	case strings.Contains(date, "2"):
		return ParseTime(t.Format(time.DateOnly), loc)
	case strings.ContainsAny(date, "1J"):
		return ParseTime(t.Format("2006-01"), loc)
	}
	return bad("a layout with a month, not " + strconv.Quote(layout))
}

// parseNamed reads a layout with the abbreviation of a zone. Abbreviations mean
// something in the configured zone alone, but for UTC and GMT: the library makes
// an offset of zero of any other.
func parseNamed(text, layout string, loc *time.Location) (Stamp, error) {
	in := time.UTC
	if loc != nil {
		in = loc
	}
	t, err := time.ParseInLocation(layout, text, in)
	if name, _ := t.Zone(); err == nil && t.Location() != loc && name != "UTC" && !strings.HasPrefix(name, "GMT") {
		err = fmt.Errorf("%q is not a time of the configured zone", name)
	}
	if err != nil {
		return Stamp{}, Because(CodeTime, fmt.Errorf("time %q: want the layout %q: %s: %w", clip(text), layout,
			clip(err.Error()), coldseam.ErrInvalid))
	}
	return Stamp{At: t.UTC(), End: t.UTC()}, nil
}

// Times reads the stamps of one document: it looks up the zone of a site once.
// It is not for use by several goroutines.
type Times struct {
	p    Profile
	locs map[string]*time.Location
}

// NewTimes returns a reader of stamps for one document.
func NewTimes(p Profile) *Times { return &Times{p: p, locs: map[string]*time.Location{}} }

// Parse reads a stamp of a site; see ParseTime. site is the agency's code.
func (t *Times) Parse(text, site string) (Stamp, error) { return t.ParseLayout(text, "", site) }

// ParseLayout is Parse for another layout; see the function of that name.
func (t *Times) ParseLayout(text, layout, site string) (Stamp, error) {
	loc, ok := t.locs[site]
	if !ok {
		var err error
		if loc, err = t.p.Location(site); err != nil {
			return Stamp{}, err
		}
		t.locs[site] = loc
	}
	return ParseLayout(text, layout, loc)
}

// Location is the configured zone of a site, nil when there is none.
func (p Profile) Location(site string) (*time.Location, error) {
	z := p.Zone
	if s, ok := p.Zones[site]; ok {
		z = s
	} else if pl, ok := p.Places[site]; ok && pl.Zone != "" {
		z = pl.Zone
	}
	if z == "" {
		return nil, nil
	}
	loc, err := time.LoadLocation(z)
	if err != nil {
		return nil, fmt.Errorf("zone %q of site %s: %w", z, site, coldseam.ErrInvalid)
	}
	return loc, nil
}

// ParsePeriod reads an ISO 8601 duration such as PT15M, P1D, P1M or P1DT6H.
// Months and days are calendar units, so they are returned apart from the
// exact rest. Decimals are taken in the seconds only.
func ParsePeriod(s string) (months, days int, d time.Duration, err error) {
	bad := func() (int, int, time.Duration, error) {
		return 0, 0, 0, fmt.Errorf("period %q: want an ISO 8601 duration: %w", clip(s), coldseam.ErrInvalid)
	}
	t, ok := strings.CutPrefix(strings.TrimSpace(s), "P")
	if !ok || t == "" || strings.HasSuffix(t, "T") {
		return bad()
	}
	clock := false

	for t != "" {
		if t[0] == 'T' && !clock {
			clock, t = true, t[1:]
			continue
		}

		i := strings.IndexAny(t, "YMWDHS")
		if i <= 0 || i > 12 {
			return bad()
		}
		num, unit := t[:i], t[i]
		t = t[i+1:]

		if clock && unit == 'S' {
			v, err := ParseDecimal(num)
			if err != nil || v < 0 || v > 1e9 {
				return bad()
			}
			d += time.Duration(v * float64(time.Second))
			continue
		}

		n, aerr := strconv.Atoi(num)
		if aerr != nil || !digits(num) || n > 1e5 {
			return bad()
		}

		switch {
		case !clock && unit == 'Y':
			months += 12 * n
		case !clock && unit == 'M':
			months += n
		case !clock && unit == 'W':
			days += 7 * n
		case !clock && unit == 'D':
			days += n
		case clock && unit == 'H':
			d += time.Duration(n) * time.Hour
		case clock && unit == 'M':
			d += time.Duration(n) * time.Minute
		default:
			return bad()
		}
	}

	if months > 1200 || days > 36600 || d < 0 || d > 36600*24*time.Hour {
		return bad()
	}
	return months, days, d, nil
}
