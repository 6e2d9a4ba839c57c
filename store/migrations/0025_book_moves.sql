-- A cell of fewer than three anglers came and went in the book with each single
-- trip: its name told the water, weight and method of one. Now nothing of it is
-- kept there, and what is left over is told for a dimension as a whole. A cell
-- opens, moves and closes with three different anglers, and so does everything
-- that is worked out from cells.
DELETE FROM coldseam.book_row b USING (
  SELECT dimension, season, reach_id, species, cell FROM coldseam.book_row
  GROUP BY dimension, season, reach_id, species, cell HAVING count(DISTINCT NULLIF(who, '')) < 3) k
WHERE (b.dimension, b.season, b.reach_id, b.species, b.cell) = (k.dimension, k.season, k.reach_id, k.species, k.cell);
COMMENT ON TABLE coldseam.book_row IS 'The trip log as the book shows it: a row for each trip or rig log and dimension, renewed cell by cell; no cell of fewer than three anglers. Never granted to readers.';
COMMENT ON COLUMN coldseam.book_row.dimension IS 'all, day, month, band, flow, stage, verdict, weight, presentation, clarity, spot; held = weights that held bottom.';

CREATE OR REPLACE VIEW coldseam.book_now AS
SELECT d.dimension, c.season, c.reach_id, c.species, d.cell, md5('trip ' || c.trip_id) AS source, COALESCE(md5(c.angler), '') AS who, c.day,
  t.hours * CASE WHEN t.lines > 0 THEN t.lines ELSE GREATEST(t.anglers, 1) END AS line_hours, c.fish, c.went_not AS stayed,
  COALESCE(c.because_mail, false) AS by_mail, c.held, NULL::float8 AS discharge_m3s
FROM coldseam.trip_condition c
JOIN coldseam.trip t USING (trip_id)
LEFT JOIN coldseam.morning_brief m ON m.reach_id = c.reach_id AND m.day = c.day
CROSS JOIN LATERAL (VALUES
  ('all', 'all'), ('day', c.day::text), ('month', to_char(c.day, 'YYYY-MM')), ('band', c.band), ('flow', c.flow_class), ('stage', c.run_stage),
  ('verdict', COALESCE(m.verdict, 'none told')), ('weight', COALESCE(c.weight_oz::numeric::text, 'not said')),
  ('presentation', COALESCE(NULLIF(c.presentation, ''), 'not said')), ('clarity', COALESCE(NULLIF(t.clarity, ''), 'not said')),
  ('spot', COALESCE(NULLIF(c.spot_id, ''), 'not said'))) AS d (dimension, cell)
WHERE t.in_book AND (NOT c.went_not OR d.dimension IN ('all', 'verdict'))
UNION ALL
SELECT 'held', extract(year FROM g.logged_at)::int, g.reach_id, g.spot_id, g.weight_oz::numeric::text, md5('rig ' || g.rig_log_id), COALESCE(md5(NULLIF(g.angler, '')), ''),
  g.logged_at::date, 0, 0, false, false, g.held, g.discharge_m3s
FROM coldseam.rig_log g
LEFT JOIN coldseam.trip t USING (trip_id)
WHERE COALESCE(t.in_book, true)
UNION ALL
SELECT 'held', c.season, c.reach_id, c.spot_id, c.weight_oz::numeric::text, md5('trip ' || c.trip_id), COALESCE(md5(c.angler), ''), c.day, 0, 0, false, false, c.held, NULL
FROM coldseam.trip_condition c
JOIN coldseam.trip t USING (trip_id)
WHERE t.in_book AND c.held IS NOT NULL AND c.weight_oz IS NOT NULL AND NOT EXISTS (SELECT FROM coldseam.rig_log g WHERE g.trip_id = c.trip_id);

-- Trips of the season that stand in no open cell of a dimension, or in one but
-- not in the season, could be had by subtraction: with fewer than three anglers
-- they take the smallest open cell with them.
CREATE OR REPLACE VIEW coldseam.book_cell AS
WITH went AS (
  SELECT * FROM coldseam.book_open WHERE NOT stayed),
cells AS (
  SELECT dimension, season, reach_id, species, cell, count(DISTINCT NULLIF(who, '')) AS anglers, count(*) AS trips, sum(line_hours) AS line_hours, sum(fish) AS fish,
    avg(held::int) AS held_share, percentile_cont(0.5) WITHIN GROUP (ORDER BY discharge_m3s) AS median_m3s, count(*) FILTER (WHERE fish = 0) AS blank_trips
  FROM went
  GROUP BY dimension, season, reach_id, species, cell
  HAVING count(DISTINCT NULLIF(who, '')) >= 3),
counted AS (
  SELECT w.* FROM went w JOIN cells USING (dimension, season, reach_id, species, cell)),
apart AS (
  SELECT dimension, season, reach_id, species, count(DISTINCT NULLIF(who, '')) AS anglers
  FROM (
    SELECT dimension, season, reach_id, species, source, max(who) AS who
    FROM (
      SELECT d.dimension, a.season, a.reach_id, a.species, a.source, a.who
      FROM counted a
      JOIN (SELECT DISTINCT dimension, season, reach_id, species FROM counted WHERE dimension NOT IN ('all', 'held')) d USING (season, reach_id, species)
      WHERE a.dimension = 'all'
      UNION ALL
      SELECT dimension, season, reach_id, species, source, who FROM counted WHERE dimension NOT IN ('all', 'held')) x
    GROUP BY dimension, season, reach_id, species, source
    HAVING count(*) = 1) y
  GROUP BY dimension, season, reach_id, species),
ranked AS (
  SELECT c.*, s.anglers AS apart, row_number() OVER (PARTITION BY c.dimension, c.season, c.reach_id, c.species ORDER BY c.anglers, c.trips, c.cell) AS place
  FROM cells c
  LEFT JOIN apart s USING (dimension, season, reach_id, species))
SELECT dimension, season, reach_id, species, cell, anglers, trips, line_hours, fish, held_share, median_m3s, place = 1 AND COALESCE(apart < 3, false) AS hidden,
  apart IS NOT NULL AS some_apart, blank_trips
FROM ranked;
COMMENT ON VIEW coldseam.book_cell IS 'The open cells of the book, with the mark of what readers may not see all the same. Never granted to readers.';
COMMENT ON COLUMN coldseam.book_cell.some_apart IS 'Trips of the season stand in no open cell of the dimension.';
COMMENT ON COLUMN coldseam.book_cell.blank_trips IS 'Trips without a fish.';

CREATE OR REPLACE VIEW season.trip AS
SELECT dimension, season, reach_id, species, cell, anglers, trips, CASE WHEN dimension = 'all' THEN round(line_hours::numeric) END AS line_hours,
  CASE WHEN dimension = 'all' THEN fish END AS fish, round((fish / NULLIF(line_hours, 0))::numeric, 2) AS fish_per_line_hour, hidden, 0 AS anglers_lacking,
  CASE WHEN dimension = 'all' THEN blank_trips END AS blank_trips
FROM coldseam.book_cell
WHERE dimension <> 'held' AND NOT hidden
UNION ALL
SELECT DISTINCT dimension, season, reach_id, species, 'too few', NULL::bigint, NULL::bigint, NULL::numeric, NULL::bigint, NULL::numeric, true, 3, NULL::bigint
FROM coldseam.book_cell
WHERE dimension NOT IN ('held', 'day') AND some_apart
UNION ALL
SELECT 'all', m.season, m.reach_id, m.species, 'all', NULL, NULL, NULL, NULL, NULL, true, 3, NULL
FROM (
  SELECT DISTINCT extract(year FROM b.day)::int AS season, b.reach_id, r.body -> 'Species' ->> 0 AS species
  FROM coldseam.morning_brief b JOIN coldseam.reach r USING (reach_id)) m
WHERE m.species IS NOT NULL AND NOT EXISTS (
  SELECT FROM coldseam.book_cell c WHERE c.dimension = 'all' AND (c.season, c.reach_id, c.species) = (m.season, m.reach_id, m.species));
COMMENT ON VIEW season.trip IS 'Trips by one dimension at a time, of those whom the book counts. A cell opens, moves and closes only with three different anglers; trips that stand in none are "too few", and a cell goes with them where they could be had by subtraction.';
COMMENT ON COLUMN season.trip.dimension IS 'all, day, month, band, flow, stage, verdict (the morning''s word), weight (ounces), presentation, clarity or spot.';
COMMENT ON COLUMN season.trip.cell IS 'Value of the dimension; "not known", "not said" and "none told" are values too, "too few" is what fewer than three anglers share.';
COMMENT ON COLUMN season.trip.hidden IS 'Numbers left empty to protect anglers.';
COMMENT ON COLUMN season.trip.anglers_lacking IS 'Different anglers that open a number, at most; 0 = open. How many there are already is not told: it would tell of one.';
COMMENT ON COLUMN season.trip.blank_trips IS 'Of the trips those without a fish; only for the whole season.';

DROP VIEW season.weight;
CREATE VIEW season.weight AS
SELECT season, reach_id, species AS spot_id, cell::float8 AS weight_oz, round((cell::float8 * 28.349523125)::numeric, 1) AS weight_g, anglers, trips AS logs,
  round(held_share, 2) AS held_share, round(median_m3s::numeric) AS median_m3s, round((median_m3s / 0.028316846592)::numeric, -1) AS median_cfs
FROM coldseam.book_cell
WHERE dimension = 'held';
COMMENT ON VIEW season.weight IS 'Which weights held bottom at which spot, where three different anglers logged one; it moves only with three.';
COMMENT ON COLUMN season.weight.season IS 'Calendar year.';
COMMENT ON COLUMN season.weight.reach_id IS 'The reach.';
COMMENT ON COLUMN season.weight.spot_id IS 'The spot.';
COMMENT ON COLUMN season.weight.weight_oz IS 'Jig weight, ounces.';
COMMENT ON COLUMN season.weight.weight_g IS 'Jig weight, grams.';
COMMENT ON COLUMN season.weight.anglers IS 'Different anglers.';
COMMENT ON COLUMN season.weight.logs IS 'Logs.';
COMMENT ON COLUMN season.weight.held_share IS 'Share that held bottom, 0-1.';
COMMENT ON COLUMN season.weight.median_m3s IS 'Median discharge of the logs, m3/s.';
COMMENT ON COLUMN season.weight.median_cfs IS 'Median discharge of the logs, ft3/s.';

CREATE OR REPLACE VIEW season.river AS
SELECT r.reach_id, r.river, r.name AS reach, r.site_id, s.name AS gauge, r.temp_site_id, r.zone, r.regulated, r.max_flow_m3s,
  r.max_flow_m3s / 0.028316846592::float8 AS max_flow_cfs, NOT r.retired AS fished, r.updated_at,
  NULLIF((r.body ->> 'DriveKM')::float8, 0) AS drive_km, NULLIF((r.body ->> 'DriveKM')::float8, 0) / 1.609344 AS drive_mi,
  (SELECT string_agg(x ->> 'Name', ', ') FROM jsonb_array_elements(CASE WHEN jsonb_typeof(r.body -> 'Spots') = 'array' THEN r.body -> 'Spots' ELSE '[]' END) x
   WHERE x ->> 'DepthRefM' IS NULL) AS spots_to_sound
FROM coldseam.reach r
JOIN coldseam.site s USING (site_id);
COMMENT ON COLUMN season.river.drive_km IS 'The drive there and back that a STAY saves, km; null = not set.';
COMMENT ON COLUMN season.river.drive_mi IS 'The same, miles.';
COMMENT ON COLUMN season.river.spots_to_sound IS 'Spots without a sounded depth, for which no weight is told; null = none.';

-- Units follow from the names of columns, sources from what a view is of.
CREATE OR REPLACE VIEW season.dictionary AS
SELECT c.relname::text AS view_name, a.attname::text AS column_name, format_type(a.atttypid, a.atttypmod) AS type, col_description(c.oid, a.attnum) AS meaning,
  obj_description(c.oid, 'pg_class') AS view_meaning, a.attnum::int AS place,
  CASE
    WHEN a.attname ~ '_m3s$' THEN 'm3/s' WHEN a.attname ~ '_cfs$' THEN 'ft3/s' WHEN a.attname ~ '_f$' THEN 'degF' WHEN a.attname ~ '_(min_|max_)?c$' THEN 'degC'
    WHEN a.attname ~ '_oz$' THEN 'ounces' WHEN a.attname ~ '_g$' THEN 'grams' WHEN a.attname ~ '_km$' THEN 'km' WHEN a.attname ~ '_mi$' THEN 'miles' WHEN a.attname ~ '_m$' THEN 'm' WHEN a.attname ~ '_ft$' THEN 'ft' WHEN a.attname ~ '_cd$' THEN 'degC days'
    WHEN a.attname ~ '_us$' AND a.attname <> 'unit_us' THEN 'unit_us' WHEN a.atttypid = 'date'::regtype THEN 'civil day of the gauge or reach'
    WHEN a.atttypid = 'timestamptz'::regtype THEN 'time with zone' WHEN a.attname = 'fish_per_line_hour' THEN 'fish per hour and line' WHEN a.attname = 'line_hours' THEN 'hours times lines'
    WHEN c.relname IN ('forecast', 'normal', 'skill') AND a.attname ~ '^(observed|p[0-9]+|crps|abs_error|persistence_error|mean_abs_error|mean_crps)$' THEN 'as param says'
    WHEN a.attname ~ '(odds|share|_p|cost|percentile|skill|inside|_lo|_hi)$' OR a.attname ~ '^(odds|mean_odds|p_wave|within_|skill|inside|arrived|spawned)' THEN '0-1'
    WHEN a.attname IN ('season', 'doy', 'lead_day', 'days', 'n', 'independent_days') OR a.attname ~ 'years' THEN CASE a.attname WHEN 'season' THEN 'calendar year' ELSE 'count' END
    WHEN a.atttypid IN ('int4'::regtype, 'int8'::regtype, 'int2'::regtype, 'numeric'::regtype, 'float8'::regtype) THEN 'count'
    WHEN a.atttypid = 'bool'::regtype THEN 'yes or no' ELSE 'words' END AS unit,
  CASE
    WHEN c.relname IN ('trip', 'weight', 'roaming') OR c.relname = 'morning' AND a.attname ~ '^(trips|anglers|fish)' OR a.attname ~ '^(anglers_lacking|came|drives_saved|good_mornings|mornings_fished)$' THEN 'the trip log, of those whom the book counts'
    WHEN c.relname IN ('daily', 'outage', 'normal') OR a.attname ~ '^(observed|next_flow|next_water|flow_m3s|flow_cfs)' OR c.relname = 'morning' AND a.attname ~ '^(flow|water|band$)' THEN 'the agency''s gauge, daily means, may be provisional'
    WHEN c.relname IN ('forecast', 'skill', 'crossing', 'wave', 'run_date') THEN 'forecasts as issued'
    WHEN c.relname IN ('brief', 'reason', 'stop', 'call', 'morning') THEN 'the briefs as told'
    WHEN c.relname IN ('river', 'band', 'rule', 'edit', 'confirmation') THEN 'the club''s admin'
    WHEN c.relname = 'ice' THEN 'gauge, thermometer and the admin''s word' WHEN c.relname = 'mail' THEN 'the club''s outbox' ELSE 'this database' END AS source
FROM pg_class c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
WHERE c.relnamespace = 'season'::regnamespace AND c.relkind = 'v';
