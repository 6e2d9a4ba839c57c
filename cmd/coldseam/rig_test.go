package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/store"
)

// fakeRig is a store of one spot.
type fakeRig struct {
	prefs coldseam.Preferences
	logs  []store.RigLog
	err   error
}

func (f *fakeRig) Morning(_ context.Context, site, spot string, p coldseam.Preferences,
	box []float64) (rigMorning, error) {
	f.prefs = p
	if f.err != nil {
		return rigMorning{}, f.err
	}
	depth, float, flow := 12*coldseam.MetrePerFoot, 1.9*coldseam.MetrePerFoot, 40.0
	rig, err := jig.ParseRig(p.Body, p.Line, p.Metal, p.Presentation)
	if err != nil {
		return rigMorning{}, err
	}
	j := jig.Advise(jig.SpotInput{
		Rig:      rig,
		BoxOz:    box,
		FlowM3S:  flow,
		WaterC:   3,
		WaterOK:  true,
		Geometry: jig.Geometry{C: .2, F: .48, K: .22, M: .41, SComb: .25, QMin: 4, QMax: 120},
		Spot: coldseam.Spot{ID: spot, Name: "Main seam", Kind: coldseam.SpotSeam, DepthRefM: &depth, FlowRef: &flow,
			FloatMS: &float, FloatFlow: &flow},
	})
	return rigMorning{
		Title:   "Tamsen, Main seam",
		Day:     coldseam.Date{Year: 2026, Month: 3, Day: 20},
		Jig:     j,
		Members: []float64{36, 40, 44},
		NowM3S:  40,
		WaterC:  3,
		WaterOK: true,
	}, nil
}

func (f *fakeRig) AddLog(_ context.Context, _ string, l store.RigLog, at string) (bool, error) {
	for _, x := range f.logs {
		if x.Spot == l.Spot && x.WeightOz == l.WeightOz {
			return false, nil
		}
	}
	_, err := rigTime(at, time.Date(2026, 3, 20, 15, 0, 0, 0, time.UTC), time.UTC)
	if err != nil {
		return false, err
	}
	f.logs = append(f.logs, l)
	return true, nil
}

// runRig parses and runs `rig args`.
func runRig(t *testing.T, db *fakeRig, args ...string) (string, error) {
	t.Helper()
	var c struct {
		Rig rigCmd `cmd:""`
	}
	if db == nil {
		db = &fakeRig{err: errors.New("no store here")}
	}

	open := func(context.Context, *env.Globals) (rigStore, func(), error) { return db, func() {}, nil }
	var out bytes.Buffer
	p, err := kong.New(&c, kong.Name("coldseam"), kong.Exit(func(int) { t.Fatal("exit") }), kong.Writers(&out, &out),
		kong.BindTo(context.Background(), (*context.Context)(nil)), kong.Bind(&env.Streams{Out: &out, Err: &out},
			&env.Globals{}))
	require.NoError(t, err)
	k, err := p.Parse(append([]string{"rig"}, args...))
	if err != nil {
		return out.String(), err
	}

	c.Rig.Show.store, c.Rig.Log.store = open, open
	err = k.Run()
	return out.String(), err
}

func byHand(extra ...string) []string {
	return append([]string{"--depth-ft", "12", "--surface-fps", "1.9", "--water-c", "3", "--body", "slim", "--line",
		"braid-0.14", "--presentation", "quartering"}, extra...)
}

func rigAnswer(t *testing.T, args ...string) map[string]any {
	t.Helper()
	out, err := runRig(t, nil, append(args, "--json")...)
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &m), out)
	return m
}

func TestRigByHandJSON(t *testing.T) {
	t.Parallel()
	m := rigAnswer(t, byHand()...)
	require.InEpsilon(t, .20347, m["min_oz"], .01)
	require.Equal(t, .25, m["size_oz"])
	require.InDelta(t, 56.925, m["surface_angle_deg"], .1)
	require.Equal(t, .25, m["tie_oz"])
	require.Equal(t, .375, m["pack_oz"])
	require.Nil(t, m["withheld_reason"])
	require.Len(t, m["holds"], 9)
	require.Greater(t, m["holds"].(map[string]any)["1/4"], .5)
	require.InDelta(t, 4.9, m["sink_s"], .3)
	require.Greater(t, m["bow_pct"], 5.0)
	require.Empty(t, m["critical"], "without a flow nothing is said of flows")
}

func TestRigUnitsAreTwins(t *testing.T) {
	t.Parallel()
	a := rigAnswer(t, byHand()...)
	b := rigAnswer(t, "--depth-m", "3.6576", "--surface-ms", "0.57912", "--water-f", "37.4")
	for _, k := range []string{"min_oz", "size_oz", "tie_oz", "pack_oz"} {
		require.InEpsilon(t, a[k], b[k], 1e-9, k)
	}
	require.Contains(t, b["line_words"], " m out")
	require.Contains(t, a["line_words"], " ft out")
}

func TestRigSaysNullWhereNothingHolds(t *testing.T) {
	t.Parallel()
	m := rigAnswer(t, "--depth-ft", "25", "--surface-fps", "4.5", "--water-c", "3")
	require.Nil(t, m["size_oz"])
	require.Nil(t, m["tie_oz"])
	require.Nil(t, m["surface_angle_deg"])
	require.Equal(t, "too_fast", m["withheld_reason"])
	m = rigAnswer(t, "--depth-ft", "12", "--surface-fps", "1.9", "--box", "1/16,1/8")
	require.Equal(t, "none_holds", m["withheld_reason"])
	require.Equal(t, .25, m["size_oz"], "the physics is printed beside the rule")
}

func TestRigFloorIsARuleNotPhysics(t *testing.T) {
	t.Parallel()
	m := rigAnswer(t, "--depth-ft", "6", "--surface-fps", ".5", "--water-c", "3")
	require.Equal(t, .0625, m["size_oz"])
	require.Equal(t, .125, m["tie_oz"])
	m = rigAnswer(t, "--depth-ft", "6", "--surface-fps", ".5", "--water-c", "3", "--floor", "1/16")
	require.Equal(t, .0625, m["tie_oz"])
}

func TestRigNeverClearsWading(t *testing.T) {
	t.Parallel()
	out, err := runRig(t, nil, "--depth-ft", "2", "--surface-fps", "1", "--presentation", "wading")
	require.NoError(t, err)
	require.Contains(t, out, "cannot clear wading")
	require.NotRegexp(t, `(?i)\bsafe`, out)
	m := rigAnswer(t, "--depth-ft", "4", "--surface-fps", "1", "--presentation", "wading")
	require.Equal(t, "wading", m["withheld_reason"])
	require.Nil(t, m["tie_oz"])
	m = rigAnswer(t, "--depth-ft", "5", "--surface-fps", "3.2", "--presentation", "anchored")
	require.Equal(t, "anchor", m["withheld_reason"])
}

func TestRigText(t *testing.T) {
	t.Parallel()
	out, err := runRig(t, nil, byHand("--flow-cfs", "1400", "--bed", "sand")...)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	require.Equal(t, "WATER   12 ft, 1.9 ft/s on top, 37F", lines[0])
	require.Equal(t, "RIG     slim on braid-0.14, quartering, lead", lines[1])
	require.Equal(t, "PHYSICS 0.20 oz holds, so 1/4 oz: line 57 deg off vertical, bow 13 %, down in 5 s", lines[2])
	require.Equal(t, "JIG     tie 1/4 oz (7 in 10), pack 3/8, lose bottom: 3/8", lines[3])
	require.Contains(t, out, "\nCOST    0.28 mm nylon: 3/8 oz; bulky body: 3/8 oz\n")
	require.Regexp(t, `LETS GO at .*1/4 \d+`, out)
	require.Contains(t, out, "cfs\n")
	require.Contains(t, out, "NOTE    uncalibrated")
	for _, l := range lines {
		require.LessOrEqual(t, len(l), 100, l)
	}
}

func TestRigRefusesInWords(t *testing.T) {
	t.Parallel()

	rows := []struct {
		name string
		args []string
		want []string
	}{
		{"nothing", nil, []string{"no depth given; want --depth-ft or --depth-m, or --site and --spot",
			"; no surface current given"}},
		{"both", []string{"--depth-ft", "3", "--depth-m", "1", "--surface-fps", "1"},
			[]string{"both --depth-ft and --depth-m are given; want one"}},
		{"NaN", []string{"--depth-ft", "NaN", "--surface-fps", "1"}, []string{"depth is NaN ft; want 0.3 to 49"}},
		{"negative", []string{"--depth-ft=-3", "--surface-fps", "1"}, []string{"depth is -3 ft; want 0.3 to 49"}},
		{"huge", []string{"--depth-m", "400", "--surface-ms", "1"}, []string{"depth is 400 m; want 0.1 to 15"}},
		{"infinite", []string{"--depth-ft", "3", "--surface-fps", "Inf"},
			[]string{"surface current is +Inf ft/s; want 0 to 20"}},
		{"cold", []string{"--depth-ft", "3", "--surface-fps", "1", "--water-f", "20"},
			[]string{"water is 20 F; want 32 to 104"}},
		{"two temperatures", []string{"--depth-ft", "3", "--surface-fps", "1", "--water-f", "40", "--water-c", "4"},
			[]string{"both --water-c and --water-f"}},
		{"body", byHand("--body", "worm"), []string{`body "worm": want one of slim, flutter, paddle, bulky, bucktail`}},
		{"line", byHand("--line", "string"), []string{`line "string": want braid-<mm> or nylon-<mm>`}},
		{"thick line", byHand("--line", "braid-3"), []string{"diameter 3 mm, want 0.05-0.60 mm"}},
		{"presentation", byHand("--presentation", "trolling"),
			[]string{`presentation "trolling": want one of quartering`}},
		{"metal", byHand("--metal", "gold"), []string{`jig metal "gold": want lead or tungsten`}},
		{"box", byHand("--box", "1/4,heavy,0"), []string{`--box "heavy"; want a size in oz such as 1/4`, `--box "0"`}},
		{"floor above max", byHand("--floor", "1", "--max", "1/2"), []string{"--floor 1 is above --max 1/2"}},
		{"bed", byHand("--bed", "lava"), []string{`--bed "lava"; want sand, gravel or rock`}},
		{"chart without a flow", byHand("--chart", "x.png"), []string{"a chart needs the flow at the gauge"}},
		{"flow", byHand("--flow-cfs", "NaN"), []string{"flow is NaN m3/s"}},
		{"spot alone", []string{"--spot", "main-seam"}, []string{"want both --site and --spot"}},
		{"spot and depth", byHand("--site", "tamsen", "--spot", "main-seam"),
			[]string{"depth and current come from the spot"}},
	}

	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			out, err := runRig(t, nil, r.args...)
			var ec env.ExitCode
			require.ErrorAs(t, err, &ec)
			require.Equal(t, 2, ec.Code)
			require.Empty(t, out)
			require.NotContains(t, ec.Text, "\n", "one line")
			require.NotContains(t, ec.Text, ": invalid")
			for _, w := range r.want {
				require.Contains(t, ec.Text, w)
			}
		})
	}
}

func TestRigTable(t *testing.T) {
	t.Parallel()
	out, err := runRig(t, nil, "--table")
	require.NoError(t, err)
	require.Contains(t, out, "slim on braid-0.14, quartering")
	require.Regexp(t, `(?m)^ *15 +1/16 +1/8 +3/16 +3/8 +1/2 +5/8 +1 +-- *$`, out)
	out, err = runRig(t, nil, "--table", "--json", "--units", "metric")
	require.NoError(t, err)
	var g rigTable
	require.NoError(t, json.Unmarshal([]byte(out), &g))
	require.Len(t, g.SizeOz, len(g.Depth))
	require.Len(t, g.SizeOz[0], len(g.Surface))
	require.Equal(t, "m, m/s", g.Units)
}

func TestRigFromTheStore(t *testing.T) {
	t.Parallel()
	db := &fakeRig{}
	out, err := runRig(t, db, "--site", "tamsen", "--spot", "main-seam", "--body", "bulky")
	require.NoError(t, err)
	require.Equal(t, "bulky", db.prefs.Body)
	require.Contains(t, out, "SPOT    Tamsen, Main seam, 2026-03-20\n")
	require.Contains(t, out, "JIG     tie 3/8 oz")
	db.err = coldseam.ErrNotFound
	_, err = runRig(t, db, "--site", "tamsen", "--spot", "nowhere")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

func TestRigLog(t *testing.T) {
	t.Parallel()
	db := &fakeRig{}
	args := []string{"log", "--site", "tamsen", "--spot", "main-seam", "--size", "1/4", "--result", "held", "--at",
		"07:30", "--angle-deg", "50"}
	out, err := runRig(t, db, args...)
	require.NoError(t, err)
	require.Equal(t, "logged: 1/4 oz held at main-seam, 07:30\n", out)
	require.Len(t, db.logs, 1)
	require.Equal(t, .25, db.logs[0].WeightOz)
	require.True(t, db.logs[0].Held)
	require.Equal(t, 50.0, *db.logs[0].AngleDeg)

	out, err = runRig(t, db, args...)
	require.NoError(t, err)
	require.Equal(t, "already logged\n", out)
	_, err = runRig(t, db, "log", "--site", "tamsen", "--spot", "x", "--size", "big", "--result", "lost", "--at",
		"07:30")
	require.ErrorContains(t, err, `--size "big"; want a size in oz`)
	_, err = runRig(t, db, "log", "--site", "tamsen", "--spot", "x", "--size", "1/4", "--result", "perhaps", "--at",
		"07:30")
	require.ErrorContains(t, err, "held")
	_, err = runRig(t, db, "log", "--site", "tamsen", "--spot", "x", "--size", "1/4", "--result", "lost", "--at",
		"half seven")
	require.ErrorContains(t, err, `--at "half seven"; want 07:30 or 2026-03-20 07:30`)
}

func TestRigTime(t *testing.T) {
	t.Parallel()
	loc, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	now := time.Date(2026, 3, 20, 3, 0, 0, 0, time.UTC) // still the 19th in Chicago
	at, err := rigTime("07:30", now, loc)
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 3, 19, 7, 30, 0, 0, loc), at)
	at, err = rigTime("2026-03-01 18:05", now, loc)
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 3, 1, 18, 5, 0, 0, loc), at)
	_, err = rigTime("25:00", now, loc)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestRigLogsLeaveOutWhatSaysNothing(t *testing.T) {
	t.Parallel()
	q, angle := 40.0, 50.0
	got := morning.RigLogs([]store.RigLog{
		{
			Spot:         "a",
			WeightOz:     .25,
			Held:         true,
			FlowM3S:      &q,
			AngleDeg:     &angle,
			Body:         "slim",
			Line:         "braid-0.14",
			Presentation: "quartering",
		},
		{Spot: "a", WeightOz: .25, Held: true, Body: "slim"},
		{Spot: "a", WeightOz: .25, FlowM3S: &q, Body: "worm"},
		{Spot: "b", WeightOz: 0, FlowM3S: &q},
		{Spot: "b", WeightOz: .5, FlowM3S: &q},
	})
	require.Len(t, got["a"], 1)
	require.Len(t, got["b"], 1)
	require.Equal(t, "slim", got["b"][0].Rig.Body.Name, "an empty rig is the default one")
	require.Equal(t, &angle, got["a"][0].AngleDeg)
}
