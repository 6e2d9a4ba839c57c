package morning

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
)

// resumable is what a cancelled replay leaves in its file.
type resumable struct {
	Done  []coldseam.Replay
	State season.State
}

// ReplaySeasons replays one span after the other; progress goes to report. A run
// that is cancelled writes its state to the file kept, and the next run of the same
// spans goes on from there; "" = nothing is written.
func ReplaySeasons(ctx context.Context, src season.Source, spans [][2]coldseam.Date, report io.Writer,
	kept string) ([]coldseam.Replay, error) {
	var left resumable
	if raw, err := os.ReadFile(kept); kept != "" && err == nil {
		if json.Unmarshal(raw, &left) != nil || len(left.Done) >= len(spans) {
			left = resumable{}
		}
	}
	said := time.Now()
	for i, x := range spans[len(left.Done):] {
		o := season.Options{From: x[0], To: x[1], Progress: func(n, of int) error {
			if time.Since(said) > 5*time.Second {
				said = time.Now()
				fmt.Fprintf(report, "%d of %d mornings to %s\n", n, of, x[1])
			}
			return ctx.Err()
		}}
		if state := left.State; i == 0 && !state.Next.IsZero() {
			o.Resume = &state
			fmt.Fprintf(report, "goes on at %s, where it was cancelled\n", state.Next)
		}
		o.Keep = func(s season.State) { left.State = s }
		r, err := season.Run(src, o)
		if err != nil {
			if raw, fault := json.Marshal(left); kept != "" && ctx.Err() != nil && fault == nil {
				err = errors.Join(err, localpg.MakeDir(filepath.Dir(kept), 0o700), env.WriteClosed(kept, raw))
			}
			return nil, err
		}
		left = resumable{Done: append(left.Done, r)}
	}
	if kept != "" {
		_ = os.Remove(kept) // mostly there is none
	}
	return left.Done, nil
}

// seasonKind is the kind of stored model that holds the seasons of a reach.
const seasonKind = "seasons"

// LastSeasons are the last spring and the last autumn that are over, the older
// first.
func LastSeasons(today coldseam.Date) [][2]coldseam.Date {
	last := func(fromMonth time.Month, fromDay int, toMonth time.Month, toDay int) [2]coldseam.Date {
		year := today.Year
		if !(coldseam.Date{Year: year, Month: toMonth, Day: toDay}).Before(today) {
			year--
		}
		return [2]coldseam.Date{{Year: year, Month: fromMonth, Day: fromDay}, {Year: year, Month: toMonth, Day: toDay}}
	}
	spring, autumn := last(time.March, 1, time.May, 31), last(time.September, 15, time.November, 30)
	if autumn[0].Before(spring[0]) {
		return [][2]coldseam.Date{autumn, spring}
	}
	return [][2]coldseam.Date{spring, autumn}
}

// RenewSeasons replays seasons of a reach and keeps them for its page. A reach
// without spots is given the one of season.BareReach: without a spot every morning
// would be capped for want of a sounding.
func (mk *Maker) RenewSeasons(ctx context.Context, r coldseam.Reach, spans [][2]coldseam.Date,
	report io.Writer) ([]coldseam.Replay, error) {
	src, err := NewPastMornings(ctx, mk, r, season.AirClimatology)
	if err != nil {
		return nil, err
	}
	if x := &src.Record; len(r.Spots) == 0 {
		x.Bare, x.Reach.HazardsSurveyed, x.Reach.MaxFlowProposed = true, true, false
		x.Reach.Spots = season.BareReach("", r.Lat, r.Lon).Spots
		src.reach = x.Reach // of mornings by readings too
	}
	seasons, err := ReplaySeasons(ctx, src, spans, report, "")
	if err != nil {
		return nil, err
	}
	return seasons, mk.keepSeasons(ctx, r.ID, seasons)
}

// SeasonsDue reports whether a season has ended since those on the page of a
// reach, or it has none.
func (mk *Maker) SeasonsDue(ctx context.Context, r coldseam.Reach) (bool, error) {
	m, err := mk.DB.Model(ctx, string(r.ID), seasonKind, mk.Now())
	if errors.Is(err, coldseam.ErrNotFound) {
		return true, nil
	}
	spans := LastSeasons(coldseam.DateOf(mk.Now().In(env.Zone(r.Zone))))
	return m.To.Before(spans[len(spans)-1][1]), err
}

func (mk *Maker) keepSeasons(ctx context.Context, reach coldseam.ReachID, seasons []coldseam.Replay) error {
	if len(seasons) == 0 {
		return nil
	}
	raw, err := json.Marshal(seasons)
	if err != nil {
		return fmt.Errorf("seasons of %s: %w", reach, err)
	}
	_, err = mk.DB.SaveModel(ctx, store.Model{Owner: string(reach), Kind: seasonKind, MadeAt: mk.Now(),
		From: seasons[0].From, To: seasons[len(seasons)-1].To, Params: raw})
	return err
}

// PastSeasons are the seasons that RenewSeasons kept; none is no error.
func (mk *Maker) PastSeasons(ctx context.Context, reach coldseam.ReachID) (out []coldseam.Replay, err error) {
	m, err := mk.DB.Model(ctx, string(reach), seasonKind, mk.Now())
	if errors.Is(err, coldseam.ErrNotFound) {
		return nil, nil
	}
	if err == nil {
		err = json.Unmarshal(m.Params, &out)
	}
	return out, err
}

// pastMornings are the mornings of a reach as the database knows them.
type pastMornings struct {
	maker    *Maker
	ctx      context.Context //nolint:containedctx // the replay asks for mornings without one
	reach    coldseam.Reach
	LiveFrom time.Time // zero = never
	Record   season.Record
	AsBrief  bool // for `brief --as-of`: a morning before live fetching began is marked as a replay
}

// NewPastMornings prepares a replay from the database: mornings since live fetching
// began as they were known, earlier ones from the daily means on record.
func NewPastMornings(ctx context.Context, mk *Maker, r coldseam.Reach, air season.Air) (*pastMornings, error) {
	live, err := mk.DB.FetchedLiveFrom(ctx, r.Site)
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return nil, err
	}

	days, err := mk.DB.DailyFrame(ctx, r.Site, r.TempSite, cmp.Or(r.AirSite, r.Site), mk.Now(), r.Zone)
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return nil, err
	}
	hour, minute, err := notify.ParseClock(mk.Config.Club.SendAt)
	if err != nil {
		return nil, err
	}

	p := &pastMornings{maker: mk, ctx: ctx, reach: r, LiveFrom: live}
	p.Record = season.Record{
		Reach:  r,
		Days:   days,
		SendAt: time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute,
		Loc:    env.Zone(r.Zone),
		Air:    air,
		Table:  mk.Table,
		Cost:   mk.Config.Odds.Cost,

		Effects: mk.effects,
	}
	if sp, err := run.FindSpecies(mk.Species, First(r.Species)); err == nil {
		p.Record.Species = sp
	}
	return p, nil
}

// Assumed implements season.Source.
func (p *pastMornings) Assumed() []string {
	if p.LiveFrom.IsZero() {
		return p.Record.Assumed()
	}
	return append([]string{"lived_from_" + coldseam.DateOf(p.LiveFrom.In(p.Record.Loc)).String()}, p.Record.Assumed()...)
}

// Came implements season.Measured.
func (p *pastMornings) Came() coldseam.Days { return p.Record.Days }

// Morning implements season.Source.
func (p *pastMornings) Morning(day coldseam.Date) (forecast.Inputs, []string, error) {
	if err := p.ctx.Err(); err != nil {
		return forecast.Inputs{}, nil, err
	}
	at, err := notify.SendAt(day, p.maker.Config.Club.SendAt, p.Record.Loc)
	if err != nil {
		return forecast.Inputs{}, nil, err
	}

	if p.LiveFrom.IsZero() || at.Before(p.LiveFrom) {
		f, notReplayed, err := p.archived(day, at)
		f.Replayed = p.AsBrief
		return f, notReplayed, err
	}
	r, err := p.maker.DB.ReachAt(p.ctx, p.reach.ID, at)
	if errors.Is(err, coldseam.ErrNotFound) { // before its first edit today's stands
		r, err = p.reach, nil
	}

	if err != nil {
		return forecast.Inputs{}, nil, err
	}
	f, err := p.maker.Inputs(p.ctx, r, day, at, false)
	if err != nil {
		return f, nil, err
	}
	notReplayed, err := p.warnings(&f)
	return f, notReplayed, err
}

// onRecordDays are the days before an archived morning in which a gauge must have a
// reading of flow, or the morning is made from its daily means [proposal]. A gauge
// with readings that was silent at the hour of the mail has one there.
const onRecordDays = 7

// archived is a morning before live fetching began: from the readings on record, or
// from the daily means where there are none.
func (p *pastMornings) archived(day coldseam.Date, at time.Time) (forecast.Inputs, []string, error) {
	s, err := p.maker.DB.History(p.ctx, p.reach.Site, coldseam.Discharge, coldseam.Instant,
		at.Add(-onRecordDays*env.Day), at, at, lagOf(true)...)
	switch {
	case err != nil && !errors.Is(err, coldseam.ErrNotFound):
		return forecast.Inputs{}, nil, err
	case len(s.Obs) == 0:
		return p.Record.Morning(day)
	}
	f, err := p.maker.Inputs(p.ctx, p.reach, day, at, true)
	if err != nil {
		return f, nil, err
	}
	f.Centre = p.Record.Centre(day.Year)
	notReplayed := season.Assume(&f)
	return f, notReplayed, nil
}

// warnings sets when the warnings had last been read in full, as the newest brief
// of that day has it: the feed's own state is that of today. Without a brief by then
// warnings are not replayed.
func (p *pastMornings) warnings(f *forecast.Inputs) (notReplayed []string, err error) {
	told, err := p.maker.DB.BriefIssues(p.ctx, p.reach.ID, f.Day)
	if err != nil {
		return nil, err
	}
	told = slices.DeleteFunc(told, func(b coldseam.Brief) bool { return b.Issued.After(f.Now) })
	if len(told) == 0 {
		f.AlertsAt, f.AlertGaps = f.Now, nil
		return []string{"alerts"}, nil
	}
	for _, in := range told[len(told)-1].Inputs {
		if in.Key == "alerts" && !in.At.After(f.Now) {
			f.AlertsAt, f.AlertGaps = in.At, nil
		}
	}
	return nil, nil
}
