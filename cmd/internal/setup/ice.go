package setup

import (
	"context"
	"fmt"
	"io"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/store"
)

// reachIceCmd takes the admin's word on ice.
type reachIceCmd struct {
	State string `arg:"" enum:"open,closed" help:"open or closed."`
	Reach string `arg:"" help:"The reach."`
	Why   string `required:"" help:"What was seen, by whom and when; kept." placeholder:"TEXT"`
}

// Run enters the word.
func (c *reachIceCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.say(ctx, s.Out, a) })
}

// say keeps the word, asks for a new brief and tells what the word does.
func (c *reachIceCmd) say(ctx context.Context, w io.Writer, a *parts.Parts) error {
	r, err := a.Env.DB.Reach(ctx, coldseam.ReachID(c.Reach))
	if err != nil {
		return env.NoReach(ctx, a.Env.DB, err)
	}

	now := a.Env.Now()
	open := c.State == "open"
	word := store.IceWord{
		Reach: r.ID,
		At:    now,
		Open:  open,
		Admin: true,
		Edit:  store.Edit{Who: "admin", Why: c.Why, At: now},
	}
	if err := a.Morning.SayIce(ctx, r, word); err != nil {
		return err
	}
	state, err := a.Morning.IceNow(ctx, r)
	if err != nil {
		return err
	}

	switch {
	case !open:
		fmt.Fprintf(w, "%s is closed for ice until the latch opens it, or you do\n", r.ID)
	case state.State == ice.Open && !state.OpenedAt.IsZero():
		fmt.Fprintf(w, "%s is open until %s, TOSS-UP at most; water at 33 F, an ice mark or flow up by a quarter ends it\n",
			r.ID, now.Add(env.Day).In(env.Zone(r.Zone)).Format("Mon 15:04"))
	case state.State == ice.Open:
		fmt.Fprintf(w, "%s is open water by the record as well\n", r.ID)
	default:
		fmt.Fprintf(w, "kept, but %s stays closed: %s\n", r.ID, morning.IceWords(state))
	}
	return nil
}
