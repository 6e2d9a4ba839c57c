package democlub

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// pastSeason is the club's spring of 2025, recorded morning by morning by a test
// that lives through it: make golden.
//
//go:embed season2025.json.gz
var pastSeason []byte

// Season is a recorded season: what was told, what came of the forecasts, and
// the trips of the invented members.
type Season struct {
	Briefs []coldseam.Brief
	Scores []store.Score
	Trips  []coldseam.Trip
}

// PastSeason is the club's last spring.
func PastSeason() (s Season, err error) {
	z, err := gzip.NewReader(bytes.NewReader(pastSeason))
	if err != nil {
		return s, fmt.Errorf("past season: %w", err)
	}
	raw, err := io.ReadAll(z)
	if err == nil {
		err = json.Unmarshal(raw, &s)
	}
	if err != nil {
		return s, fmt.Errorf("past season: %w", err)
	}
	return s, nil
}

// Enter stores a season in a database that knows its reaches, before any brief
// of a later day.
func (s Season) Enter(ctx context.Context, db *store.DB) error {
	slices.SortStableFunc(s.Briefs, func(a, b coldseam.Brief) int { return a.Issued.Compare(b.Issued) })
	for _, b := range s.Briefs {
		if _, err := db.SaveBrief(ctx, b); err != nil {
			return err
		}
		if err := db.SaveCrossings(ctx, b.Site, b.Issued, b.Crossings); err != nil {
			return err
		}
		if err := db.SaveRun(ctx, b.Reach, b.Day, b.Issued, b.Run); err != nil {
			return err
		}
	}
	for _, t := range s.Trips {
		if _, _, err := db.AddTrip(ctx, t); err != nil {
			return err
		}
	}
	_, err := db.SaveScores(ctx, s.Scores)
	return err
}
