// Package recap reads a season: what was issued against what was observed and
// caught, as the recap of a club, the scorecard of a reach and the skill of
// the forecasts.
package recap

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/score"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// Season reads the season: what was issued against what was observed.
type Season struct {
	Config *config.Config
	DB     *store.DB
	Log    *slog.Logger
	Now    func() time.Time
	PgBin  string // where the private Postgres has its programs, "" = looked for
}

// NewSeason reads the season of an open database.
func NewSeason(e *env.Env) *Season {
	return &Season{Config: &e.Config, DB: e.DB, Log: e.Log, Now: e.Now, PgBin: e.PgBin()}
}

// resolved is one morning whose odds were issued and whose catch was logged.
type resolved struct {
	Day     coldseam.Date
	Odds    float64
	Verdict coldseam.Verdict
	Good    bool
	Who     []string // pseudonyms of those who logged the day
}

// marked are the trips from from to to, and the mark of a good morning that was
// frozen before their season.
func (bk *Season) marked(ctx context.Context, r coldseam.Reach, from, to coldseam.Date) ([]coldseam.Trip, float64,
	error) {
	all, err := bk.DB.Trips(ctx, r.ID, coldseam.Date{Year: 1900, Month: 1, Day: 1}, to)
	if err != nil {
		return nil, 0, err
	}
	mornings, _ := verdict.LogMornings(all)
	target := verdict.TargetOf(r, mornings, verdict.SeasonOf(to, r.Lat))
	return slices.DeleteFunc(all, func(t coldseam.Trip) bool { return t.Date.Before(from) }), target, nil
}

// Resolve pairs the last odds issued before each morning's end with the log of
// the day. A day without trips resolves nothing.
func (bk *Season) Resolve(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date) ([]resolved, error) {
	r, err := bk.DB.Reach(ctx, reach)
	if err != nil {
		return nil, err
	}
	trips, target, err := bk.marked(ctx, r, from, to)
	if err != nil {
		return nil, err
	}
	type sum struct {
		fish, hours float64
		who         []string
	}

	days := map[coldseam.Date]sum{}
	for _, t := range trips {
		if h := verdict.LineHours(t); !t.WentNot && h > 0 {
			s := days[t.Date]
			days[t.Date] = sum{s.fish + float64(t.Fish), s.hours + h, append(s.who, t.Angler)}
		}
	}

	var out []resolved
	for d := from; !to.Before(d); d = d.Add(1) {
		s, ok := days[d]
		if !ok {
			continue
		}
		b, err := bk.DB.Brief(ctx, reach, d)
		if errors.Is(err, coldseam.ErrNotFound) {
			continue
		}

		if err != nil {
			return nil, err
		}
		if b.OddsOK && !b.Rank.Only() {
			out = append(out, resolved{
				Day:     d,
				Odds:    b.Odds,
				Verdict: b.Verdict,
				Good:    s.fish/s.hours >= target,
				Who:     s.who,
			})
		}
	}

	return out, nil
}

// minResolved is the number of mornings below which no gain is claimed.
const minResolved = 30

// Scorecard counts what was said and what came. It follows the rule of the
// season: no number with fewer than three anglers behind it, and none by
// subtraction.
func Scorecard(list []resolved) web.Scorecard {
	all := map[string]int{} // numbers of the anglers; one without a name counts for none
	who := make([][]int, len(list))
	for i, r := range list {
		for _, w := range r.Who {
			if w == "" {
				continue
			}
			if all[w] == 0 {
				all[w] = len(all) + 1
			}
			who[i] = append(who[i], all[w])
		}
	}

	if len(all) < minAnglers {
		return web.Scorecard{}
	}
	c := web.Scorecard{Mornings: len(list)}
	c.Since = list[0].Day

	edges := [][2]int{{0, 2}, {3, 4}, {5, 6}, {7, 10}}
	for _, e := range edges {
		c.Bins = append(c.Bins, web.ScoreBin{From: e[0], To: e[1]})
	}
	good := 0.0
	cells := make([]*cell, len(edges))
	for i := range cells {
		cells[i] = &cell{}
	}

	for n, r := range list {
		if r.Good {
			good++
		}
		k := int(math.Round(r.Odds * 10))
		for i, e := range edges {
			if k >= e[0] && k <= e[1] {
				cells[i].add(judgedDay{Resolved: verdict.Resolved{Known: true, Good: r.Good}, who: who[n]})
			}
		}
	}

	hideSmall(cells)
	for i, x := range cells {
		if c.Bins[i].Hidden = x.hidden; !x.hidden {
			c.Bins[i].Mornings, c.Bins[i].Good = x.n, x.good
		}
	}

	rate := good / float64(len(list))
	blocks := map[int]*score.Block{}
	for _, r := range list {
		o := 0.0
		if r.Good {
			o = 1
		}
		c.Brier += (r.Odds - o) * (r.Odds - o) / float64(len(list))
		c.Climate += (rate - o) * (rate - o) / float64(len(list))
		fortnight := r.Day.Sub(list[0].Day) / 14 // mornings in a row are alike: they move together
		if blocks[fortnight] == nil {
			blocks[fortnight] = &score.Block{}
		}
		b := blocks[fortnight]
		b.N, b.S, b.Ref = b.N+1, b.S+(r.Odds-o)*(r.Odds-o), b.Ref+(rate-o)*(rate-o)
	}

	if len(list) >= minResolved {
		var flat []score.Block
		for k := 0; k <= list[len(list)-1].Day.Sub(list[0].Day)/14; k++ {
			if b := blocks[k]; b != nil {
				flat = append(flat, *b)
			}
		}
		iv := score.BlockBootstrap(rand.New(rand.NewPCG(20240501, 1)), flat, 500, 0.90)
		c.Gain, c.GainOK = [2]float64{iv.Lo * c.Climate, iv.Hi * c.Climate}, true
	}

	return c
}

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
