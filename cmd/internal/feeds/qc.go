package feeds

import (
	"context"
	"errors"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// What quality control and the rating know of a gauge beside the document that
// is looked at.

// limitsAge is how long what is known of a site for quality control is kept.
const limitsAge = 24 * time.Hour

// qcKnown is a site's limits with the time they were read.
type qcKnown struct {
	ingest.SiteLimits
	at time.Time
}

// siteLimits is what quality control knows of a site; a database that does not
// answer leaves the tests that need it silent.
func (fd *Feeds) siteLimits(id coldseam.SiteID) ingest.SiteLimits {
	fd.mu.Lock()
	known, ok := fd.qc[id]
	fd.mu.Unlock()
	if ok && fd.Now().Sub(known.at) < limitsAge {
		return known.SiteLimits
	}
	known = qcKnown{at: fd.Now()}
	for _, s := range fd.Config.Sites {
		if coldseam.SiteID(s.ID) == id {
			known.Tidal = s.Tidal
		}
	}

	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	_, top, _, err := fd.DB.Extremes(ctx, id, coldseam.Discharge)
	known.MaxDischargeM3S = max(top, 0)
	lo, hi, ok, err2 := fd.DB.Extremes(ctx, id, coldseam.Stage)
	if ok {
		// A flood may pass every mark on record, and must not be called an error:
		// the upper limit lies the whole range on record above the highest stage
		// [proposal].
		hi += hi - lo
		known.StageMinM, known.StageMaxM = &lo, &hi
	}

	if err := errors.Join(err, err2); err != nil {
		fd.Log.Warn("limits for quality control", "site", id, "err", err)
	}
	fd.mu.Lock()
	defer fd.mu.Unlock()
	fd.qc[id] = known
	return known.SiteLimits
}

// airNear is the air temperature beside a gauge: of the station that a reach of
// the gauge names, else of the gauge itself. Daily means stand in for instants.
func (fd *Feeds) airNear(ctx context.Context, site coldseam.SiteID, from,
	to time.Time) ([]coldseam.Observation, error) {
	near := site
	for _, r := range fd.Config.Reaches {
		if air := coldseam.SiteID(r.AirSite); air != "" && (coldseam.SiteID(r.Site) == site ||
			coldseam.SiteID(r.TempSite) == site) {
			near = air
		}
	}
	for _, stat := range []coldseam.Statistic{coldseam.Instant, coldseam.Mean} {
		s, err := fd.DB.History(ctx, near, coldseam.AirTemp, stat, from, to, fd.Now())
		if errors.Is(err, coldseam.ErrNotFound) {
			continue
		}
		if err != nil || len(s.Obs) > 0 {
			return s.Obs, err
		}
	}
	return nil, nil
}

// RatingsOf are the club's rating tables of a gauge. Where the agency gives
// discharge itself they are not used: it knows of ice and weeds.
func (fd *Feeds) RatingsOf(ctx context.Context, site coldseam.SiteID) ([]coldseam.Rating, error) {
	rs, err := fd.DB.Ratings(ctx, site)
	if err != nil || len(rs) == 0 {
		return nil, err
	}
	list, err := fd.DB.SeriesList(ctx, site)
	if err != nil {
		return nil, err
	}
	for _, s := range list {
		if s.Param == coldseam.Discharge && !strings.HasPrefix(s.SeriesRef, ingest.RatingRef) {
			return nil, nil
		}
	}
	return rs, nil
}
