package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/storetest"
)

const clubTOML = `
[club]
name = "Our Club"
`

func TestLimits(t *testing.T) {
	t.Parallel()
	c, err := parseConfig("c.toml", clubTOML+`
[thresholds]
wind_mph = 20
rise_ft = 0.8
gust_mph = { value = 40, why = "the big boats only", who = "season keeper" }
`)
	require.NoError(t, err)
	table, err := c.table()
	require.NoError(t, err)
	require.Equal(t, 20.0, table.WindMPH)
	require.Equal(t, 0.8, table.RiseFt)
	require.Equal(t, 40.0, table.GustMPH)
	require.Equal(t, "the big boats only", table.Reasons["gust_mph"])
	require.Equal(t, 0.4, table.Cost)
}

func TestLimitsAreRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, line, want string }{
		{"looser without a reason", `wind_mph = 30`, "threshold wind_mph: 30 is looser than 25: give a written reason"},
		{"looser with a blank reason", `wind_mph = { value = 30, why = " " }`, "give a written reason"},
		{"unknown", `wind = 20`, `threshold "wind": want one of flood_share`},
		{"beyond the bounds", `thunder = { value = 0.95, why = "we like it" }`, "want 0.02 to 0.9"},
		{"text", `wind_mph = "20"`, "no number"},
		{"unknown key inside", `wind_mph = { value = 20, reason = "x" }`, "want value, why, who"},
		{"no value", `wind_mph = { why = "x" }`, "no value"},
		{"cost stands elsewhere", `cost = 0.5`, "set odds.cost instead"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := parseConfig("c.toml", clubTOML+"[thresholds]\n"+c.line+"\n")
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, c.want)
		})
	}
}

// Every change of a limit is kept with who, when and why, one that is taken
// out of the file too; the same file again writes nothing.
func TestLimitEditsAreKept(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	a := &app{db: storetest.New(t)}
	a.cfg.Thresholds = map[string]LimitConfig{"wind_mph": {Value: 20}, "gust_mph": {Value: 40, Why: "the big boats only", Who: "season keeper"}}
	require.NoError(t, a.syncLimits(ctx))
	require.NoError(t, a.syncLimits(ctx))
	a.cfg.Thresholds = map[string]LimitConfig{"wind_mph": {Value: 18}}
	require.NoError(t, a.syncLimits(ctx))
	edits, err := a.db.ThresholdEdits(ctx, "gust_mph")
	require.NoError(t, err)
	require.Len(t, edits, 2)
	require.Equal(t, "season keeper", edits[0].Who)
	require.Equal(t, "the big boats only", edits[0].Why)
	require.Nil(t, edits[1].New)
	require.False(t, edits[1].At.IsZero())
	edits, err = a.db.ThresholdEdits(ctx, "wind_mph")
	require.NoError(t, err)
	require.Len(t, edits, 2)
	require.Equal(t, "20", *edits[1].Old)
	require.Equal(t, "18", *edits[1].New)
	now, err := a.db.Thresholds(ctx)
	require.NoError(t, err)
	require.Equal(t, map[string]string{"wind_mph": "18"}, now)
}

// What the file says is what the decision uses, and what the audit holds.
func TestLimitsReachTheDecision(t *testing.T) {
	t.Parallel()
	cfg, err := parseConfig("c.toml", "[club]\nname = \"Our Club\"\n[thresholds]\nwind_mph = 20\n")
	require.NoError(t, err)
	a, err := build(t.Context(), cfg, buildOptions{dbURL: storetest.URL(t), migrate: true})
	require.NoError(t, err)
	defer a.Close()
	require.Equal(t, 20.0, a.table().WindMPH)
	require.NoError(t, a.syncRivers(t.Context()))
	stored, err := a.db.Thresholds(t.Context())
	require.NoError(t, err)
	require.Equal(t, map[string]string{"wind_mph": "20"}, stored)
	cfg.Thresholds = map[string]LimitConfig{"wind_mph": {Value: 40}}
	_, err = build(t.Context(), cfg, buildOptions{dbURL: "postgres://127.0.0.1:1/none"})
	require.ErrorContains(t, err, "written reason", "a looser limit without one never starts")
}
