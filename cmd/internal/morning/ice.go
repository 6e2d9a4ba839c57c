package morning

import (
	"context"
	"fmt"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/store"
)

// SayIce keeps a word and asks for a brief that knows it.
func (mk *Maker) SayIce(ctx context.Context, r coldseam.Reach, w store.IceWord) error {
	if err := mk.DB.SayIce(ctx, w); err != nil {
		return err
	}
	return mk.BriefAnew(ctx, r)
}

// BriefAnew asks for a brief of today that knows what has just been said: one made
// earlier in the same minute does not.
func (mk *Maker) BriefAnew(ctx context.Context, r coldseam.Reach) error {
	now := mk.Now()
	return mk.DB.Enqueue(ctx, store.BriefArgs{Reach: r.ID, Day: coldseam.DateOf(now.In(env.Zone(r.Zone))), Issued: now})
}

// LogIce turns "ice on the river" of a trip into a word that closes the reach.
func (mk *Maker) LogIce(ctx context.Context, t coldseam.Trip) error {
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
	return mk.SayIce(ctx, r, store.IceWord{Reach: r.ID, At: at, Edit: store.Edit{Who: "member", Why: "trip log",
		At: t.EnteredAt}})
}

// closing is keep for words that close a reach: without them no brief is made, as
// one that did not know them could open it.
func (g *gather) closing(err error) bool {
	if err != nil {
		g.errs = append(g.errs, fmt.Errorf("what was said of the reach: %w: %w", err, coldseam.ErrUnavailable))
	}
	return err == nil
}

// ice reads what was said of ice since the winter began.
func (g *gather) ice() {
	words, err := g.DB.IceWords(g.ctx, g.f.Reach.ID, g.f.Now.AddDate(-1, -1, 0), g.f.Now)
	if !g.closing(err) {
		return
	}
	for _, w := range words {
		g.f.IceWords = append(g.f.IceWords, ice.Word{At: w.At, Open: w.Open, Admin: w.Admin})
	}
}

// bank reads what members saw from the bank today.
func (g *gather) bank() {
	words, err := g.DB.BankWords(g.ctx, g.f.Reach.ID, g.f.Day.At(0, g.f.Loc), g.f.Now)
	if !g.closing(err) {
		return
	}
	g.f.Bank = words
	for _, w := range words { // newest first
		if slices.Contains(coldseam.BankColours, w.Say) {
			g.f.Clarity = w.Say
			break
		}
	}
}

// timings reads what members timed at the spots in the last year: a bed does not
// keep longer. A strong wind moves the leaf, and one member counts once a day at a
// spot.
func (g *gather) timings() {
	list, err := g.DB.FloatTimings(g.ctx, g.f.Reach.ID, g.f.Now.AddDate(-1, 0, 0), g.f.Now)
	if !g.keep(err) {
		return
	}
	type visit struct {
		spot string
		who  int64
		day  coldseam.Date
	}
	seen := map[visit]bool{}
	g.f.Timings = map[string][]jig.Timing{}
	for _, t := range list {
		v := visit{t.Spot, t.Subscriber, coldseam.DateOf(t.At.In(g.f.Loc))}
		if t.FlowM3S == nil || t.Wind == "strong" || t.Subscriber != 0 && seen[v] { // 0: erased, whoever it was
			continue
		}
		seen[v] = true
		g.f.Timings[t.Spot] = append(g.f.Timings[t.Spot], jig.Timing{At: t.At, SurfaceMS: t.SurfaceMS(),
			FlowM3S: *t.FlowM3S})
	}
}

// saveIce keeps the state of each day of the winter; days that stand as they
// were write nothing.
func (mk *Maker) saveIce(ctx context.Context, reach coldseam.ReachID, at time.Time, records []ice.Record) error {
	days := make([]store.IceDay, len(records))
	for i, r := range records {
		days[i] = store.IceDay{
			Day:     r.Day,
			State:   r.State.String(),
			Since:   r.Since,
			Cause:   r.Cause,
			FrostCD: r.FrostCD,
			ThawCD:  r.ThawCD,
		}
	}
	return mk.DB.SaveIce(ctx, reach, at, days)
}

// IceNow is the state of ice on a reach, from the record as it is now.
func (mk *Maker) IceNow(ctx context.Context, r coldseam.Reach) (ice.Status, error) {
	now := mk.Now()
	f := forecast.Inputs{Now: now, Loc: env.Zone(r.Zone), Reach: r, Table: mk.Table, TempSite: r.TempSite}
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

// IceWords names a state for the admin.
func IceWords(s ice.Status) string {
	causes := map[string]string{
		ice.CauseStart: "the record is too short", ice.CauseSilent: "the thermometer is silent",
		ice.CauseQualifier: "the agency marks ice",
		ice.CauseWord:      "said by the admin or a member", ice.CauseCold: "water at 33 F or colder",
		ice.CauseFrost: "a long frost, no thermometer",
		ice.CauseDates: "the usual ice season", ice.CauseBlind: "nothing here measures it",
		ice.CauseRise: "flow under ice jumped",
		ice.CauseWarm: "two full days warm enough", ice.CauseThaw: "thaw and calm flow",
		ice.CausePassed: "later than most years' ice",
		ice.CauseSummer: "summer",
	}
	states := map[ice.State]string{ice.Unknown: "not known", ice.Open: "open water", ice.Ice: "ice",
		ice.Breakup: "ice is going out"}
	return fmt.Sprintf("%s since %s: %s", states[s.State], s.Since, causes[s.Cause])
}

// LogRig turns "1/4 held at the seam" of a trip into a calibration line.
func (mk *Maker) LogRig(ctx context.Context, t coldseam.Trip) error {
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
	_, _, err := mk.DB.AddRigLog(ctx, store.RigLog{
		Trip:         t.ID,
		Reach:        t.Reach,
		Spot:         t.SpotID,
		At:           at,
		Angler:       t.Angler,
		Presentation: t.Presentation,
		Body:         t.Body,
		Line:         t.Line,
		WeightOz:     t.WeightOz,
		Held:         *t.Held,
		AngleDeg:     t.AngleDeg,
	})
	return err
}
