package mailing

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sort"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/chart"
	"example.org/coldseam/store"
)

// briefFresh is how old a brief may be at the moment the mail is made; an
// older one is made anew first.
const briefFresh = 35 * time.Minute

// briefPatience is how long after the send time a mail waits for a fresh
// brief; then it goes with what there is, and NO CALL where there is nothing.
const briefPatience = 10 * time.Minute

// QueueMornings puts the morning mails that are due into the outbox, one per
// subscriber. It returns how many, and the reaches whose brief must be made
// first.
func (ml *Mailer) QueueMornings(ctx context.Context, now time.Time) (n int, wait []BriefKey, err error) {
	due, err := ml.DB.Due(ctx, now)
	if err != nil || len(due) == 0 {
		return 0, nil, err
	}
	morningMailer := newMorningMailer(ml, now)
	if err := morningMailer.load(ctx, due); err != nil {
		return 0, nil, err
	}
	m := ml.mailing(coldseam.MailMorning, now)
	bad := 0

	for _, s := range due {
		l, ok, lerr := morningMailer.morning(ctx, s)
		if lerr != nil {
			ml.Log.Error("compose morning", "subscriber", s.ID, "err", lerr)
			if ctx.Err() == nil && !errors.Is(lerr, coldseam.ErrUnavailable) {
				bad++
			}
			continue
		}

		if ok {
			if err = m.add(ctx, l); err != nil {
				break
			}
		}
	}

	err = errors.Join(err, m.flush(ctx))
	n = m.n
	if bad > 0 {
		err = errors.Join(err,
			ml.alarm(ctx, "compose", now,
				[]string{fmt.Sprintf("%d morning mails could not be written and were not sent. The log says why.",
					bad)}))
	}
	return n, morningMailer.waiting(), err
}

// mailing queues a mailing piece by piece: the mails of a club's morning are
// larger than the memory of its server may be, and what is queued stays queued
// when the tick runs out of time.
type mailing struct {
	db    *store.DB
	e     store.NewMailing
	bytes int
	n     int // mails that were new
}

// mailingPiece is how much payload is held before it goes to the database.
const mailingPiece = 4 << 20

func (ml *Mailer) mailing(kind coldseam.MailKind, madeAt time.Time) *mailing {
	return &mailing{db: ml.DB, e: store.NewMailing{Kind: kind, MadeAt: madeAt, MailDomain: ml.Compose.Domain}}
}

func (m *mailing) add(ctx context.Context, l store.NewMessage) error {
	m.e.Messages = append(m.e.Messages, l)
	if m.bytes += len(l.Payload); m.bytes < mailingPiece {
		return nil
	}
	return m.flush(ctx)
}

func (m *mailing) flush(ctx context.Context) error {
	id, n, err := m.db.QueueMailing(ctx, m.e)
	if err != nil {
		return err
	}
	m.n += n
	if id != 0 {
		m.e.Mailing = id
	}
	clear(m.e.Messages) // the payloads go, the room stays
	m.e.Messages, m.bytes = m.e.Messages[:0], 0
	return nil
}

// reachesToGo lists the briefs that may bring somebody to the water.
func reachesToGo(briefs []coldseam.Brief) []coldseam.ReachID {
	var out []coldseam.ReachID
	for _, b := range briefs {
		if isFishable(b.Verdict) {
			out = append(out, b.Reach)
		}
	}
	return out
}

// bestVerdict is the most inviting word of a mail, which the outbox keeps.
func bestVerdict(briefs []coldseam.Brief) coldseam.Verdict {
	best := briefs[0].Verdict
	for _, b := range briefs {
		if b.Verdict.ShowsOdds() && (!best.ShowsOdds() || b.Verdict > best) {
			best = b.Verdict
		}
	}
	return best
}

// BriefKey names the brief of a reach and day.
type BriefKey struct {
	Reach coldseam.ReachID
	Day   coldseam.Date
}

// morningMailer holds the briefs that one tick's mails are made from.
type morningMailer struct {
	mail   *Mailer
	now    time.Time
	briefs map[BriefKey]*coldseam.Brief // nil = looked for, not there
	before map[BriefKey]coldseam.Brief  // of the day before, as its mails had them
	wait   map[BriefKey]bool
	warm   map[BriefKey]bool // out of season

	all    []coldseam.Reach           // of the club
	open   map[int64][]notify.OpenLog // mornings not logged yet, by subscriber
	paused map[string]bool            // by pauseName: who had the note of the warm season
}

func newMorningMailer(ml *Mailer, now time.Time) *morningMailer {
	return &morningMailer{mail: ml, now: now, briefs: map[BriefKey]*coldseam.Brief{},
		before: map[BriefKey]coldseam.Brief{}, wait: map[BriefKey]bool{}, warm: map[BriefKey]bool{}, open: map[int64][]notify.OpenLog{}}
}

// load reads once what the mails of all members need: a query for each of them
// would use up the tick when the database is far away.
func (d *morningMailer) load(ctx context.Context, due []store.DueSubscriber) error {
	var err error
	if d.all, err = d.mail.DB.Reaches(ctx); err != nil {
		return err
	}
	if d.paused, err = d.mail.DB.SwitchesOn(ctx, pausePrefix); err != nil {
		return err
	}

	days := map[coldseam.Date]map[coldseam.ReachID]bool{}
	for _, s := range due {
		if days[s.LocalDate] == nil {
			days[s.LocalDate] = map[coldseam.ReachID]bool{}
		}
		for _, id := range d.reachesOf(s.Prefs) {
			days[s.LocalDate][id] = true
		}
	}

	for day, wanted := range days {
		if err := d.read(ctx, day, slices.Sorted(maps.Keys(wanted))); err != nil {
			return err
		}
	}

	return d.openLogs(ctx, due)
}

// read looks for the briefs of a day, and for how warm the water was before it.
func (d *morningMailer) read(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID) error {
	briefs, err := d.mail.DB.BriefsOf(ctx, day, reaches, time.Time{})
	if err != nil {
		if ctx.Err() != nil || errors.Is(err, coldseam.ErrUnavailable) {
			return err
		}
		briefs = d.readEach(ctx, day, reaches)
	}
	for _, id := range reaches {
		d.briefs[BriefKey{id, day}] = nil
	}
	for i, b := range briefs {
		d.briefs[BriefKey{b.Reach, day}] = &briefs[i]
	}
	before, err := d.mail.dayBefore(ctx, day, reaches, d.now)
	if err != nil {
		return err
	}
	maps.Copy(d.before, before)
	return d.water(ctx, day, reaches)
}

// water looks at which reaches are out of season on a day.
func (d *morningMailer) water(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID) error {
	water, err := d.mail.DB.WindowWater(ctx, reaches, day.Add(1-pauseDays), day)
	for id, w := range water {
		d.warm[BriefKey{id, day}] = verdict.SeasonPaused(w, pauseAboveF, pauseDays, false)
	}
	return err
}

// readEach reads one brief after the other: one that cannot be read counts as
// missing and stops no other river's mail.
func (d *morningMailer) readEach(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID) []coldseam.Brief {
	var out []coldseam.Brief
	for _, id := range reaches {
		b, err := d.mail.DB.Brief(ctx, id, day)
		switch {
		case err == nil:
			out = append(out, b)
		case !errors.Is(err, coldseam.ErrNotFound):
			d.mail.Log.Error("brief not readable", "reach", string(id), "err", err)
		}
	}
	return out
}

// reachesOf lists the reaches that a member has chosen.
func (d *morningMailer) reachesOf(p coldseam.Preferences) []coldseam.ReachID {
	if len(p.Reaches) > 0 {
		return p.Reaches
	}
	var out []coldseam.ReachID
	for _, r := range d.all {
		out = append(out, r.ID)
	}
	return out
}

func (d *morningMailer) waiting() []BriefKey {
	var out []BriefKey
	for k := range d.wait {
		out = append(out, k)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Reach < out[j].Reach })
	return out
}

// brief returns the newest brief; stale or missing ones are noted as wanted.
func (d *morningMailer) brief(k BriefKey) *coldseam.Brief {
	b := d.briefs[k]
	if b == nil || d.now.Sub(b.Issued) > briefFresh || verdict.AsOf(*b, d.now).Verdict != b.Verdict {
		d.wait[k] = true
	}
	return b
}

// morning makes the row of one subscriber. ok is false while a brief is waited
// for.
func (d *morningMailer) morning(ctx context.Context, s store.DueSubscriber) (store.NewMessage, bool, error) {
	reaches := d.reachesOf(s.Prefs)
	at, err := notify.SendAt(s.LocalDate, s.Prefs.SendAt, env.Zone(s.Prefs.Zone))
	if err != nil {
		return store.NewMessage{}, false, err
	}
	hurry := d.now.Sub(at) > briefPatience
	var briefs []coldseam.Brief
	complete := true

	for _, id := range reaches {
		k := BriefKey{id, s.LocalDate}
		b := d.brief(k)
		if d.wait[k] {
			complete = false
		}

		if b == nil || d.wait[k] {
			x, fished := d.silent(id, s.LocalDate)
			if !fished {
				continue // the club does not fish it any more
			}
			b = &x
		}
		mine := d.mail.Personal(*b, s.Prefs)
		d.mail.since(&mine, d.before, s.Prefs)
		briefs = append(briefs, mine)
	}

	if !complete && !hurry || len(briefs) == 0 {
		return store.NewMessage{}, false, nil
	}
	if paused, err := d.pause(ctx, s, reaches); err != nil || paused {
		return store.NewMessage{}, false, err
	}
	payload, err := d.mail.Payload(ctx, notify.Content{Club: d.mail.Config.Club.Name, Briefs: briefs,
		For: &s.Prefs, OpenLogs: d.open[s.ID]}, s.LocalDate)
	if err != nil {
		return store.NewMessage{}, false, err
	}

	return store.NewMessage{
		Subscriber: s.ID,
		LocalDate:  s.LocalDate,
		Deadline:   s.Deadline,
		Verdict:    bestVerdict(briefs).String(),
		Goes:       reachesToGo(briefs),
		Payload:    payload,
	}, true, nil
}

// silent is the NO CALL of a morning whose brief could not be made in time.
func (d *morningMailer) silent(id coldseam.ReachID, day coldseam.Date) (b coldseam.Brief, fished bool) {
	i := slices.IndexFunc(d.all, func(r coldseam.Reach) bool { return r.ID == id })
	if i < 0 {
		return coldseam.Brief{}, false
	}
	r := d.all[i]
	return noBrief(briefOf(r, day), d.now), true
}

// briefOf holds what the club has entered of a reach.
func briefOf(r coldseam.Reach, day coldseam.Date) coldseam.Brief {
	return coldseam.Brief{Reach: r.ID, River: r.River, ReachName: r.Name, Site: r.Site, Zone: r.Zone, Day: day,
		Hazards: r.Hazards, Surveyed: r.HazardsSurveyed, Rules: r.Rules, Launch: r.Launch}
}

// lost is the NO CALL of a river whose brief cannot be told: nothing of the brief
// but its reach and day is trusted.
func (ml *Mailer) lost(ctx context.Context, b coldseam.Brief, day coldseam.Date) coldseam.Brief {
	if _, err := b.Day.MarshalText(); err != nil || b.Day.IsZero() {
		b.Day = day
	}
	r, err := ml.DB.Reach(ctx, b.Reach)
	if err != nil {
		r = coldseam.Reach{ID: b.Reach, River: string(b.Reach), Zone: ml.Config.Club.Zone}
	}
	return noBrief(briefOf(r, b.Day), ml.Now())
}

// noBrief is the NO CALL that stands for a brief which is not there or cannot be
// read; of b only what the club itself has entered is kept.
func noBrief(b coldseam.Brief, now time.Time) coldseam.Brief {
	return coldseam.Brief{
		Reach:     b.Reach,
		River:     b.River,
		ReachName: b.ReachName,
		Site:      b.Site,
		Zone:      b.Zone,
		Day:       b.Day,
		Hazards:   b.Hazards,
		Surveyed:  b.Surveyed,
		Launch:    b.Launch,
		Rules:     b.Rules,
		Issued:    now,
		GoodUntil: b.Day.At(12*time.Hour, env.Zone(b.Zone)),
		WindowI:   -1,
		Life:      coldseam.Reason{Code: "life_jacket_unknown", Kind: verdict.KindCaution},
		Reasons:   []coldseam.Reason{{Code: "brief_missing", Kind: verdict.KindMissing}},
	}
}

// DayBefore is how long before a morning its yesterday's mail was made, at least
// [proposal]: a brief of the afternoon was in nobody's mail.
const DayBefore = 22 * time.Hour

// dayBefore reads the briefs of the day before as its mails had them; what cannot
// be read is nothing to tell of.
func (ml *Mailer) dayBefore(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID,
	now time.Time) (map[BriefKey]coldseam.Brief, error) {
	briefs, err := ml.DB.BriefsOf(ctx, day.Add(-1), reaches, now.Add(-DayBefore))
	if ctx.Err() != nil || errors.Is(err, coldseam.ErrUnavailable) {
		return nil, err
	}
	out := map[BriefKey]coldseam.Brief{}
	for _, b := range briefs {
		out[BriefKey{b.Reach, day}] = b
	}
	return out, nil
}

// since tells a member what has changed in the own word and weight, not the club's.
func (ml *Mailer) since(mine *coldseam.Brief, before map[BriefKey]coldseam.Brief, p coldseam.Preferences) {
	if b, ok := before[BriefKey{mine.Reach, mine.Day}]; ok {
		mine.Since = verdict.Since(*mine, ml.Personal(b, p))
	}
}

// Personal is a subscriber's own view of a brief; NO CALL where a damaged brief
// has none.
func (ml *Mailer) Personal(b coldseam.Brief, p coldseam.Preferences) (mine coldseam.Brief) {
	defer func() {
		if x := recover(); x != nil {
			ml.Log.Error("brief not readable", "reach", string(b.Reach), "err", fmt.Sprint(x))
			mine = noBrief(b, ml.Now())
		}
	}()
	return verdict.Personal(b, p, verdict.PersonalOptions{Table: ml.Table, Loc: env.Zone(b.Zone),
		Weights: func(i int) []coldseam.SpotJig { return ml.weights(b, i, p) }})
}

// weightKey names the weights of one rig in one window of a brief.
type weightKey struct {
	brief                           int64
	window                          int
	body, line, metal, presentation string
}

// maxWeights bounds the weights that are kept; the rigs of one morning on 50
// rivers are far below.
const maxWeights = 20000

// weights are the ones for a member's rig in one window of a brief, withheld where
// the brief keeps nothing to weigh an own rig by.
func (ml *Mailer) weights(b coldseam.Brief, window int, p coldseam.Preferences) []coldseam.SpotJig {
	own := verdict.OwnRig(p)
	if !own && (window == max(b.WindowI, 0) || len(b.Weighing) == 0) {
		return b.Jig
	}

	k := weightKey{b.ID, window, p.Body, p.Line, p.Metal, p.Presentation}
	ml.mu.Lock()
	kept, ok := ml.rigs[k]
	ml.mu.Unlock()
	if ok {
		return kept
	}

	out, err := forecast.OwnJig(b, window, p)
	if err != nil {
		if len(b.Jig) > 0 {
			ml.Log.Warn("rig not weighed", "reach", string(b.Reach), "brief", b.ID, "err", err)
		}
		out = verdict.WithholdWeights(b.Jig)
	}
	if b.ID == 0 { // not stored: nothing to know it by
		return out
	}
	ml.mu.Lock()
	defer ml.mu.Unlock()
	if len(ml.rigs) >= maxWeights || ml.rigs == nil {
		ml.rigs = map[weightKey][]coldseam.SpotJig{}
	}
	ml.rigs[k] = out
	return out
}

// drawn is the chart of a brief; a brief that it cannot be drawn from goes
// without.
func drawn(b coldseam.Brief, units string) (png []byte, err error) {
	defer func() {
		if x := recover(); x != nil {
			err = fmt.Errorf("chart of brief %d: %v: %w", b.ID, x, coldseam.ErrInvalid)
		}
	}()
	return chart.MailPNG(b, units)
}
