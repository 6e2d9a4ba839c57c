package forecast

import (
	"encoding/json"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// sound reports what of a value cannot be stored: a number that is none.
func sound(v any) error {
	if _, err := json.Marshal(v); err != nil {
		return fmt.Errorf("forecast: %w: %w", err, coldseam.ErrInvalid)
	}
	return nil
}

// broken is the morning of a river whose forecast failed on the way: STOP where
// the gauge, the warnings or a rule say so by themselves, else NO CALL. Nothing
// that was computed is kept.
func (w *work) broken(err error) Morning {
	f := w.f
	b := coldseam.Brief{
		Reach:     f.Reach.ID,
		River:     f.Reach.River,
		ReachName: f.Reach.Name,
		Site:      f.Site.ID,
		SiteName:  f.Site.Name,
		Zone:      f.Reach.Zone,
		Day:       f.Day,
		Issued:    f.Now,
		GoodUntil: f.Day.At(12*time.Hour, f.Loc),
		Hazards:   f.Reach.Hazards,
		Surveyed:  f.Reach.HazardsSurveyed,
		WindowI:   -1,
		Rules:     f.Reach.Rules,
		Replay:    f.Replayed,
	}
	failed := coldseam.Reason{Code: "forecast_broken", Kind: verdict.KindMissing, Source: "forecast"}
	b.Reasons = []coldseam.Reason{failed}

	d := w.stopsAlone()
	with := b
	with.Inputs, with.Life = d.Inputs, d.Life
	with.Reasons = append(with.Reasons, d.Reasons...)
	if d.Verdict == coldseam.Stop && len(d.Stops) > 0 {
		with.Verdict, with.Stops = coldseam.Stop, d.Stops
	}
	if sound(with) == nil {
		b = with
	}

	return Morning{Brief: b, Decision: verdict.Decision{Verdict: b.Verdict, WindowI: -1, Stops: b.Stops,
		Reasons: b.Reasons},
		Problems: append(w.out.Problems, err)}
}

// stopsAlone is the decision without any window, or none if that fails too.
func (w *work) stopsAlone() (d verdict.Decision) {
	defer func() {
		if recover() != nil {
			d = verdict.Decision{}
		}
	}()
	in := w.inputs()
	in.Candidates, in.Begun = nil, nil
	return verdict.Decide(in)
}
