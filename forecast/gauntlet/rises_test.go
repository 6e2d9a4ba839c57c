package gauntlet

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// risen is a river of 40 m3/s, limit 120, usual flow of the season 50 and high
// water from 70, that has taken a course over its last hours: flow by hours
// before now. Every word here is the rule's, for no clean record can tell it.
type risen struct {
	class, name string
	course      [][2]float64 // hour, m3/s; linear between, level before
	do          strike       // a fault of the last two hours
	more        func(*verdict.Inputs)
	want        coldseam.Verdict
}

const (
	stop = coldseam.Stop
	none = coldseam.NoCall
	toss = coldseam.TossUp
)

func course(points ...[2]float64) [][2]float64 { return points }

var risenScenarios = []risen{
	{"rises", "doubled in a day, high river", course([2]float64{-24, 40}, [2]float64{0, 82}), nil, nil, stop},
	{"rises", "up by 60 % in a day, high river", course([2]float64{-24, 46}, [2]float64{0, 74}), nil, nil, stop},
	{"rises", "doubled in a day, low river", course([2]float64{-70, 20}, [2]float64{-24, 20}, [2]float64{0, 41}), nil,
		nil, toss},
	{"rises", "up by 40 % in a day, usual river", course([2]float64{-24, 40}, [2]float64{0, 56}), nil, nil, toss},
	{"rises", "up by 35 % in 6 h", course([2]float64{-6, 40}, [2]float64{0, 54.5}), nil, nil, stop},
	{"rises", "up by 35 % in 6 h, a low river", course([2]float64{-70, 15}, [2]float64{-6, 15}, [2]float64{0, 20.4}),
		nil, nil, stop},
	{"rises", "up by 35 % in the last 2 h", course([2]float64{-2, 40}, [2]float64{0, 54.5}), nil, nil, stop},
	{"rises", "three days of 35 %", course([2]float64{-72, 26}, [2]float64{-48, 35}, [2]float64{-24, 47},
		[2]float64{0, 64}), nil, nil, toss},
	{"rises", "second peak before the first has gone", course([2]float64{-40, 40}, [2]float64{-30, 80},
		[2]float64{-12, 62}, [2]float64{-5, 60}, [2]float64{0, 82}), nil, nil, stop},
	{"rises", "fell to three quarters of the rise", course([2]float64{-40, 40}, [2]float64{-30, 90}, [2]float64{0, 78}),
		nil, nil, stop},
	{"rises", "fell below half an hour ago", course([2]float64{-40, 40}, [2]float64{-30, 90}, [2]float64{-1, 66},
		[2]float64{0, 64}), nil, nil, stop},
	{"rises", "foot not reached", course([2]float64{-60, 40}, [2]float64{-50, 90}, [2]float64{-10, 58},
		[2]float64{0, 54}), nil, nil, toss},
	{"rises", "in a gap of ten hours", course([2]float64{-12, 40}, [2]float64{-1, 56}), gap(11, .8), nil, stop},
	{"rises", "doubled, newest reading suspect", course([2]float64{-24, 40}, [2]float64{0, 82}),
		newest(flag("both", coldseam.Suspect)), nil, stop},
	{"rises", "doubled, newest reading gone", course([2]float64{-24, 40}, [2]float64{0, 82}), newest(lost("all")), nil,
		stop},
	{"rises", "doubled, newest reading x 0.4", course([2]float64{-24, 40}, [2]float64{0, 82}),
		newest(times("flow", .4)), nil, stop},
	{"rises", "doubled, two hours of it failed", course([2]float64{-24, 40}, [2]float64{0, 82}),
		flag("both", coldseam.Bad), nil, stop},
	{"rises", "up by 35 % in 6 h, newest reading bad", course([2]float64{-6, 40}, [2]float64{0, 56}),
		newest(flag("both", coldseam.Bad)), nil, stop},
	{"rises", "flashy reach, doubled, high river", course([2]float64{-24, 40}, [2]float64{0, 82}), nil, flashy, stop},
	{"rises", "flashy reach, up by 60 %", course([2]float64{-24, 46}, [2]float64{0, 74}), nil, flashy, toss},
	{"rises", "short record, up by 60 % in a day", course([2]float64{-70, 10}, [2]float64{-24, 10}, [2]float64{0, 16}),
		nil,
		func(in *verdict.Inputs) { in.Season = verdict.SeasonFlow{Years: 1} }, stop},
	{"rises", "a fifth of the members rise to high water", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].RiseShare = append(many(.5, 10), many(0, 40)...)
		in.Candidates[0].AfterM3S = append(many(in.Season.P75M3S+1, 10), many(in.Season.MedianM3S, 40)...)
	}, stop},
	{"rises", "a fifth of the members rise, not to high water", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].RiseShare = append(many(.5, 10), many(0, 40)...)
		in.Candidates[0].AfterM3S = many(in.Season.P75M3S-1, 50)
	}, toss},
	{"rises", "a fifth of the members rise by a foot", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].RiseM = append(many(.4, 10), many(0, 40)...)
	}, stop},
	{"rises", "no forecast of a rise", nil, nil, func(in *verdict.Inputs) { in.Candidates[0].RiseShare = nil }, none},

	{"limits", "over, newest reading x 0.1", course([2]float64{-60, 118}, [2]float64{0, 124}),
		newest(times("flow", .1)), nil, stop},
	{"limits", "over, two hours x 0.4", course([2]float64{-60, 118}, [2]float64{0, 124}), times("flow", .4), nil, stop},
	{"limits", "over, newest reading zero", course([2]float64{-60, 118}, [2]float64{0, 124}),
		newest(to("both", "zero", 0)), nil, stop},
	{"limits", "over an hour ago", course([2]float64{-60, 118}, [2]float64{-1, 122}, [2]float64{0, 117}), nil, nil,
		toss},
	{"limits", "at it", course([2]float64{-60, 110}, [2]float64{-3, 121}, [2]float64{0, 121}), nil, nil, stop},
	{"limits", "at three quarters", course([2]float64{-90, 90}, [2]float64{0, 91.5}), nil, nil, toss},
	{"limits", "a fifth of the members over", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].AfterM3S = append(many(130, 10), many(40, 40)...)
	}, stop},
	{"limits", "a fifth of the members at three quarters", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].AfterM3S = append(many(95, 10), many(40, 40)...)
	}, toss},
	{"limits", "nobody has confirmed it", nil, nil, func(in *verdict.Inputs) { in.Reach.MaxFlowProposed = true }, toss},
	{"limits", "no number", nil, nil, func(in *verdict.Inputs) { in.Reach.MaxFlowM3S = ptr(math.NaN()) }, none},
	{"limits", "none, and a short record", nil, nil, func(in *verdict.Inputs) { in.Reach.MaxFlowM3S = nil }, none},
	{"limits", "flood stage reached", nil, nil, func(in *verdict.Inputs) { in.Reach.FloodStageM = ptr(1) }, stop},
	{"limits", "a fifth of the members at flood stage", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].PFlood = ptr(.2)
	}, stop},
	{"limits", "flood stage without a forecast of it", nil, nil, func(in *verdict.Inputs) {
		in.Candidates[0].PFlood = nil
	}, toss},
	{"limits", "for wading, reached", nil, nil, craft(coldseam.CraftWade, 38), stop},
	{"limits", "for wading, at three quarters", nil, nil, craft(coldseam.CraftWade, 50), toss},
	{"limits", "for wading, not confirmed", nil, nil, craft(coldseam.CraftTube, 90), toss},
}

func flashy(in *verdict.Inputs) { in.Season.Flashy = true }

// newest hits the last reading alone.
func newest(f strike) strike {
	return func(h hit) { h.a = h.b - 1; f(h) }
}

// gap takes away the readings from some hours before now to others.
func gap(from, to float64) strike {
	return func(h hit) {
		n := h.b
		h.a, h.b = n-h.r.rows(time.Duration(from*float64(time.Hour))), n-h.r.rows(time.Duration(to*float64(time.Hour)))
		lost("all")(h)
	}
}

// craft is the limit of one craft; the word is what a wader reads.
func craft(c coldseam.Craft, limit float64) func(*verdict.Inputs) {
	return func(in *verdict.Inputs) { in.Reach.CraftLimits = []coldseam.CraftLimit{{Craft: c, MaxFlowM3S: limit}} }
}

// word is what the river says at its end, and to whom wades where a craft has a
// limit.
func (s risen) word() verdict.Decision {
	const days = 12
	r := station(s.name, 30*time.Minute, days, 8, func(h float64) float64 {
		at, q := h-24*days+.5, 40.
		for k, p := range s.course {
			a := s.course[max(k-1, 0)]
			if k == 0 {
				q = p[1]
			} else if at > a[0] {
				q = a[1] + (p[1]-a[1])*min((at-a[0])/(p[0]-a[0]), 1)
			}
		}
		return q + .3*math.Sin(h)
	})
	r.limit, r.flood = 120, 9

	r.season = verdict.SeasonFlow{Years: 20, MedianM3S: 50, P75M3S: 70}
	r.ready(len(r.clean.flow))
	n := len(r.clean.flow)
	g := r.clean.clone()
	if s.do != nil {
		s.do(hit{r, &g, n - r.rows(2*time.Hour), n})
	}
	more := s.more
	if more == nil {
		more = func(*verdict.Inputs) {}
	}

	var crafts bool
	d := r.decide(g, n-1, n, more, func(in *verdict.Inputs) { crafts = len(in.Reach.CraftLimits) > 0 })
	if crafts {
		b := coldseam.Brief{Verdict: d.Verdict, Odds: d.Odds, OddsOK: d.OddsOK, Windows: d.Windows, WindowI: d.WindowI}
		w := verdict.ForCraft(b, coldseam.CraftWade).Windows[0]
		switch {
		case len(w.Stops) > 0:
			d.Verdict = stop
		case len(w.Caps) > 0:
			d.Verdict = toss
		}
	}

	return d
}

// TestRisesAndLimits judges rivers that rise or come near their limit, with and
// without a fault of the gauge; the level river beside each keeps its GO.
func TestRisesAndLimits(t *testing.T) {
	control := risen{name: "control"}.word()
	assert.Equal(t, coldseam.Go, control.Verdict, "%v", control.Fired)
	for _, s := range risenScenarios {
		d := s.word()
		var c count
		c.take(d.Verdict)
		if d.Verdict == s.want {
			c.words = 0
		}
		row(t, s.class, s.name, c, "-")
		assert.Equal(t, s.want, d.Verdict, "%s: %s: %v", s.class, s.name, d.Fired)
	}
}
