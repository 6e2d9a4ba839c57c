package store_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

var (
	t0   = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	flow = coldseam.SeriesKey{
		Site:      "sim:tamsen",
		Param:     coldseam.Discharge,
		Stat:      coldseam.Instant,
		Provider:  "sim",
		SeriesRef: "q",
	}
)

func obs(hour float64, v float64, known time.Time, f coldseam.Flag, quals ...string) coldseam.Observation {
	return coldseam.Observation{
		At:         t0.Add(time.Duration(hour * float64(time.Hour))),
		KnownAt:    known,
		Value:      v,
		Flag:       f,
		Qualifiers: quals,
	}
}

func put(t *testing.T, db *store.DB, k coldseam.SeriesKey, os ...coldseam.Observation) (int, int) {
	t.Helper()
	s, _, err := coldseam.NewSeries(k, os)
	require.NoError(t, err)
	a, r, err := db.UpsertSeries(t.Context(), 0, []coldseam.Series{s})
	require.NoError(t, err)
	return a, r
}

func values(s coldseam.Series) []float64 {
	var out []float64
	for _, o := range s.Obs {
		out = append(out, o.Value)
	}
	return out
}

func TestUpsertKeepsBothVersions(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	k1, k2 := t0.Add(48*time.Hour), t0.Add(72*time.Hour)
	a, r := put(t, db, flow, obs(0, 10, k1, coldseam.Provisional), obs(1, 11, k1, coldseam.Provisional, "e"),
		obs(2, 12, k1, coldseam.Provisional))
	require.Equal(t, []int{3, 0}, []int{a, r})
	a, r = put(t, db, flow, obs(0, 10, k2, coldseam.Provisional), obs(1, 11.5, k2, coldseam.Provisional, "e"),
		obs(3, 13, k2, coldseam.Provisional))
	require.Equal(t, []int{1, 1}, []int{a, r})

	h := func(asOf time.Time) coldseam.Series {
		s, err := db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{}, asOf)
		require.NoError(t, err)
		return s
	}
	require.Equal(t, []float64{10, 11.5, 12, 13}, values(h(k2)))
	require.Equal(t, []float64{10, 11, 12}, values(h(k2.Add(-time.Microsecond))))
	require.Empty(t, h(k1.Add(-time.Second)).Obs)
	now := h(k2)
	require.Equal(t, flow, now.SeriesKey)
	require.Equal(t, []string{"e"}, now.Obs[1].Qualifiers)
	require.Equal(t, k2, now.Obs[1].KnownAt)
	require.Equal(t, k1, now.Obs[0].KnownAt, "an equal value keeps the time it became known")
}

func TestUpsertRefusesAndGoesOn(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	bad := coldseam.Series{SeriesKey: flow, Obs: []coldseam.Observation{obs(0, math.NaN(), t0, 0)}}
	other := flow
	other.Site = "sim:brandt"
	good := coldseam.Series{SeriesKey: other, Obs: []coldseam.Observation{obs(0, 1, t0, 0)}}

	// A statistic that the table refuses fails inside the shared transaction.
	odd := flow
	odd.Stat = "median"
	oddS := coldseam.Series{SeriesKey: odd, Obs: []coldseam.Observation{obs(0, 1, t0, 0)}}
	a, r, err := db.UpsertSeries(t.Context(), 0, []coldseam.Series{bad, oddS, good})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "sim:tamsen/discharge/instant: row 0")
	require.ErrorContains(t, err, "sim:tamsen/discharge/median")
	require.Equal(t, []int{1, 0}, []int{a, r})

	s, err := db.History(t.Context(), other.Site, other.Param, other.Stat, time.Time{}, time.Time{}, t0)
	require.NoError(t, err)
	require.Len(t, s.Obs, 1)
	_, err = db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{}, t0)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

func TestMissingRowsKeepQualifiers(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	put(t, db, flow, obs(0, 0, t0, coldseam.Missing|coldseam.Ice|coldseam.QCUnit, "ice", "ssn"))
	s, err := db.History(t.Context(), flow.Site, flow.Param, flow.Stat, time.Time{}, time.Time{}, t0)
	require.NoError(t, err)
	require.Equal(t, coldseam.Missing|coldseam.Ice|coldseam.QCUnit, s.Obs[0].Flag, "all 16 bits survive")
	require.Equal(t, []string{"ice", "ssn"}, s.Obs[0].Qualifiers)
}
