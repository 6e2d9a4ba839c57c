package morning

import (
	"context"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/notify"
)

// FlowCandidates proposes flow limits by what is stored of the reach's gauge.
func (mk *Maker) FlowCandidates(ctx context.Context, r coldseam.Reach) ([]coldseam.FlowCandidate, error) {
	site, err := mk.DB.Site(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	f := forecast.Inputs{Now: mk.Now(), Loc: env.Zone(r.Zone), Reach: r, Site: site}
	g := gather{Maker: mk, ctx: ctx, f: &f}
	g.daily()
	g.instants()
	g.station()
	return forecast.FlowCandidates(&f), g.err()
}

// CandidateWords is a candidate with where it comes from.
func CandidateWords(c coldseam.FlowCandidate) string {
	return notify.Plain(UsWords.Flow(c.FlowM3S) + " (" + siWords.Flow(c.FlowM3S) + ") by " + UsWords.LimitSource(c))
}

// LimitWords lists the limits in force and what they rest on.
func LimitWords(r coldseam.Reach) string {
	l := coldseam.FlowLimits{Why: r.MaxFlowWhy, Proposed: r.MaxFlowProposed, Crafts: r.CraftLimits}
	if r.MaxFlowM3S != nil {
		l.MaxFlowM3S = *r.MaxFlowM3S
	}
	return notify.Plain(strings.Join(UsWords.LimitInForce(l), "; "))
}

// UsWords and siWords are the units of the command line.
var (
	UsWords = notify.WordsFor("us", "UTC")
	siWords = notify.WordsFor("metric", "UTC")
)
