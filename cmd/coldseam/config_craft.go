package main

import (
	"fmt"
	"slices"
	"strings"

	"example.org/coldseam"
)

// limit turns a [[limit]] table into the vocabulary.
func (l CraftConfig) limit() coldseam.CraftLimit {
	out := coldseam.CraftLimit{Craft: coldseam.Craft(l.Craft), Why: l.Why, Who: l.Who}
	switch {
	case l.MaxFlowM3S != nil:
		out.MaxFlowM3S = *l.MaxFlowM3S
	case l.MaxFlowCFS != nil:
		out.MaxFlowM3S = *l.MaxFlowCFS * coldseam.CubicMPerCFS
	}
	return out
}

// crafts puts the limits that persons confirmed into a reach. The word on a boat
// confirms the reach's own limit or lowers it; one that site add proposed and
// nobody touched waits for it.
func (r ReachConfig) crafts(c Config, out *coldseam.Reach) {
	out.MaxFlowProposed = r.MaxFlowProposed != nil && r.MaxFlowCFS != nil && *r.MaxFlowCFS == *r.MaxFlowProposed
	for _, t := range c.Crafts {
		if t.Reach != r.ID {
			continue
		}
		l := t.limit()
		if l.Craft != coldseam.CraftBoat {
			out.CraftLimits = slices.DeleteFunc(out.CraftLimits, func(o coldseam.CraftLimit) bool { return o.Craft == l.Craft })
			out.CraftLimits = append(out.CraftLimits, l)
			continue
		}
		flow := l.MaxFlowM3S
		if own := r.maxFlow(); own != nil {
			flow = min(flow, *own)
		}
		out.MaxFlowM3S, out.MaxFlowWhy, out.MaxFlowProposed = &flow, l.Why, false
	}
	slices.SortFunc(out.CraftLimits, func(a, b coldseam.CraftLimit) int {
		return slices.Index(coldseam.Crafts, a.Craft) - slices.Index(coldseam.Crafts, b.Craft)
	})
}

// maxFlow is the reach's own limit in m3/s, nil = none.
func (r ReachConfig) maxFlow() *float64 {
	if r.MaxFlowM3S == nil && r.MaxFlowCFS != nil {
		v := *r.MaxFlowCFS * coldseam.CubicMPerCFS
		return &v
	}
	return r.MaxFlowM3S
}

// checkCrafts refuses a [[limit]] that names no reach or craft, or says nothing.
func (c Config) checkCrafts() error {
	var reaches, crafts []string
	for _, r := range c.Reaches {
		reaches = append(reaches, r.ID)
	}
	for _, k := range coldseam.Crafts {
		crafts = append(crafts, string(k))
	}
	for _, l := range c.Crafts {
		bad := func(found, wanted string) error {
			return fmt.Errorf("limit: %s; want %s: %w", found, wanted, coldseam.ErrInvalid)
		}
		switch q := l.limit().MaxFlowM3S; {
		case !slices.Contains(reaches, l.Reach):
			return bad(fmt.Sprintf("reach %q", l.Reach), "one of "+strings.Join(reaches, ", "))
		case !slices.Contains(crafts, l.Craft):
			return bad(fmt.Sprintf("craft %q", l.Craft), "one of "+strings.Join(crafts, ", "))
		case l.MaxFlowCFS != nil && l.MaxFlowM3S != nil:
			return bad("max_flow is given in both unit systems", "one")
		case !(q > 0 && q < maxRiverM3S):
			return bad(fmt.Sprintf("max_flow of %g m3/s", q), fmt.Sprintf("more than 0 and less than %.0f", maxRiverM3S))
		case strings.TrimSpace(l.Why) == "":
			return bad("no why", "what the number rests on")
		case strings.Contains(l.Who, "@"):
			return bad("who is an address", "a role")
		}
	}
	return nil
}

// maxRiverM3S is more than any river carries.
const maxRiverM3S = 1e6
