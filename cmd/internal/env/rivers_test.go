package env

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/store/storetest"
)

// Every change of a limit is kept with who, when and why, one that is taken
// out of the file too; the same file again writes nothing.
func TestLimitEditsAreKept(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	a := &Env{DB: storetest.New(t)}
	a.Config.Thresholds = map[string]config.Limit{"wind_mph": {Value: 20},
		"gust_mph": {Value: 40, Why: "the big boats only", Who: "season keeper"}}
	require.NoError(t, a.syncLimits(ctx))
	require.NoError(t, a.syncLimits(ctx))

	a.Config.Thresholds = map[string]config.Limit{"wind_mph": {Value: 18}}
	require.NoError(t, a.syncLimits(ctx))
	edits, err := a.DB.ThresholdEdits(ctx, "gust_mph")
	require.NoError(t, err)
	require.Len(t, edits, 2)
	require.Equal(t, "season keeper", edits[0].Who)
	require.Equal(t, "the big boats only", edits[0].Why)
	require.Nil(t, edits[1].New)
	require.False(t, edits[1].At.IsZero())

	edits, err = a.DB.ThresholdEdits(ctx, "wind_mph")
	require.NoError(t, err)
	require.Len(t, edits, 2)
	require.Equal(t, "20", *edits[1].Old)
	require.Equal(t, "18", *edits[1].New)
	now, err := a.DB.Thresholds(ctx)
	require.NoError(t, err)
	require.Equal(t, map[string]string{"wind_mph": "18"}, now)
}

// What the file says is what the decision uses, and what the audit holds.
func TestLimitsReachTheDecision(t *testing.T) {
	t.Parallel()
	cfg, err := config.Parse("c.toml", "[club]\nname = \"Our Club\"\n[thresholds]\nwind_mph = 20\n")
	require.NoError(t, err)
	e, err := Open(t.Context(), cfg, Options{DBURL: storetest.URL(t), Migrate: true})
	require.NoError(t, err)
	defer e.Close()
	require.Equal(t, 20.0, e.Table.WindMPH)
	require.NoError(t, e.SyncRivers(t.Context()))
	stored, err := e.DB.Thresholds(t.Context())
	require.NoError(t, err)
	require.Equal(t, map[string]string{"wind_mph": "20"}, stored)
	cfg.Thresholds = map[string]config.Limit{"wind_mph": {Value: 40}}
	_, err = Open(t.Context(), cfg, Options{DBURL: "postgres://127.0.0.1:1/none"})
	require.ErrorContains(t, err, "written reason", "a looser limit without one never starts")
}
