package recap

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// judgedDay is a morning as people drove by it, with what the log says of it.
type judgedDay struct {
	verdict.Resolved
	who []int // numbers of the anglers who went, of this recap alone
}

// minAnglers is the least number of different anglers behind a number that is
// shown.
const minAnglers = 3

// cell is a group of mornings by which one number could be told.
type cell struct {
	who    map[int]bool
	n      int // mornings fished
	good   int
	hidden bool
}

func (c *cell) add(d judgedDay) {
	if c.who == nil {
		c.who = map[int]bool{}
	}
	for _, w := range d.who {
		c.who[w] = true
	}
	if d.Known {
		c.n++
		if d.Good {
			c.good++
		}
	}
}

// hideSmall hides the cells of fewer than three anglers, and the smallest open
// one where a hidden cell could be had from the total by subtraction: the rule
// of the season views.
func hideSmall(cells []*cell) {
	union, hidden := map[int]bool{}, 0
	var least *cell
	for _, c := range cells {
		switch {
		case c.n == 0:
		case len(c.who) < minAnglers:
			c.hidden = true
			hidden++
			for w := range c.who {
				union[w] = true
			}
		case least == nil || len(c.who) < len(least.who) || len(c.who) == len(least.who) && c.n < least.n:
			least = c
		}
	}

	if least != nil && (hidden == 1 || hidden > 0 && len(union) < minAnglers) {
		least.hidden = true
	}
}

// judge sets what was said against what happened.
func (m *recapMaker) judge() error {
	logs, err := m.DB.LoggedDays(m.ctx, m.reach, coldseam.Date{Year: m.year, Month: 1, Day: 1},
		coldseam.Date{Year: m.year, Month: 12, Day: 31})
	if err != nil {
		return err
	}
	m.countStayed(logs)
	if err := m.countZero(logs); err != nil {
		return err
	}

	// Each reach is judged and hidden by itself and the club is the sum of what
	// is open, so that the club less a reach gives nothing away.
	var told []verdict.Resolved
	rows, bins := map[coldseam.Verdict]*web.RecapVerdict{}, map[[2]int]*web.ScoreBin{}

	for _, r := range m.reaches {
		days, err := m.resolveReach(r, logs)
		if err != nil {
			return err
		}

		m.days = append(m.days, days...)
		m.drivesSaved(r, days, logs)
		if m.verdicts(r, days, rows) {
			for _, d := range days {
				told = append(told, d.Resolved)
			}
		}
		addToBins(days, bins)
	}

	m.table(rows, bins)
	return m.worth(told)
}

// countStayed counts those who did not go, on the reaches where three
// different ones said so.
func (m *recapMaker) countStayed(logs []store.LoggedDay) {
	for _, r := range m.reaches {
		who, n := map[int]bool{}, 0
		for _, l := range logs {
			if l.Stayed && l.Reach == r.ID {
				n += l.Trips
				for _, w := range l.Who {
					who[w] = true
				}
			}
		}
		if len(who) >= minAnglers {
			m.r.StayedHome += n
		}
	}
}

// drivesSaved counts the drives that were not made: members who said that they
// stayed at home because of the mail, on mornings that were told STAY. A STAY
// morning that somebody fished saved that person nothing.
func (m *recapMaker) drivesSaved(r coldseam.Reach, days []judgedDay, logs []store.LoggedDay) {
	stay := map[coldseam.Date]bool{}
	for _, d := range days {
		stay[d.Day] = d.Verdict == coldseam.Stay
	}
	who, n := map[int]bool{}, 0
	for _, l := range logs {
		if !l.Stayed || l.ByMail == 0 || l.Reach != r.ID || !stay[l.Day] {
			continue
		}
		n += l.ByMail
		for _, w := range l.Who {
			who[w] = true
		}
	}

	if len(who) >= minAnglers {
		m.r.Money.DrivesSaved += n
		m.r.Money.MilesSaved += float64(n) * r.DriveKM / config.KMPerMile
	}
}

// countZero counts the trips without fish on those reaches and species whose
// season the views show.
func (m *recapMaker) countZero(logs []store.LoggedDay) error {
	open, err := m.DB.OpenCatches(m.ctx, m.season())
	if err != nil {
		return err
	}
	for _, o := range open {
		for _, l := range logs {
			if !l.Stayed && string(l.Reach) == o.Reach && l.Species == o.Species {
				m.r.ZeroTrips += l.ZeroTrips
			}
		}
	}
	return nil
}

// resolveReach judges the mornings of one reach by its own target.
func (m *recapMaker) resolveReach(r coldseam.Reach, logs []store.LoggedDay) ([]judgedDay, error) {
	words, err := m.DB.IssuedVerdicts(m.ctx, store.Season{Year: m.year, Reach: r.ID})
	if err != nil {
		return nil, err
	}

	var briefs []coldseam.Brief
	for _, w := range words {
		b := coldseam.Brief{Reach: r.ID, Day: coldseam.DateOf(w.Day), Issued: w.Issued}
		if w.Odds != nil {
			b.Odds, b.OddsOK = *w.Odds, true
		}
		if err := b.Verdict.UnmarshalText([]byte(w.Verdict)); err != nil {
			return nil, err
		}
		briefs = append(briefs, b)
	}

	// One line a day, so that the word is judged without a person.
	var trips []coldseam.Trip
	who := map[coldseam.Date][]int{}
	for _, l := range logs {
		if l.Reach == r.ID && !l.Stayed {
			trips = append(trips, coldseam.Trip{Reach: r.ID, Date: l.Day, Hours: l.LineHours, Lines: 1, Fish: l.Fish})
			who[l.Day] = append(who[l.Day], l.Who...)
		}
	}

	_, target, err := m.marked(m.ctx, r, coldseam.Date{Year: m.year, Month: 1, Day: 1}, coldseam.Date{Year: m.year, Month: 12, Day: 31})
	if err != nil {
		return nil, err
	}
	var out []judgedDay
	for _, d := range verdict.Resolve(briefs, trips, target) {
		out = append(out, judgedDay{Resolved: d, who: who[d.Day]})
	}
	return out, nil
}

// allVerdicts in the order of the table.
var allVerdicts = []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay, coldseam.Stop, coldseam.NoCall}

// verdicts adds what one reach was told and what came to the rows. It reports
// whether every number of the reach may be shown.
func (m *recapMaker) verdicts(r coldseam.Reach, days []judgedDay,
	rows map[coldseam.Verdict]*web.RecapVerdict) (open bool) {
	cells := map[coldseam.Verdict]*cell{}
	var list []*cell
	rest := &cell{} // what was fished against a STOP or without a call: never shown, but in the worth
	for _, v := range allVerdicts {
		cells[v] = rest
		if v.ShowsOdds() {
			cells[v] = &cell{}
			list = append(list, cells[v])
		}
	}

	for _, d := range days {
		if rows[d.Verdict] == nil {
			rows[d.Verdict] = &web.RecapVerdict{Verdict: d.Verdict}
		}
		rows[d.Verdict].Mornings++
		cells[d.Verdict].add(d)
	}

	hideSmall(list)
	open = rest.n == 0 || len(rest.who) >= minAnglers
	for _, v := range allVerdicts {
		row, c := rows[v], cells[v]
		switch {
		case row == nil || !v.ShowsOdds():
		case c.hidden:
			row.Hidden = true
			open, m.left = false, true
		default:
			row.Judged, row.Good = row.Judged+c.n, row.Good+c.good
		}
	}

	return open
}

// oddsBins are the classes of odds told, in tenths.
var oddsBins = [][2]int{{0, 2}, {3, 4}, {5, 6}, {7, 10}}

// addToBins adds the mornings of one reach, sorted by the odds told, to the bins.
func addToBins(days []judgedDay, bins map[[2]int]*web.ScoreBin) {
	cells := make([]*cell, len(oddsBins))
	for i := range cells {
		cells[i] = &cell{}
	}

	for _, d := range days {
		k := int(math.Round(d.Odds * 10))
		for i, e := range oddsBins {
			if d.OddsOK && d.Known && k >= e[0] && k <= e[1] {
				cells[i].add(d)
			}
		}
	}

	hideSmall(cells)
	for i, c := range cells {
		if c.n == 0 || c.hidden {
			continue
		}
		e := oddsBins[i]
		if bins[e] == nil {
			bins[e] = &web.ScoreBin{From: e[0], To: e[1]}
		}
		bins[e].Mornings, bins[e].Good = bins[e].Mornings+c.n, bins[e].Good+c.good
	}
}

// table takes over the sums. A verdict of which some reaches are open shows
// those.
func (m *recapMaker) table(rows map[coldseam.Verdict]*web.RecapVerdict, bins map[[2]int]*web.ScoreBin) {
	for _, v := range allVerdicts {
		if row := rows[v]; row != nil {
			row.Hidden = row.Hidden && row.Judged == 0
			m.r.Verdicts = append(m.r.Verdicts, *row)
		}
	}

	for _, e := range oddsBins {
		if b := bins[e]; b != nil {
			m.r.Said = append(m.r.Said, *b)
		}
	}

	if r := rows[coldseam.Go]; r != nil {
		m.r.Money.GoodGo, m.r.Money.PoorGo = r.Good, r.Judged-r.Good
	}
	if r := rows[coldseam.Stay]; r != nil {
		m.r.Money.Misses, m.r.Money.RightStay = r.Good, r.Judged-r.Good
	}
	if cost, err := m.Config.Club.DriveCost(); err == nil && cost > 0 && m.r.Money.MilesSaved > 0 {
		m.r.Money.Currency, m.r.Money.CostPerMile = m.Config.Club.Currency, cost
	}
}

// worth holds following the word against going always and against the rule of
// thumb, in good trips.
func (m *recapMaker) worth(told []verdict.Resolved) error {
	rows, err := m.DB.KnownWater(m.ctx, m.season())
	if err != nil {
		return err
	}

	water := map[coldseam.ReachID]map[coldseam.Date]float64{}
	for _, x := range rows {
		id := coldseam.ReachID(x.Reach)
		if water[id] == nil {
			water[id] = map[coldseam.Date]float64{}
		}
		water[id][coldseam.DateOf(x.Day)] = *x.Water
	}

	sort.SliceStable(told, func(i, j int) bool { return told[i].Day.Before(told[j].Day) })
	var rivals []verdict.Baseline
	if len(m.reaches) == 1 { // several rivers have several temperatures on one day
		w := water[m.reaches[0].ID]
		rivals = append(rivals, verdict.RuleOfThumb(func(d coldseam.Date) float64 {
			if t, ok := w[d]; ok {
				return t
			}
			return math.NaN()
		}))
	}

	x := verdict.ScoreValue(told, m.Config.Odds.Cost, rivals, rand.New(rand.NewPCG(20240501, 2)))
	if x.N == 0 {
		return nil // a season in which nobody stands says nothing
	}
	m.r.Money.Worth = worthWords(x) + " " +
		notify.EvidenceWords(verdict.EvidenceOf(told, rand.New(rand.NewPCG(20240501, 3))))
	return nil
}

// worthWords say what the word was worth to somebody who drives.
func worthWords(x verdict.ValueScore) string {
	if x.N == 0 {
		return ""
	}
	s := fmt.Sprintf("In good trips, a drive costing %.1f of one, over %d fished mornings: going on GO alone %.1f",
		x.Cost, x.N, x.Net)
	for _, r := range x.Baselines {
		s += fmt.Sprintf(", %s %.1f", r.Name, r.Net)
	}
	if x.Skilled() {
		return s + ". The gain over always going is more than chance."
	}
	return s + ". Too close or too few to call a gain."
}
