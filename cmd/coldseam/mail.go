package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"sort"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
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

// queueMornings puts the morning mails that are due into the outbox, one per
// subscriber. It returns how many, and the reaches whose brief must be made
// first.
func (ml *Mailer) queueMornings(ctx context.Context, now time.Time) (n int, wait []briefKey, err error) {
	due, err := ml.DB.Due(ctx, now)
	if err != nil || len(due) == 0 {
		return 0, nil, err
	}
	desk := newDesk(ml, now)
	if err := desk.lookBack(ctx, due); err != nil {
		return 0, nil, err
	}
	m := ml.mailing(coldseam.MailMorning, now)
	bad := 0
	for _, s := range due {
		l, ok, lerr := desk.morning(ctx, s)
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
		err = errors.Join(err, ml.alarm(ctx, "compose", now, []string{fmt.Sprintf("%d morning mails could not be written and were not sent. The log says why.", bad)}))
	}
	return n, desk.waiting(), err
}

// mailing queues an edition piece by piece: the letters of a club's morning are
// larger than the memory of its server may be, and what is queued stays queued
// when the tick runs out of time.
type mailing struct {
	db    *store.DB
	e     store.NewEdition
	bytes int
	n     int // letters that were new
}

// mailingPiece is how much payload is held before it goes to the database.
const mailingPiece = 4 << 20

func (ml *Mailer) mailing(kind coldseam.MailKind, madeAt time.Time) *mailing {
	return &mailing{db: ml.DB, e: store.NewEdition{Kind: kind, MadeAt: madeAt, MailDomain: ml.compose.Domain}}
}

func (m *mailing) add(ctx context.Context, l store.NewLetter) error {
	m.e.Letters = append(m.e.Letters, l)
	if m.bytes += len(l.Payload); m.bytes < mailingPiece {
		return nil
	}
	return m.flush(ctx)
}

func (m *mailing) flush(ctx context.Context) error {
	id, n, err := m.db.QueueEdition(ctx, m.e)
	if err != nil {
		return err
	}
	m.n += n
	if id != 0 {
		m.e.Edition = id
	}
	clear(m.e.Letters) // the payloads go, the room stays
	m.e.Letters, m.bytes = m.e.Letters[:0], 0
	return nil
}

// reachesToGo lists the briefs that may bring somebody to the water.
func reachesToGo(briefs []coldseam.Brief) []coldseam.ReachID {
	var out []coldseam.ReachID
	for _, b := range briefs {
		if goes(b.Verdict) {
			out = append(out, b.Reach)
		}
	}
	return out
}

// briefKey names the brief of a reach and day.
type briefKey struct {
	Reach coldseam.ReachID
	Day   coldseam.Date
}

// desk holds the briefs that one tick's mails are made from.
type desk struct {
	mail   *Mailer
	now    time.Time
	briefs map[briefKey]*coldseam.Brief // nil = looked for, not there
	wait   map[briefKey]bool
	warm   map[briefKey]bool // out of season

	all    []coldseam.Reach           // of the club
	open   map[int64][]notify.OpenLog // mornings not logged yet, by subscriber
	paused map[string]bool            // by pauseName: who had the note of the warm season
}

func newDesk(ml *Mailer, now time.Time) *desk {
	return &desk{mail: ml, now: now, briefs: map[briefKey]*coldseam.Brief{}, wait: map[briefKey]bool{},
		warm: map[briefKey]bool{}, open: map[int64][]notify.OpenLog{}}
}

// lookBack reads once what the letters of all need: a query a subscriber would
// eat a tick's time when the database is far.
func (d *desk) lookBack(ctx context.Context, due []store.DueSubscriber) error {
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
func (d *desk) read(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID) error {
	briefs, err := d.mail.DB.BriefsOf(ctx, day, reaches)
	if err != nil {
		if ctx.Err() != nil || errors.Is(err, coldseam.ErrUnavailable) {
			return err
		}
		briefs = d.readEach(ctx, day, reaches)
	}
	for _, id := range reaches {
		d.briefs[briefKey{id, day}] = nil
	}
	for i, b := range briefs {
		d.briefs[briefKey{b.Reach, day}] = &briefs[i]
	}
	return d.water(ctx, day, reaches)
}

// water looks at which reaches are out of season on a day.
func (d *desk) water(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID) error {
	water, err := d.mail.DB.WindowWater(ctx, reaches, day.Add(1-pauseDays), day)
	for id, w := range water {
		d.warm[briefKey{id, day}] = verdict.SeasonPaused(w, pauseAboveF, pauseDays, false)
	}
	return err
}

// readEach reads one brief after the other: one that cannot be read counts as
// missing and stops no other river's mail.
func (d *desk) readEach(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID) []coldseam.Brief {
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

// reachesOf lists the reaches that a member wants to hear of.
func (d *desk) reachesOf(p coldseam.Preferences) []coldseam.ReachID {
	if len(p.Reaches) > 0 {
		return p.Reaches
	}
	var out []coldseam.ReachID
	for _, r := range d.all {
		out = append(out, r.ID)
	}
	return out
}

func (d *desk) waiting() []briefKey {
	var out []briefKey
	for k := range d.wait {
		out = append(out, k)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Reach < out[j].Reach })
	return out
}

// brief returns the newest brief; stale or missing ones are noted as wanted.
func (d *desk) brief(k briefKey) *coldseam.Brief {
	b := d.briefs[k]
	if b == nil || d.now.Sub(b.Issued) > briefFresh || verdict.AsOf(*b, d.now).Verdict != b.Verdict {
		d.wait[k] = true
	}
	return b
}

// morning makes the row of one subscriber. ok is false while a brief is waited
// for.
func (d *desk) morning(ctx context.Context, s store.DueSubscriber) (store.NewLetter, bool, error) {
	reaches := d.reachesOf(s.Prefs)
	at, err := notify.SendAt(s.LocalDate, s.Prefs.SendAt, env.Zone(s.Prefs.Zone))
	if err != nil {
		return store.NewLetter{}, false, err
	}
	hurry := d.now.Sub(at) > briefPatience
	var briefs []coldseam.Brief
	complete := true
	for _, id := range reaches {
		k := briefKey{id, s.LocalDate}
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
		briefs = append(briefs, d.mail.personal(*b, s.Prefs))
	}
	if !complete && !hurry || len(briefs) == 0 {
		return store.NewLetter{}, false, nil
	}
	if paused, err := d.pause(ctx, s, reaches); err != nil || paused {
		return store.NewLetter{}, false, err
	}
	payload, err := d.mail.payload(ctx, notify.Content{Club: d.mail.Config.Club.Name, Briefs: briefs, OpenLogs: d.open[s.ID]}, s.LocalDate)
	if err != nil {
		return store.NewLetter{}, false, err
	}
	return store.NewLetter{Subscriber: s.ID, LocalDate: s.LocalDate, Deadline: s.Deadline, Verdict: briefs[0].Verdict.String(),
		Goes: reachesToGo(briefs), Payload: payload}, true, nil
}

// silent is the NO CALL of a morning whose brief could not be made in time.
func (d *desk) silent(id coldseam.ReachID, day coldseam.Date) (b coldseam.Brief, fished bool) {
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
		Hazards: r.Hazards, Surveyed: r.HazardsSurveyed, Rules: r.Rules}
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
	return coldseam.Brief{Reach: b.Reach, River: b.River, ReachName: b.ReachName, Site: b.Site, Zone: b.Zone, Day: b.Day,
		Hazards: b.Hazards, Surveyed: b.Surveyed, Rules: b.Rules, Issued: now, GoodUntil: b.Day.At(12*time.Hour, env.Zone(b.Zone)),
		WindowI: -1, Life: coldseam.Reason{Code: "life_jacket_unknown", Kind: verdict.KindCaution},
		Reasons: []coldseam.Reason{{Code: "brief_missing", Kind: verdict.KindMissing}}}
}

// personal is a subscriber's own view of a brief; NO CALL where a damaged brief
// has none.
func (ml *Mailer) personal(b coldseam.Brief, p coldseam.Preferences) (mine coldseam.Brief) {
	defer func() {
		if x := recover(); x != nil {
			ml.Log.Error("brief not readable", "reach", string(b.Reach), "err", fmt.Sprint(x))
			mine = noBrief(b, ml.Now())
		}
	}()
	return verdict.Personal(b, p, verdict.PersonalOptions{Table: ml.Table, Loc: env.Zone(b.Zone), Jig: b.Rigs[rigKey(p)]})
}

// payload sorts the briefs of a letter, the best first, and writes it down. A
// brief that cannot be written, as with a number that is none, is that river's
// NO CALL.
func (ml *Mailer) payload(ctx context.Context, c notify.Content, day coldseam.Date) ([]byte, error) {
	sortBriefs(c.Briefs)
	raw, err := c.Marshal()
	if err == nil {
		return raw, nil
	}
	for i, b := range c.Briefs {
		if _, err := (notify.Content{Briefs: []coldseam.Brief{b}}).Marshal(); err != nil {
			ml.Log.Error("river not composed", "reach", string(b.Reach), "err", err)
			c.Briefs[i] = ml.lost(ctx, b, day)
		}
	}
	sortBriefs(c.Briefs)
	return c.Marshal()
}

// rigKey names a rig among the ones a brief holds weights for.
func rigKey(p coldseam.Preferences) string {
	return p.Body + "|" + p.Line + "|" + p.Metal + "|" + p.Presentation
}

// sortBriefs puts the best first: GO, TOSS-UP, STAY by odds over cost, then
// STOP, then NO CALL.
func sortBriefs(b []coldseam.Brief) {
	rank := map[coldseam.Verdict]int{coldseam.Go: 0, coldseam.TossUp: 1, coldseam.Stay: 2, coldseam.Stop: 3, coldseam.NoCall: 4}
	sort.SliceStable(b, func(i, j int) bool {
		if r, s := rank[b[i].Verdict], rank[b[j].Verdict]; r != s {
			return r < s
		}
		return b[i].Odds-b[i].Cost > b[j].Odds-b[j].Cost
	})
}

// sender makes one mail worker; all of this process share a breaker, so that a
// fault of ours stops after 20 attempts, not after 20 of each connection.
func (ml *Mailer) sender(worker string) *notify.Sender {
	return &notify.Sender{Outbox: ml.DB, Compose: ml.composeLetter, Relay: ml.relay, Worker: worker, Now: ml.Now, Sleep: ml.sleep,
		Log: ml.Log, Breaker: &ml.breaker}
}

// workerName is unique among all running processes.
func workerName(n int) string {
	host, _ := os.Hostname()
	return fmt.Sprintf("%s-%d-%d", host, os.Getpid(), n)
}

// composeLetter writes a mail with the charts of its rivers; each chart is
// drawn once per brief. A river that cannot be written is NO CALL, and the
// others are told.
func (ml *Mailer) composeLetter(ctx context.Context, l coldseam.Letter) (notify.Message, error) {
	l, err := ml.freshen(ctx, l)
	if err != nil {
		return notify.Message{}, err
	}
	charts := map[coldseam.ReachID][]byte{}
	c, parseErr := notify.ParseContent(l.Payload)
	for _, b := range c.Briefs {
		if png, err := ml.chartOf(ctx, b, l.Subscriber.Prefs.Units); err == nil && png != nil {
			charts[b.Reach] = png
		} else if err != nil {
			ml.Log.Warn("chart", "reach", b.Reach, "err", err)
		}
	}
	m, err := ml.written(l, charts)
	if err == nil || parseErr != nil || errors.Is(err, coldseam.ErrRejected) {
		return m, err
	}

	ml.Log.Error("mail not composed", "outbox", l.ID, "err", err)
	for i, b := range c.Briefs {
		alone := c
		alone.Briefs = []coldseam.Brief{b}
		one := l
		if one.Payload, err = alone.Marshal(); err == nil {
			_, err = ml.written(one, nil)
		}
		if err != nil {
			ml.Log.Error("river not composed", "reach", string(b.Reach), "err", err)
			c.Briefs[i] = ml.lost(ctx, b, l.LocalDate)
			delete(charts, b.Reach)
		}
	}
	if l, err = ml.reword(ctx, l, c); err != nil {
		return notify.Message{}, err
	}
	m, err = ml.written(l, charts)
	if err != nil && l.ID != 0 {
		err = errors.Join(err, ml.alarm(ctx, "compose", ml.Now(), []string{"A mail could not be written and waits. The log says why."}))
	}
	return m, err
}

// written composes a mail; a panic on the way is an error of this mail alone.
func (ml *Mailer) written(l coldseam.Letter, charts map[coldseam.ReachID][]byte) (m notify.Message, err error) {
	defer func() {
		if x := recover(); x != nil {
			err = fmt.Errorf("compose outbox %d: %v: %w", l.ID, x, coldseam.ErrInvalid)
		}
	}()
	return ml.compose.Compose(l, charts)
}

// reword puts other content into a letter that is about to be written; a letter
// of the outbox keeps it, so that what was told stays on record.
func (ml *Mailer) reword(ctx context.Context, l coldseam.Letter, c notify.Content) (coldseam.Letter, error) {
	var err error
	if l.Payload, err = ml.payload(ctx, c, l.LocalDate); err != nil || l.ID == 0 {
		return l, err
	}
	if err := ml.DB.Reword(ctx, l, c.Briefs[0].Verdict.String(), reachesToGo(c.Briefs), l.Payload); err != nil {
		return l, fmt.Errorf("%w: %w", err, coldseam.ErrUnavailable)
	}
	return l, nil
}

// freshen looks, just before a mail is written, whether its word still holds: a
// newer brief that says another one replaces it, also in window or weight, and
// one whose hours are over or whose inputs have gone stale is NO CALL. A notice
// that something has turned is void once it has turned back.
func (ml *Mailer) freshen(ctx context.Context, l coldseam.Letter) (coldseam.Letter, error) {
	if l.Kind != coldseam.MailMorning && l.Kind != coldseam.MailFlip || l.ID == 0 {
		return l, nil
	}
	c, err := notify.ParseContent(l.Payload)
	if err != nil || len(c.Briefs) == 0 {
		return l, err
	}

	var reaches []coldseam.ReachID
	for _, b := range c.Briefs {
		reaches = append(reaches, b.Reach)
	}
	newest, err := ml.DB.NewestBriefs(ctx, c.Briefs[0].Day, reaches)
	if err != nil {
		return l, fmt.Errorf("briefs before sending: %w: %w", err, coldseam.ErrUnavailable)
	}

	changed := false
	for i, told := range c.Briefs {
		now := told
		if id := newest[told.Reach]; id != 0 && id != told.ID {
			b, err := ml.DB.BriefByID(ctx, id)
			switch {
			case ctx.Err() != nil, errors.Is(err, coldseam.ErrUnavailable):
				return l, fmt.Errorf("brief before sending: %w: %w", err, coldseam.ErrUnavailable)
			case err != nil:
				ml.Log.Error("brief not readable", "reach", string(told.Reach), "err", err)
				now = ml.lost(ctx, told, l.LocalDate)
			case b.Issued.After(told.Issued):
				now = ml.personal(b, l.Subscriber.Prefs)
			}
		}
		now = verdict.AsOf(now, ml.Now())
		if !sameWord(told, now) {
			c.Briefs[i], changed = now, true
		}
	}
	if !changed {
		return l, nil
	}
	if l.Kind == coldseam.MailFlip && c.Briefs[0].Verdict == c.Was {
		return l, fmt.Errorf("turned back to %s: %w", c.Was, notify.ErrVoid)
	}
	return ml.reword(ctx, l, c)
}

// sameWord reports whether two briefs send a member to the same hours with the
// same weights, or keep them off for the same reason.
func sameWord(a, b coldseam.Brief) bool {
	v, _ := a.Best()
	w, _ := b.Best()
	return a.Verdict == b.Verdict && v.Start.Equal(w.Start) && v.End.Equal(w.End) &&
		slices.EqualFunc(a.Jig, b.Jig, func(x, y coldseam.SpotJig) bool {
			return x.SpotID == y.SpotID && x.TieOz == y.TieOz && x.PackOz == y.PackOz && x.Withheld.Code == y.Withheld.Code
		}) &&
		slices.EqualFunc(a.Stops, b.Stops, func(x, y coldseam.Reason) bool { return x.Code == y.Code })
}

// chartKey separates the pictures of the two unit systems.
type chartKey struct {
	brief int64
	units string
}

// maxCharts bounds the cache; a day of a club with 50 rivers is far below.
const maxCharts = 400

func (ml *Mailer) chartOf(ctx context.Context, b coldseam.Brief, units string) ([]byte, error) {
	if b.ID == 0 || b.Verdict == coldseam.NoCall {
		return nil, nil
	}
	k := chartKey{b.ID, units}
	ml.mu.Lock()
	png, ok := ml.charts[k]
	ml.mu.Unlock()
	if ok {
		return png, nil
	}
	full, err := ml.DB.BriefByID(ctx, b.ID)
	if err != nil {
		return nil, err
	}
	if png, err = drawn(full, units); err != nil {
		return nil, err
	}
	ml.mu.Lock()
	defer ml.mu.Unlock()
	if len(ml.charts) >= maxCharts {
		clear(ml.charts)
	}
	ml.charts[k] = png
	return png, nil
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
