package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/forecast"
	"example.org/coldseam/store"
)

// openRig opens the stored data of the configuration.
func openRig(ctx context.Context, g *env.Globals) (rigStore, func(), error) {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return nil, nil, rigUsage(err)
	}
	a, err := parts.Open(ctx, cfg, env.Options{})
	if err != nil {
		return nil, nil, err
	}
	return rigApp{a}, func() { a.Close() }, nil
}

// rigApp is the rigStore over the wired program.
type rigApp struct{ parts *parts.Parts }

// reach finds a reach by its id or by its gauge.
func (a rigApp) reach(ctx context.Context, site string) (coldseam.Reach, error) {
	all, err := a.parts.Env.DB.Reaches(ctx)
	if err != nil {
		return coldseam.Reach{}, err
	}
	var known []string
	for _, r := range all {
		if string(r.ID) == site || string(r.Site) == site {
			return r, nil
		}
		known = append(known, string(r.ID))
	}
	return coldseam.Reach{}, fmt.Errorf("site %q; want one of %s: %w", site, strings.Join(known, ", "),
		coldseam.ErrNotFound)
}

// spotOf refuses a spot that the reach does not have.
func spotOf(r coldseam.Reach, id string) (coldseam.Spot, error) {
	var known []string
	for _, s := range r.Spots {
		if s.ID == id {
			return s, nil
		}
		known = append(known, s.ID)
	}
	return coldseam.Spot{}, fmt.Errorf("spot %q of %s; want one of %s: %w", id, r.ID, strings.Join(known, ", "),
		coldseam.ErrNotFound)
}

// Morning computes the coming morning of the spot's reach for the rig, as the
// brief does.
func (a rigApp) Morning(ctx context.Context, site, spot string, prefs coldseam.Preferences,
	boxOz []float64) (rigMorning, error) {
	r, err := a.reach(ctx, site)
	if err != nil {
		return rigMorning{}, err
	}

	sp, err := spotOf(r, spot)
	if err != nil {
		return rigMorning{}, err
	}
	loc, err := time.LoadLocation(r.Zone)
	if err != nil {
		return rigMorning{}, fmt.Errorf("reach %s: zone %q: %w", r.ID, r.Zone, coldseam.ErrInvalid)
	}

	now := a.parts.Env.Now()
	day := coldseam.DateOf(now.In(loc))
	if now.In(loc).Hour() >= 12 {
		day = day.Add(1)
	}
	f, err := a.parts.Morning.Inputs(ctx, r, day, now, false)
	if err != nil {
		return rigMorning{}, err
	}

	if f.RigLogs == nil {
		logs, err := a.parts.Env.DB.RigLogs(ctx, r.ID, time.Time{}, time.Time{})
		if err != nil {
			return rigMorning{}, err
		}
		f.RigLogs = morning.RigLogs(logs)
	}

	f.Prefs = prefs
	if len(boxOz) > 0 {
		f.BoxOz = boxOz
	}
	m := forecast.Make(f)
	out := rigMorning{Title: r.River + ", " + sp.Name, Day: day, NowM3S: m.Brief.Flow.Now}
	if m.Brief.Temp.WindowOK {
		out.WaterC, out.WaterOK = m.Brief.Temp.Window[1], true
	}

	for h, t := range m.Flow.Valid {
		if coldseam.DateOf(t.Add(-time.Second).In(loc)) == day { // a step is named by its end
			out.Members = m.Flow.Step(h)
		}
	}

	for _, j := range m.Brief.Jig {
		if j.SpotID == sp.ID {
			out.Jig = j
			return out, nil
		}
	}

	return rigMorning{}, fmt.Errorf("%s, %s: no weight this morning, the brief says %s: %w", r.ID, sp.ID,
		m.Brief.Verdict, coldseam.ErrUnavailable)
}

// AddLog stores a log; at is read in the reach's zone.
func (a rigApp) AddLog(ctx context.Context, site string, l store.RigLog, at string) (bool, error) {
	r, err := a.reach(ctx, site)
	if err != nil {
		return false, err
	}

	if _, err := spotOf(r, l.Spot); err != nil {
		return false, err
	}
	loc, err := time.LoadLocation(r.Zone)
	if err != nil {
		return false, fmt.Errorf("reach %s: zone %q: %w", r.ID, r.Zone, coldseam.ErrInvalid)
	}

	now := a.parts.Env.Now()
	if l.At, err = rigTime(at, now, loc); err != nil {
		return false, rigUsage(err)
	}
	if l.At.After(now) {
		return false, env.Fail(2, fmt.Sprintf("--at %s is still to come; want a time that has been", at))
	}
	l.Reach = r.ID
	_, added, err := a.parts.Env.DB.AddRigLog(ctx, l)
	return added, err
}
