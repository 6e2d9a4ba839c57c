package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// briefCmd makes and shows a brief, holds or releases sending, or sends a test
// mail.
type briefCmd struct {
	AsOf    string `help:"A morning, YYYY-MM-DD: a past one is replayed from what was known then, tomorrow's told from what is known now." placeholder:"DATE"`
	Site    string `help:"A gauge without a reach of its own, such as an imported river."`
	Reach   string `help:"One reach; default all."`
	Units   string `help:"us or metric." default:"us" enum:"us,metric"`
	Why     bool   `help:"List every input with its age, every threshold and every rule that fired."`
	JSON    bool   `help:"Print the brief as JSON."`
	DryRun  bool   `help:"Show, and store no brief. This is the default unless --save is given."`
	Save    bool   `help:"Store what was made."`
	Mail    string `help:"Send the mail of this morning to one address, marked as a test."`
	Hold    bool   `help:"Stop all sending, at once and over restarts."`
	Release bool   `help:"Let sending go on."`
	Reason  string `help:"Why, for --hold and --release; kept." placeholder:"TEXT"`
}

// Run does one of the four.
func (c *briefCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	a, err := parts.Open(ctx, cfg, env.Options{Log: env.NewLogger(s.Err, slog.LevelWarn), Migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	if c.Hold || c.Release {
		return c.hold(ctx, s, a)
	}
	if err := a.Env.SyncRivers(ctx); err != nil {
		return err
	}
	return c.show(ctx, s.Out, a)
}

func (c *briefCmd) hold(ctx context.Context, s *env.Streams, a *parts.Parts) error {
	if c.Reason == "" {
		return env.Fail(2, "--hold and --release want --reason: it is kept and shown by check")
	}
	e := store.Edit{Who: "coldseam brief", Why: c.Reason}
	if c.Hold {
		if err := a.Env.DB.Hold(ctx, e); err != nil {
			return err
		}
		fmt.Fprintln(s.Out, "sending is held; nothing goes out until `coldseam brief --release`")
		return nil
	}
	if err := a.Env.DB.Release(ctx, e); err != nil {
		return err
	}
	fmt.Fprintln(s.Out, "sending goes on; what is past its deadline stays unsent")
	return nil
}

func (c *briefCmd) show(ctx context.Context, w io.Writer, a *parts.Parts) error {
	reaches, err := c.reaches(ctx, a)
	if err != nil {
		return err
	}
	var made []coldseam.Brief
	var errs []error

	for i, r := range reaches {
		b, f, m, err := c.make(ctx, a, r)
		if err == nil && c.Mail == "" {
			if i > 0 {
				fmt.Fprintln(w)
			}
			err = c.print(w, a, b, f, m)
		}

		if err != nil { // the other rivers are told
			errs = append(errs, fmt.Errorf("%s: %w", r.ID, err))
			if ctx.Err() != nil {
				break
			}
			continue
		}

		made = append(made, b)
	}

	if c.Mail != "" && len(made) > 0 {
		errs = append(errs, c.testMail(ctx, w, a, made))
	}
	return errors.Join(errs...)
}

// reaches are those asked for; a bare gauge stands for itself.
func (c *briefCmd) reaches(ctx context.Context, a *parts.Parts) ([]coldseam.Reach, error) {
	if c.Site != "" {
		site, err := a.Env.DB.Site(ctx, coldseam.SiteID(c.Site))
		if err != nil {
			return nil, env.NoSite(ctx, a.Env.DB, err)
		}
		all, err := a.Env.DB.Reaches(ctx)
		if err != nil {
			return nil, err
		}

		for _, r := range all {
			if r.Site == site.ID {
				return []coldseam.Reach{r}, nil
			}
		}

		return []coldseam.Reach{bareReach(site)}, nil
	}

	if c.Reach != "" {
		r, err := a.Env.DB.Reach(ctx, coldseam.ReachID(c.Reach))
		if err != nil {
			return nil, env.NoReach(ctx, a.Env.DB, err)
		}
		return []coldseam.Reach{r}, nil
	}

	return a.Env.DB.Reaches(ctx)
}

// bareReach is a gauge that no reach is entered for: no spot, no limit, no
// rule, so that nothing but NO CALL can come of it.
func bareReach(s coldseam.Site) coldseam.Reach {
	name := s.Name
	if name == "" {
		name = s.Code
	}
	return coldseam.Reach{
		ID:            coldseam.ReachID(s.ID),
		River:         name,
		Name:          "gauge",
		Site:          s.ID,
		Zone:          s.Zone,
		Lat:           s.Lat,
		Lon:           s.Lon,
		Species:       []string{"walleye"},
		ResidentShare: 0.15,
	}
}

func (c *briefCmd) make(ctx context.Context, a *parts.Parts,
	r coldseam.Reach) (coldseam.Brief, forecast.Inputs, forecast.Morning, error) {
	loc := env.Zone(r.Zone)
	now, morning, replay := a.Env.Now(), coldseam.DateOf(a.Env.Now().In(loc)), false

	if c.AsOf != "" {
		d, err := coldseam.ParseDate(c.AsOf)
		if err != nil {
			return coldseam.Brief{}, forecast.Inputs{}, forecast.Morning{}, env.Fail(2, err.Error())
		}
		at, err := notify.SendAt(d, a.Env.Config.Club.SendAt, loc)
		if err != nil {
			return coldseam.Brief{}, forecast.Inputs{}, forecast.Morning{}, err
		}

		if morning.Add(1).Before(d) {
			return coldseam.Brief{}, forecast.Inputs{}, forecast.Morning{},
				env.Fail(2, fmt.Sprintf(
					"--as-of %s is more than a day ahead; want a past morning, today's or tomorrow's", d))
		}
		if at.After(now) { // a morning to come is told from what is known now
			at = now
		}
		lived, err := a.Env.DB.FetchedLiveFrom(ctx, r.Site)
		if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
			return coldseam.Brief{}, forecast.Inputs{}, forecast.Morning{}, err
		}

		then, err2 := a.Env.DB.ReachAt(ctx, r.ID, at) // before its first edit today's stands
		if err2 != nil && !errors.Is(err2, coldseam.ErrNotFound) {
			return coldseam.Brief{}, forecast.Inputs{}, forecast.Morning{}, err2
		}
		if err2 == nil {
			r = then
		}
		now, morning = at, d
		replay = err != nil || lived.IsZero() || at.Before(lived)
	}

	if replay {
		return replayed(ctx, a, r, morning)
	}
	f, err := a.Morning.Inputs(ctx, r, morning, now, false)
	if err != nil {
		return coldseam.Brief{}, f, forecast.Morning{}, err
	}

	fitted := f.FlowModel == nil || f.TempModel == nil
	m, err := a.Morning.Computed(ctx, f)
	if err != nil {
		return coldseam.Brief{}, f, m, err
	}

	notify.SetWording(&m.Brief)
	if fitted && c.AsOf == "" { // the next call need not fit again
		if err := a.Morning.SaveModels(ctx, r, m); err != nil {
			return m.Brief, f, m, err
		}
	}

	if c.Save {
		err = a.Morning.SaveMorning(ctx, &m)
	}
	return m.Brief, f, m, err
}

// replayed is the brief of a morning before live fetching: one cell of
// `coldseam season`, which says that it is a replay and gives no verdict.
func replayed(ctx context.Context, a *parts.Parts, r coldseam.Reach,
	day coldseam.Date) (coldseam.Brief, forecast.Inputs, forecast.Morning, error) {
	src, err := morning.NewPastMornings(ctx, a.Morning, r, season.AirClimatology)
	if err != nil {
		return coldseam.Brief{}, forecast.Inputs{}, forecast.Morning{}, err
	}
	src.AsBrief = true
	f, m, err := season.Morning(src, day)
	if err != nil {
		return coldseam.Brief{}, f, m, err
	}
	notify.SetWording(&m.Brief)
	return m.Brief, f, m, nil
}

func (c *briefCmd) print(w io.Writer, a *parts.Parts, b coldseam.Brief, f forecast.Inputs, m forecast.Morning) error {
	if c.JSON {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		return enc.Encode(b)
	}
	for _, line := range notify.Text(a.Mail.ForStranger(b), coldseam.Preferences{Units: c.Units}) {
		fmt.Fprintln(w, line)
	}
	for _, line := range oldModels(m, f.Now) {
		fmt.Fprintln(w, line)
	}
	if c.Why {
		why(w, f, m)
	}
	return nil
}

// oldModels says how old models are that should have been fitted anew.
func oldModels(m forecast.Morning, now time.Time) []string {
	var out []string
	say := func(name string, to coldseam.Date) {
		if d := coldseam.DateOf(now).Sub(to); time.Duration(d)*env.Day > morning.RefitAfter+2*env.Day {
			out = append(out, fmt.Sprintf(
				"model of %s: fitted to values up to %s, %d days ago; the running service fits it anew each week", name,
				to, d))
		}
	}
	if m.FlowModel != nil {
		say("flow", m.FlowModel.To)
	}
	if m.TempModel != nil {
		say("water temperature", m.TempModel.To)
	}
	return out
}

// why lists what the verdict rests on: inputs with ages, rules that fired,
// thresholds, and beside them the windows and models.
func why(w io.Writer, f forecast.Inputs, m forecast.Morning) {
	fmt.Fprintln(w)
	for _, line := range whyLines(m.Brief, f.Table, f.Loc) {
		fmt.Fprintln(w, line)
	}
	fmt.Fprintln(w, "windows:")
	for _, x := range m.Brief.Windows {
		odds := "no odds"
		if x.OddsOK {
			odds = fmt.Sprintf("odds %.2f", x.Odds)
		}
		fmt.Fprintf(w, "  %s-%s %s, water %.1f-%.1f C, flow %.0f-%.0f m3/s, tie %s %s\n",
			x.Start.In(f.Loc).Format("15:04"), x.End.In(f.Loc).Format("15:04"),
			odds, x.WaterC[0], x.WaterC[2], x.FlowM3S[0], x.FlowM3S[2], x.Tie, x.Why)
	}
	fmt.Fprintf(w, "models: flow %s; water %s\n", m.Flow.Source, m.Temp.Source)
	for _, p := range m.Problems {
		fmt.Fprintln(w, "problem:", p)
	}
}

// testMail sends this morning's mail to one address, past the outbox: it is no
// subscriber's mail.
func (c *briefCmd) testMail(ctx context.Context, w io.Writer, a *parts.Parts, briefs []coldseam.Brief) error {
	notify.SortBriefs(briefs)
	payload, err := notify.Content{Club: "TEST " + a.Env.Config.Club.Name, Briefs: briefs}.Marshal()
	if err != nil {
		return err
	}

	now := a.Env.Now()
	l := coldseam.OutboxMessage{
		Kind:       coldseam.MailMorning,
		LocalDate:  coldseam.DateOf(now.In(env.Zone(a.Env.Config.Club.Zone))),
		CreatedAt:  now,
		Payload:    payload,
		Subscriber: coldseam.Subscriber{Email: c.Mail, Prefs: coldseam.Preferences{Units: c.Units}},
		Deadline:   now.Add(time.Hour),
		State:      coldseam.MailClaimed,
	}
	s := a.Mail.Sender(mailing.WorkerName(0))
	s.Outbox = &mailing.OneMessage{Message: &l}
	t, err := s.Run(ctx, 1)
	if err != nil {
		return err
	}

	if t.Sent != 1 {
		return fmt.Errorf("the relay did not take it: %+v: %w", t, coldseam.ErrUnavailable)
	}
	fmt.Fprintln(w, "sent; the relay accepted it")
	return nil
}
