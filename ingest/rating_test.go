package ingest

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestApplyRating(t *testing.T) {
	t.Parallel()
	r := coldseam.Rating{
		Site:      "t:1",
		From:      t0,
		To:        t0.Add(10 * time.Hour),
		StageM:    []float64{1, 2, 4},
		Discharge: []float64{10, 40, 160},
	}
	s := series(coldseam.Stage, time.Hour, 1, 2, 3, 4, 5, 2, 99)
	s.SeriesRef = "a1"
	s.Obs[5].Flag, s.Obs[5].Value, s.Obs[5].Qualifiers = coldseam.Missing|coldseam.Ice, 0, []string{"Ice"}
	s.Obs[6].Flag |= coldseam.QCRange | coldseam.QCFail
	s.Obs = append(s.Obs, coldseam.Observation{At: t0.Add(10 * time.Hour), Value: 2})
	q, err := ApplyRating(s, r)
	require.NoError(t, err)
	require.Equal(t, coldseam.Discharge, q.Param)
	require.Equal(t, "rating/a1", q.SeriesRef)
	require.Len(t, q.Obs, 7, "the last stage belongs to the next rating")

	// log-log line through (1,10), (2,40), (4,160): Q = 10 h^2.
	for i, want := range []float64{10, 40, 90, 160, 250} {
		require.InDelta(t, want, q.Obs[i].Value, 1e-9)
		require.NotZero(t, q.Obs[i].Flag&coldseam.Estimated)
		require.Equal(t, i == 4, q.Obs[i].Flag&coldseam.Suspect != 0, "only the stage above the table is marked")
	}

	require.Equal(t, []string{"outside the rating"}, q.Obs[4].Qualifiers)
	require.Equal(t, coldseam.Missing|coldseam.Ice|coldseam.Estimated, q.Obs[5].Flag)
	require.Equal(t, []string{"Ice"}, q.Obs[5].Qualifiers)
	require.Equal(t, coldseam.Missing|coldseam.Estimated, q.Obs[6].Flag, "no discharge of a stage that failed")
	require.Equal(t, []string{"stage failed quality control"}, q.Obs[6].Qualifiers)

	_, err = ApplyRating(series(coldseam.WaterTemp, time.Hour, 4), r)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = ApplyRating(s, coldseam.Rating{StageM: []float64{1, 1}, Discharge: []float64{1, 2}})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// shelf keeps what is stored, and gives nothing else.
type shelf struct{ got map[string]coldseam.Series }

func (s *shelf) UpsertSeries(_ context.Context, _ int64, ss []coldseam.Series) (int, int, error) {
	n := 0
	for _, x := range ss {
		s.got[string(x.Param)+" "+x.SeriesRef] = x
		n += len(x.Obs)
	}
	return n, 0, nil
}
func (s *shelf) SaveRaw(context.Context, coldseam.RawFetch) (int64, error)  { return 1, nil }
func (s *shelf) SaveForecasts(context.Context, []coldseam.Forecast) error   { return nil }
func (s *shelf) SaveAlerts(context.Context, []coldseam.Alert) error         { return nil }
func (*shelf) SaveFloodLevels(context.Context, []coldseam.FloodLevel) error { return nil }

func (s *shelf) SaveGaugings(context.Context, []coldseam.Gauging) error { return nil }
func (s *shelf) NextFetch(context.Context, string, string) (string, string, time.Time, error) {
	return "", "", time.Time{}, nil
}

// A gauge that gives stage alone gets its discharge from the ratings in force,
// one after another; one whose agency gives discharge is left alone.
func TestDischargeByRating(t *testing.T) {
	t.Parallel()
	flat := func(from, to time.Time, q float64) coldseam.Rating {
		return coldseam.Rating{Site: "t:1", From: from, To: to, StageM: []float64{1, 3}, Discharge: []float64{q, 3 * q}}
	}
	at := t0.Add(2 * time.Hour)

	for _, c := range []struct {
		name  string
		batch []coldseam.Series
		want  string
	}{
		{"stage alone", []coldseam.Series{series(coldseam.Stage, time.Hour, 1, 1, 1, 1, 9)},
			"[10 10 20 20 180] outside the rating"},
		{"with discharge", []coldseam.Series{series(coldseam.Stage, time.Hour, 1, 1),
			series(coldseam.Discharge, time.Hour, 7, 7)}, ""},
		{"no stage", []coldseam.Series{series(coldseam.WaterTemp, time.Hour, 1, 1)}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := &shelf{got: map[string]coldseam.Series{}}
			now := t0.AddDate(0, 1, 0)
			f := &Fetcher{Now: func() time.Time { return now }, Sink: s,
				Ratings: func(context.Context, coldseam.SiteID) ([]coldseam.Rating, error) {
					return []coldseam.Rating{flat(t0.AddDate(-1, 0, 0), at, 10), flat(at, time.Time{}, 20)}, nil
				}}
			_, err := f.Import(t.Context(), Profile{Name: "t"}, Batch{Series: c.batch})
			require.NoError(t, err)

			q, ok := s.got["discharge "+RatingRef+c.batch[0].SeriesRef]
			require.Equal(t, c.want != "", ok)
			if !ok {
				return
			}
			var v []float64
			for _, o := range q.Obs {
				v = append(v, o.Value)
				require.Equal(t, now, o.KnownAt)
			}

			require.Equal(t, c.want, fmt.Sprintf("%.0f %s", v, strings.Join(q.Obs[4].Qualifiers, ",")))
		})
	}
}
