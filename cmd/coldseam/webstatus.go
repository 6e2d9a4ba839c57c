package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/score"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify/web"
)

// Status returns the state of feeds, briefs and mail, without persons.
func (p pages) Status(ctx context.Context) (web.Status, error) {
	var s web.Status
	reaches, err := p.DB.Reaches(ctx)
	if err != nil {
		return s, err
	}
	names := map[coldseam.SiteID]bool{}
	for _, r := range reaches {
		if !names[r.Site] {
			names[r.Site] = true
			f, err := p.gaugeStates(ctx, r)
			if err != nil {
				return s, err
			}
			s.Feeds = append(s.Feeds, f...)
		}
		today := coldseam.DateOf(p.Now().In(env.Zone(r.Zone)))
		b, err := p.DB.Brief(ctx, r.ID, today)
		if errors.Is(err, coldseam.ErrNotFound) {
			continue
		}
		if err != nil {
			return s, err
		}
		s.Briefs = append(s.Briefs, web.BriefState{River: r.River, Reach: r.Name, Zone: r.Zone, Day: b.Day, Issued: b.Issued, Verdict: b.Verdict})
	}
	today := coldseam.DateOf(p.Now().In(env.Zone(p.Config.Club.Zone)))
	counts, err := p.DB.MailCounts(ctx, coldseam.MailMorning, today)
	if err != nil {
		return s, err
	}
	for state, n := range counts {
		switch state {
		case coldseam.MailSent:
			s.Mail.Sent += n
		case coldseam.MailFailed, coldseam.MailExpired, coldseam.MailUnknown:
			s.Mail.Failed += n
		case coldseam.MailSkipped:
			continue
		default:
			s.Mail.Waiting += n
		}
		s.Mail.Due += n
	}
	s.Held, _, _, err = p.DB.Held(ctx)
	return s, err
}

var paramWords = map[coldseam.Parameter]string{coldseam.Discharge: "Flow", coldseam.Stage: "Stage", coldseam.WaterTemp: "Water temperature", coldseam.Turbidity: "Turbidity"}

func (p pages) gaugeStates(ctx context.Context, r coldseam.Reach) ([]web.FeedState, error) {
	site, err := p.DB.Site(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	vals, err := p.DB.Latest(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	limit := time.Duration(p.Table.GaugeAgeH * float64(time.Hour))
	var out []web.FeedState
	for _, v := range vals {
		w, ok := paramWords[v.Param]
		if !ok || v.Stat != coldseam.Instant {
			continue
		}
		f := web.FeedState{Name: w + ", " + site.Name, Agency: site.Provider, At: v.At, Limit: limit, State: "good"}
		if p.Now().Sub(v.At) > limit {
			f.State = "stale"
			f.Note = fmt.Sprintf("gauge silent %.0f h", p.Now().Sub(v.At).Hours())
		}
		out = append(out, f)
	}
	return out, nil
}

// resolved is one morning whose odds were issued and whose catch was logged.
type resolved struct {
	Day     coldseam.Date
	Odds    float64
	Verdict coldseam.Verdict
	Good    bool
	Who     []string // pseudonyms of those who logged the day
}

// resolve pairs the last odds issued before each morning's end with the log of
// the day. A day without trips resolves nothing.
func (bk *Book) resolve(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date) ([]resolved, error) {
	trips, err := bk.DB.Trips(ctx, reach, from, to)
	if err != nil {
		return nil, err
	}
	target := verdict.DefaultTarget
	if r, ok := verdict.TargetRate(trips); ok {
		target = r
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
		if b.OddsOK {
			out = append(out, resolved{Day: d, Odds: b.Odds, Verdict: b.Verdict, Good: s.fish/s.hours >= target, Who: s.who})
		}
	}
	return out, nil
}

// Scorecard returns what was said and what came on one reach.
func (p pages) Scorecard(ctx context.Context, reach coldseam.ReachID) (web.Scorecard, error) {
	today := coldseam.DateOf(p.Now().UTC())
	list, err := p.resolve(ctx, reach, today.Add(-800), today)
	if err != nil {
		return web.Scorecard{}, err
	}
	return scorecard(list), nil
}

// minResolved is the number of mornings below which no gain is claimed.
const minResolved = 30

// scorecard counts what was said and what came. It follows the rule of the
// season: no number with fewer than three anglers behind it, and none by
// subtraction.
func scorecard(list []resolved) web.Scorecard {
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

// SaveTrip records or replaces the trip of its subscriber, reach and date, and
// feeds the weight log of its spot.
func (p pages) SaveTrip(ctx context.Context, t coldseam.Trip) error {
	if t.EnteredAt.IsZero() {
		t.EnteredAt = p.Now()
	}
	if t.Source == "" {
		t.Source = "form"
	}
	if err := p.DB.ReplaceTrip(ctx, t); err != nil {
		return err
	}
	if err := p.logIce(ctx, t); err != nil {
		return err
	}
	// The calibration line belongs to the stored trip and to its pseudonym: it
	// goes with the trip when the angler corrects it.
	stored, err := p.Trip(ctx, t.Subscriber, t.Reach, t.Date)
	if err != nil {
		return err
	}
	t.ID, t.Angler = stored.ID, stored.Angler
	return p.logRig(ctx, t)
}
