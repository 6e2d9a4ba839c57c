package ingest

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
)

// Health is the state of a series for the admin: how old, how whole, what
// quality control found.
type Health struct {
	Key      coldseam.SeriesKey
	Rows     int
	Missing  int
	Newest   time.Time // of the rows forecasts may use; zero = none
	Age      time.Duration
	Step     time.Duration // usual step
	State    State
	Gaps     int
	Longest  time.Duration // longest gap
	Since    time.Time     // where the longest gap began
	Fail     int           // left out by forecasts
	Suspect  int           // used with wider bands
	ByFlag   map[string]int
	IceMarks int
}

// HealthOf looks at a checked series at now.
func HealthOf(s coldseam.Series, now time.Time) Health {
	h := Health{Key: s.SeriesKey, Rows: len(s.Obs), ByFlag: map[string]int{}}
	h.Step = (&checker{s: s, use: usable(s)}).usualStep()
	for i, o := range s.Obs {
		if o.Flag&coldseam.Ice != 0 {
			h.IceMarks++
		}
		for _, n := range (o.Flag & coldseam.QCFlags &^ coldseam.QCFail).Names() {
			h.ByFlag[n]++
		}
		switch QCCode(o.Flag) {
		case 9:
			h.Missing++
		case 4:
			h.Fail++
		case 3:
			h.Suspect++
		}
		if i == 0 {
			continue
		}
		if d := o.At.Sub(s.Obs[i-1].At); h.Step > 0 && float64(d) > gapSteps*float64(h.Step) {
			h.Gaps++
			if d > h.Longest {
				h.Longest, h.Since = d, s.Obs[i-1].At
			}
		}
	}
	if o, ok := s.Last(); ok {
		h.Newest, h.Age = o.At, now.Sub(o.At)
	}
	h.State = StateOf(h.Newest, now, h.Step)
	return h
}

func usable(s coldseam.Series) []int {
	var out []int
	for i, o := range s.Obs {
		if o.Flag&(coldseam.Missing|coldseam.Bad) == 0 {
			out = append(out, i)
		}
	}
	return out
}

// Words is one line for a terminal.
func (h Health) Words() string {
	if h.Newest.IsZero() {
		return fmt.Sprintf("no usable value in %s", count(h.Rows, "row"))
	}
	parts := []string{"newest " + since(h.Age)}
	if h.State == StateStale {
		parts[0] += ", STALE: a value is due every " + span(h.Step)
	}
	parts = append(parts, count(h.Rows, "row"))
	if h.Missing > 0 {
		parts = append(parts, fmt.Sprintf("%d without a value", h.Missing))
	}
	if h.Gaps > 0 {
		parts = append(parts, fmt.Sprintf("%s, the longest %s from %s", count(h.Gaps, "gap"), span(h.Longest), h.Since.UTC().Format("2006-01-02 15:04Z")))
	}
	if h.Fail+h.Suspect > 0 {
		parts = append(parts, fmt.Sprintf("%d left out and %d suspect (%s)", h.Fail, h.Suspect, byFlag(h.ByFlag)))
	}
	if h.IceMarks > 0 {
		parts = append(parts, fmt.Sprintf("ice marked on %d", h.IceMarks))
	}
	return strings.Join(parts, "; ")
}

func since(d time.Duration) string {
	if d < 0 {
		return span(-d) + " ahead of our clock"
	}
	return span(d) + " ago"
}

func byFlag(m map[string]int) string {
	var out []string
	for n, k := range m {
		out = append(out, fmt.Sprintf("%s %d", n, k))
	}
	sort.Strings(out)
	return strings.Join(out, ", ")
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// span writes a duration the way people say it: minutes, hours, days.
func span(d time.Duration) string {
	switch {
	case d < 90*time.Minute:
		return fmt.Sprintf("%d min", int(d.Round(time.Minute)/time.Minute))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Round(time.Hour)/time.Hour))
	}
	return fmt.Sprintf("%d days", int(d.Round(24*time.Hour)/(24*time.Hour)))
}
