package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
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
	return withParts(ctx, s, g, func(a *Parts) error {
		if err := a.SyncRivers(ctx); err != nil {
			return err
		}
		return c.say(ctx, s.Out, a)
	})
}

// say keeps the word, asks for a new brief and tells what the word does.
func (c *reachIceCmd) say(ctx context.Context, w io.Writer, a *Parts) error {
	r, err := a.DB.Reach(ctx, coldseam.ReachID(c.Reach))
	if err != nil {
		return a.NoReach(ctx, err)
	}

	now := a.Now()
	open := c.State == "open"
	word := store.IceWord{Reach: r.ID, At: now, Open: open, Admin: true, Edit: store.Edit{Who: "admin", Why: c.Why, At: now}}
	if err := a.sayIce(ctx, r, word); err != nil {
		return err
	}
	state, err := a.iceNow(ctx, r)
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
		fmt.Fprintf(w, "kept, but %s stays closed: %s\n", r.ID, iceWords(state))
	}
	return nil
}

// sayIce keeps a word and asks for a brief that knows it.
func (mk *Maker) sayIce(ctx context.Context, r coldseam.Reach, w store.IceWord) error {
	if err := mk.DB.SayIce(ctx, w); err != nil {
		return err
	}
	return mk.enqueueBriefs(ctx, []briefKey{{r.ID, coldseam.DateOf(mk.Now().In(env.Zone(r.Zone)))}}, mk.Now())
}

// logIce turns "ice on the river" of a trip into a word that closes the reach.
func (mk *Maker) logIce(ctx context.Context, t coldseam.Trip) error {
	if !t.Ice {
		return nil
	}
	r, err := mk.DB.Reach(ctx, t.Reach)
	if err != nil {
		return err
	}
	at := t.Start
	if at.IsZero() {
		at = t.Date.At(12*time.Hour, env.Zone(r.Zone))
	}
	if now := mk.Now(); at.After(now) {
		at = now
	}
	return mk.sayIce(ctx, r, store.IceWord{Reach: r.ID, At: at, Edit: store.Edit{Who: "member", Why: "trip log", At: t.EnteredAt}})
}

// ice reads what was said of ice since the winter began.
func (g *gather) ice() {
	words, err := g.DB.IceWords(g.ctx, g.f.Reach.ID, g.f.Now.AddDate(-1, -1, 0), g.f.Now)
	if !g.keep(err) {
		return
	}
	for _, w := range words {
		g.f.IceWords = append(g.f.IceWords, ice.Word{At: w.At, Open: w.Open, Admin: w.Admin})
	}
}

// saveIce keeps the state of each day of the winter; days that stand as they
// were write nothing.
func (mk *Maker) saveIce(ctx context.Context, reach coldseam.ReachID, at time.Time, records []ice.Record) error {
	days := make([]store.IceDay, len(records))
	for i, r := range records {
		days[i] = store.IceDay{Day: r.Day, State: r.State.String(), Since: r.Since, Cause: r.Cause, FrostCD: r.FrostCD, ThawCD: r.ThawCD}
	}
	return mk.DB.SaveIce(ctx, reach, at, days)
}

// iceNow is the state of ice on a reach, from the record as it is now.
func (mk *Maker) iceNow(ctx context.Context, r coldseam.Reach) (ice.Status, error) {
	now := mk.Now()
	f := forecast.Features{Now: now, Loc: env.Zone(r.Zone), Reach: r, Table: mk.Table, TempSite: r.TempSite}
	f.Day = coldseam.DateOf(now.In(f.Loc))
	g := gather{Maker: mk, ctx: ctx, f: &f}
	g.daily()
	g.instants()
	g.ice()
	if err := g.err(); err != nil {
		return ice.Status{}, err
	}
	s, _ := f.Ice()
	return s, nil
}

// iceWords names a state for the admin.
func iceWords(s ice.Status) string {
	causes := map[string]string{
		ice.CauseStart: "the record is too short", ice.CauseSilent: "the thermometer is silent", ice.CauseQualifier: "the agency marks ice",
		ice.CauseWord: "said by the admin or a member", ice.CauseCold: "water at 33 F or colder", ice.CauseFrost: "a long frost, no thermometer",
		ice.CauseDates: "the usual ice season", ice.CauseBlind: "nothing here measures it", ice.CauseRise: "flow under ice jumped",
		ice.CauseWarm: "two full days warm enough", ice.CauseThaw: "thaw and calm flow", ice.CausePassed: "later than most years' ice",
		ice.CauseSummer: "summer",
	}
	states := map[ice.State]string{ice.Unknown: "not known", ice.Open: "open water", ice.Ice: "ice", ice.Breakup: "ice is going out"}
	return fmt.Sprintf("%s since %s: %s", states[s.State], s.Since, causes[s.Cause])
}

// ice says the state of a reach, since when and why.
func (k *checker) ice(ctx context.Context, r coldseam.Reach) {
	key := string(r.ID) + " ice"
	s, err := k.app.iceNow(ctx, r)
	open := fmt.Sprintf("look at the river, then coldseam reach ice open %s --why TEXT: good for a day", r.ID)
	switch {
	case err != nil:
		k.broken(key, err)
	case s.State == ice.Unknown:
		k.add(key, levelWarn, iceWords(s), "two full days of water at 1 C, or what a reach without a thermometer needs", open)
	case s.State == ice.Open && !s.OpenedAt.IsZero():
		k.ok(key, "open by the admin's word of %s, TOSS-UP at most", s.OpenedAt.In(env.Zone(r.Zone)).Format("Mon 15:04"))
	case s.State == ice.Open && s.Unwatched:
		k.add(key, levelWarn, iceWords(s)+"; no thermometer", "the admin's word after the ice; TOSS-UP at most until then", open)
	default:
		k.ok(key, "%s", iceWords(s))
	}
}

// logRig turns "1/4 held at the seam" of a trip into a calibration line.
func (mk *Maker) logRig(ctx context.Context, t coldseam.Trip) error {
	if t.Held == nil || t.WeightOz <= 0 || t.SpotID == "" {
		return nil
	}
	at := t.HeldAt
	if at.IsZero() {
		at = t.Start
	}
	if at.IsZero() {
		r, err := mk.DB.Reach(ctx, t.Reach)
		if err != nil {
			return err
		}
		at = t.Date.At(8*time.Hour, env.Zone(r.Zone))
	}
	_, _, err := mk.DB.AddRigLog(ctx, store.RigLog{Trip: t.ID, Reach: t.Reach, Spot: t.SpotID, At: at, Angler: t.Angler, Presentation: t.Presentation,
		Body: t.Body, Line: t.Line, WeightOz: t.WeightOz, Held: *t.Held, AngleDeg: t.AngleDeg})
	return err
}
