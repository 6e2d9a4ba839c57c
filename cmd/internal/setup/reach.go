package setup

import (
	"context"
	"fmt"
	"io"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// Reach is what only a person can say of a reach.
type Reach struct {
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
	return parts.With(ctx, s, g, func(a *parts.Parts) error {
		r, err := a.Env.SyncedReach(ctx, c.Reach)
		if err != nil {
			return err
		}
		list, err := a.Morning.FlowCandidates(ctx, r)
		if err != nil {
			return err
		}
		printCandidates(s.Out, list)
		fmt.Fprintf(s.Out, "\nIn force: %s\n", morning.LimitWords(r))
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
	return parts.With(ctx, s, g, func(a *parts.Parts) error {
		r, err := a.Env.SyncedReach(ctx, c.Reach)
		if err != nil {
			return err
		}
		return c.confirm(ctx, s.Out, a, r)
	})
}

func (c *limitConfirmCmd) confirm(ctx context.Context, w io.Writer, a *parts.Parts, r coldseam.Reach) error {
	why, who := strings.TrimSpace(c.Why), strings.TrimSpace(c.Who)
	switch {
	case why == "" || who == "" || strings.Contains(who, "@"):
		return env.Fail(2, "--why is what the number rests on, --who a role and no address; both are wanted")
	case r.MaxFlowM3S == nil:
		return env.Fail(1, fmt.Sprintf("reach %s has no max_flow: write it into the configuration first", r.ID))
	}

	ceiling, flow := coldseam.CFS(*r.MaxFlowM3S), c.MaxFlowCFS
	if coldseam.Craft(c.Craft) == coldseam.CraftBoat {
		ceiling = coldseam.CFS(a.Env.Config.BoatLimit(r))
		if flow == 0 {
			flow = ceiling
		}
	}

	if !(flow > 0 && flow <= ceiling*(1+1e-9)) {
		return env.Fail(2, fmt.Sprintf(
			"--max-flow-cfs is %g; want more than 0 and at most %.0f, the boat's ceiling (max_flow of the reach, which the file alone raises)", flow, ceiling))
	}

	block := fmt.Sprintf("\n[[limit]]\nreach = %q\ncraft = %q\nmax_flow_cfs = %.6g\nwhy = %q\nwho = %q\n",
		r.ID, c.Craft, flow, plainText(why), plainText(who))
	if a.Env.Config.Path == "" {
		return env.Fail(1, "there is no configuration file to write to")
	}
	if err := appendConfig(a.Env.Config.Path, block); err != nil {
		return err
	}
	cfg, err := config.Load(a.Env.Config.Path)
	if err != nil {
		return err
	}

	now, err := cfg.Reach(r.ID)
	if err != nil {
		return err
	}
	if err := a.Env.DB.PutReach(ctx, now, store.Edit{Who: who, Why: "limit for " + c.Craft + ": " + why}); err != nil {
		return err
	}
	fmt.Fprintf(w, "Appended to %s. In force: %s\n", a.Env.Config.Path, morning.LimitWords(now))
	return nil
}

// printCandidates writes the candidates, the proposal first.
func printCandidates(w io.Writer, list []coldseam.FlowCandidate) {
	if len(list) == 0 {
		fmt.Fprintln(w, "\nNo flow limit can be proposed: no daily record, rating or gaugings.")
		return
	}
	fmt.Fprintln(w, "\nFlow limits that the record gives, the smallest is proposed. A full bank is a ceiling for boats, not safe water:")
	for _, c := range list {
		fmt.Fprintf(w, "  %s\n", morning.CandidateWords(c))
		if means := notify.Plain(morning.UsWords.LimitMeans(c)); means != "" {
			fmt.Fprintf(w, "    %s\n", means)
		}
	}
}
