package setup

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest"
)

// rating imports the rating table of a gauge that reports stage alone: from its
// day on, discharge is read off it, the stages that are stored already included.
func (c *Import) rating(ctx context.Context, w io.Writer, a *parts.Parts, path string) error {
	provider, code, ok := strings.Cut(c.Site, ":")
	if !ok || provider == "" || code == "" {
		return fmt.Errorf("--site is %q; a rating wants provider:code: %w", c.Site, coldseam.ErrInvalid)
	}
	from, err := coldseam.ParseDate(c.Since)
	if err != nil {
		return fmt.Errorf("--since is %q; a rating wants the day it came into force, YYYY-MM-DD: %w", c.Since,
			coldseam.ErrInvalid)
	}

	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := readRating(f, c.Zero)
	if err != nil {
		return err
	}

	r.Site, r.From = coldseam.SiteID(c.Site), from.UTC()
	if err := r.Check(); err != nil {
		return err
	}
	n := len(r.StageM)
	what := fmt.Sprintf("%s: rating of %s from %s: %d pairs, stage %.2f to %.2f m, %.4g to %.4g m3/s",
		filepath.Base(path), r.Site, from, n,
		r.StageM[0], r.StageM[n-1], r.Discharge[0], r.Discharge[n-1])
	if c.DryRun {
		fmt.Fprintln(w, what+"; dry run, nothing stored")
		return nil
	}

	if err := a.Env.DB.SaveRating(ctx, r); err != nil {
		return err
	}
	added, revised, err := rateStored(ctx, a, r.Site, r.From)
	if err != nil {
		return err
	}

	rs, err := a.Feeds.RatingsOf(ctx, r.Site)
	if err == nil && len(rs) == 0 {
		what += "; not used for discharge: the agency gives it"
	}
	fmt.Fprintf(w, "%s; %d discharges new, %d revised\n", what, added, revised)
	return err
}

// rateStored reads discharge off the ratings for the stages that are stored.
func rateStored(ctx context.Context, a *parts.Parts, site coldseam.SiteID,
	from time.Time) (added, revised int, err error) {
	const piece = 90 * env.Day // bounds the memory
	list, err := a.Env.DB.SeriesList(ctx, site)
	if err != nil {
		return 0, 0, err
	}

	for _, s := range list {
		if s.Param != coldseam.Stage {
			continue
		}
		end := feeds.Later(s.Newest, from).Add(time.Second)

		for at := from; at.Before(end); at = at.Add(piece) {
			obs, err := a.Env.DB.Neighbours(ctx, s.SeriesKey, at, at.Add(piece))
			if err != nil {
				return added, revised, err
			}

			if len(obs) == 0 {
				continue
			}
			res, err := a.Feeds.Fetcher.Import(ctx, ingest.Profile{Name: s.Provider, Provider: s.Provider},
				ingest.Batch{Series: []coldseam.Series{{SeriesKey: s.SeriesKey, Obs: obs}}})
			added, revised = added+res.Added, revised+res.Revised
			if err != nil {
				return added, revised, err
			}
		}
	}

	return added, revised, nil
}

// readRating reads pairs of stage and discharge; the header names their units.
func readRating(r io.Reader, zero float64) (coldseam.Rating, error) {
	var out coldseam.Rating
	c := csv.NewReader(io.LimitReader(r, 1<<20))
	c.Comment, c.TrimLeadingSpace = '#', true
	head, err := c.Read()
	if err != nil {
		return out, fmt.Errorf("no header: %w", coldseam.ErrInvalid)
	}
	stageUnit, flowUnit := map[string]string{"stage_m": "m", "stage_ft": "ft"},
		map[string]string{"discharge_m3s": "m3/s", "discharge_cfs": "ft3/s"}
	si, qi := -1, -1
	var stage, flow ingest.Conversion

	for i, h := range head {
		h = strings.TrimSpace(strings.TrimPrefix(h, "\ufeff"))
		switch {
		case stageUnit[h] != "" && si < 0:
			si = i
			stage, err = ingest.UnitFor(coldseam.Stage, stageUnit[h])
		case flowUnit[h] != "" && qi < 0:
			qi = i
			flow, err = ingest.UnitFor(coldseam.Discharge, flowUnit[h])
		default:
			return out, fmt.Errorf("column %q; want stage_m or stage_ft, and discharge_m3s or discharge_cfs: %w", h,
				coldseam.ErrInvalid)
		}

		if err != nil {
			return out, err
		}
	}

	if si < 0 || qi < 0 {
		return out, fmt.Errorf("header %q; want stage_m or stage_ft, and discharge_m3s or discharge_cfs: %w",
			strings.Join(head, ","), coldseam.ErrInvalid)
	}
	out.StageZeroM = stage.Apply(zero)

	for line := 2; ; line++ {
		rec, err := c.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}

		if err != nil {
			return out, fmt.Errorf("%s: %w", err, coldseam.ErrInvalid)
		}
		h, err1 := ingest.ParseDecimal(rec[si])
		q, err2 := ingest.ParseDecimal(rec[qi])
		if err1 != nil || err2 != nil {
			return out, fmt.Errorf("line %d: want two decimals: %w", line, coldseam.ErrInvalid)
		}
		out.StageM, out.Discharge = append(out.StageM, stage.Apply(h)), append(out.Discharge, flow.Apply(q))
	}
}
