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
// end. chosen has the form of Profile.Series: site code -> series ids; passed
// are the others, in the form of Profile.PassedOver. Ties are named in notes,
// and the smaller id is taken so that the choice is stable.
func ChoosePrimary(meta []SeriesMeta) (chosen, passed map[string][]string, notes []string) {
	best := map[coldseam.SeriesKey]SeriesMeta{}
	chosen, passed = map[string][]string{}, map[string][]string{}
	for _, m := range meta {
		if m.Key.SeriesRef == "" || m.Computation == "" {
			continue // a row's record, not one of the series list
		}
		k := m.Key
		k.SeriesRef = ""
		old, ok := best[k]
		if ok && old.Key.SeriesRef == m.Key.SeriesRef {
			continue // the same record on two pages
		}
		if ok && m.tied(old) {
			notes = append(notes, fmt.Sprintf("%s: %s and %s are equally good", k, old.Key.SeriesRef, m.Key.SeriesRef))
		}
		if ok && !m.better(old) {
			m, old = old, m
		}
		best[k] = m
		if ok {
			passed[old.siteCode()] = append(passed[old.siteCode()], old.Key.SeriesRef)
		}
	}
	for _, m := range best {
		chosen[m.siteCode()] = append(chosen[m.siteCode()], m.Key.SeriesRef)
	}
	for _, list := range []map[string][]string{chosen, passed} {
		for _, refs := range list {
			sort.Strings(refs)
		}
	}
	sort.Strings(notes)
	return chosen, passed, notes
}

func (m SeriesMeta) siteCode() string {
	_, code, _ := strings.Cut(string(m.Key.Site), ":")
	return code
}

func (m SeriesMeta) tied(o SeriesMeta) bool { return m.rank() == o.rank() && m.Last.Equal(o.Last) }

func (m SeriesMeta) better(o SeriesMeta) bool {
	switch {
	case m.tied(o):
		return m.Key.SeriesRef < o.Key.SeriesRef
	case m.rank() != o.rank():
		return m.rank() > o.rank()
	}
	return m.Last.After(o.Last)
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
