package store

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// ensembleProbs are the quantiles kept of every issued step, when the members
// are long dropped.
var ensembleProbs = [...]float64{.05, .10, .25, .50, .75, .90, .95}

const sqlSaveEnsemble = `
INSERT INTO coldseam.ensemble (site_id, param, issued_at, source, flags, valid_at, quantile, trace, weight, members)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
ON CONFLICT ON CONSTRAINT ensemble_key DO NOTHING
RETURNING ensemble_id`

// SaveEnsemble stores a forecast as issued. What was issued never changes: a
// second one of the same site, parameter, issue time and source is ignored and
// the id of the first returned. Members are kept as float4, a relative error
// below 6e-8. ErrInvalid: no members, ragged members or values that are not
// finite.
func (db *DB) SaveEnsemble(ctx context.Context, e coldseam.Ensemble) (int64, error) {
	fail := func(err error) (int64, error) {
		return 0, fmt.Errorf("ensemble %s/%s of %s: %w", e.Site, e.Param, e.Issued.Format(time.RFC3339), classify(err))
	}
	if err := checkEnsemble(e); err != nil {
		return fail(err)
	}
	members := make([][]float32, len(e.Members))
	for i, m := range e.Members {
		members[i] = float32s(m)
	}

	quantiles := make([][]float32, len(e.Valid))
	valid := make([]time.Time, len(e.Valid))
	for h := range e.Valid {
		valid[h] = micro(e.Valid[h])
		quantiles[h] = make([]float32, len(ensembleProbs))
		for k, p := range ensembleProbs {
			quantiles[h][k] = float32(e.Quantile(h, p))
		}
	}

	var trace []time.Time
	for _, d := range e.Trace {
		trace = append(trace, d.UTC())
	}
	flags := e.Flags
	if flags == nil {
		flags = []string{}
	}

	var id int64
	err := db.pool.QueryRow(ctx, sqlSaveEnsemble, e.Site, e.Param, micro(e.Issued), e.Source, flags, valid, quantiles,
		trace, e.Weights, members).Scan(&id)
	if err == pgx.ErrNoRows {
		err = db.pool.QueryRow(ctx,
			`SELECT ensemble_id FROM coldseam.ensemble WHERE site_id = $1 AND param = $2 AND issued_at = $3 AND source = $4`,
			e.Site, e.Param, micro(e.Issued), e.Source).Scan(&id)
	}

	if err != nil {
		return fail(err)
	}

	return id, nil
}

func checkEnsemble(e coldseam.Ensemble) error {
	if e.Site == "" || e.Param.Unit() == "" || e.Issued.IsZero() || len(e.Valid) == 0 || len(e.Members) == 0 {
		return fmt.Errorf("%d members, %d steps: %w", len(e.Members), len(e.Valid), coldseam.ErrInvalid)
	}
	if len(e.Trace) != 0 && len(e.Trace) != len(e.Members) {
		return fmt.Errorf("%d traces, %d members: %w", len(e.Trace), len(e.Members), coldseam.ErrInvalid)
	}
	for i, m := range e.Members {
		if len(m) != len(e.Valid) {
			return fmt.Errorf("member %d has %d of %d steps: %w", i, len(m), len(e.Valid), coldseam.ErrInvalid)
		}
		for h, v := range m {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("member %d step %d is not finite: %w", i, h, coldseam.ErrInvalid)
			}
		}
	}
	return nil
}

// Ensembles returns the forecasts of one site and parameter issued in
// [from, to], oldest first. Where the members are dropped already, the kept
// quantiles stand for them and the flag "quantiles" is set.
func (db *DB) Ensembles(ctx context.Context, site coldseam.SiteID, param coldseam.Parameter, from,
	to time.Time) ([]coldseam.Ensemble, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT site_id, param, issued_at, source, flags, valid_at, quantile, trace, weight, members
		FROM coldseam.ensemble
		WHERE site_id = $1 AND param = $2 AND issued_at BETWEEN $3 AND $4
		ORDER BY issued_at, ensemble_id`, site, param, micro(from), micro(to))
	if err != nil {
		return nil, fmt.Errorf("ensembles of %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, scanEnsemble)
	if err != nil {
		return nil, fmt.Errorf("ensembles of %s: %w", site, classify(err))
	}
	return out, nil
}

func scanEnsemble(r pgx.CollectableRow) (coldseam.Ensemble, error) {
	var e coldseam.Ensemble
	var quantiles, members [][]float32
	var trace []time.Time
	err := r.Scan(&e.Site, &e.Param, &e.Issued, &e.Source, &e.Flags, &e.Valid, &quantiles, &trace, &e.Weights, &members)
	if err != nil {
		return e, err
	}

	e.Issued = e.Issued.UTC()
	for i := range e.Valid {
		e.Valid[i] = e.Valid[i].UTC()
	}
	for _, t := range trace {
		e.Trace = append(e.Trace, coldseam.DateOf(t))
	}
	for _, m := range members {
		e.Members = append(e.Members, float64s(m))
	}

	if members == nil {
		e.Flags, e.Trace = append(e.Flags, "quantiles"), nil
		e.Members = make([][]float64, len(ensembleProbs))
		for _, step := range quantiles {
			for k, v := range step {
				e.Members[k] = append(e.Members[k], float64(v))
			}
		}
	}

	return e, nil
}

// SaveCrossings stores the crossing forecasts of one site and issue.
func (db *DB) SaveCrossings(ctx context.Context, site coldseam.SiteID, issued time.Time, cs []coldseam.Crossing) error {
	b := &pgx.Batch{}
	for _, c := range cs {
		body, err := json.Marshal(c)
		if err != nil {
			return fmt.Errorf("crossings of %s: %w: %w", site, err, coldseam.ErrInvalid)
		}
		b.Queue(`INSERT INTO coldseam.crossing (site_id, issued_at, edge_c, up, within_3d, within_7d, within_10d, date_p10, date_p50, date_p90, confirmed, body)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) ON CONFLICT ON CONSTRAINT crossing_pkey DO NOTHING`,
			site, micro(issued), c.EdgeC, c.Up, c.Within3, c.Within7, c.Within10, nullDate(c.Dates[0]),
			nullDate(c.Dates[1]), nullDate(c.Dates[2]), c.Confirmed, body)
	}
	if err := db.pool.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("crossings of %s: %w", site, classify(err))
	}
	return nil
}

// Crossings returns the crossing forecasts of the newest issue at or before a
// time, by edge; empty when there is none.
func (db *DB) Crossings(ctx context.Context, site coldseam.SiteID, asOf time.Time) ([]coldseam.Crossing, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT body FROM coldseam.crossing
		WHERE site_id = $1 AND issued_at = (SELECT max(issued_at) FROM coldseam.crossing WHERE site_id = $1 AND issued_at <= $2)
		ORDER BY up DESC, edge_c`, site, micro(asOf))
	if err != nil {
		return nil, fmt.Errorf("crossings of %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[coldseam.Crossing])
	if err != nil {
		return nil, fmt.Errorf("crossings of %s: %w", site, classify(err))
	}
	return out, nil
}

// IssuedCrossing is a crossing forecast with its issue time.
type IssuedCrossing struct {
	Issued   time.Time
	Crossing coldseam.Crossing
}

// CrossingsIssued returns every crossing forecast of a site issued in [from, to],
// oldest first.
func (db *DB) CrossingsIssued(ctx context.Context, site coldseam.SiteID, from, to time.Time) ([]IssuedCrossing, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT issued_at, body FROM coldseam.crossing
		WHERE site_id = $1 AND issued_at BETWEEN $2 AND $3
		ORDER BY issued_at, edge_c`, site, micro(from), micro(to))
	if err != nil {
		return nil, fmt.Errorf("crossings of %s: %w", site, classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[IssuedCrossing])
	if err != nil {
		return nil, fmt.Errorf("crossings of %s: %w", site, classify(err))
	}
	return out, nil
}

// SaveRun stores the state of the run of one reach and day as issued.
func (db *DB) SaveRun(ctx context.Context, reach coldseam.ReachID, day coldseam.Date, issued time.Time,
	r coldseam.RunState) error {
	body, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("run of %s: %w: %w", reach, err, coldseam.ErrInvalid)
	}
	_, err = db.pool.Exec(ctx, `
		INSERT INTO coldseam.run_state (reach_id, species, day, issued_at, stage, stage_p, p_wave, arrived_p10, arrived_p50, arrived_p90, spawned_p50, body, wave_rule)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13) ON CONFLICT ON CONSTRAINT run_state_pkey DO NOTHING`,
		reach, r.Species, day.UTC(), micro(issued), r.Stage, r.StageP, r.PWave, r.Arrived[0], r.Arrived[1],
		r.Arrived[2], r.Spawned[1], body, max(r.WaveRule, 1))
	if err != nil {
		return fmt.Errorf("run of %s: %w", reach, classify(err))
	}
	return nil
}

// Run returns the newest state of the run of a reach issued at or before a
// time, or ErrNotFound.
func (db *DB) Run(ctx context.Context, reach coldseam.ReachID, asOf time.Time) (coldseam.RunState, error) {
	var r coldseam.RunState
	err := db.pool.QueryRow(ctx,
		`SELECT body FROM coldseam.run_state WHERE reach_id = $1 AND issued_at <= $2 ORDER BY issued_at DESC LIMIT 1`,
		reach, micro(asOf)).Scan(&r)
	if err != nil {
		return r, fmt.Errorf("run of %s: %w", reach, classify(err))
	}
	return r, nil
}

// WaveOdds are the wave odds of a reach as the first run forecast of each day
// had them for that day, before any recalibration, of days with a run clock and
// known at asOf. Odds by another rule than coldseam.WaveRule are left out.
func (db *DB) WaveOdds(ctx context.Context, reach coldseam.ReachID, species string,
	asOf time.Time) (map[coldseam.Date]float64, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT DISTINCT ON (day) day, (body ->> 'PWaveRaw')::float8
		FROM coldseam.run_state
		WHERE reach_id = $1 AND species = $2 AND issued_at <= $3 AND (body ->> 'Active')::bool AND wave_rule = $4
		  AND body -> 'Days' -> 0 ->> 'Day' = day::text
		ORDER BY day, issued_at`, reach, species, micro(asOf), coldseam.WaveRule)
	if err != nil {
		return nil, fmt.Errorf("wave odds of %s: %w", reach, classify(err))
	}

	out := map[coldseam.Date]float64{}
	var day time.Time
	var p float64
	_, err = pgx.ForEachRow(rows, []any{&day, &p}, func() error {
		out[coldseam.DateOf(day)] = p
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("wave odds of %s: %w", reach, classify(err))
	}

	return out, nil
}
