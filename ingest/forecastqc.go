package ingest

import (
	"fmt"
	"slices"
	"time"

	"example.org/coldseam"
)

// BoundForecast leaves out the steps of a forecast that no weather has, in the
// value or in a member, and returns how many; each becomes a hole that the value
// before it does not fill. A forecast that is mostly such steps is ErrInvalid: a
// document that says K and sends degrees Celsius is caught here.
func BoundForecast(f coldseam.Forecast) (coldseam.Forecast, int, error) {
	out := f
	out.At, out.Value, out.Members, out.Span = nil, nil, make([][]float64, len(f.Members)), nil
	spans := f.Spans()
	wrong := -1

	for i, t := range f.At {
		ok := f.Param.Plausible(f.Value[i])
		for _, m := range f.Members {
			ok = ok && f.Param.Plausible(m[i])
		}
		if !ok {
			wrong = i
			continue
		}
		out.At, out.Value, out.Span = append(out.At, t), append(out.Value, f.Value[i]), append(out.Span, spans[i])
		for k, m := range f.Members {
			out.Members[k] = append(out.Members[k], m[i])
		}
	}

	n := len(f.At) - len(out.At)
	switch {
	case n == 0:
		return f, 0, nil
	case 2*n > len(f.At):
		return f, n, fmt.Errorf("%s of %.3g %s at %s: is the unit right?: %w", f.Param, f.Value[wrong], f.Param.Unit(),
			f.At[wrong].Format(time.RFC3339), coldseam.ErrInvalid)
	}
	return out, n, nil
}

// JoinForecasts makes one forecast of the pieces of each issue: a service may
// send a coverage for every hour. Pieces that say two things of one time
// contradict each other, and that issue is left out.
func JoinForecasts(in []coldseam.Forecast) (out []coldseam.Forecast, left []Skipped) {
	type issue struct {
		site         coldseam.SiteID
		param        coldseam.Parameter
		stat         coldseam.Statistic
		period, from string
		issued       int64
	}
	pieces := map[issue][]coldseam.Forecast{}
	var order []issue

	for _, f := range in {
		k := issue{f.Site, f.Param, f.Stat, f.Period, f.Provider, f.Issued.UnixNano()}
		if pieces[k] == nil {
			order = append(order, k)
		}
		pieces[k] = append(pieces[k], f)
	}

	for _, k := range order {
		f, err := joined(pieces[k])
		if err != nil {
			left = append(left, Skipped{What: fmt.Sprintf("forecast %s/%s", k.site, k.param), Code: CodeConflict, Why: err.Error(),
				N: len(pieces[k])})
			continue
		}
		out = append(out, f)
	}

	return out, left
}

func joined(pieces []coldseam.Forecast) (coldseam.Forecast, error) {
	if len(pieces) == 1 {
		return pieces[0], nil
	}
	type step struct{ piece, i int }
	var steps []step

	said := false
	for p, f := range pieces {
		said = said || f.Span != nil
		for i := range f.At {
			steps = append(steps, step{p, i})
		}
	}
	at := func(s step) time.Time { return pieces[s.piece].At[s.i] }
	slices.SortStableFunc(steps, func(a, b step) int { return at(a).Compare(at(b)) })

	out := pieces[0]
	out.At, out.Value, out.Members, out.Span = nil, nil, make([][]float64, len(pieces[0].Members)), nil

	for k, s := range steps {
		f := pieces[s.piece]
		if k > 0 && at(s).Equal(at(steps[k-1])) {
			if f.Value[s.i] != out.Value[len(out.Value)-1] {
				return out, fmt.Errorf("two values for %s: %w", at(s).Format(time.RFC3339), coldseam.ErrInvalid)
			}
			continue
		}

		if len(f.Members) != len(out.Members) {
			return out, fmt.Errorf("%d and %d members: %w", len(out.Members), len(f.Members), coldseam.ErrInvalid)
		}
		out.At, out.Value = append(out.At, at(s)), append(out.Value, f.Value[s.i])
		for m := range f.Members {
			out.Members[m] = append(out.Members[m], f.Members[m][s.i])
		}
		if said {
			out.Span = append(out.Span, f.Spans()[s.i])
		}
	}

	return out, nil
}
