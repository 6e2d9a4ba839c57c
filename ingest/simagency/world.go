package simagency

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"example.org/coldseam"
)

const (
	historyYears  = 12
	continuousFor = 60 * 24 * time.Hour // 15-minute rows are kept this long
	drawnDays     = 70                  // before the anchor: drawn continuations begin
	hourlyDays    = 95                  // before the anchor: hourly values begin
	aheadDays     = 45                  // after the anchor: the record ends
	continuations = 60
	lst           = -6 * 3600 // local standard time, seconds east
)

// World is the whole record of the rivers for one seed and anchor day. It is
// read-only once made, so tests may share one.
type World struct {
	Seed   uint64
	Anchor coldseam.Date // civil day of the demo's morning
	story  coldseam.Date // the Anchor of the world that this is an earlier day of
	zone   *time.Location
	rivers []River
	recs   []record
	years  int
}

// record is what one river did.
type record struct {
	first  coldseam.Date // of the daily slices
	flow   []float64     // daily means, m3/s, degC
	water  []float64
	air    []float64
	iceDay []bool
	hour0  time.Time // of the hourly slices
	hours  []hourState
}

type hourState struct {
	q, waterC, iceM float64
	wx              hourWx
}

// Generate makes the record. It takes about a third of a second.
func Generate(seed uint64, anchor coldseam.Date) (*World, error) {
	return generate(seed, anchor, anchor, historyYears)
}

// Earlier is the same record as it stood on an earlier day: what is kept by the
// hour is kept around that day.
func (w *World) Earlier(anchor coldseam.Date) (*World, error) {
	return generate(w.Seed, w.story, anchor, w.years)
}

// generate makes a record of fewer years, for tests.
func generate(seed uint64, story, anchor coldseam.Date, years int) (*World, error) {
	zone, err := time.LoadLocation(Zone)
	if err != nil {
		return nil, fmt.Errorf("agency zone %s: %w", Zone, err)
	}
	w := &World{Seed: seed, Anchor: anchor, story: story, zone: zone, rivers: Rivers(), years: years}
	for i := range w.rivers {
		w.recs = append(w.recs, w.river(i))
	}
	return w, nil
}

// run carries one river through time, a civil day of weather at a time.
type run struct {
	r         *River
	b         basin
	cl        *climate
	prev, cur dayWx
	day       coldseam.Date // of cur, local standard time
	edit      func(coldseam.Date, *dayWx)
	rec       *record
	keepFrom  coldseam.Date
}

func (w *World) river(i int) record {
	r := &w.rivers[i]
	first := coldseam.Date{Year: w.story.Year - w.years, Month: time.January, Day: 1}
	rec := record{first: first, hour0: lstMidnight(w.Anchor.Add(-hourlyDays))}
	cl := newClimate(w.rng(i, 1), w.rng(-1, 1))
	x := &run{r: r, b: newBasin(r.basin), cl: cl, day: first, rec: &rec, keepFrom: w.Anchor.Add(-hourlyDays)}
	x.prev = cl.next(first.Year, 1)
	x.cur = cl.next(first.Year, 1)
	var all []hourState
	for x.day.Before(w.story.Add(-drawnDays)) {
		all = append(all, x.nextDay()...)
	}
	best := w.continueBest(i, x, all)
	all = append(all, best...)[:(w.Anchor.Sub(first)+aheadDays)*24]
	w.daily(&rec, first, all)
	rec.hours = all[len(all)-(hourlyDays+aheadDays)*24:]
	return rec
}

// nextDay runs 24 hours of local standard time.
func (x *run) nextDay() []hourState {
	next := x.cl.next(x.day.Year, x.day.YearDay())
	tomorrow := x.day.Add(1)
	if x.edit != nil {
		x.edit(tomorrow, &next)
	}
	out := make([]hourState, 24)
	yday := x.day.YearDay()
	for h := range out {
		wx := hour(x.prev, x.cur, next, h)
		x.b.step(x.r, wx, yday, float64(h)+0.5+(x.r.Lon+90)/15)
		out[h] = hourState{q: x.b.q, waterC: x.b.waterC, iceM: x.b.iceM, wx: wx}
	}
	x.prev, x.cur, x.day = x.cur, next, tomorrow
	return out
}

// continueBest draws continuations from the same state and keeps the one whose
// anchor morning fits the river's story best.
func (w *World) continueBest(i int, x *run, past []hourState) []hourState {
	r := &w.rivers[i]
	var best []hourState
	bestCost := math.Inf(1)
	normal := w.sameSeason(past)

	for k := range continuations {
		y := *x
		y.cl = newClimate(w.rng(i, 100+uint64(k)), w.rng(i, 1000+uint64(k)))
		y.cl.kind, y.cl.ar, y.cl.year, y.cl.yearOf = x.cl.kind, x.cl.ar, x.cl.year, x.cl.yearOf
		warm, wet := 0.8*float64(k%7-3), math.Exp(0.25*float64(k%5-2))
		y.edit = func(d coldseam.Date, wx *dayWx) {
			if d.Before(w.story) { // spread the draws so that one fits
				wx.meanC += warm
				wx.rainMM *= wet
			}
			tell(r.story, d.Sub(w.story), wx)
		}

		var hs []hourState
		for range drawnDays + aheadDays {
			hs = append(hs, y.nextDay()...)
		}
		if c := cost(r, hs, drawnDays*24+4, normal); c < bestCost {
			best, bestCost = hs, c
		}
	}

	return best
}

// tell bends the weather of the days around the anchor towards the story.
func tell(s story, offset int, wx *dayWx) {
	switch {
	case s == storyFair && offset >= -5 && offset <= 2:
		wx.rainMM, wx.thunder, wx.cloud = 0, 0, math.Min(wx.cloud, 0.35)
		wx.meanC, wx.rangeC = 6.0+0.55*float64(offset)+0.4*wx.cloud, 10.5
		wx.windMS = math.Min(wx.windMS, 2.6)
		if offset == 0 {
			wx.windMS = math.Min(wx.windMS, 1.6)
		}
	case s == storyFlood && offset >= -4 && offset <= -1:
		wx.rainMM = [...]float64{9, 17, 31, 24}[offset+4]
		wx.rainAt, wx.rainLen, wx.cloud, wx.thunder = 6, 14, 0.95, 0.2
		if offset == -1 {
			wx.rainAt, wx.rainLen = 12, 11.5
		}
		wx.meanC, wx.rangeC = 7.5, 4
	case s == storyFlood && offset >= 0 && offset <= 3:
		wx.rainMM, wx.thunder, wx.meanC = 0, 0, math.Max(wx.meanC, 4)
	case s == storyCold && offset >= -5 && offset <= 2:
		wx.rainMM, wx.thunder, wx.cloud = 0, 0, math.Min(wx.cloud, 0.5)
		wx.meanC, wx.rangeC = 3.2+0.25*float64(offset), 7
		wx.windMS = math.Min(wx.windMS, 2.2)
	}
}

// cost says how far the hour i is from the story: squared misses in units of
// what would still do.
func cost(r *River, hs []hourState, i int, normal []float64) float64 {
	now, dayAgo := hs[i], hs[i-24]
	pct := share(normal, now.q)
	rise := math.Log(now.q / dayAgo.q)
	ice := 0.0
	for _, h := range hs[i-24*8 : i] {
		if h.iceM > 0 {
			ice++
		}
	}
	switch r.story {
	case storyFair:
		return sq((now.waterC-4.4)/0.4) + sq((pct-0.5)/0.12) + sq((rise+0.05)/0.025) +
			sq((now.waterC-dayAgo.waterC-0.5)/0.3) + ice
	case storyFlood:
		return sq((r.StageM(now.q)-r.FloodM-0.35)/0.15) + sq((now.waterC-5)/1.5) + ice
	case storyCold:
		return sq((now.waterC-2.6)/0.3) + sq((pct-0.5)/0.15) + sq((rise+0.04)/0.03) + ice
	}
	return sq((pct-0.55)/0.2) + sq((now.waterC-4.5)/1) + ice
}

// sameSeason is the flow of earlier years within a week of the anchor's day.
func (w *World) sameSeason(past []hourState) []float64 {
	var out []float64
	first := coldseam.Date{Year: w.story.Year - w.years, Month: time.January, Day: 1}
	for y := 1; y < w.years; y++ {
		mid := coldseam.Date{Year: w.story.Year - y, Month: w.story.Month, Day: w.story.Day}
		for k := -7; k <= 7; k++ {
			if i := mid.Add(k).Sub(first)*24 + 12; i >= 0 && i < len(past) {
				out = append(out, past[i].q)
			}
		}
	}
	return out
}

// daily makes the means of civil days, 23 to 25 hours long.
func (w *World) daily(rec *record, first coldseam.Date, hs []hourState) {
	t := lstMidnight(first)
	i := 0

	for d := first; ; d = d.Add(1) {
		end := d.Add(1).In(w.zone)
		n, ice := 0.0, 0
		var q, tw, ta float64
		for ; i < len(hs) && t.Before(end); i++ {
			n++
			q, tw, ta = q+hs[i].q, tw+hs[i].waterC, ta+hs[i].wx.airC
			if hs[i].iceM > iceShown {
				ice++
			}
			t = t.Add(time.Hour)
		}

		if t.Before(end) || n == 0 {
			return
		}
		rec.flow = append(rec.flow, q/n)
		rec.water = append(rec.water, tw/n)
		rec.air = append(rec.air, ta/n)
		rec.iceDay = append(rec.iceDay, float64(ice) > n/2)
	}
}

func (w *World) rng(river int, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(w.Seed*0x9E3779B97F4A7C15+uint64(river+2), stream))
}

func lstMidnight(d coldseam.Date) time.Time { return d.UTC().Add(-lst * time.Second) }

func share(x []float64, v float64) float64 {
	n := 0
	for _, y := range x {
		if y < v {
			n++
		}
	}
	return float64(n) / float64(max(len(x), 1))
}

func sq(x float64) float64 { return x * x }

// Truth is the error-free daily record of a river up to and including the day
// before the anchor: flow in m3/s, water and air in degC, ice days soft.
func (w *World) Truth(code string) (coldseam.Days, error) {
	i, ok := riverByCode(w.rivers, code)
	if !ok {
		return coldseam.Days{}, fmt.Errorf("agency: no river %q: %w", code, coldseam.ErrNotFound)
	}
	rec := w.recs[i]
	d := coldseam.Days{
		First:    rec.first,
		FlowM3S:  rec.flow,
		WaterC:   rec.water,
		AirC:     rec.air,
		FlowSoft: rec.iceDay,
		Lat:      w.rivers[i].Lat,
	}
	return d.Cut(w.Anchor.Add(-1)), nil
}

// Future is Truth for the days from the anchor on, as many as the record has.
func (w *World) Future(code string) (coldseam.Days, error) {
	i, ok := riverByCode(w.rivers, code)
	if !ok {
		return coldseam.Days{}, fmt.Errorf("agency: no river %q: %w", code, coldseam.ErrNotFound)
	}
	rec := w.recs[i]
	k := w.Anchor.Sub(rec.first)
	return coldseam.Days{
		First:    w.Anchor,
		FlowM3S:  rec.flow[k:],
		WaterC:   rec.water[k:],
		AirC:     rec.air[k:],
		FlowSoft: rec.iceDay[k:],
		Lat:      w.rivers[i].Lat,
	}, nil
}

// at interpolates the hourly record; ok is false outside it.
func (rec *record) at(t time.Time) (hourState, bool) {
	x := t.Sub(rec.hour0).Hours() - 0.5 // values stand for the middle of their hour
	i := int(math.Floor(x))
	if i < 0 || i+1 >= len(rec.hours) {
		return hourState{}, false
	}
	f := x - float64(i)
	a, b := rec.hours[i], rec.hours[i+1]
	mix := func(p, q float64) float64 { return p + f*(q-p) }
	return hourState{
		q: mix(a.q, b.q), waterC: mix(a.waterC, b.waterC), iceM: mix(a.iceM, b.iceM),
		wx: hourWx{
			airC: mix(a.wx.airC, b.wx.airC), cloud: a.wx.cloud, vapHPa: mix(a.wx.vapHPa, b.wx.vapHPa),
			windMS: mix(a.wx.windMS, b.wx.windMS), gustMS: mix(a.wx.gustMS, b.wx.gustMS),
			precipMM: a.wx.precipMM, thunder: math.Max(a.wx.thunder, b.wx.thunder),
		},
	}, true
}

// noise is a standard normal number that depends on its arguments alone, so
// that a value is the same however often it is asked for.
func (w *World) noise(river int, kind uint64, k int64) float64 {
	u1 := float64(mix64(w.Seed+uint64(river)*7919+kind*104729, uint64(k))>>11) / (1 << 53)
	u2 := float64(mix64(w.Seed+uint64(river)*6101+kind*15485863, uint64(k)+0x5bd1e995)>>11) / (1 << 53)
	return math.Sqrt(-2*math.Log(u1+1e-300)) * math.Cos(2*math.Pi*u2)
}

// mix64 is the finalizer of the splitmix generator on the pair.
func mix64(a, b uint64) uint64 {
	z := a*0x9E3779B97F4A7C15 + b*0xD1B54A32D192ED03
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}
