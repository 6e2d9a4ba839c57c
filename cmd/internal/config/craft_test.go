package config

import (
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// judged is what is wrong with the [[limit]] tables of a file.
func judged(c Config) string {
	var j validator
	for _, l := range c.Crafts {
		j.limit("limit.", l, c)
	}
	return fmt.Sprint(errors.Join(j.errs...))
}

func TestLimitTables(t *testing.T) {
	t.Parallel()
	flow := func(v float64) *float64 { return &v }
	base := func() Config {
		return Config{Reaches: []Reach{{ID: "bend", Zone: "UTC", MaxFlowCFS: flow(3000), MaxFlowProposed: flow(3000)}}}
	}
	boat := func(cfs float64) Craft {
		return Craft{Reach: "bend", Craft: "boat", MaxFlowCFS: flow(cfs), Why: "seen"}
	}

	for _, r := range []struct {
		name     string
		change   func(*Config)
		cfs      float64
		proposed bool
	}{
		{"as written by site add", func(*Config) {}, 3000, true},
		{"another number is the admin's", func(c *Config) { c.Reaches[0].MaxFlowCFS = flow(3500) }, 3500, false},
		{"confirmed as it is", func(c *Config) { c.Crafts = []Craft{boat(3000)} }, 3000, false},
		{"confirmed lower", func(c *Config) { c.Crafts = []Craft{boat(2500)} }, 2500, false},
		{"the last word counts", func(c *Config) { c.Crafts = []Craft{boat(2500), boat(2800)} }, 2800, false},
		{"the file alone raises", func(c *Config) { c.Crafts = []Craft{boat(9000)} }, 3000, false},
		{"an old file", func(c *Config) { c.Reaches[0].MaxFlowProposed = nil }, 3000, false},
	} {
		c := base()
		r.change(&c)
		require.Equal(t, "<nil>", judged(c), r.name)
		got, err := c.Reach("bend")
		require.NoError(t, err)
		require.InDelta(t, r.cfs, coldseam.CFS(*got.MaxFlowM3S), 1e-6, r.name)
		require.Equal(t, r.proposed, got.MaxFlowProposed, r.name)
	}

	for want, l := range map[string]Craft{
		`limit.reach is "bent"; want one of bend`: {Reach: "bent", Craft: "boat", MaxFlowCFS: flow(1), Why: "x"},
		`limit.craft is "raft"; want one of wade`: {Reach: "bend", Craft: "raft", MaxFlowCFS: flow(1), Why: "x"},
		"want one of the two unit systems": {
			Reach:      "bend",
			Craft:      "wade",
			MaxFlowCFS: flow(1),
			MaxFlowM3S: flow(1),
			Why:        "x",
		},
		"limit.max_flow_cfs is 0 m3/s; want more than 0":    {Reach: "bend", Craft: "wade", Why: "x"},
		"limit.why is empty; want what the number rests on": {Reach: "bend", Craft: "wade", MaxFlowCFS: flow(1)},
		"limit.who is \"a@example.org\"; want a role": {
			Reach:      "bend",
			Craft:      "wade",
			MaxFlowCFS: flow(1),
			Why:        "x",
			Who:        "a@example.org",
		},
	} {
		c := base()
		c.Crafts = []Craft{l}
		require.Contains(t, judged(c), want)
	}
}
