package simagency

import (
	"math"
	"sort"
	"time"

	"example.org/coldseam"
)

// visit is one field measurement of a river.
type visit struct {
	at                           time.Time
	flow, stage, width, area, ms float64
	ice, odd                     bool
	number                       int
}

// visits are 26 gaugings of open water spread over the range of flow of the
// ten years before the anchor, one of them an outlier whose velocity was read
// 1.7 times too high, and one under ice. Noise: 4 % in velocity, 2 % in width
// and depth.
func (w *World) visits(i int) []visit {
	r, rec := &w.rivers[i], &w.recs[i]
	from, to := max(0, len(rec.flow)-aheadDays-3650), len(rec.flow)-aheadDays-20
	var open, ice []int
	for k := from; k < to; k++ {
		if rec.iceDay[k] {
			ice = append(ice, k)
		} else {
			open = append(open, k)
		}
	}

	sort.SliceStable(open, func(a, b int) bool { return rec.flow[open[a]] < rec.flow[open[b]] })
	var out []visit
	const n = 26
	for j := range n {
		p := 0.03 + 0.955*float64(j)/(n-1)
		out = append(out, w.visit(i, r, open[int(p*float64(len(open)-1))], j, false))
	}

	if len(ice) > 0 {
		out = append(out, w.visit(i, r, ice[len(ice)/2], n, true))
	}
	sort.Slice(out, func(a, b int) bool { return out[a].at.Before(out[b].at) })
	for j := range out {
		out[j].number = 301 + j
	}
	return out
}

func (w *World) visit(i int, r *River, k, j int, ice bool) visit {
	rec := &w.recs[i]
	q := rec.flow[k]
	g := func(kind uint64) float64 { return w.noise(i, 20+kind, int64(j)) }
	v := visit{ice: ice, odd: j == 11}
	v.at = rec.first.Add(k).In(w.zone).Add(time.Duration(9*60+mix64(uint64(j), w.Seed)%300) * time.Minute).UTC()
	v.width = r.WidthM(q) * (1 + 0.02*g(1))
	depth := r.DepthM(q) * (1 + 0.02*g(2))
	v.ms = r.VelocityMS(q) * math.Exp(0.04*g(3))

	v.stage = r.StageM(q) + 0.004*g(4)
	if v.odd {
		v.ms *= 1.7
	}
	if ice { // the cover takes part of the section and slows the rest
		depth *= 0.8
		v.ms *= 0.7
		v.stage += 0.35
	}

	v.area = v.width * depth
	v.flow = v.area * v.ms
	return v
}

// Gaugings are the field measurements of a river in SI, as the feed sends
// them in US units.
func (w *World) Gaugings(code string) []coldseam.Gauging {
	i, ok := riverByCode(w.rivers, code)
	if !ok {
		return nil
	}
	var out []coldseam.Gauging
	for _, v := range w.visits(i) {
		stage, width, area, ms := v.stage, v.width, v.area, v.ms
		out = append(out, coldseam.Gauging{
			Site:         w.rivers[i].SiteID(),
			At:           v.at,
			DischargeM3S: v.flow,
			StageM:       &stage,
			WidthM:       &width,
			AreaM2:       &area,
			MeanVelMS:    &ms,
			Method:       "boat",
			Ice:          v.ice,
		})
	}
	return out
}
