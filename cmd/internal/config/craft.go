package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// limit turns a [[limit]] table into the vocabulary.
func (l Craft) limit() coldseam.CraftLimit {
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
func (r Reach) crafts(c Config, out *coldseam.Reach) {
	out.MaxFlowProposed = r.MaxFlowProposed != nil && r.MaxFlowCFS != nil && *r.MaxFlowCFS == *r.MaxFlowProposed

	for _, t := range c.Crafts {
		if t.Reach != r.ID {
			continue
		}
		l := t.limit()
		if l.Craft != coldseam.CraftBoat {
			out.CraftLimits = slices.DeleteFunc(out.CraftLimits,
				func(o coldseam.CraftLimit) bool { return o.Craft == l.Craft })
			out.CraftLimits = append(out.CraftLimits, l)
			continue
		}

		flow := l.MaxFlowM3S
		if own := r.MaxFlow(); own != nil {
			flow = min(flow, *own)
		}
		out.MaxFlowM3S, out.MaxFlowWhy, out.MaxFlowProposed = &flow, l.Why, false
	}

	slices.SortFunc(out.CraftLimits, func(a, b coldseam.CraftLimit) int {
		return slices.Index(coldseam.Crafts, a.Craft) - slices.Index(coldseam.Crafts, b.Craft)
	})
}

// BoatLimit is the reach's own limit in m3/s, nil = none.
func (r Reach) MaxFlow() *float64 {
	if r.MaxFlowM3S == nil && r.MaxFlowCFS != nil {
		v := *r.MaxFlowCFS * coldseam.CubicMPerCFS
		return &v
	}
	return r.MaxFlowM3S
}

// limit refuses a [[limit]] that names no reach or craft, or says nothing.
func (j *validator) limit(t string, l Craft, c Config) {
	var reaches, crafts []string
	for _, r := range c.Reaches {
		reaches = append(reaches, r.ID)
	}
	for _, k := range coldseam.Crafts {
		crafts = append(crafts, string(k))
	}
	flow := t + "max_flow_cfs"
	if l.MaxFlowM3S != nil {
		flow = t + "max_flow_m3s"
	}

	switch q := l.limit().MaxFlowM3S; {
	case !slices.Contains(reaches, l.Reach):
		j.refuse(t+"reach", strconv.Quote(l.Reach), "one of "+strings.Join(reaches, ", "))
	case !slices.Contains(crafts, l.Craft):
		j.refuse(t+"craft", strconv.Quote(l.Craft), "one of "+strings.Join(crafts, ", "))
	case l.MaxFlowCFS != nil && l.MaxFlowM3S != nil:
		j.refuse(flow, fmt.Sprintf("%g beside max_flow_cfs", *l.MaxFlowM3S), "one of the two unit systems")
	case !(q > 0 && q < maxRiverM3S):
		j.refuse(flow, fmt.Sprintf("%g m3/s", q), fmt.Sprintf("more than 0 and less than %.0f m3/s", maxRiverM3S))
	case strings.TrimSpace(l.Why) == "":
		j.refuse(t+"why", "empty", "what the number rests on")
	}

	j.check(t+"who", l.Who, "a role, not an address", isRole)
}

// maxRiverM3S is more than any river carries.
const maxRiverM3S = 1e6
