package setup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/parts"
)

// Reading is what a person says of readings.
type Reading struct {
	Confirm readingConfirmCmd `cmd:"" help:"Confirm readings that are flagged or not trusted: they count as unflagged. Kept with who and why."`
}

// readingConfirmCmd takes the admin's word for readings.
type readingConfirmCmd struct {
	Where     string `arg:"" name:"site_or_reach" help:"The gauge, or a reach for its gauge."`
	Parameter string `required:"" enum:"discharge,stage,water_temp" help:"discharge, stage or water_temp."`
	From      string `required:"" help:"First reading, YYYY-MM-DDTHH:MM in the gauge's time, or with an offset." placeholder:"TIME"`
	To        string `required:"" help:"Last reading, not later than now." placeholder:"TIME"`
	Why       string `required:"" help:"What was seen, by whom and when." placeholder:"TEXT"`
	Who       string `default:"club admin" help:"The role of the person, never an address."`
}

// Run keeps the word.
func (c *readingConfirmCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	return parts.WithRivers(ctx, s, g, func(a *parts.Parts) error { return c.say(ctx, s.Out, a) })
}

// say keeps the word, asks for new briefs and tells how many readings it covers.
func (c *readingConfirmCmd) say(ctx context.Context, w io.Writer, a *parts.Parts) error {
	param := coldseam.Parameter(c.Parameter)
	site, reaches, err := gaugeOf(ctx, a, c.Where, param)
	if err != nil {
		return err
	}
	from, err1 := timeIn(c.From, env.Zone(site.Zone))
	to, err2 := timeIn(c.To, env.Zone(site.Zone))
	now := a.Env.Now()

	why, who := strings.TrimSpace(c.Why), strings.TrimSpace(c.Who)
	switch err := errors.Join(err1, err2); {
	case err != nil:
		return env.Fail(2, "--from and --to: "+err.Error())
	case to.Before(from):
		return env.Fail(2, "--to lies before --from; want the first and the last reading that you looked at")
	case to.After(now):
		return env.Fail(2, fmt.Sprintf("--to is %s, it is %s: readings to come cannot be confirmed", c.To,
			now.In(to.Location()).Format("2006-01-02T15:04")))
	case why == "" || who == "" || strings.Contains(who, "@"):
		return env.Fail(2, "--why is what was seen, --who a role and no address; both are wanted")
	}

	s, err := a.Env.DB.History(ctx, site.ID, param, coldseam.Instant, from, to, now)
	if errors.Is(err, coldseam.ErrNotFound) { // a gauge that reports once a day
		s, err = a.Env.DB.History(ctx, site.ID, param, coldseam.Mean, from, to, now)
	}
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}

	if len(s.Obs) == 0 {
		return env.Fail(1, fmt.Sprintf("%s has no readings of %s from %s to %s", site.ID, param, c.From, c.To))
	}
	word := coldseam.Confirmation{
		Site:  site.ID,
		Param: param,
		From:  from.UTC(),
		To:    to.UTC(),
		At:    now,
		Who:   who,
		Why:   plainText(why),
	}
	if err := a.Env.DB.ConfirmReadings(ctx, word); err != nil {
		return err
	}

	var keys []mailing.BriefKey
	for _, r := range reaches {
		keys = append(keys, mailing.BriefKey{Reach: r.ID, Day: coldseam.DateOf(now.In(env.Zone(r.Zone)))})
	}
	if err := a.Morning.EnqueueBriefs(ctx, keys, now); err != nil {
		return err
	}
	fmt.Fprintf(w, "%d readings of %s at %s confirmed; their flags stay, and those that come or change later are judged anew\n", len(s.Obs), param, site.ID)
	return nil
}

// gaugeOf is the gauge that a site or a reach names, and the reaches that read
// the quantity there.
func gaugeOf(ctx context.Context, a *parts.Parts, where string,
	p coldseam.Parameter) (coldseam.Site, []coldseam.Reach, error) {
	reaches, err := a.Env.DB.Reaches(ctx)
	if err != nil {
		return coldseam.Site{}, nil, err
	}

	reads := func(r coldseam.Reach) coldseam.SiteID {
		if p == coldseam.WaterTemp && r.TempSite != "" {
			return r.TempSite
		}
		return r.Site
	}
	id := coldseam.SiteID(where)
	for _, r := range reaches {
		if string(r.ID) == where {
			id = reads(r)
		}
	}

	site, err := a.Env.DB.Site(ctx, id)
	if errors.Is(err, coldseam.ErrNotFound) {
		_, err = a.Env.DB.Reach(ctx, coldseam.ReachID(where))
		return site, nil, env.NoReach(ctx, a.Env.DB, err)
	}

	return site, slices.DeleteFunc(reaches, func(r coldseam.Reach) bool { return reads(r) != id }), err
}

// timeIn reads a time with an offset, or one of the clock on the wall at loc.
func timeIn(s string, loc *time.Location) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t.In(loc), nil
	}
	t, err := time.ParseInLocation("2006-01-02T15:04", strings.Replace(s, " ", "T", 1), loc)
	if err != nil {
		return t, fmt.Errorf("%q: want YYYY-MM-DDTHH:MM, with an offset or in the gauge's time", s)
	}
	return t, nil
}
