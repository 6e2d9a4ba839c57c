package main

import (
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// confirmLimits walks a river that site add has written from the proposal to the
// limits of two crafts, the way an admin does.
func confirmLimits(t *testing.T, path, id string) {
	t.Helper()
	reach := func() coldseam.Reach {
		cfg, err := loadConfig(path)
		require.NoError(t, err)
		r, err := cfg.reach(coldseam.ReachID(id))
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

// judged is what is wrong with the [[limit]] tables of a file.
func judged(c Config) string {
	var j judge
	for _, l := range c.Crafts {
		j.limit("limit.", l, c)
	}
	return fmt.Sprint(errors.Join(j.errs...))
}

func TestLimitTables(t *testing.T) {
	t.Parallel()
	flow := func(v float64) *float64 { return &v }
	base := func() Config {
		return Config{Reaches: []ReachConfig{{ID: "bend", Zone: "UTC", MaxFlowCFS: flow(3000), MaxFlowProposed: flow(3000)}}}
	}
	boat := func(cfs float64) CraftConfig {
		return CraftConfig{Reach: "bend", Craft: "boat", MaxFlowCFS: flow(cfs), Why: "seen"}
	}
	for _, r := range []struct {
		name     string
		change   func(*Config)
		cfs      float64
		proposed bool
	}{
		{"as written by site add", func(*Config) {}, 3000, true},
		{"another number is the admin's", func(c *Config) { c.Reaches[0].MaxFlowCFS = flow(3500) }, 3500, false},
		{"confirmed as it is", func(c *Config) { c.Crafts = []CraftConfig{boat(3000)} }, 3000, false},
		{"confirmed lower", func(c *Config) { c.Crafts = []CraftConfig{boat(2500)} }, 2500, false},
		{"the last word counts", func(c *Config) { c.Crafts = []CraftConfig{boat(2500), boat(2800)} }, 2800, false},
		{"the file alone raises", func(c *Config) { c.Crafts = []CraftConfig{boat(9000)} }, 3000, false},
		{"an old file", func(c *Config) { c.Reaches[0].MaxFlowProposed = nil }, 3000, false},
	} {
		c := base()
		r.change(&c)
		require.Equal(t, "<nil>", judged(c), r.name)
		got, err := c.reach("bend")
		require.NoError(t, err)
		require.InDelta(t, r.cfs, coldseam.CFS(*got.MaxFlowM3S), 1e-6, r.name)
		require.Equal(t, r.proposed, got.MaxFlowProposed, r.name)
	}
	for want, l := range map[string]CraftConfig{
		`limit.reach is "bent"; want one of bend`:           {Reach: "bent", Craft: "boat", MaxFlowCFS: flow(1), Why: "x"},
		`limit.craft is "raft"; want one of wade`:           {Reach: "bend", Craft: "raft", MaxFlowCFS: flow(1), Why: "x"},
		"want one of the two unit systems":                  {Reach: "bend", Craft: "wade", MaxFlowCFS: flow(1), MaxFlowM3S: flow(1), Why: "x"},
		"limit.max_flow_cfs is 0 m3/s; want more than 0":    {Reach: "bend", Craft: "wade", Why: "x"},
		"limit.why is empty; want what the number rests on": {Reach: "bend", Craft: "wade", MaxFlowCFS: flow(1)},
		"limit.who is \"a@example.org\"; want a role":       {Reach: "bend", Craft: "wade", MaxFlowCFS: flow(1), Why: "x", Who: "a@example.org"},
	} {
		c := base()
		c.Crafts = []CraftConfig{l}
		require.Contains(t, judged(c), want)
	}
}
