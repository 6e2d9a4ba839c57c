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
