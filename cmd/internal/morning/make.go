package morning

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"github.com/riverqueue/river"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// MakeBrief computes and stores the morning of one reach.
func (mk *Maker) MakeBrief(ctx context.Context, r coldseam.Reach, morning coldseam.Date) (coldseam.Brief, error) {
	start := time.Now()
	now := mk.Now()
	f, err := mk.Inputs(ctx, r, morning, now, false)
	if err != nil {
		// A part that cannot be read makes the brief poorer, and NO CALL where it
		// matters; a reach that cannot be placed at all ends here. So does a
		// database that went away meanwhile: the previous brief stays in effect, and the job is
		// tried again.
		if f.Loc == nil || errors.Is(err, coldseam.ErrUnavailable) {
			return coldseam.Brief{}, err
		}
		mk.Log.Error("features", "reach", r.ID, "err", err)
	}

	if prev, err := mk.previous(ctx, r.ID, morning); err == nil {
		f.Prev = prev
	}
	if before, err := mk.DB.BriefsOf(ctx, morning.Add(-1), []coldseam.ReachID{r.ID},
		now.Add(-mailing.DayBefore)); err == nil && len(before) > 0 {
		f.Before = &before[0]
	}
	fitted := f.FlowModel == nil || f.TempModel == nil
	m, err := mk.Computed(ctx, f)
	if err != nil {
		return coldseam.Brief{}, err
	}

	notify.SetWording(&m.Brief)
	for _, p := range m.Problems {
		mk.Log.Warn("forecast", "reach", r.ID, "err", p)
	}
	if fitted {
		if err := mk.SaveModels(ctx, r, m); err != nil {
			mk.Log.Error("models", "reach", r.ID, "err", err)
		}
	}

	if err := mk.SaveMorning(ctx, &m); err != nil {
		return coldseam.Brief{}, err
	}
	if err := mk.saveIce(ctx, r.ID, now, m.Ice); err != nil {
		mk.Log.Error("ice state", "reach", r.ID, "err", err)
	}

	if err := mk.mail.QueueVerdictChanges(ctx, m.Brief, f.Prev); err != nil {
		mk.Log.Error("flip notices", "reach", r.ID, "err", err)
	}
	if err := mk.remember(ctx, r, morning, m.Learnt); err != nil {
		mk.Log.Error("season memory", "reach", r.ID, "err", err)
	}
	mk.Log.Info("brief", "reach", r.ID, "verdict", m.Brief.Verdict, "dur", time.Since(start).Round(time.Millisecond))
	return m.Brief, nil
}

// Ahead computes the brief of a morning from what is known now, and stores nothing
// but models that had to be fitted.
func (mk *Maker) Ahead(ctx context.Context, r coldseam.Reach, day coldseam.Date) (coldseam.Brief, error) {
	f, err := mk.Inputs(ctx, r, day, mk.Now(), false)
	if err != nil {
		return coldseam.Brief{}, err
	}
	m, err := mk.Computed(ctx, f)
	if err != nil {
		return coldseam.Brief{}, err
	}
	notify.SetWording(&m.Brief)
	if f.FlowModel == nil || f.TempModel == nil {
		err = mk.SaveModels(ctx, r, m)
	}
	return m.Brief, err
}

// ErrBusy: a brief of the reach is being computed already.
var ErrBusy = fmt.Errorf("an earlier brief is still being computed: %w", coldseam.ErrUnavailable)

// Computed makes a morning for as long as ctx lasts, one at a time for a reach. A
// computation cannot be cut short: one that goes on after its time leaves its
// worker to other rivers.
func (mk *Maker) Computed(ctx context.Context, f forecast.Inputs) (forecast.Morning, error) {
	id := f.Reach.ID
	if _, busy := mk.computing.LoadOrStore(id, true); busy {
		return forecast.Morning{}, fmt.Errorf("reach %s: %w", id, ErrBusy)
	}
	done := make(chan forecast.Morning, 1)
	go func() {
		defer close(done)
		defer mk.computing.Delete(id)
		defer func() {
			if x := recover(); x != nil {
				mk.Log.Error("brief", "reach", string(id), "panic", fmt.Sprint(x), "stack", string(debug.Stack()))
			}
		}()
		done <- mk.MorningOf(f)
	}()

	select {
	case m, ok := <-done:
		if !ok {
			return m, fmt.Errorf("reach %s: the computation failed, the log says how: %w", id, coldseam.ErrInvalid)
		}
		return m, nil
	case <-ctx.Done():
		return forecast.Morning{}, fmt.Errorf("reach %s: the computation takes too long: %w: %w", id, ctx.Err(),
			coldseam.ErrUnavailable)
	}
}

// remember keeps what the season's log has taught so far, for the seasons to
// come; a new version only when trips were added.
func (mk *Maker) remember(ctx context.Context, r coldseam.Reach, morning coldseam.Date, l *run.Learnt) error {
	if l == nil {
		return nil
	}
	var past []run.Memory
	m, err := mk.DB.Model(ctx, string(r.ID), memoryKind, mk.Now())
	if err == nil {
		err = json.Unmarshal(m.Params, &past)
	}

	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}

	now := l.Memory()
	kept := past[:0]
	for _, x := range past {
		if x.Year == now.Year && x.Trips == now.Trips {
			return nil
		}
		if x.Year != now.Year {
			kept = append(kept, x)
		}
	}

	raw, err := json.Marshal(append(kept, now))
	if err != nil {
		return fmt.Errorf("season memory: %w", err)
	}
	_, err = mk.DB.SaveModel(ctx, store.Model{
		Owner:  string(r.ID),
		Kind:   memoryKind,
		MadeAt: mk.Now(),
		From:   coldseam.Date{Year: now.Year, Month: 1, Day: 1},
		To:     morning,
		Params: raw,
	})
	return err
}

// previous is the last word for the same morning, else yesterday's.
func (mk *Maker) previous(ctx context.Context, reach coldseam.ReachID, morning coldseam.Date) (*coldseam.Brief, error) {
	for _, d := range []coldseam.Date{morning, morning.Add(-1)} {
		b, err := mk.DB.Brief(ctx, reach, d)
		if err == nil {
			return &b, nil
		}
		if !errors.Is(err, coldseam.ErrNotFound) {
			return nil, err
		}
	}
	return nil, coldseam.ErrNotFound
}

// SaveMorning stores the ensembles and what is told. A part that cannot be
// stored must not keep the word from those who wait for it.
func (mk *Maker) SaveMorning(ctx context.Context, m *forecast.Morning) error {
	b := &m.Brief
	var errs []error
	for _, e := range []coldseam.Ensemble{m.Flow, m.Temp} {
		if len(e.Members) > 0 {
			_, err := mk.DB.SaveEnsemble(ctx, e)
			errs = append(errs, err)
		}
	}

	if len(m.Crossings) > 0 {
		errs = append(errs, mk.DB.SaveCrossings(ctx, b.Site, b.Issued, m.Crossings))
	}
	errs = append(errs, mk.DB.SaveRun(ctx, b.Reach, b.Day, b.Issued, b.Run))
	if err := errors.Join(errs...); errors.Is(err, coldseam.ErrUnavailable) {
		return err
	} else if err != nil {
		mk.Log.Error("forecast not stored", "reach", b.Reach, "err", err)
	}

	id, err := mk.mail.SaveWithCorrections(ctx, *b)
	b.ID = id
	return err
}

// SaveModels stores the models that a morning had to fit.
func (mk *Maker) SaveModels(ctx context.Context, r coldseam.Reach, m forecast.Morning) error {
	var errs []error
	if x := m.FlowModel; x != nil {
		errs = append(errs, mk.saveModel(ctx, r.Site, "flow", x, x.From, x.To, x.Score))
	}
	if x := m.TempModel; x != nil {
		errs = append(errs, mk.saveModel(ctx, r.Site, "thermal", x, x.From, x.To, x.Score))
	}
	return errors.Join(errs...)
}

// MakeAll makes the briefs of all reaches; one failing reach never stops the
// others.
func (mk *Maker) MakeAll(ctx context.Context, morning coldseam.Date) ([]coldseam.Brief, error) {
	return mk.each(ctx, func(r coldseam.Reach) (coldseam.Brief, error) { return mk.MakeBrief(ctx, r, morning) })
}

// AheadAll is Ahead for all reaches; one that fails stops no other.
func (mk *Maker) AheadAll(ctx context.Context, day coldseam.Date) ([]coldseam.Brief, error) {
	return mk.each(ctx, func(r coldseam.Reach) (coldseam.Brief, error) { return mk.Ahead(ctx, r, day) })
}

func (mk *Maker) each(ctx context.Context, brief func(coldseam.Reach) (coldseam.Brief, error)) ([]coldseam.Brief, error) {
	reaches, err := mk.DB.Reaches(ctx)
	if err != nil {
		return nil, err
	}
	var out []coldseam.Brief
	var errs []error
	for _, r := range reaches {
		b, err := brief(r)
		if err != nil {
			errs = append(errs, fmt.Errorf("brief %s: %w", r.ID, err))
			continue
		}
		out = append(out, b)
	}
	return out, errors.Join(errs...)
}

// EnqueueBriefs asks for briefs now, each at most once a minute.
func (mk *Maker) EnqueueBriefs(ctx context.Context, keys []mailing.BriefKey, now time.Time) error {
	var jobs []river.JobArgs
	for _, k := range keys {
		jobs = append(jobs, store.BriefArgs{Reach: k.Reach, Day: k.Day, Issued: now.Truncate(time.Minute)})
	}
	return mk.DB.Enqueue(ctx, jobs...)
}
