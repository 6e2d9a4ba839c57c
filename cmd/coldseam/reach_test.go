package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
)

// confirmLimits walks a river that site add has written from the proposal to the
// limits of two crafts, the way an admin does.
func confirmLimits(t *testing.T, path, id string) {
	t.Helper()
	reach := func() coldseam.Reach {
		cfg, err := config.Load(path)
		require.NoError(t, err)
		r, err := cfg.Reach(coldseam.ReachID(id))
		require.NoError(t, err)
		return r
	}
	run := func(args ...string) (int, string) {
		status, out, errs := command(t, append(append([]string{"reach", "limit"}, args...), "--config", path)...)
		return status, out + errs
	}

	proposed := reach()
	require.True(t, proposed.MaxFlowProposed, "the proposal stops, and nobody has confirmed it")
	require.NotNil(t, proposed.MaxFlowM3S)
	require.Contains(t, proposed.MaxFlowWhy, "proposed: ")
	status, said := run("show", id)
	require.Zero(t, status, said)
	require.Contains(t, said, "days stopped in spring")
	require.Contains(t, said, "proposed, not confirmed")
	_, out, _ := command(t, "check", "--config", path, "--offline")
	require.Regexp(t, `max_flow +.*proposed, not confirmed.*The record gives`, out)

	for _, r := range []struct {
		args []string
		want string
	}{
		{[]string{"confirm", id, "--craft", "raft", "--why", "x"}, "must be one of"},
		{[]string{"confirm", id, "--craft", "boat"}, "--why"},
		{[]string{"confirm", id, "--craft", "boat", "--why", " "}, "--why"},
		{[]string{"confirm", id, "--craft", "boat", "--why", "x", "--who", "a@example.org"}, "no address"},
		{[]string{"confirm", id, "--craft", "wade", "--why", "x"}, "want more than 0"},
		{[]string{"confirm", id, "--craft", "wade", "--why", "x", "--max-flow-cfs", "1e9"}, "the boat's ceiling"},
		{[]string{"confirm", "nowhere", "--craft", "boat", "--why", "x"}, id},
	} {
		status, said := run(r.args...)
		require.NotZero(t, status, "%v", r.args)
		require.Contains(t, said, r.want)
	}

	require.Equal(t, proposed, reach(), "what was refused is not in the file")

	status, said = run("confirm", id, "--craft", "boat", "--why", "the ramp is dry to there", "--who", "launch keeper")
	require.Zero(t, status, said)
	status, said = run("confirm", id, "--craft", "wade", "--max-flow-cfs", "900", "--why", "knee deep at the bar")
	require.Zero(t, status, said)
	require.Contains(t, said, "900 cfs for wading")
	got := reach()
	require.False(t, got.MaxFlowProposed)
	require.InEpsilon(t, *proposed.MaxFlowM3S, *got.MaxFlowM3S, 1e-4)
	flow, ok := got.CraftLimit(coldseam.CraftWade)
	require.True(t, ok)
	require.InDelta(t, 900, coldseam.CFS(flow), 1e-6)
	_, ok = got.CraftLimit(coldseam.CraftTube)
	require.False(t, ok)

	status, out, errs := command(t, "site", "edits", "--config", path)
	require.Zero(t, status, errs)
	require.Regexp(t, `launch keeper +`+id+`: .*max_flow_proposed.* +limit for boat: the ramp is dry to there`, out)
	require.Regexp(t, `club admin +`+id+`: craft_limits +limit for wade: knee deep at the bar`, out)
}
