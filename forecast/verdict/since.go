package verdict

import (
	"slices"

	"example.org/coldseam"
)

// Since gives the values of the brief of the day before that b is compared with:
// measured flow and water temperature, the word, and the weight to tie on at the
// spot that stands first in b. A value that either brief lacks is left out.
func Since(b, before coldseam.Brief) coldseam.Reason {
	r := coldseam.Reason{Code: "since", Kind: KindNote, At: before.Issued, Values: map[string]float64{},
		Names: map[string]string{"was": before.Verdict.String()}}
	if b.Flow.NowOK && before.Flow.NowOK {
		r.Values["flow_m3_s"] = before.Flow.Now
	}
	if b.Temp.NowOK && before.Temp.NowOK {
		r.Values["water_c"] = before.Temp.Now
	}

	if i := coldseam.Headline(b.Jig); i >= 0 && proved(b.Jig[i]) {
		k := slices.IndexFunc(before.Jig, func(j coldseam.SpotJig) bool { return j.SpotID == b.Jig[i].SpotID })
		if k >= 0 && proved(before.Jig[k]) {
			r.Values["tie_oz"], r.Names["spot"] = before.Jig[k].TieOz, b.Jig[i].SpotID
		}
	}
	return r
}

// proved reports whether a weight rests on a timed or logged current: one from a
// guessed current is told as a range.
func proved(j coldseam.SpotJig) bool { return j.TieOz > 0 && j.MayNeedOz == [2]float64{} }
