package store

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

const sqlSaveBrief = `
INSERT INTO coldseam.brief (reach_id, day, issued_at, good_until, verdict, odds, odds_note, hold_p, cost, window_start, window_end,
  water_c, discharge_m3s, stage_m, tie_oz, band, flow_class, run_stage, advice_row, sure, replay, body)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22)
ON CONFLICT ON CONSTRAINT brief_key DO NOTHING
RETURNING brief_id`

// SaveBrief stores what is told. What was told never changes: a second brief
// of the same reach, day and issue time is ignored and the id of the first
// returned. ErrInvalid: no reach, day or issue time, or a value that is not
// finite.
func (db *DB) SaveBrief(ctx context.Context, b coldseam.Brief) (id int64, err error) {
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		id, err = db.saveBrief(ctx, tx, b)
		return err
	})
	return id, err
}

// saveBrief stores a brief and seals it. Other servers wait for the transaction
// before they store theirs.
func (db *DB) saveBrief(ctx context.Context, tx pgx.Tx, b coldseam.Brief) (int64, error) {
	fail := func(err error) (int64, error) {
		return 0, fmt.Errorf("brief %s %s: %w", b.Reach, b.Day, classify(err))
	}
	if b.Reach == "" || b.Day.IsZero() || b.Issued.IsZero() {
		return fail(fmt.Errorf("needs reach, day and issue time: %w", coldseam.ErrInvalid))
	}
	b.ID, b.Seal = 0, ""
	body, err := json.Marshal(b)
	if err != nil {
		return fail(fmt.Errorf("%w: %w", err, coldseam.ErrInvalid))
	}

	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, sealLock); err != nil {
		return fail(err)
	}
	c := columnsOf(b)
	var id int64
	err = tx.QueryRow(ctx, sqlSaveBrief, b.Reach, b.Day.UTC(), micro(b.Issued), nullTime(b.GoodUntil),
		b.Verdict.String(), c.odds, b.OddsNote.Text,
		b.HoldP, b.Cost, c.from, c.to, c.water, c.flow, c.stage, c.tie, b.Temp.Class, b.Flow.Class, b.Run.Stage,
		b.How.Row, b.Sure, b.Replay, body).Scan(&id)
	switch err {
	case nil:
		err = seal(ctx, tx, id)
	case pgx.ErrNoRows:
		err = tx.QueryRow(ctx, `SELECT brief_id FROM coldseam.brief WHERE reach_id = $1 AND day = $2 AND issued_at = $3 AND replay = $4`,
			b.Reach, b.Day.UTC(), micro(b.Issued), b.Replay).Scan(&id)
	}

	if err != nil {
		return fail(err)
	}

	return id, nil
}

// briefColumns are the facts of a brief that queries ask for.
type briefColumns struct {
	odds, water, flow, stage, tie *float64
	from, to                      *time.Time
}

func columnsOf(b coldseam.Brief) briefColumns {
	var c briefColumns
	if b.OddsOK && b.Verdict.ShowsOdds() && !b.Rank.Only() { // a rank is no odds, and never scored as such
		c.odds = &b.Odds
	}
	if w, ok := b.Best(); ok {
		c.from, c.to = nullTime(w.Start), nullTime(w.End)
	}

	median := func(f coldseam.Fact) *float64 {
		if !f.WindowOK {
			return nil
		}
		return &f.Window[1]
	}
	c.water, c.flow, c.stage = median(b.Temp), median(b.Flow), median(b.Stage)
	if i := coldseam.Headline(b.Jig); i >= 0 && b.Jig[i].TieOz > 0 {
		c.tie = &b.Jig[i].TieOz
	}
	return c
}

const briefCols = `brief_id, seal, body`

// Brief returns the newest brief of a reach and day that was told, replays
// left aside; ErrNotFound.
func (db *DB) Brief(ctx context.Context, reach coldseam.ReachID, day coldseam.Date) (coldseam.Brief, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT `+briefCols+` FROM coldseam.brief
		WHERE reach_id = $1 AND day = $2 AND NOT replay ORDER BY issued_at DESC LIMIT 1`, reach, day.UTC())
	return oneBrief(rows, err, fmt.Sprintf("brief %s %s", reach, day))
}

// BriefByID returns one brief, replays too; ErrNotFound.
func (db *DB) BriefByID(ctx context.Context, id int64) (coldseam.Brief, error) {
	rows, err := db.pool.Query(ctx, `SELECT `+briefCols+` FROM coldseam.brief WHERE brief_id = $1`, id)
	return oneBrief(rows, err, fmt.Sprintf("brief %d", id))
}

// Briefs returns the newest brief of every reach for a day, by river and
// reach, replays left aside.
func (db *DB) Briefs(ctx context.Context, day coldseam.Date) ([]coldseam.Brief, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT `+briefCols+` FROM (
		  SELECT DISTINCT ON (reach_id) brief_id, seal, body, reach_id
		  FROM coldseam.brief WHERE day = $1 AND NOT replay
		  ORDER BY reach_id, issued_at DESC) b
		ORDER BY body ->> 'River', body ->> 'ReachName', reach_id`, day.UTC())
	return briefsFrom(rows, err, day.String())
}

// BriefsOf is Briefs for some reaches as they were told at a time; those without a
// brief by then are left out. A zero time means the newest.
func (db *DB) BriefsOf(ctx context.Context, day coldseam.Date, reaches []coldseam.ReachID,
	at time.Time) ([]coldseam.Brief, error) {
	by := &at
	if at.IsZero() {
		by = nil
	}
	rows, err := db.pool.Query(ctx, `
		SELECT `+briefCols+`
		FROM unnest($2::text[]) AS r (reach)
		CROSS JOIN LATERAL (
		  SELECT brief_id, seal, body FROM coldseam.brief
		  WHERE reach_id = r.reach AND day = $1 AND NOT replay AND ($3::timestamptz IS NULL OR issued_at <= $3)
		  ORDER BY issued_at DESC LIMIT 1) b`, day.UTC(), reaches, by)
	return briefsFrom(rows, err, day.String())
}

// NewestBriefs returns the ids of the newest briefs of a day, by reach, replays
// left aside; a reach without one is left out.
func (db *DB) NewestBriefs(ctx context.Context, day coldseam.Date,
	reaches []coldseam.ReachID) (map[coldseam.ReachID]int64, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT r.reach, b.brief_id
		FROM unnest($2::text[]) AS r (reach)
		CROSS JOIN LATERAL (
		  SELECT brief_id FROM coldseam.brief
		  WHERE reach_id = r.reach AND day = $1 AND NOT replay ORDER BY issued_at DESC LIMIT 1) b`, day.UTC(), reaches)
	if err != nil {
		return nil, fmt.Errorf("newest briefs of %s: %w", day, classify(err))
	}
	out := map[coldseam.ReachID]int64{}
	var reach coldseam.ReachID
	var id int64
	if _, err := pgx.ForEachRow(rows, []any{&reach, &id}, func() error { out[reach] = id; return nil }); err != nil {
		return nil, fmt.Errorf("newest briefs of %s: %w", day, classify(err))
	}
	return out, nil
}

// WindowWater returns the median water temperature, degC, of the best window as
// last told for the days from first to last of each reach; NaN where no brief or
// no temperature stands.
func (db *DB) WindowWater(ctx context.Context, reaches []coldseam.ReachID, first,
	last coldseam.Date) (map[coldseam.ReachID][]float64, error) {
	out := map[coldseam.ReachID][]float64{}
	for _, id := range reaches {
		days := make([]float64, max(0, last.Sub(first)+1))
		for i := range days {
			days[i] = math.NaN()
		}
		out[id] = days
	}

	rows, err := db.pool.Query(ctx, `
		SELECT DISTINCT ON (reach_id, day) reach_id, day, water_c
		FROM coldseam.brief
		WHERE reach_id = ANY($1) AND day BETWEEN $2 AND $3 AND NOT replay
		ORDER BY reach_id, day, issued_at DESC`, reaches, first.UTC(), last.UTC())
	if err != nil {
		return nil, fmt.Errorf("water told %s to %s: %w", first, last, classify(err))
	}

	var id coldseam.ReachID
	var day time.Time
	var water *float64
	if _, err := pgx.ForEachRow(rows, []any{&id, &day, &water}, func() error {
		if water != nil {
			out[id][coldseam.DateOf(day.UTC()).Sub(first)] = *water
		}
		return nil
	}); err != nil {
		return nil, fmt.Errorf("water told %s to %s: %w", first, last, classify(err))
	}

	return out, nil
}

func briefsFrom(rows pgx.Rows, err error, of string) ([]coldseam.Brief, error) {
	if err != nil {
		return nil, fmt.Errorf("briefs of %s: %w", of, classify(err))
	}
	out, err := pgx.CollectRows(rows, scanBrief)
	if err != nil {
		return nil, fmt.Errorf("briefs of %s: %w", of, classify(err))
	}
	return out, nil
}

// BriefIssues returns every brief told of a reach and day, oldest first.
func (db *DB) BriefIssues(ctx context.Context, reach coldseam.ReachID, day coldseam.Date) ([]coldseam.Brief, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT `+briefCols+` FROM coldseam.brief
		WHERE reach_id = $1 AND day = $2 AND NOT replay ORDER BY issued_at`, reach, day.UTC())
	return briefsFrom(rows, err, fmt.Sprintf("%s %s", reach, day))
}

// MorningWords are the words of a reach that stood when the mail of each day went
// out.
func (db *DB) MorningWords(ctx context.Context, reach coldseam.ReachID, from,
	to coldseam.Date) (map[coldseam.Date]coldseam.Verdict, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT day, verdict FROM coldseam.morning_brief WHERE reach_id = $1 AND day BETWEEN $2 AND $3`, reach, from.UTC(),
		to.UTC())
	if err != nil {
		return nil, fmt.Errorf("words of %s: %w", reach, classify(err))
	}

	out := map[coldseam.Date]coldseam.Verdict{}
	var day time.Time
	var word string
	_, err = pgx.ForEachRow(rows, []any{&day, &word}, func() error {
		var v coldseam.Verdict
		err := v.UnmarshalText([]byte(word))
		out[coldseam.DateOf(day)] = v
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("words of %s: %w", reach, classify(err))
	}
	return out, nil
}

func oneBrief(rows pgx.Rows, err error, what string) (coldseam.Brief, error) {
	if err != nil {
		return coldseam.Brief{}, fmt.Errorf("%s: %w", what, classify(err))
	}
	b, err := pgx.CollectExactlyOneRow(rows, scanBrief)
	if err != nil {
		return coldseam.Brief{}, fmt.Errorf("%s: %w", what, classify(err))
	}
	return b, nil
}

func scanBrief(r pgx.CollectableRow) (coldseam.Brief, error) {
	var id int64
	var seal, body []byte
	if err := r.Scan(&id, &seal, &body); err != nil {
		return coldseam.Brief{}, err
	}
	var b coldseam.Brief
	if err := json.Unmarshal(body, &b); err != nil {
		return b, fmt.Errorf("brief %d: %w", id, err)
	}
	b.ID, b.Seal = id, hex.EncodeToString(seal)
	return b, nil
}
