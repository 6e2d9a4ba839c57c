package ingest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"example.org/coldseam"
)

// RatingRef begins the series id of a discharge that was read off a rating.
const RatingRef = "rating/"

// Qualifiers of our own on a discharge read off a rating.
const (
	outsideRating = "outside the rating"
	stageFailed   = "stage failed quality control"
)

// ApplyRating turns a stage series into discharge where an agency gives stage
// only. Every value is Estimated; one outside the table is Suspect too and says
// so, since a rating knows nothing above its highest gauging. A stage that
// failed quality control gives a row without a value. Missing rows keep their
// qualifiers, so that an ice mark still counts. Only stages within the validity
// of the rating are turned.
func ApplyRating(stage coldseam.Series, r coldseam.Rating) (coldseam.Series, error) {
	if stage.Param != coldseam.Stage {
		return coldseam.Series{}, fmt.Errorf("rating on %s: want stage: %w", stage.SeriesKey, coldseam.ErrInvalid)
	}
	if err := r.Check(); err != nil {
		return coldseam.Series{}, err
	}
	k := stage.SeriesKey
	k.Param, k.SeriesRef = coldseam.Discharge, RatingRef+stage.SeriesRef
	var obs []coldseam.Observation
	for _, o := range stage.Obs {
		if o.At.Before(r.From) || !r.To.IsZero() && !o.At.Before(r.To) {
			continue
		}
		obs = append(obs, rated(o, r))
	}
	s, _, err := coldseam.NewSeries(k, obs)
	return s, err
}

func rated(o coldseam.Observation, r coldseam.Rating) coldseam.Observation {
	failed := o.Flag&coldseam.QCFail != 0
	o.Flag = o.Flag&coldseam.AgencyFlags | coldseam.Estimated
	say := func(word string) {
		o.Qualifiers = append(slices.Clone(o.Qualifiers), word)
		slices.Sort(o.Qualifiers)
	}

	switch {
	case o.Flag&coldseam.Missing != 0:
	case failed:
		o.Value, o.Flag = 0, o.Flag|coldseam.Missing
		say(stageFailed)
	default:
		q, outside := r.At(o.Value)
		o.Value = q
		if outside {
			o.Flag |= coldseam.Suspect
			say(outsideRating)
		}
	}

	return o
}

// rate reads discharge off the ratings of the gauges that give stage alone.
// What is derived is known from now on.
func (f *Fetcher) rate(ctx context.Context, checked []coldseam.Series, known time.Time) ([]coldseam.Series, error) {
	if f.Ratings == nil {
		return nil, nil
	}
	measured := map[coldseam.SiteID]bool{}
	for _, s := range checked {
		measured[s.Site] = measured[s.Site] || s.Param == coldseam.Discharge
	}
	var out []coldseam.Series
	var errs []error

	for _, s := range checked {
		if s.Param != coldseam.Stage || measured[s.Site] {
			continue
		}
		rs, err := f.Ratings(ctx, s.Site)
		errs = append(errs, err)
		var obs []coldseam.Observation
		var key coldseam.SeriesKey
		for _, r := range rs {
			q, err := ApplyRating(s, r)
			errs = append(errs, err)
			key, obs = q.SeriesKey, append(obs, q.Obs...)
		}

		if len(obs) == 0 {
			continue
		}
		for i := range obs {
			obs[i].KnownAt = known
		}
		q, _, err := coldseam.SeriesOf(key, obs)
		if err != nil {
			errs = append(errs, err)
			continue
		}

		out = append(out, q)
	}

	return out, errors.Join(errs...)
}
