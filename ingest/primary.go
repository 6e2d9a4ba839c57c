package ingest

import (
	"fmt"
	"sort"
	"strings"

	"example.org/coldseam"
)

// ChoosePrimary picks, for every site, parameter, statistic and period, the
// series to take when an agency has several: the one it calls primary, at the
// gauge itself (no sublocation), instantaneous for instants, with the newest
// end. The result is for Profile.Series: site code -> series ids. Ties are
// named in notes, and the smaller id is taken so that the choice is stable.
func ChoosePrimary(meta []SeriesMeta) (series map[string][]string, notes []string) {
	best := map[coldseam.SeriesKey]SeriesMeta{}
	for _, m := range meta {
		if m.Key.SeriesRef == "" || m.Computation == "" {
			continue
		}
		k := m.Key
		k.SeriesRef = ""
		old, ok := best[k]
		if !ok {
			best[k] = m
			continue
		}
		a, b := m.rank(), old.rank()
		switch {
		case a == b && m.Last.Equal(old.Last):
			notes = append(notes, fmt.Sprintf("%s: %s and %s are equally good", k, old.Key.SeriesRef, m.Key.SeriesRef))
			if m.Key.SeriesRef < old.Key.SeriesRef {
				best[k] = m
			}
		case a > b || a == b && m.Last.After(old.Last):
			best[k] = m
		}
	}
	series = map[string][]string{}
	for _, m := range best {
		_, code, _ := strings.Cut(string(m.Key.Site), ":")
		series[code] = append(series[code], m.Key.SeriesRef)
	}
	for _, refs := range series {
		sort.Strings(refs)
	}
	sort.Strings(notes)
	return series, notes
}

func (m SeriesMeta) rank() int {
	n := 0
	if m.Primary {
		n += 4
	}
	if m.Sublocation == "" {
		n += 2
	}
	if m.Key.Stat == coldseam.Instant && m.Computation == "Instantaneous" {
		n++
	}
	return n
}

// ApplyRating turns a stage series into discharge where an agency gives stage
// only. Every value is Estimated; one outside the table is QCRange too, since
// a rating says nothing above its highest gauging. Missing rows keep their
// qualifiers, so that an ice mark still counts. Only stages within the
// validity of the rating are turned.
func ApplyRating(stage coldseam.Series, r coldseam.Rating) (coldseam.Series, error) {
	if stage.Param != coldseam.Stage {
		return coldseam.Series{}, fmt.Errorf("rating on %s: want stage: %w", stage.SeriesKey, coldseam.ErrInvalid)
	}
	if err := r.Check(); err != nil {
		return coldseam.Series{}, err
	}
	k := stage.SeriesKey
	k.Param, k.SeriesRef = coldseam.Discharge, "rating/"+stage.SeriesRef
	var obs []coldseam.Observation
	for _, o := range stage.Obs {
		if o.At.Before(r.From) || !r.To.IsZero() && o.At.After(r.To) {
			continue
		}
		o.Flag |= coldseam.Estimated
		if o.Flag&coldseam.Missing == 0 {
			q, outside := r.At(o.Value)
			o.Value = q
			if outside {
				o.Flag |= coldseam.QCRange
			}
		}
		obs = append(obs, o)
	}
	s, _, err := coldseam.NewSeries(k, obs)
	return s, err
}
