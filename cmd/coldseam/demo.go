package main

import (
	"context"
	_ "embed"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest/agency"
)

//go:embed demo.toml
var demoTOML string

// demoStart is the demo's morning: Saturday 18 April 2026, 04:30 in Chicago.
var demoStart = time.Date(2026, time.April, 18, 9, 30, 0, 0, time.UTC)

// demoCmd runs the main job end to end on invented rivers: a loopback agency, a
// private Postgres, a loopback mail server.
type demoCmd struct {
	Once bool   `help:"Exit when the mail is out." env:"ONCE"`
	Dir  string `help:"State of the demo; a later demo there starts from what is stored." env:"COLDSEAM_DEMO_DIR" type:"path"`
	Log  bool   `help:"Print the log."`
}

func (c *demoCmd) dir() string {
	if c.Dir != "" {
		return c.Dir
	}
	return filepath.Join("/var/tmp", fmt.Sprintf("coldseam-demo-%d", os.Getuid()))
}

// demoClock starts at the demo's morning, or where an earlier demo in the same
// state ended, and runs on with the real one.
func demoClock(start time.Time) func() time.Time {
	began := time.Now()
	return func() time.Time { return start.Add(time.Since(began)) }
}

// Run is the demo. Every step prints one line.
func (c *demoCmd) Run(ctx context.Context, s *streams) error {
	t0 := time.Now()
	say := func(format string, args ...any) {
		fmt.Fprintf(s.out, "[%5.1fs] %s\n", time.Since(t0).Seconds(), fmt.Sprintf(format, args...))
	}
	log := slog.New(slog.DiscardHandler)
	if c.Log {
		log = newLogger(s.err, slog.LevelInfo)
	}
	now := demoClock(demoStart)
	ag, err := agency.New(agency.Options{Now: now, Log: log})
	if err != nil {
		return err
	}
	base, err := ag.Start()
	if err != nil {
		return err
	}
	defer ag.Close()
	cfg, err := parseConfig("demo.toml", demoTOML, agency.Profiles(base)...)
	if err != nil {
		return err
	}
	cfg.StateDir = c.dir()
	a, err := build(ctx, cfg, buildOptions{now: now, log: log, migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	say("private Postgres up and migrated in %s", c.dir())
	if err := a.syncRivers(ctx); err != nil {
		return err
	}
	tally, err := a.backfill(ctx, now().AddDate(-12, 0, 0), historyBack, nil)
	say("fetched %d feeds: %d rows, %d new, %d revised", tally.Feeds, tally.Rows, tally.Added, tally.Revised)
	if err != nil {
		say("problems: %v", err)
	}
	loc, _ := time.LoadLocation(cfg.Club.Zone)
	briefs, err := a.makeAll(ctx, coldseam.DateOf(now().In(loc)))
	if err != nil {
		say("problems: %v", err)
	}
	for _, b := range briefs {
		say("%s %s: %s %.2f", b.River, b.ReachName, b.Verdict, b.Odds)
		for _, r := range append(b.Stops, b.Reasons...) {
			say("   %s %s", r.Code, r.Text)
		}
		for _, r := range b.Cautions {
			say("   caution %s %s", r.Code, r.Text)
		}
		for _, i := range b.Inputs {
			say("   input %+v", i)
		}
		for _, j := range b.Jig {
			say("   jig %s tie %v pack %v %s", j.Spot, j.TieOz, j.PackOz, j.WithheldText)
		}
		say("   flow %+v", b.Flow)
		say("   temp %+v", b.Temp)
		say("   run %+v", b.Run)
		say("   how %+v", b.How)
	}
	return nil
}
