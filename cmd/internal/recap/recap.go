package recap

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/score"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/chart"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// Cells of fewer than three anglers come hidden from schema season. What its
// views cannot say, whether the morning's word came true, is counted in money.go
// under the same rule.

// recapMaker fills one recap.
type recapMaker struct {
	*Season
	ctx     context.Context
	year    int
	reach   coldseam.ReachID // "" = the whole club
	reaches []coldseam.Reach // those it is about
	r       web.Recap
	left    bool // cells were left out of a sum
	days    []judgedDay
	held    []store.HeldCell
}

// Recap makes the recap of a year; 0 is the newest season with a trip or a
// brief. A club of one reach gets that reach's. ErrNotFound without a brief or
// trip in the year.
func (bk *Season) Recap(ctx context.Context, year int, reach coldseam.ReachID) (web.Recap, error) {
	m := &recapMaker{Season: bk, ctx: ctx, year: year, reach: reach}
	for _, step := range []func() error{m.place, m.span, m.water, m.catch, m.weights, m.runDates, m.judge, m.skill,
		m.stops, m.outages, m.change} {
		if err := step(); err != nil {
			return web.Recap{}, fmt.Errorf("recap %d %s: %w", m.year, m.reach, err)
		}
	}
	if m.left {
		m.r.Change = append(m.r.Change,
			"Counts leave out what fewer than 3 anglers logged; one more angler who logs opens it.")
	}
	return m.r, nil
}

func (m *recapMaker) season() store.Season { return store.Season{Year: m.year, Reach: m.reach} }

// place names the reaches.
func (m *recapMaker) place() error {
	all, err := m.DB.Reaches(m.ctx)
	if err != nil {
		return err
	}

	for _, r := range all {
		if m.reach == "" || r.ID == m.reach {
			m.reaches = append(m.reaches, r)
		}
	}

	if len(m.reaches) == 0 {
		return fmt.Errorf("reach %q: %w", m.reach, coldseam.ErrNotFound)
	}
	if len(all) == 1 {
		m.reach = all[0].ID
	}
	if m.reach != "" {
		m.r.River, m.r.Reach = m.reaches[0].River, m.reaches[0].Name
	}

	if m.r.Seal, err = m.DB.SealHead(m.ctx); err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, r := range m.reaches {
		m.r.Rules = append(m.r.Rules, web.RecapRules{River: r.River, Rules: r.Rules})
		for _, s := range m.Config.Attributions(r) {
			if !seen[s.Text] {
				seen[s.Text] = true
				m.r.Sources = append(m.r.Sources, s)
			}
		}
	}

	return nil
}

// span finds the year and its days; two weeks before the first word show how
// the water came.
func (m *recapMaker) span() error {
	if m.year == 0 {
		newest, err := m.DB.NewestSeason(m.ctx, m.reach)
		if err != nil {
			return err
		}
		m.year = newest
	}

	first, last, ok, err := m.DB.SeasonSpan(m.ctx, m.season())
	if err != nil {
		return err
	}

	if !ok {
		return fmt.Errorf("no brief and no trip: %w", coldseam.ErrNotFound)
	}
	m.r.Year = m.year
	m.r.From, m.r.To = first, last
	m.r.Season = seasonName(m.r.From, m.r.To)
	return nil
}

// seasonName is spring or autumn where all days lie in one half of the year.
func seasonName(from, to coldseam.Date) string {
	year := strconv.Itoa(to.Year)
	switch {
	case to.Month <= time.July:
		return "Spring " + year
	case from.Month >= time.August:
		return "Autumn " + year
	}
	return "Season " + year
}

const chartLead = 14 // days shown before the first word

// water fills the season chart; the club's line is the mean of its reaches.
func (m *recapMaker) water() error {
	rows, err := m.DB.MeanWater(m.ctx, m.reach, m.r.From.Add(-chartLead), m.r.To)
	if err != nil {
		return err
	}

	trips, err := m.DB.SeasonTripDays(m.ctx, m.season())
	if err != nil {
		return err
	}

	for d := m.r.From.Add(-chartLead); !m.r.To.Before(d); d = d.Add(1) {
		m.r.Days = append(m.r.Days, chart.SeasonDay{Day: d, WaterC: math.NaN()})
	}
	at := func(t time.Time) *chart.SeasonDay { return &m.r.Days[coldseam.DateOf(t).Sub(m.r.Days[0].Day)] }
	for _, x := range rows {
		if x.Water != nil {
			at(x.Day).WaterC = *x.Water
		}
	}

	for _, x := range trips {
		d := at(x.Day)
		d.Trips, d.PerHour = x.Trips, x.Rate
	}

	return nil
}

// catch fills totals and rates. Sums over reaches and species take the open
// cells alone.
func (m *recapMaker) catch() error {
	cells, err := m.DB.CatchCells(m.ctx, m.season())
	if err != nil {
		return err
	}
	by := map[string][]store.CatchCell{}
	for _, c := range cells {
		by[c.Dimension] = append(by[c.Dimension], c)
		m.left = m.left || c.Hidden && c.Dimension == "all"
	}

	for _, c := range by["all"] {
		if !c.Hidden {
			m.r.Trips, m.r.RodHours, m.r.Fish = m.r.Trips+c.Trips, m.r.RodHours+c.Hours, m.r.Fish+c.Fish
		}
	}

	m.r.Bands, m.r.Stages = rates(by["band"], nil), rates(by["stage"], stageOrder)
	m.r.FlowClasses, m.r.Weights = rates(by["flow"], flowOrder), rates(by["weight"], nil)
	for _, t := range []*[]web.RecapRate{&m.r.Bands, &m.r.Stages, &m.r.FlowClasses, &m.r.Weights} {
		m.left = dropClosed(t) || m.left
	}
	sort.SliceStable(m.r.Weights, func(i, j int) bool {
		return weightOf(m.r.Weights[i].Key) < weightOf(m.r.Weights[j].Key)
	})
	for i := range m.r.Weights {
		if w := weightOf(m.r.Weights[i].Key); w < maxWeight {
			m.r.Weights[i].Key = coldseam.OzName(w) + " oz"
		}
	}

	return nil
}

// dropClosed drops a table that tells nothing: every row is hidden or of
// conditions not known. It reports whether a hidden row went with it.
func dropClosed(t *[]web.RecapRate) (hidden bool) {
	for _, r := range *t {
		if !r.Hidden && r.Key != "not known" {
			return false
		}
		hidden = hidden || r.Hidden
	}
	*t = nil
	return hidden
}

const maxWeight = 1e9

func weightOf(cell string) float64 {
	if w, err := strconv.ParseFloat(cell, 64); err == nil {
		return w
	}
	return maxWeight
}

var (
	stageOrder = run.Stages[:]
	flowOrder  = []string{"much below", "below", "normal", "above", "much above"}
)

// rates joins the cells of several reaches and species by their key: trips
// add, the rate is the mean by trips, the anglers are at least those of the
// largest cell. A key without an open cell stays hidden.
func rates(cells []store.CatchCell, order []string) []web.RecapRate {
	var out []web.RecapRate
	at := map[string]int{}
	for _, c := range cells {
		i, ok := at[c.Cell]
		if !ok {
			i = len(out)
			at[c.Cell] = i
			out = append(out, web.RecapRate{Key: c.Cell, Hidden: true})
		}

		if c.Hidden {
			continue
		}
		r := &out[i]
		r.PerHour = (r.PerHour*float64(r.Trips) + c.Rate*float64(c.Trips)) / float64(r.Trips+c.Trips)
		r.Trips, r.Anglers, r.Hidden = r.Trips+c.Trips, max(r.Anglers, c.Anglers), false
	}

	place := func(key string) int {
		if i := slices.Index(order, key); i >= 0 {
			return i
		}
		return len(order)
	}
	if order != nil {
		sort.SliceStable(out, func(i, j int) bool { return place(out[i].Key) < place(out[j].Key) })
	}
	return out
}

func (m *recapMaker) weights() (err error) {
	m.held, err = m.DB.HeldCells(m.ctx, m.season())
	for _, c := range m.held {
		held := int(math.Round(c.Share * float64(c.Logs)))
		m.r.Held, m.r.Lifted = m.r.Held+held, m.r.Lifted+c.Logs-held
	}
	return err
}

// runDates are those of the run clock.
func (m *recapMaker) runDates() error {
	if m.reach == "" || len(m.reaches[0].Species) == 0 {
		return nil
	}
	got, err := m.DB.SeasonRunDates(m.ctx, m.season(), m.reaches[0].Species[0])
	if err != nil {
		return err
	}
	for _, x := range []struct {
		to *coldseam.Date
		t  *time.Time
	}{{&m.r.FirstFish, got.First}, {&m.r.Peak, got.Peak}, {&m.r.LastFish, got.Last}} {
		if x.t != nil {
			*x.to = coldseam.DateOf(*x.t)
		}
	}
	return nil
}

// skill holds the issued forecasts against "as it was yesterday", in CRPS,
// with an interval over fortnights. Below 30 days nothing is said.
func (m *recapMaker) skill() error {
	pairs, err := m.DB.ForecastPairs(m.ctx, m.season())
	if err != nil {
		return err
	}

	type key struct {
		param string
		lead  int
	}
	type block struct {
		site      string
		fortnight int64
	}

	n, blocks := map[key]int{}, map[key]map[block]*score.Block{}
	for _, p := range pairs {
		k, f := key{p.Param, p.Lead}, block{p.Site, p.Day.Unix() / (14 * 86400)}
		if blocks[k] == nil {
			blocks[k] = map[block]*score.Block{}
		}
		b := blocks[k][f]
		if b == nil {
			b = &score.Block{Site: p.Site}
			blocks[k][f] = b
		}
		b.N, b.S, b.Ref, n[k] = b.N+1, b.S+p.CRPS, b.Ref+p.Ref, n[k]+1
	}

	for _, param := range []coldseam.Parameter{coldseam.WaterTemp, coldseam.Discharge} {
		for _, lead := range issuedLeads {
			k := key{string(param), lead}
			if n[k]/max(len(m.reaches), 1) < minResolved || len(blocks[k]) < 2 {
				continue
			}
			var keys []block
			for f := range blocks[k] {
				keys = append(keys, f)
			}

			sort.Slice(keys, func(i, j int) bool {
				return keys[i].site < keys[j].site || keys[i].site == keys[j].site &&
					keys[i].fortnight < keys[j].fortnight
			})
			var flat []score.Block
			for _, f := range keys {
				flat = append(flat, *blocks[k][f])
			}
			iv := score.BlockBootstrap(rand.New(rand.NewPCG(20240501, uint64(lead))), flat, 500, 0.90)
			m.r.Skill = append(m.r.Skill, web.RecapSkill{
				Quantity: strings.ToLower(env.ParamWords[param]),
				Lead:     lead,
				N:        n[k],
				Skill:    iv.Skill,
				Lo:       iv.Lo,
				Hi:       iv.Hi,
			})
		}
	}

	return nil
}

func (m *recapMaker) stops() error {
	got, err := m.DB.StopCounts(m.ctx, m.season())
	for _, x := range got {
		m.r.Stops = append(m.r.Stops, web.RecapCount{
			Rule:   x.Rule,
			What:   notify.CodeName(x.Rule),
			NoCall: x.Kind == "missing",
			N:      x.N,
		})
	}
	return err
}

// outages are whole days without a value.
func (m *recapMaker) outages() error {
	got, err := m.DB.Outages(m.ctx, m.reach, m.r.From, m.r.To)
	for _, o := range got {
		what := strings.ToLower(env.ParamWords[coldseam.Parameter(o.Param)])
		m.r.Outages = append(m.r.Outages, web.RecapOutage{Gauge: o.Gauge + ", " + what, From: o.Day,
			For: time.Duration(o.Days) * env.Day})
	}
	return err
}
