package simagency

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// query is a checked request for items.
type query struct {
	rivers           []int
	params           []string
	stat             []string
	series           []string
	from, to         time.Time
	timed            bool
	modFrom, modTo   time.Time
	limit, offset    int
	skipGeometry     bool
	original         url.Values
	path             string
	base             string
	onlySilentRivers bool
}

// query reads the parameters. Unknown sites give no rows, as the real service
// does; a malformed time or limit is an error.
func (a *Agency) query(r *http.Request) (query, error) {
	v := r.URL.Query()
	now := a.now()
	q := query{
		original:     v,
		path:         r.URL.Path,
		base:         "http://" + r.Host,
		limit:        10,
		skipGeometry: v.Get("skipGeometry") == "true",
	}
	sites := split(v.Get("monitoring_location_id"))
	silent := 0
	for i, rv := range a.world.rivers {
		if len(sites) > 0 && !slices.Contains(sites, rv.Code) {
			continue
		}
		q.rivers = append(q.rivers, i)
		if a.silent(i, coldseam.Discharge, now) {
			silent++
		}
	}

	q.onlySilentRivers = len(q.rivers) > 0 && silent == len(q.rivers)
	q.params, q.stat, q.series = split(v.Get("parameter_code")), split(v.Get("statistic_id")),
		split(v.Get("time_series_id"))
	var err error
	q.from, q.to = now.AddDate(-1, 0, 0), now.AddDate(0, 0, 1)
	if s := cmpOr(v.Get("time"), v.Get("datetime")); s != "" {
		q.timed = true
		if q.from, q.to, err = interval(s, now); err != nil {
			return q, fmt.Errorf("time: %w", err)
		}
	}

	q.modTo = now.AddDate(0, 0, 1)
	if s := v.Get("last_modified"); s != "" {
		if q.modFrom, q.modTo, err = interval(s, now); err != nil {
			return q, fmt.Errorf("last_modified: %w", err)
		}
	}

	for key, dst := range map[string]*int{"limit": &q.limit, "offset": &q.offset} {
		if s := v.Get(key); s != "" {
			n, err := strconv.Atoi(s)
			if err != nil || n < 0 || n == 0 && key == "limit" {
				return q, fmt.Errorf("%s %q: want a positive number", key, s)
			}
			*dst = n
		}
	}

	q.limit = min(q.limit, 50000)
	return q, nil
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func split(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(s, ",")
}

// interval reads instant, a/b, a/.., ../b and ISO durations back from now.
func interval(s string, now time.Time) (from, to time.Time, err error) {
	if strings.HasPrefix(s, "P") {
		d, err := isoDuration(s)
		return now.Add(-d), now.Add(24 * time.Hour), err
	}
	lo, hi, both := strings.Cut(s, "/")
	if from, err = bound(lo, false); err != nil {
		return
	}
	if !both {
		hi = lo
	}
	to, err = bound(hi, true)
	if hi == ".." {
		to = now.Add(24 * time.Hour)
	}
	return
}

// bound reads one end; a bare date as the upper end is included.
func bound(s string, upper bool) (time.Time, error) {
	if s == ".." || s == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, nil
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return t, fmt.Errorf("%q: want RFC 3339 or a date", s)
	}
	if upper {
		t = t.Add(24*time.Hour - time.Second)
	}
	return t, nil
}

// isoDuration reads PnD, PnW, PTnH, PTnM and their sums.
func isoDuration(s string) (time.Duration, error) {
	unit := map[byte]time.Duration{'W': 7 * 24 * time.Hour, 'D': 24 * time.Hour, 'H': time.Hour, 'M': time.Minute,
		'S': time.Second}
	var d time.Duration
	n, digits := 0, false
	for _, c := range []byte(s[1:]) {
		switch {
		case c == 'T':
		case c >= '0' && c <= '9':
			n, digits = n*10+int(c-'0'), true
		case unit[c] > 0 && digits && n < 1e6:
			d += time.Duration(n) * unit[c]
			n, digits = 0, false
		default:
			return 0, fmt.Errorf("%q: want an ISO duration such as PT36H", s)
		}
	}
	return d, nil
}
