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

// The recap is read from schema season with the rights of a reader: cells of
// fewer than three anglers come hidden from there. What the views cannot say,
// whether the morning's word came true, is counted in recap_money.go under the
// same rule.

// recapMaker fills one recap.
type recapMaker struct {
	*Book
	ctx     context.Context
	year    int
	reach   coldseam.ReachID // "" = the whole club
	reaches []coldseam.Reach // those it is about
	r       web.Recap
	left    bool // cells were left out of a sum
	days    []judgedDay
	held    []heldCell
}

// Recap makes the recap of a year; 0 is the newest season with a trip or a
// brief. A club of one reach gets that reach's. ErrNotFound without a brief or
// trip in the year.
func (bk *Book) Recap(ctx context.Context, year int, reach coldseam.ReachID) (web.Recap, error) {
	m := &recapMaker{Book: bk, ctx: ctx, year: year, reach: reach}
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

const (
	sqlNewestSeason = `
SELECT COALESCE(max(season), 0)::int AS year
FROM (SELECT season, reach_id FROM season.brief UNION ALL SELECT season, reach_id FROM season.catch) s
WHERE $1 = '' OR reach_id = $1`

	sqlSpan = `
SELECT min(day) AS first, max(day) AS last
FROM (SELECT day, season, reach_id FROM season.brief UNION ALL SELECT day, season, reach_id FROM season.trip_day) s
WHERE season = $1 AND ($2 = '' OR reach_id = $2)`
)

// span finds the year and its days; two weeks before the first word show how
// the water came.
func (m *recapMaker) span() error {
	if m.year == 0 {
		got, err := store.Ask[struct{ Year int }](m.ctx, m.DB, sqlNewestSeason, m.reach)
		if err != nil {
			return err
		}
		m.year = got[0].Year
	}

	got, err := store.Ask[struct{ First, Last *time.Time }](m.ctx, m.DB, sqlSpan, m.year, m.reach)
	if err != nil {
		return err
	}

	if got[0].First == nil {
		return fmt.Errorf("no brief and no trip: %w", coldseam.ErrNotFound)
	}
	m.r.Year = m.year
	m.r.From, m.r.To = coldseam.DateOf(*got[0].First), coldseam.DateOf(*got[0].Last)
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

const ChartLead = 14 // days shown before the first word

const sqlDays = `
SELECT day, avg(water_c)::float8 AS water FROM season.daily
WHERE day BETWEEN $1 AND $2 AND ($3 = '' OR reach_id = $3)
GROUP BY day ORDER BY day`

const sqlTripDays = `
SELECT day, COALESCE(sum(trips), 0)::int AS trips, COALESCE(sum(trips * fish_per_line_hour) / NULLIF(sum(trips), 0), 0)::float8 AS rate
FROM season.trip_day
WHERE season = $1 AND ($2 = '' OR reach_id = $2)
GROUP BY day`

// water fills the season chart; the club's line is the mean of its reaches.
func (m *recapMaker) water() error {
	rows, err := store.Ask[struct {
		Day   time.Time
		Water *float64
	}](m.ctx, m.DB, sqlDays, m.r.From.Add(-ChartLead).UTC(), m.r.To.UTC(), m.reach)
	if err != nil {
		return err
	}

	trips, err := store.Ask[struct {
		Day   time.Time
		Trips int
		Rate  float64
	}](m.ctx, m.DB, sqlTripDays, m.year, m.reach)
	if err != nil {
		return err
	}

	for d := m.r.From.Add(-ChartLead); !m.r.To.Before(d); d = d.Add(1) {
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

const sqlCatch = `
SELECT c.dimension, c.reach_id AS reach, c.species, c.cell, c.hidden, COALESCE(c.anglers, 0)::int AS anglers, COALESCE(c.trips, 0)::int AS trips, COALESCE(c.line_hours, 0)::float8 AS hours,
  COALESCE(c.fish, 0)::int AS fish, COALESCE(c.fish_per_line_hour, 0)::float8 AS rate, COALESCE(b.band_no, 99)::int AS place
FROM season.catch c
LEFT JOIN season.band b ON c.dimension = 'band' AND b.band = c.cell
WHERE c.season = $1 AND ($2 = '' OR c.reach_id = $2) AND c.dimension <> 'day'
ORDER BY place, c.cell`

type catchCell struct {
	Dimension, Reach, Species, Cell string
	Hidden                          bool
	Anglers, Trips                  int
	Hours                           float64
	Fish                            int
	Rate                            float64
	Place                           int
}

// catch fills totals and rates. Sums over reaches and species take the open
// cells alone.
func (m *recapMaker) catch() error {
	cells, err := store.Ask[catchCell](m.ctx, m.DB, sqlCatch, m.year, m.reach)
	if err != nil {
		return err
	}
	by := map[string][]catchCell{}
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
func rates(cells []catchCell, order []string) []web.RecapRate {
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

const sqlHeld = `
SELECT reach_id AS reach, spot_id AS spot, weight_oz::float8 AS oz, logs::int AS logs, held_share::float8 AS share
FROM season.weight_held
WHERE season = $1 AND ($2 = '' OR reach_id = $2) AND NOT hidden
ORDER BY reach_id, spot_id, weight_oz`

type heldCell struct {
	Reach, Spot string
	Oz          float64
	Logs        int
	Share       float64
}

func (m *recapMaker) weights() (err error) {
	m.held, err = store.Ask[heldCell](m.ctx, m.DB, sqlHeld, m.year, m.reach)
	for _, c := range m.held {
		held := int(math.Round(c.Share * float64(c.Logs)))
		m.r.Held, m.r.Lifted = m.r.Held+held, m.r.Lifted+c.Logs-held
	}
	return err
}

const sqlRunDates = `
SELECT first_fish AS first, CASE WHEN half_in IS NOT NULL THEN best_wave END AS peak, last_fish AS last
FROM season.run_date
WHERE season = $1 AND reach_id = $2 AND species = $3`

// runDates are those of the run clock; the likeliest wave is a peak only once
// half of the run is in.
func (m *recapMaker) runDates() error {
	if m.reach == "" || len(m.reaches[0].Species) == 0 {
		return nil
	}
	got, err := store.Ask[struct{ First, Peak, Last *time.Time }](m.ctx, m.DB, sqlRunDates, m.year, m.reach,
		m.reaches[0].Species[0])
	if err != nil || len(got) == 0 {
		return err
	}
	for _, x := range []struct {
		to *coldseam.Date
		t  *time.Time
	}{{&m.r.FirstFish, got[0].First}, {&m.r.Peak, got[0].Peak}, {&m.r.LastFish, got[0].Last}} {
		if x.t != nil {
			*x.to = coldseam.DateOf(*x.t)
		}
	}
	return nil
}

// One issue a day: the last before each valid day's own lead, so that a day of
// many issues does not count many times.
const sqlPairs = `
SELECT DISTINCT ON (site_id, param, lead_day, valid_day) site_id AS site, param, lead_day AS lead, valid_day AS day, crps, persistence_error AS ref
FROM season.forecast_pair
WHERE season = $1 AND ($2 = '' OR reach_id = $2) AND lead_day IN (1, 3, 5, 7, 10) AND param IN ('water_temp', 'discharge') AND persistence_error IS NOT NULL
ORDER BY site_id, param, lead_day, valid_day, issued_at DESC`

// skill holds the issued forecasts against "as it was yesterday", in CRPS,
// with an interval over fortnights. Below 30 days nothing is said.
func (m *recapMaker) skill() error {
	pairs, err := store.Ask[struct {
		Site, Param string
		Lead        int
		Day         time.Time
		CRPS        float64
		Ref         float64
	}](m.ctx, m.DB, sqlPairs, m.year, m.reach)
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

// What is measured and what is forecast of one thing is one rule here.
const sqlStops = `
SELECT rule, kind, count(DISTINCT (reach_id, day))::int AS n
FROM (
  SELECT reach_id, day, kind, CASE
    WHEN code LIKE 'max_flow%' THEN 'max_flow'
    WHEN code LIKE 'flow_pct%' THEN 'flow_pct'
    WHEN code LIKE 'rise%' AND kind = 'safety' THEN 'rise'
    WHEN code IN ('flood_stage', 'flood_forecast') THEN 'flood_stage'
    WHEN code IN ('discharge_stale', 'stage_stale', 'discharge_missing', 'stage_missing') THEN 'gauge_silent'
    ELSE code END AS rule
  FROM season.reason
  WHERE season = $1 AND ($2 = '' OR reach_id = $2) AND (list = 'stop' OR kind = 'missing' AND verdict = 'NO CALL')) s
GROUP BY rule, kind
ORDER BY kind <> 'missing' DESC, n DESC, rule`

func (m *recapMaker) stops() error {
	got, err := store.Ask[struct {
		Rule, Kind string
		N          int
	}](m.ctx, m.DB, sqlStops, m.year, m.reach)
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

const sqlOutages = `
SELECT DISTINCT r.gauge, o.param, o.from_day AS day, o.days::int AS days
FROM season.outage o
JOIN season.river r ON o.site_id = r.site_id OR o.site_id = r.temp_site_id
WHERE o.from_day <= $2 AND o.to_day >= $1 AND ($3 = '' OR r.reach_id = $3) AND o.param IN ('discharge', 'stage', 'water_temp')
ORDER BY o.from_day, r.gauge, o.param`

// outages are whole days without a value; shorter silences leave no row in the
// daily record.
func (m *recapMaker) outages() error {
	got, err := store.Ask[struct {
		Gauge, Param string
		Day          time.Time
		Days         int
	}](m.ctx, m.DB, sqlOutages, m.r.From.UTC(), m.r.To.UTC(), m.reach)
	for _, o := range got {
		what := strings.ToLower(env.ParamWords[coldseam.Parameter(o.Param)])
		m.r.Outages = append(m.r.Outages, web.RecapOutage{Gauge: o.Gauge + ", " + what, From: o.Day,
			For: time.Duration(o.Days) * env.Day})
	}
	return err
}
