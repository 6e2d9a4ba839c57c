package season

import (
	"encoding/json"
	"errors"
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
)

func date(s string) coldseam.Date {
	d, err := coldseam.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// recordOf is a bare reach with daily means, few members for speed.
func recordOf(t testing.TB, name string, d coldseam.Days, lat, lon float64) *Record {
	t.Helper()
	sp, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	require.NoError(t, err)
	d.Lat = lat
	return &Record{
		Reach:    BareReach(filepath.Base(name), lat, lon),
		Bare:     true,
		Alone:    true,
		LeaveOut: true,
		Days:     d,
		SendAt:   4*time.Hour + 45*time.Minute,
		Loc:      SolarZone(lon),
		Species:  sp,
		Air:      AirClimatology,
		Table:    verdict.DefaultTable(),
		Cost:     coldseam.DefaultCost,
		Members:  30,
	}
}

// invented is a smooth river of two years and a half with a warm wobble.
func invented() coldseam.Days {
	d := coldseam.Days{First: date("2023-01-01")}
	for i := range 880 {
		season := math.Sin(2 * math.Pi * float64(d.Day(i).YearDay()-40) / 365)
		wobble := math.Sin(float64(i)*.7) + math.Sin(float64(i)*.23)
		d.AirC = append(d.AirC, 6+14*season+2*wobble)
		d.WaterC = append(d.WaterC, math.Max(4+9*season+.6*wobble, 0))
		d.FlowM3S = append(d.FlowM3S, 60+25*season+4*wobble)
	}
	return d
}

func mustRun(t testing.TB, r *Record, from, to string) coldseam.Replay {
	t.Helper()
	s, err := Run(r, Options{From: date(from), To: date(to)})
	require.NoError(t, err)
	return s
}

func asJSON(t testing.TB, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	require.NoError(t, err)
	return string(raw)
}

// What comes after a morning is not known on it: no value of any quantity, that
// day's own means neither.
func TestNothingAfterAMorningChangesIt(t *testing.T) {
	t.Parallel()
	run := func(d coldseam.Days) coldseam.Replay {
		return mustRun(t, recordOf(t, "river", d, 45, -92), "2025-02-05", "2025-02-10")
	}
	whole := run(invented())
	from := invented().Index(date("2025-02-08"))
	for name, alter := range map[string]func(d *coldseam.Days, i int){
		"flow":  func(d *coldseam.Days, i int) { d.FlowM3S[i] = 900 },
		"water": func(d *coldseam.Days, i int) { d.WaterC[i] = 19 },
		"air":   func(d *coldseam.Days, i int) { d.AirC[i] = -12 },
		"ice":   func(d *coldseam.Days, i int) { d.IceMark[i] = true },
		"none": func(d *coldseam.Days, i int) {
			d.FlowM3S[i], d.WaterC[i], d.AirC[i] = math.NaN(), math.NaN(), math.NaN()
		},
	} {
		altered := invented()
		altered.IceMark = make([]bool, altered.Len())
		for i := from; i < altered.Len(); i++ {
			alter(&altered, i)
		}
		other := run(altered)
		require.Equal(t, asJSON(t, whole.Cells[:4]), asJSON(t, other.Cells[:4]), name)
		if name != "air" { // a day's air alone may change no printed number
			require.NotEqual(t, asJSON(t, whole.Cells[4:]), asJSON(t, other.Cells[4:]), "%s: the days after know it", name)
		}
	}
}

// A replay that begins later gives the same cells, and twice the same bytes.
func TestAPartIsAsTheWhole(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	whole := mustRun(t, r, "2025-02-02", "2025-02-09")
	part := mustRun(t, r, "2025-02-06", "2025-02-09")
	require.Equal(t, asJSON(t, whole.Cells[4:]), asJSON(t, part.Cells))
	require.Equal(t, asJSON(t, part), asJSON(t, mustRun(t, r, "2025-02-06", "2025-02-09")))
}

// Observed air is an upper bound, and says so; it is the one setting that looks ahead.
func TestObservedAirIsNamed(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	r.Air = AirObserved
	require.Contains(t, mustRun(t, r, "2025-02-05", "2025-02-05").Assumed, "air_observed")
}

// Stops that cannot fire are named on every morning.
func TestWhatWasNotReplayedIsNamed(t *testing.T) {
	t.Parallel()
	s := mustRun(t, recordOf(t, "river", invented(), 45, -92), "2025-02-05", "2025-02-06")
	require.Len(t, s.Cells, 2)
	for _, c := range s.Cells {
		require.Equal(t, []string{"weather", "alerts", "season_rule"}, c.NotReplayed)
		require.True(t, c.Word.ShowsOdds(), "%v %v", c.Stops, c.Missing)
		require.NotNil(t, c.Odds)
		require.NotNil(t, c.TieOz)
		require.NotEmpty(t, c.Place)
	}
	require.Equal(t, 2, s.Fishable.N)
}

// A depth sounded by stage alone has none to be set beside on a day of which only the
// mean flow is known: it counts as sounded at the usual flow, and that is said.
func TestDepthByStageIsThatOfTheUsualFlow(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	usual := mustRun(t, r, "2025-02-05", "2025-02-05").Cells[0]
	stage := 1.2
	r.Bare, r.Reach.Spots[0].StageRefM = false, &stage
	s := mustRun(t, r, "2025-02-05", "2025-02-05")
	require.Contains(t, s.Assumed, "sounded_usual_flow")
	require.NotNil(t, s.Cells[0].TieOz)
	require.Equal(t, *usual.TieOz, *s.Cells[0].TieOz)
	require.NotNil(t, r.Reach.Spots[0].StageRefM, "the reach keeps it")
}

// A flood stage cannot be judged by daily means of flow: it is named, and the other
// stops and the odds are replayed.
func TestFloodStageIsNotReplayedByDailyMeans(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	stage := 3.
	r.Reach.FloodStageM = &stage
	c := mustRun(t, r, "2025-02-05", "2025-02-05").Cells[0]
	require.Equal(t, []string{"weather", "alerts", "season_rule", "stage"}, c.NotReplayed)
	require.True(t, c.Word.ShowsOdds(), "%v %v", c.Stops, c.Missing)
	require.NotNil(t, r.Reach.FloodStageM, "the reach keeps it")
}

// The limit of a reach whose own is not set is what the record of the time
// proposes; a set one stands, and stops.
func TestFlowLimit(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	proposed := mustRun(t, r, "2025-02-05", "2025-02-05")
	require.InDelta(t, 90, *proposed.LimitM3S, 10, "the twentieth highest of a hundred spring days")
	low := 50.
	r.Reach.MaxFlowM3S = &low
	s := mustRun(t, r, "2025-02-05", "2025-02-05")
	require.Equal(t, low, *s.LimitM3S)
	require.Equal(t, coldseam.Stop, s.Cells[0].Word)
	require.Contains(t, s.Cells[0].Stops, "max_flow")
	require.Nil(t, s.Cells[0].TieOz, "no weight on a stop")
	require.Empty(t, s.Cells[0].Place)
}

// A season closed by the reach's own rule stops on its dates.
func TestClosedSeason(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	r.Reach.Rules = []coldseam.Rule{{Kind: coldseam.RuleSeason,
		Closed: []coldseam.DayRange{{FromMonth: 2, FromDay: 6, ToMonth: 5, ToDay: 1}}}}
	s := mustRun(t, r, "2025-02-05", "2025-02-06")
	require.True(t, s.Cells[0].Word.ShowsOdds())
	require.Equal(t, []string{"closed"}, s.Cells[1].Stops)
}

// A cancelled run goes on where it was, to the same bytes.
func TestCancelledGoesOn(t *testing.T) {
	t.Parallel()
	r := recordOf(t, "river", invented(), 45, -92)
	o := Options{From: date("2025-02-02"), To: date("2025-02-09")}
	whole := mustRun(t, r, "2025-02-02", "2025-02-09")
	require.NotEmpty(t, whole.Forecasts)

	var left State
	part := o
	part.Keep = func(s State) { left = s }
	part.Progress = func(done, _ int) error {
		if done == 5 {
			return errors.New("cancelled")
		}
		return nil
	}
	_, err := Run(r, part)
	require.Error(t, err)
	require.NoError(t, json.Unmarshal([]byte(asJSON(t, left)), &left), "as a file keeps it")
	require.Equal(t, date("2025-02-05"), left.Next)

	made := 0
	o.Resume, o.Progress = &left, func(int, int) error { made++; return nil }
	rest, err := Run(r, o)
	require.NoError(t, err)
	require.Equal(t, 5, made)
	require.Equal(t, asJSON(t, whole), asJSON(t, rest))
}

func TestProgressEndsARun(t *testing.T) {
	t.Parallel()
	enough := errors.New("enough")
	_, err := Run(recordOf(t, "river", invented(), 45, -92), Options{From: date("2025-02-05"), To: date("2025-02-09"),
		Progress: func(done, total int) error {
			require.Equal(t, []int{1, 9}, []int{done, total}, "from the beginning of February on")
			return enough
		}})
	require.ErrorIs(t, err, enough)
	_, err = Run(recordOf(t, "river", invented(), 45, -92), Options{From: date("2025-02-05"), To: date("2025-02-04")})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// The keys of the JSON form are a contract.
func TestKeys(t *testing.T) {
	t.Parallel()
	s := coldseam.Replay{
		From:    date("2025-02-05"),
		To:      date("2025-02-05"),
		Assumed: []string{},
		Cells: []coldseam.ReplayCell{{Day: date("2025-02-05"), Stops: []string{}, Caps: []string{},
			Missing: []string{}, NotReplayed: []string{}}},
	}
	s.Sum()
	require.JSONEq(t, `{"reach":"","from":"2025-02-05","to":"2025-02-05","assumed":[],"cells":[{"day":"2025-02-05","word":"NO CALL","odds_word":"NO CALL",
		"odds":null,"p_wave":null,"water_c":null,"flow_m3s":null,"tie_oz":null,"pack_oz":null,"place":"","stage":"","stops":[],"caps":[],"missing":[],
		"stops_not_replayed":[]}],"counts":{"NO CALL":1},"fishable":{"go":0,"toss_up":0,"stay":0,"n":0},"flips":0,"place_changes":0,"weight_changes":0,
		"limit_m3s":null}`, asJSON(t, s))
}
