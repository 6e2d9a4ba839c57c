//go:build !race

package recap_test

import (
	"bytes"
	"fmt"
	"io"
	"net/http/httptest"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// A season that is entered after later days, as a demo's is, does not turn the span
// of days round.
func TestVerifyTellsTheDaysFromFirstToLast(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	old := clubtest.OnTamsen(v.Now())
	old.Day = clubtest.Saturday.Add(-300)
	_, err := v.DB.SaveBrief(t.Context(), old)
	require.NoError(t, err)
	var out strings.Builder
	require.NoError(t, (&recap.Verify{}).With(t.Context(), &out, v.Recap))
	require.Contains(t, out.String(), fmt.Sprintf("sealed, %s to %s;", old.Day, clubtest.Saturday))
}

func TestALivedFortnight(t *testing.T) {
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

		seal, err := v.DB.SealHead(ctx)
		require.NoError(t, err)
		require.NoError(t, (&recap.Verify{Head: seal[:16]}).With(ctx, io.Discard, book))
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
		require.Equal(t, livedDays-1, n["water_temp2"], "every morning whose next day is over")
		require.Equal(t, livedDays-9, n["discharge10"], "ten days with today")
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

	t.Run("page", func(t *testing.T) {
		got, err := v.App.Pages().Season(ctx, 0)
		require.NoError(t, err)
		require.Equal(t, []int{2025, 2026}, got.Years)
		require.Contains(t, string(got.Parts), "<svg")
		require.NotContains(t, string(got.Parts), "SELECT")
		require.NotEmpty(t, got.Seal)
		_, err = v.App.Pages().Season(ctx, 1999)
		require.ErrorIs(t, err, coldseam.ErrNotFound)
	})
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
