package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// reachCmd is what only a person can say of a reach.
type reachCmd struct {
	Limit reachLimitCmd `cmd:"" help:"Flow limits: what the record proposes, and what a person confirmed for each craft."`
	Ice   reachIceCmd   `cmd:"" help:"Say that a reach is open water (good for a day) or under ice."`
}

type reachLimitCmd struct {
	Show    limitShowCmd    `cmd:"" help:"The candidates beside the limits in force."`
	Confirm limitConfirmCmd `cmd:"" help:"Confirm the flow limit of a craft: appended to the configuration and kept with who and why."`
}

type limitShowCmd struct {
	Reach string `arg:"" help:"Key of the reach."`
}

// Run prints the candidates and the limits.
func (c *limitShowCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return withParts(ctx, s, g, func(a *Parts) error {
		r, err := a.SyncedReach(ctx, c.Reach)
		if err != nil {
			return err
		}
		list, err := a.flowCandidates(ctx, r)
		if err != nil {
			return err
		}
		printCandidates(s.Out, list)
		fmt.Fprintf(s.Out, "\nIn force: %s\n", limitWords(r))
		return nil
	})
}

type limitConfirmCmd struct {
	Reach      string  `arg:"" help:"Key of the reach."`
	Craft      string  `required:"" enum:"wade,tube,small_boat,boat" help:"wade, tube (float tube or kayak), small_boat or boat."`
	MaxFlowCFS float64 `name:"max-flow-cfs" help:"The limit, cfs; for a boat default the reach's own." placeholder:"CFS"`
	Why        string  `required:"" help:"What the number rests on."`
	Who        string  `default:"club admin" help:"The role of the person, never an address."`
}

// Run appends the limit to the file and enters it.
func (c *limitConfirmCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return withParts(ctx, s, g, func(a *Parts) error {
		r, err := a.SyncedReach(ctx, c.Reach)
		if err != nil {
			return err
		}
		return c.confirm(ctx, s.Out, a, r)
	})
}

func (c *limitConfirmCmd) confirm(ctx context.Context, w io.Writer, a *Parts, r coldseam.Reach) error {
	why, who := strings.TrimSpace(c.Why), strings.TrimSpace(c.Who)
	switch {
	case why == "" || who == "" || strings.Contains(who, "@"):
		return env.Fail(2, "--why is what the number rests on, --who a role and no address; both are wanted")
	case r.MaxFlowM3S == nil:
		return env.Fail(1, fmt.Sprintf("reach %s has no max_flow: write it into the configuration first", r.ID))
	}
	ceiling, flow := coldseam.CFS(*r.MaxFlowM3S), c.MaxFlowCFS
	if coldseam.Craft(c.Craft) == coldseam.CraftBoat {
		ceiling = coldseam.CFS(a.Config.BoatLimit(r))
		if flow == 0 {
			flow = ceiling
		}
	}
	if !(flow > 0 && flow <= ceiling*(1+1e-9)) {
		return env.Fail(2, fmt.Sprintf("--max-flow-cfs is %g; want more than 0 and at most %.0f, the boat's ceiling (max_flow of the reach, which the file alone raises)", flow, ceiling))
	}

	block := fmt.Sprintf("\n[[limit]]\nreach = %q\ncraft = %q\nmax_flow_cfs = %.6g\nwhy = %q\nwho = %q\n",
		r.ID, c.Craft, flow, plainText(why), plainText(who))
	if a.Config.Path == "" {
		return env.Fail(1, "there is no configuration file to write to")
	}
	if err := appendConfig(a.Config.Path, block); err != nil {
		return err
	}
	cfg, err := config.Load(a.Config.Path)
	if err != nil {
		return err
	}
	now, err := cfg.Reach(r.ID)
	if err != nil {
		return err
	}
	if err := a.DB.PutReach(ctx, now, store.Edit{Who: who, Why: "limit for " + c.Craft + ": " + why}); err != nil {
		return err
	}
	fmt.Fprintf(w, "Appended to %s. In force: %s\n", a.Config.Path, limitWords(now))
	return nil
}

// flowCandidates proposes flow limits by what is stored of the reach's gauge.
func (mk *Maker) flowCandidates(ctx context.Context, r coldseam.Reach) ([]coldseam.FlowCandidate, error) {
	site, err := mk.DB.Site(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	f := forecast.Features{Now: mk.Now(), Loc: env.Zone(r.Zone), Reach: r, Site: site}
	g := gather{Maker: mk, ctx: ctx, f: &f}
	g.daily()
	g.instants()
	g.station()
	return forecast.FlowCandidates(&f), g.err()
}

// printCandidates writes the candidates, the proposal first.
func printCandidates(w io.Writer, list []coldseam.FlowCandidate) {
	if len(list) == 0 {
		fmt.Fprintln(w, "\nNo flow limit can be proposed: no daily record, rating or gaugings.")
		return
	}
	fmt.Fprintln(w, "\nFlow limits that the record gives, the smallest is proposed. A full bank is a ceiling for boats, not safe water:")
	for _, c := range list {
		fmt.Fprintf(w, "  %s\n", candidateWords(c))
		if means := notify.Plain(usWords.LimitMeans(c)); means != "" {
			fmt.Fprintf(w, "    %s\n", means)
		}
	}
}

// candidateWords is a candidate with where it comes from.
func candidateWords(c coldseam.FlowCandidate) string {
	return notify.Plain(usWords.Flow(c.FlowM3S) + " (" + siWords.Flow(c.FlowM3S) + ") by " + usWords.LimitSource(c))
}

// limitWords lists the limits in force and what they rest on.
func limitWords(r coldseam.Reach) string {
	l := coldseam.FlowLimits{Why: r.MaxFlowWhy, Proposed: r.MaxFlowProposed, Crafts: r.CraftLimits}
	if r.MaxFlowM3S != nil {
		l.MaxFlowM3S = *r.MaxFlowM3S
	}
	return notify.Plain(strings.Join(usWords.LimitInForce(l), "; "))
}

// usWords and siWords are the units of the command line.
var (
	usWords = notify.WordsFor("us", "UTC")
	siWords = notify.WordsFor("metric", "UTC")
)
