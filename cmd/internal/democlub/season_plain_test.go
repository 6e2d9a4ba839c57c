//go:build !race

package democlub_test

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

func TestMain(m *testing.M) { clubtest.Main(m) }

// update rewrites the golden files: make golden.
var update = flag.Bool("update", false, "rewrite golden files")

// The spring that is recorded, and how much of it every run of the tests lives
// through again.
var (
	springFrom = coldseam.Date{Year: 2025, Month: time.April, Day: 4}
	springMid  = coldseam.Date{Year: 2025, Month: time.May, Day: 1}
	springTo   = coldseam.Date{Year: 2025, Month: time.May, Day: 25}
)

// dated are the days on which the club looked at its rules and sounded its spots
// a year before.
var dated = strings.NewReplacer("2026-04-08", "2025-03-20", "2026-03-2", "2025-03-1")

const againDays = 2

// invented are the members who log trips, and where each mostly fishes.
var invented = []struct {
	name string
	home coldseam.ReachID
}{
	{"north bank", "tamsen-bend"}, {"old launch", "tamsen-bend"}, {"red canoe", "tamsen-bend"},
	{"two rods", "tamsen-bend"}, {"grey boat", "tamsen-bend"}, {"heron", "tamsen-bend"},
	{"late start", "brandt-ledge"}, {"oar lock", "brandt-ledge"}, {"wet boots", "brandt-ledge"},
	{"first light", "brandt-ledge"}, {"thermos", "hallam-sandbar"}, {"long handle", "hallam-sandbar"},
	{"blue cooler", "hallam-sandbar"}, {"spare oar", "tamsen-bend"},
}

// live lives through the spring until a day: each morning the feeds are fetched
// and the briefs made from what is known then, and the members go or stay by the
// word. Before a Saturday there is a word in the evening too.
func live(t *testing.T, to coldseam.Date) (s democlub.Season) {
	t.Helper()
	ctx := t.Context()
	loc := env.Zone("America/Chicago")
	at := func(d coldseam.Date, h, m int) time.Time {
		return d.In(loc).Add(time.Duration(h)*time.Hour + time.Duration(m)*time.Minute)
	}
	w, err := clubtest.World()
	require.NoError(t, err)
	w, err = w.Earlier(springMid)
	require.NoError(t, err)
	v := clubtest.NewIn(t, storetest.URL(t), nil, at(springFrom, 0, 30), w, dated.Replace(democlub.TOML))
	v.Clock.Stop(at(springFrom, 0, 30))
	_, err = v.Feeds.Backfill(ctx, v.Now().AddDate(-11, 0, 0), 20*env.Day, nil)
	require.NoError(t, err)

	tell := func(d coldseam.Date) (told []coldseam.Brief) {
		// As if the server had asked every quarter of an hour since the last word.
		_, err := v.Feeds.Backfill(ctx, v.Now().Add(-20*env.Day), 26*time.Hour, nil)
		require.NoError(t, err)
		for _, id := range []coldseam.ReachID{"brandt-ledge", "hallam-sandbar", "tamsen-bend"} {
			b, err := v.Morning.MakeBrief(ctx, v.ReachOf(t, id), d)
			require.NoError(t, err)
			s.Briefs = append(s.Briefs, b)
			told = append(told, b)
		}
		return told
	}
	for d := springFrom; !to.Before(d); d = d.Add(1) {
		if d == springMid.Add(3) {
			v.Agency.Revive("NG-1003") // silent since the evening before springMid
		}
		v.Clock.Stop(at(d, 4, 40))
		told := tell(d)
		v.Clock.Stop(at(d, 19, 30))
		for _, b := range told {
			for _, x := range trips(b, s.Trips) {
				_, _, err = v.DB.AddTrip(ctx, x)
				require.NoError(t, err)
				s.Trips = append(s.Trips, x)
			}
		}
		_, err = triplog.Enter(ctx, v.Env, clubtest.LogUntil(d.Add(1)))
		require.NoError(t, err)
		if d.UTC().Weekday() == time.Friday && d.Before(to) {
			tell(d.Add(1))
		}
	}

	v.Clock.Stop(at(to.Add(11), 12, 0))
	_, err = v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	_, err = v.DB.ScoreForecasts(ctx, springFrom.UTC(), v.Now())
	require.NoError(t, err)
	s.Scores, err = v.DB.Scores(ctx)
	require.NoError(t, err)
	return s
}

// trips are what the members log of a morning: who goes by its word, who stays
// because of it, and what they catch in water so warm.
func trips(b coldseam.Brief, log []coldseam.Trip) (out []coldseam.Trip) {
	day := b.Day.UTC()
	rnd := rand.New(rand.NewPCG(uint64(day.Unix()), uint64(len(b.Reach))))
	going := map[coldseam.Verdict]float64{coldseam.Go: .7, coldseam.TossUp: .5, coldseam.Stay: .15}[b.Verdict]
	weekend := day.Weekday() == time.Saturday || day.Weekday() == time.Sunday
	if !weekend {
		going *= .35
	}
	mood := math.Exp(.5 * rnd.NormFloat64())

	for _, m := range invented {
		p, stays := going, .06
		if m.home != b.Reach {
			p, stays = going/8, 0
		}
		if slices.ContainsFunc(log, func(t coldseam.Trip) bool { return t.Angler == m.name && t.Date == b.Day }) {
			continue
		}
		yes := true
		t := coldseam.Trip{Reach: b.Reach, Angler: m.name, Date: b.Day, Species: "walleye", BecauseMail: &yes,
			EnteredAt: b.Day.UTC().Add(24 * time.Hour), Source: "csv"}
		switch x := rnd.Float64(); {
		case x < p:
		case weekend && (b.Verdict == coldseam.Stay || b.Verdict == coldseam.Stop) && x > 1-4*stays:
			t.WentNot = true
			out = append(out, t)
			continue
		default:
			continue
		}

		byMail := rnd.Float64() < .6
		t.BecauseMail, t.Anglers, t.Lines = &byMail, 1, 1+rnd.IntN(2)
		t.Hours = 2.5 + .5*float64(rnd.IntN(5))
		t.Start = b.Day.In(env.Zone(b.Zone)).Add(6*time.Hour + 15*time.Minute*time.Duration(rnd.IntN(4))).UTC()
		t.Fish = poisson(rnd, mood*perLineHour(b.Temp.Now)*t.Hours*float64(t.Lines))
		t.Released = t.Fish
		t.LookedAt = min(t.Fish, 4)
		t.Presentation, t.Body, t.Line, t.Clarity = "quartering", "slim", "braid-0.14", "stained"
		if len(b.Jig) > 0 {
			w := b.Jig[rnd.IntN(len(b.Jig))]
			if w.TieOz > 0 {
				held := rnd.Float64() < .8
				t.SpotID, t.WeightOz, t.Held = w.SpotID, w.TieOz, &held
			}
		}
		out = append(out, t)
	}
	return out
}

// perLineHour is the invented catch by the temperature of the water.
func perLineHour(c float64) float64 {
	return .05 + .8*math.Exp(-math.Pow((c-7)/2.5, 2))
}

func poisson(rnd *rand.Rand, mean float64) (n int) {
	for p := rnd.Float64(); p > math.Exp(-mean) && n < 15; n++ {
		p *= rnd.Float64()
	}
	return n
}

// The recorded spring is what living through it gives: the whole with -update,
// the words, trips and scores of its first mornings on every run.
func TestGoldenPastSeason(t *testing.T) {
	t.Parallel()
	const file = "season2025.json.gz"
	if *update {
		var b bytes.Buffer
		z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
		require.NoError(t, err)
		_, err = z.Write(recorded(t, live(t, springTo)))
		require.NoError(t, err)
		require.NoError(t, z.Close())
		require.NoError(t, os.WriteFile(file, b.Bytes(), 0o644))
		return
	}

	want, err := democlub.PastSeason()
	require.NoError(t, err)
	last := springFrom.Add(againDays - 1)
	got := live(t, last)
	told := func(s democlub.Season) (out []string) {
		for _, b := range s.Briefs {
			if !last.Before(b.Day) {
				line := fmt.Sprint(b.Reach, " ", b.Day, " ", b.Issued.UTC(), " ", b.Verdict)
				for _, r := range b.Stops {
					line += " " + r.Code
				}
				out = append(out, line)
			}
		}
		for _, x := range s.Trips {
			if !last.Before(x.Date) {
				out = append(out, fmt.Sprint(x.Reach, " ", x.Date, " ", x.Angler, " ", x.Hours, " ", x.Fish, " ", x.WentNot))
			}
		}
		slices.Sort(out)
		return out
	}
	require.Equal(t, told(want), told(got))

	scored := func(s democlub.Season) (out []store.Score) {
		for _, x := range s.Scores {
			issued := coldseam.DateOf(x.Issued.In(env.Zone("America/Chicago")))
			require.Equal(t, x.Day.Sub(issued)+1, x.Lead, "%s of %s for %s", x.Param, x.Issued, x.Day)
			if !last.Before(issued) {
				out = append(out, x)
			}
		}
		return out
	}
	a, b := asTree(t, scored(want)), asTree(t, scored(got))
	require.NotEmpty(t, b)
	require.Equal(t, a, b)
}

// asTree is a value as JSON has it, numbers to six digits.
func asTree(t *testing.T, v any) (tree any) {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &tree))
	return sixDigits(tree)
}

// recorded is a season as it is stored: river by river, without what only the
// day's own mails and pages need, numbers to six digits.
func recorded(t *testing.T, s democlub.Season) []byte {
	t.Helper()
	s.Briefs = slices.Clone(s.Briefs)
	for i := range s.Briefs {
		b := &s.Briefs[i]
		b.ID, b.Seal, b.Chart, b.Weighing, b.Next = 0, "", coldseam.ChartData{}, nil, nil
		if w, ok := b.Best(); ok {
			b.Windows, b.WindowI = []coldseam.Window{w}, 0
		} else {
			b.Windows = nil
		}
	}
	slices.SortStableFunc(s.Briefs, func(x, y coldseam.Brief) int {
		return cmp.Or(cmp.Compare(x.Reach, y.Reach), x.Issued.Compare(y.Issued))
	})
	raw, err := json.Marshal(asTree(t, s))
	require.NoError(t, err)
	return raw
}

func sixDigits(v any) any {
	switch v := v.(type) {
	case float64:
		x, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
		if v == math.Trunc(v) {
			return v
		}
		return x
	case map[string]any:
		for k := range v {
			v[k] = sixDigits(v[k])
		}
	case []any:
		for i := range v {
			v[i] = sixDigits(v[i])
		}
	}
	return v
}
