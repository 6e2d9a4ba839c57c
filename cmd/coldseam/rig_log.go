package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/store"
)

// rigLogCmd stores what held and what did not: it moves the spot's factor.
type rigLogCmd struct {
	rigFlags
	Site   string   `help:"A reach or gauge." required:""`
	Spot   string   `help:"A spot of that reach." required:""`
	Size   string   `help:"The size on the line, oz." required:""`
	Result string   `help:"held or lost." required:"" enum:"held,lost"`
	At     string   `help:"When: 07:30 (today), or 2026-03-20 07:30, local time of the reach." required:""`
	Angle  *float64 `name:"angle-deg" help:"Line angle from vertical at the surface, if seen."`
	Angler string   `help:"A pseudonym; never a name." default:""`

	store func(context.Context, *env.Globals) (rigStore, func(), error) `kong:"-"`
}

// Run stores the log. The same spot, time and size again is a duplicate and
// changes nothing.
func (c *rigLogCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	_, err := jig.ParseRig(c.Body, c.Line, c.Metal, c.Presentation)
	oz, err2 := parseOz("--size", c.Size)
	if c.Angle != nil {
		err = errors.Join(err, rigRange("--angle-deg", *c.Angle, 0, 89, "deg"))
	}
	if err := errors.Join(err, err2); err != nil {
		return rigUsage(err)
	}

	open := c.store
	if open == nil {
		open = openRig
	}
	db, done, err := open(ctx, g)
	if err != nil {
		return err
	}
	defer done()

	added, err := db.AddLog(ctx, c.Site, store.RigLog{
		Spot:         c.Spot,
		Angler:       c.Angler,
		Presentation: c.Presentation,
		Body:         c.Body,
		Line:         c.Line,
		WeightOz:     oz,
		Held:         c.Result == "held",
		AngleDeg:     c.Angle,
	}, c.At)
	switch {
	case err != nil:
		return err
	case !added:
		fmt.Fprintln(s.Out, "already logged")
	default:
		fmt.Fprintf(s.Out, "logged: %s oz %s at %s, %s\n", coldseam.OzName(oz), c.Result, c.Spot, c.At)
	}

	return nil
}

// rigTime reads "07:30" of today or "2026-03-20 07:30", in loc.
func rigTime(s string, now time.Time, loc *time.Location) (time.Time, error) {
	if t, err := time.ParseInLocation("2006-01-02 15:04", s, loc); err == nil {
		return t, nil
	}
	t, err := time.Parse("15:04", s)
	if err != nil {
		return time.Time{}, fmt.Errorf("--at %q; want 07:30 or 2026-03-20 07:30: %w", s, coldseam.ErrInvalid)
	}
	d := now.In(loc)
	return time.Date(d.Year(), d.Month(), d.Day(), t.Hour(), t.Minute(), 0, 0, loc), nil
}
