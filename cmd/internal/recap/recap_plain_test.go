//go:build !race

package recap_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

func TestGoldenSeasonOfALivedFortnight(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := liveHarness(t)
	require.NoError(t, v.App.MaintenanceJob(ctx, store.MaintenanceArgs{Day: clubtest.Saturday}))

	t.Run("what was told is as it was sealed, and graded", func(t *testing.T) {
		var out strings.Builder
		book := v.Recap
		require.NoError(t, (&recap.Verify{Days: 30}).With(ctx, &out, book))
		require.Contains(t, out.String(), "nothing that was told was edited since")
		require.Regexp(t, `[1-9]\d* ranges of four in five were told`, out.String())

		r, err := book.Recap(ctx, clubtest.Saturday.Year, "")
		require.NoError(t, err)
		require.NoError(t, (&recap.Verify{Head: r.Seal[:16]}).With(ctx, io.Discard, book))
		err = (&recap.Verify{Head: "0123456789abcdef"}).With(ctx, io.Discard, book)
		require.ErrorContains(t, err, "is not in this record")
	})

	t.Run("issued forecasts are scored", func(t *testing.T) {
		type lead struct {
			Param   string
			Lead, N int
		}
		got, err := storetest.Ask[lead](ctx, v.DB,
			`SELECT param, lead_day AS lead, n::int AS n FROM season.skill WHERE reach_id = 'tamsen-bend'`)
		require.NoError(t, err)

		n := map[string]int{}
		for _, x := range got {
			n[fmt.Sprint(x.Param, x.Lead)] = x.N
		}
		require.Equal(t, livedDays-1, n["water_temp1"], "every morning whose next day is over")
		require.Equal(t, livedDays-9, n["discharge9"], "ten days with today")
		w := httptest.NewRecorder()
		v.App.MetricsHandler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		require.Regexp(t, `coldseam_forecast_crps\{lead="1",quantity="northgauge:NG-1001 water_temp"\} 0\.\d`,
			w.Body.String())

		// A service that starts anew shows it without waiting for the next scoring.
		anew := club.New(v.Parts)
		stop := anew.FirstSkill(ctx)
		require.Eventually(t, func() bool {
			w := httptest.NewRecorder()
			anew.MetricsHandler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
			return strings.Contains(w.Body.String(),
				`coldseam_forecast_crps{lead="1",quantity="northgauge:NG-1001 water_temp"} 0.`)
		}, 30*time.Second, 50*time.Millisecond)

		stop()
		before := len(got)
		require.NoError(t, v.App.MaintenanceJob(ctx, store.MaintenanceArgs{Day: clubtest.Saturday}))
		got, err = storetest.Ask[lead](ctx, v.DB,
			`SELECT param, lead_day AS lead, n::int AS n FROM season.skill WHERE reach_id = 'tamsen-bend'`)
		require.NoError(t, err)
		require.Len(t, got, before, "again adds nothing")
	})

	t.Run("what is usual for the date", func(t *testing.T) {
		got, err := storetest.Ask[struct{ N int }](ctx, v.DB,
			`SELECT count(DISTINCT flow_class)::int AS n FROM season.daily WHERE reach_id = 'tamsen-bend'`)
		require.NoError(t, err)
		require.Equal(t, 5, got[0].N)
	})

	t.Run("reach", func(t *testing.T) {
		began := time.Now()
		r, err := v.Recap.Recap(ctx, 2026, "tamsen-bend")
		require.NoError(t, err)
		require.Less(t, time.Since(began), 10*time.Second)
		require.Equal(t, "Spring 2026", r.Season)
		require.Equal(t, 16, r.Trips, "the trips of this spring before the morning, as in the log")
		require.Equal(t, 40, r.Fish)
		require.Equal(t, 2, r.ZeroTrips)
		require.Equal(t, 12, r.Held)
		require.Equal(t, 4, r.Lifted)
		require.Equal(t, coldseam.Date{Year: 2026, Month: 4, Day: 1}, r.From)
		require.Equal(t, clubtest.Saturday, r.To)
		require.Len(t, r.Days, r.To.Sub(r.From)+1+recap.ChartLead)

		mornings := 0
		for _, x := range r.Verdicts {
			mornings += x.Mornings
		}
		require.Equal(t, livedDays+1, mornings)
		require.NotEmpty(t, r.Money.Worth)
		require.NotEmpty(t, r.Change)
		require.Empty(t, r.Skill, "a fortnight is too short to claim skill")

		// The same as SQL says, where no later word overturned the morning's.
		type call struct {
			Verdict                string
			Mornings, Fished, Good *int
		}
		calls, err := storetest.Ask[call](ctx, v.DB,
			`SELECT verdict, mornings::int, mornings_fished::int AS fished, good_mornings::int AS good FROM season.call WHERE season = 2026 AND reach_id = 'tamsen-bend'`)
		require.NoError(t, err)
		require.Len(t, calls, len(r.Verdicts))

		for _, c := range calls {
			for _, x := range r.Verdicts {
				if x.Verdict.String() != c.Verdict {
					continue
				}
				require.Equal(t, *c.Mornings, x.Mornings, c.Verdict)
				if x.Verdict.ShowsOdds() && c.Fished != nil && !x.Hidden {
					require.Equal(t, *c.Fished, x.Judged, c.Verdict)
					require.Equal(t, *c.Good, x.Good, c.Verdict)
				}
			}
		}

		again, err := v.Recap.Recap(ctx, 0, "tamsen-bend")
		require.NoError(t, err)
		require.Equal(t, fmt.Sprint(r), fmt.Sprint(again), "0 is the newest season")
	})

	t.Run("nobody stands in it", func(t *testing.T) {
		reaches, err := v.DB.Reaches(ctx)
		require.NoError(t, err)
		log, err := triplog.Read(strings.NewReader(democlub.Log), reaches, triplog.Map{})
		require.NoError(t, err)
		require.NotEmpty(t, log)

		for _, reach := range []string{"", "tamsen-bend", "hallam-sandbar", "brandt-ledge"} {
			s := recapText(t, v.Recap, recap.Command{Reach: reach, Text: true, CSV: true, HTML: true})
			for _, x := range log {
				require.NotContains(t, s, x.Angler)
			}
			require.NotContains(t, s, "NaN")
		}

		// Two anglers fished the Hallam Fork: nothing of theirs is told.
		r, err := v.Recap.Recap(ctx, 2026, "hallam-sandbar")
		require.NoError(t, err)
		require.Zero(t, r.Trips)
		require.Zero(t, r.Fish)
		require.Zero(t, r.ZeroTrips)
		require.Empty(t, append(r.Bands, r.Weights...))
		require.Empty(t, r.Said)
		require.Empty(t, r.Money)
		require.Zero(t, r.Held+r.Lifted)
	})

	t.Run("the club less its reaches gives nothing away", func(t *testing.T) {
		club, err := v.Recap.Recap(ctx, 2026, "")
		require.NoError(t, err)
		judged, good, trips, fish := 0, 0, 0, 0
		for _, reach := range []coldseam.ReachID{"tamsen-bend", "hallam-sandbar", "brandt-ledge"} {
			r, err := v.Recap.Recap(ctx, 2026, reach)
			require.NoError(t, err)
			trips, fish = trips+r.Trips, fish+r.Fish
			for _, x := range r.Verdicts {
				judged, good = judged+x.Judged, good+x.Good
			}
		}

		require.Equal(t, trips, club.Trips)
		require.Equal(t, fish, club.Fish)
		for _, x := range club.Verdicts {
			judged, good = judged-x.Judged, good-x.Good
		}
		require.Zero(t, judged)
		require.Zero(t, good)
	})

	t.Run("files", func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "new")
		recapText(t, v.Recap, recap.Command{Season: 2026, Out: dir})
		for _, ext := range []string{".html", ".txt", ".csv"} {
			b, err := os.ReadFile(filepath.Join(dir, "recap-2026"+ext))
			require.NoError(t, err)
			require.NotEmpty(t, b)
			if ext == ".csv" {
				rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
				require.NoError(t, err)
				require.Greater(t, len(rows), 40)
			}
		}

		one := recapText(t, v.Recap, recap.Command{Out: dir, Reach: "tamsen-bend", CSV: true})
		require.Equal(t, filepath.Join(dir, "recap-2026-tamsen-bend.csv")+"\n", one)
	})

	t.Run("page", func(t *testing.T) {
		r, err := v.App.Pages().Season(ctx, 0, "")
		require.NoError(t, err)
		want, err := v.Recap.Recap(ctx, 2026, "")
		require.NoError(t, err)
		require.Equal(t, fmt.Sprint(want), fmt.Sprint(r))
		_, err = v.App.Pages().Season(ctx, 1999, "")
		require.ErrorIs(t, err, coldseam.ErrNotFound)
		_, err = v.App.Pages().Season(ctx, 2026, "nowhere")
		require.ErrorIs(t, err, coldseam.ErrNotFound)
	})
	t.Run("cookbook", func(t *testing.T) { checkCookbook(t, v.Recap) })
	t.Run("dictionary", func(t *testing.T) {
		s := recapText(t, v.Recap, recap.Command{Dictionary: true})
		require.Contains(t, s, "## morning")
		require.NotRegexp(t, `\|  \|`, s, "every column has a meaning, a unit and a source")
	})

	t.Run("psql", func(t *testing.T) {
		if _, err := exec.LookPath("psql"); err != nil {
			t.Skip("psql is not installed")
		}
		s := recapText(t, v.Recap,
			recap.Command{SQL: true, Args: []string{"-X", "-A", "-t", "-c",
				"SELECT current_user, count(*) FROM season.band"}})
		require.Equal(t, "season_reader|5\n", s)

		for _, sql := range []string{"SELECT * FROM coldseam.trip", "SELECT * FROM coldseam.subscriber",
			"CREATE TABLE season.x (a int)"} {
			var out, errs bytes.Buffer
			c := recap.Command{SQL: true, Args: []string{"-X", "-c", sql}}
			err := c.With(ctx, &env.Streams{Out: &out, Err: &errs}, v.Recap)
			var exit env.ExitCode
			require.ErrorAs(t, err, &exit, sql)
			require.NotZero(t, exit.Code)
			require.Regexp(t, "permission denied|read-only", errs.String())
			require.Empty(t, out.String())
		}
	})
}
