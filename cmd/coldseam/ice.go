package main

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

type reachIceCmd struct {
	State string `arg:"" enum:"open,closed" help:"open or closed."`
	Reach string `arg:"" help:"The reach."`
	Why   string `required:"" help:"What was seen, by whom and when; kept." placeholder:"TEXT"`
}

// Run enters the word.
func (c *reachIceCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.With(ctx, s, g, func(a *parts.Parts) error {
		if err := a.SyncRivers(ctx); err != nil {
			return err
		}
		return c.say(ctx, s.Out, a)
	})
}

// say keeps the word, asks for a new brief and tells what the word does.
func (c *reachIceCmd) say(ctx context.Context, w io.Writer, a *parts.Parts) error {
	r, err := a.DB.Reach(ctx, coldseam.ReachID(c.Reach))
	if err != nil {
		return a.NoReach(ctx, err)
	}

	now := a.Now()
	open := c.State == "open"
	word := store.IceWord{Reach: r.ID, At: now, Open: open, Admin: true, Edit: store.Edit{Who: "admin", Why: c.Why, At: now}}
	if err := a.SayIce(ctx, r, word); err != nil {
		return err
	}
	state, err := a.IceNow(ctx, r)
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

// ice says the state of a reach, since when and why.
func (k *checker) ice(ctx context.Context, r coldseam.Reach) {
	key := string(r.ID) + " ice"
	s, err := k.app.IceNow(ctx, r)
	open := fmt.Sprintf("look at the river, then coldseam reach ice open %s --why TEXT: good for a day", r.ID)
	switch {
	case err != nil:
		k.broken(key, err)
	case s.State == ice.Unknown:
		k.add(key, levelWarn, morning.IceWords(s), "two full days of water at 1 C, or what a reach without a thermometer needs", open)
	case s.State == ice.Open && !s.OpenedAt.IsZero():
		k.ok(key, "open by the admin's word of %s, TOSS-UP at most", s.OpenedAt.In(env.Zone(r.Zone)).Format("Mon 15:04"))
	case s.State == ice.Open && s.Unwatched:
		k.add(key, levelWarn, morning.IceWords(s)+"; no thermometer", "the admin's word after the ice; TOSS-UP at most until then", open)
	default:
		k.ok(key, "%s", morning.IceWords(s))
	}
}
