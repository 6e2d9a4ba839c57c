package gauntlet

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/simagency"
)

// warned is one scenario of testdata/warnings: documents that once hid a warning
// in force, the word they must give, and a clean control beside them that keeps
// its own.
type warned struct {
	class, name, word, control string
	reach                      map[string]string
	readings                   map[string][]reading // of "fault" and "control"
}

// reading is what the service answers at one time, by path.
type reading struct {
	after time.Duration
	pages map[string]string
}

// scenarios reads the table; a scenario is a file.
func scenarios(t *testing.T) []warned {
	t.Helper()
	files, err := filepath.Glob("testdata/warnings/*/*.txt")
	require.NoError(t, err)
	var out []warned

	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		w := warned{
			class:    filepath.Base(filepath.Dir(f)),
			name:     strings.TrimSuffix(filepath.Base(f), ".txt"),
			reach:    map[string]string{},
			readings: map[string][]reading{},
		}
		head, _, _ := strings.Cut(string(text), "\n==")
		for _, l := range strings.Split(head, "\n") {
			k, v, _ := strings.Cut(l, ": ")
			switch k {
			case "word":
				w.word = v
			case "control":
				w.control = v
			default:
				w.reach[k] = v
			}
		}

		for _, part := range strings.Split(string(text), "\n== ")[1:] {
			title, body, _ := strings.Cut(part, "\n")
			name, after, _ := strings.Cut(title, " after ")
			r := reading{pages: map[string]string{}}
			if after != "" {
				r.after, err = time.ParseDuration(after)
				require.NoError(t, err, f)
			}

			for _, p := range strings.Split("\n"+body, "\n-- ")[1:] {
				path, doc, _ := strings.Cut(p, "\n")
				r.pages[path] = doc
			}
			w.readings[name] = append(w.readings[name], r)
		}

		out = append(out, w)
	}

	return out
}

// clean is a morning at now on which everything is known, nothing stops and the
// odds say GO.
func clean(now time.Time, r coldseam.Reach, as verdict.Alerts) verdict.Inputs {
	rep := func(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }
	p := func(v float64) *float64 { return &v }
	day := coldseam.DateOf(now.In(env.Zone(r.Zone)))
	steady := func(v float64) (out []coldseam.Observation) {
		for at := now.Add(-60 * time.Hour); at.Before(now); at = at.Add(30 * time.Minute) {
			out = append(out, coldseam.Observation{
				At:      at,
				KnownAt: at,
				Value:   v + .001*float64(len(out)%3),
				Flag:    coldseam.Provisional,
			})
		}
		return out
	}

	days := coldseam.Days{First: day.Add(-12 * 366)}
	for i := range 12 * 366 {
		days.FlowM3S = append(days.FlowM3S, 20+130*float64((i*37)%101)/100)
	}
	sky := verdict.Weather{Issued: now.Add(-time.Hour), RainMM: p(0)}
	for at := now.Add(-12 * time.Hour).Truncate(time.Hour); at.Before(now.Add(48 * time.Hour)); at = at.Add(time.Hour) {
		sky.Hours = append(sky.Hours, verdict.Hour{
			From:        at,
			To:          at.Add(time.Hour),
			AirC:        p(8),
			WindMS:      p(2),
			GustMS:      p(4),
			Thunder:     p(0),
			PrecipMM:    p(0),
			VisibilityM: p(20000),
		})
	}
	start := now.Add(2 * time.Hour).Truncate(time.Hour)

	r.MaxFlowM3S, r.FloodStageM, r.Rules = p(180), nil, []coldseam.Rule{{
		Kind:      coldseam.RuleSeason,
		Species:   "walleye",
		Text:      "open",
		Link:      "https://rules.example.org",
		Closed:    []coldseam.DayRange{{FromMonth: 11, FromDay: 15, ToMonth: 11, ToDay: 20}},
		CheckedOn: day.Add(-20),
		CheckedBy: "keeper",
	}}
	r.Species, r.Regulated = []string{"walleye"}, false
	return verdict.Inputs{
		Now:        now,
		Day:        day,
		Loc:        env.Zone(r.Zone),
		Reach:      r,
		Table:      verdict.DefaultTable(),
		WaterModel: true,
		Ice:        ice.Status{Record: ice.Record{State: ice.Open, Cause: ice.CauseWarm}},
		Gauge:      verdict.Gauge{Discharge: steady(68), Stage: steady(2.1), Water: steady(6), Turbidity: steady(8)},
		Alerts:     as,
		Weather:    sky,
		Climate:    verdict.ClimateOf(days, day),
		Sun:        verdict.SunOf(day, 44.5, -92, env.Zone(r.Zone)),
		Candidates: []verdict.Candidate{{Start: start, End: start.Add(210 * time.Minute), WaterC: rep(6, 100),
			FlowM3S: rep(68, 100), RiseShare: rep(.01, 100),
			RiseM: rep(.02, 100), PFlood: p(0), PGood: rep(.9, 500), HoldP: p(.95), Tie: "1/4"}},
	}
}

var stampMark = regexp.MustCompile(`\{([+-]\d+[hm])\}`)

// told reads the documents from the loopback agency, step by step, and gives
// the word for the reach with the code of what held it.
func told(t *testing.T, v *clubtest.Harness, w warned, side string) string {
	t.Helper()
	ctx := t.Context()
	service, err := v.Feeds.Fetcher.Profile(simagency.ProfileAlerts)
	require.NoError(t, err)
	base := service.BaseURL
	feed := strings.NewReplacer(" ", "-", ",", "").Replace(w.class + "-" + w.name + "-" + side)
	own := slices.IndexFunc(v.Config.Reaches, func(r config.Reach) bool { return r.ID == "tamsen-bend" })
	cr := v.Config.Reaches[own]
	cr.Alerts = feed

	if z, ok := w.reach["zones"]; ok {
		cr.AlertZones = strings.Split(z, ";")
	}
	if at, ok := w.reach["position"]; ok {
		_, err := fmt.Sscanf(at, "%f,%f", &cr.Lat, &cr.Lon)
		require.NoError(t, err)
	}

	v.Config.Reaches = append(slices.Clone(v.Config.Reaches), cr)
	r, err := cr.Build(v.Config)
	require.NoError(t, err)

	start := v.Now()
	served := map[string]string{}
	var as verdict.Alerts

	for _, step := range w.readings[side] {
		v.Clock.Forward(v.Now().Add(step.after))
		maps.Copy(served, step.pages)
		v.Agency.ClearScripts()
		paths := slices.Sorted(maps.Keys(served))
		slices.Reverse(paths) // a script serves all paths that begin like its own

		for _, path := range paths {
			text := stampMark.ReplaceAllStringFunc(served[path], func(m string) string {
				d, err := time.ParseDuration(strings.TrimPrefix(m[1:len(m)-1], "+"))
				require.NoError(t, err)
				return start.Add(d).UTC().Format(time.RFC3339)
			})
			s := simagency.Step{Body: strings.ReplaceAll(text, "{base}", base+"/"+feed)}
			if code, ok := strings.CutPrefix(strings.TrimSpace(text), "HTTP "); ok {
				s.Status, err = strconv.Atoi(code)
				require.NoError(t, err)
			}
			v.Agency.ScriptForever("/"+feed+"/"+path, s)
		}

		v.Agency.ScriptForever("/"+feed+"/", simagency.Step{Status: 404})
		for _, name := range []string{"other", ""} { // a second feed of the same service first
			if _, ok := served[strings.TrimPrefix(name+"/index", "/")]; !ok {
				continue
			}
			p := ingest.Profile{
				Name:         strings.TrimSuffix(feed+"-"+name, "-"),
				Provider:     "northgauge",
				Format:       ingest.FormatCAP,
				BaseURL:      base,
				Path:         "/" + strings.TrimSuffix(feed+"/"+name, "/") + "/index",
				PrivateHosts: []string{"127.0.0.1"},
				RatePerHour:  1e6,
			}
			v.Feeds.Fetcher.Profiles = append(v.Feeds.Fetcher.Profiles, p)
			_, _ = v.Feeds.Fetcher.Fetch(ctx, p, ingest.Request{Force: true}) // what it says, the brief says
		}

		f, err := v.Morning.Inputs(ctx, r, clubtest.Saturday, v.Now(), false)
		require.NoError(t, err)
		as = verdict.Alerts{At: f.AlertsAt, List: f.Alerts, Gaps: f.AlertGaps}
	}

	d := verdict.Decide(clean(v.Now(), r, as))
	word := d.Verdict.String()
	for _, x := range slices.Concat(d.Stops, d.Reasons) {
		if strings.Contains(x.Code, "alert") || x.Code == "flood_watch" || x.Code == "dam_release" {
			word += " " + x.Code
		}
	}

	return word
}
