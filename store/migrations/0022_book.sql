-- The season book. What members logged is counted there if they say so, as a
-- copy whose cells move only when three different anglers move them: whoever
-- looks before and after a trip, a correction or a tick finds no single person.
ALTER TABLE coldseam.trip ADD COLUMN in_book boolean NOT NULL DEFAULT false;
COMMENT ON COLUMN coldseam.trip.in_book IS 'Counted in the club''s book: a paper log that the club entered, or a member who said so.';
UPDATE coldseam.trip SET in_book = source <> 'form';

CREATE TABLE coldseam.book_row (
  dimension     text    NOT NULL,
  season        int4    NOT NULL,
  reach_id      text    NOT NULL,
  species       text    NOT NULL,
  cell          text    NOT NULL,
  source        text    NOT NULL,
  who           text    NOT NULL,
  day           date    NOT NULL,
  line_hours    float8  NOT NULL,
  fish          int4    NOT NULL,
  stayed        boolean NOT NULL,
  by_mail       boolean NOT NULL,
  held          boolean,
  discharge_m3s float8,
  CONSTRAINT book_row_pkey PRIMARY KEY (dimension, season, reach_id, species, cell, source)
);
COMMENT ON TABLE coldseam.book_row IS 'The trip log as the book shows it: a row for each trip or rig log and dimension, renewed cell by cell. Never granted to readers.';
COMMENT ON COLUMN coldseam.book_row.dimension IS 'all, day, band, flow, stage, verdict, weight, presentation; held = weights that held bottom.';
COMMENT ON COLUMN coldseam.book_row.season IS 'Calendar year.';
COMMENT ON COLUMN coldseam.book_row.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.book_row.species IS 'Species key; of held the spot.';
COMMENT ON COLUMN coldseam.book_row.cell IS 'Value of the dimension.';
COMMENT ON COLUMN coldseam.book_row.source IS 'Digest of the trip or rig log.';
COMMENT ON COLUMN coldseam.book_row.who IS 'Digest of the pseudonym; empty = not known.';
COMMENT ON COLUMN coldseam.book_row.day IS 'Civil day.';
COMMENT ON COLUMN coldseam.book_row.line_hours IS 'Hours times lines; lines not said = anglers.';
COMMENT ON COLUMN coldseam.book_row.fish IS 'Fish caught.';
COMMENT ON COLUMN coldseam.book_row.stayed IS 'Said "did not go".';
COMMENT ON COLUMN coldseam.book_row.by_mail IS 'Went, or stayed, because of the mail.';
COMMENT ON COLUMN coldseam.book_row.held IS 'The weight held bottom; null = not said.';
COMMENT ON COLUMN coldseam.book_row.discharge_m3s IS 'Discharge at a rig log, m3/s.';

DROP VIEW season.catch_by_band, season.catch_by_stage, season.catch_by_flow, season.catch_by_weight, season.trip_day, season.catch,
  season.weight_held, season.advice, season.skill, season.forecast_pair, season.run_date, season.run_day, season.call, season.feed, coldseam.trip_cell, coldseam.day_catch;

-- What the copy would be if it were made now.
CREATE VIEW coldseam.book_now AS
SELECT d.dimension, c.season, c.reach_id, c.species, d.cell, md5('trip ' || c.trip_id) AS source, COALESCE(md5(c.angler), '') AS who, c.day,
  t.hours * CASE WHEN t.lines > 0 THEN t.lines ELSE GREATEST(t.anglers, 1) END AS line_hours, c.fish, c.went_not AS stayed,
  COALESCE(c.because_mail, false) AS by_mail, c.held, NULL::float8 AS discharge_m3s
FROM coldseam.trip_condition c
JOIN coldseam.trip t USING (trip_id)
LEFT JOIN coldseam.morning_brief m ON m.reach_id = c.reach_id AND m.day = c.day
CROSS JOIN LATERAL (VALUES
  ('all', 'all'), ('day', c.day::text), ('band', c.band), ('flow', c.flow_class), ('stage', c.run_stage),
  ('verdict', COALESCE(m.verdict, 'none told')), ('weight', COALESCE(c.weight_oz::numeric::text, 'not said')),
  ('presentation', COALESCE(NULLIF(c.presentation, ''), 'not said'))) AS d (dimension, cell)
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
COMMENT ON VIEW coldseam.book_now IS 'Rows of book_row as they would be now; columns as there.';

CREATE VIEW coldseam.book_open AS
SELECT b.*
FROM coldseam.book_row b
JOIN (SELECT dimension, season, reach_id, species, cell FROM coldseam.book_row
  GROUP BY dimension, season, reach_id, species, cell HAVING count(DISTINCT NULLIF(who, '')) >= 3) k USING (dimension, season, reach_id, species, cell);
COMMENT ON VIEW coldseam.book_open IS 'Rows of cells with three different anglers, which move by three at a time: what sums over cells may be made of; columns as in book_row.';

-- Small cells are hidden, and the smallest open one where a single hidden cell,
-- or hidden cells of fewer than three anglers, could be had by subtraction.
CREATE VIEW coldseam.book_cell AS
WITH cells AS (
  SELECT dimension, season, reach_id, species, cell, count(DISTINCT NULLIF(who, '')) AS anglers, count(*) AS trips, sum(line_hours) AS line_hours, sum(fish) AS fish,
    avg(held::int) AS held_share, percentile_cont(0.5) WITHIN GROUP (ORDER BY discharge_m3s) AS median_m3s
  FROM coldseam.book_row
  WHERE NOT stayed
  GROUP BY dimension, season, reach_id, species, cell),
small AS (
  SELECT t.dimension, t.season, t.reach_id, t.species, count(DISTINCT NULLIF(t.who, '')) AS anglers, count(DISTINCT t.cell) AS cells
  FROM coldseam.book_row t
  JOIN cells c USING (dimension, season, reach_id, species, cell)
  WHERE c.anglers < 3 AND NOT t.stayed
  GROUP BY t.dimension, t.season, t.reach_id, t.species),
ranked AS (
  SELECT c.*, s.cells AS small_cells, s.anglers AS small_anglers,
    row_number() OVER (PARTITION BY c.dimension, c.season, c.reach_id, c.species, c.anglers >= 3 ORDER BY c.anglers, c.trips, c.cell) AS place
  FROM cells c
  LEFT JOIN small s USING (dimension, season, reach_id, species))
SELECT dimension, season, reach_id, species, cell, anglers, trips, line_hours, fish, held_share, median_m3s,
  anglers < 3 OR (place = 1 AND COALESCE(small_cells = 1 OR small_anglers < 3, false)) AS hidden
FROM ranked;
COMMENT ON VIEW coldseam.book_cell IS 'The book by one dimension at a time, with the mark of what readers may not see. Never granted to readers.';

CREATE VIEW season.trip AS
SELECT dimension, season, reach_id, species, cell, CASE WHEN NOT hidden THEN anglers END AS anglers, CASE WHEN NOT hidden THEN trips END AS trips,
  CASE WHEN NOT hidden AND dimension = 'all' THEN round(line_hours::numeric) END AS line_hours, CASE WHEN NOT hidden AND dimension = 'all' THEN fish END AS fish,
  CASE WHEN NOT hidden THEN round((fish / NULLIF(line_hours, 0))::numeric, 2) END AS fish_per_line_hour, hidden,
  CASE WHEN hidden THEN GREATEST(3 - anglers, 1) ELSE 0 END::int AS anglers_lacking
FROM coldseam.book_cell
WHERE dimension <> 'held';
COMMENT ON VIEW season.trip IS 'Trips by one dimension at a time, of those whom the book counts. A cell needs three different anglers, and moves only when three have moved it; a second one is hidden where the first could be had by subtraction.';
COMMENT ON COLUMN season.trip.dimension IS 'all, day, band, flow, stage, verdict (the morning''s word), weight (ounces) or presentation.';
COMMENT ON COLUMN season.trip.season IS 'Calendar year.';
COMMENT ON COLUMN season.trip.reach_id IS 'The reach.';
COMMENT ON COLUMN season.trip.species IS 'Species key.';
COMMENT ON COLUMN season.trip.cell IS 'Value of the dimension; "not known", "not said" and "none told" are values too.';
COMMENT ON COLUMN season.trip.anglers IS 'Different anglers.';
COMMENT ON COLUMN season.trip.trips IS 'Trips, those without fish included.';
COMMENT ON COLUMN season.trip.line_hours IS 'Hours times lines, whole hours; only for the whole season: sums of one dimension could be subtracted from those of another.';
COMMENT ON COLUMN season.trip.fish IS 'Fish caught; only for the whole season.';
COMMENT ON COLUMN season.trip.fish_per_line_hour IS 'Fish per line hour.';
COMMENT ON COLUMN season.trip.hidden IS 'Numbers left empty to protect anglers.';
COMMENT ON COLUMN season.trip.anglers_lacking IS 'How many more anglers would open it; 0 = open.';

CREATE VIEW season.weight AS
SELECT season, reach_id, species AS spot_id, cell::float8 AS weight_oz, round((cell::float8 * 28.349523125)::numeric, 1) AS weight_g, CASE WHEN NOT hidden THEN anglers END AS anglers,
  CASE WHEN NOT hidden THEN trips END AS logs, CASE WHEN NOT hidden THEN round(held_share, 2) END AS held_share,
  CASE WHEN NOT hidden THEN round(median_m3s::numeric) END AS median_m3s, CASE WHEN NOT hidden THEN round((median_m3s / 0.028316846592)::numeric, -1) END AS median_cfs,
  hidden, CASE WHEN hidden THEN GREATEST(3 - anglers, 1) ELSE 0 END::int AS anglers_lacking
FROM coldseam.book_cell
WHERE dimension = 'held';
COMMENT ON VIEW season.weight IS 'Which weights held bottom at which spot. Hidden as in season.trip.';
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
COMMENT ON COLUMN season.weight.hidden IS 'Numbers left empty to protect anglers.';
COMMENT ON COLUMN season.weight.anglers_lacking IS 'How many more anglers would open it; 0 = open.';

CREATE VIEW season.wave AS
WITH days AS (
  SELECT reach_id, species, day, count(DISTINCT NULLIF(who, '')) AS anglers, sum(line_hours) AS hours, sum(fish) AS fish
  FROM coldseam.book_open
  WHERE dimension = 'all' AND NOT stayed
  GROUP BY reach_id, species, day),
logged AS (
  SELECT d.reach_id, d.species, d.day, (d.fish + 0.5) / d.hours > 2 * (sum(w.fish) + 0.5) / sum(w.hours) AS came
  FROM days d
  JOIN days w ON w.reach_id = d.reach_id AND w.species = d.species AND w.day BETWEEN d.day - 7 AND d.day - 1
  WHERE d.anglers >= 3 AND d.hours >= 6
  GROUP BY d.reach_id, d.species, d.day, d.fish, d.hours
  HAVING sum(w.hours) >= 6 AND max(w.anglers) >= 3)
SELECT r.reach_id, r.species, r.day, extract(year FROM r.day)::int AS season, r.stage, r.stage_p, r.p_wave, l.came, r.arrived_p10, r.arrived_p50, r.arrived_p90,
  r.spawned_p50, r.wave_rule
FROM coldseam.last_run r
LEFT JOIN logged l USING (reach_id, species, day);
COMMENT ON VIEW season.wave IS 'State of the run told for each day, last issue, and whether the log saw a wave: twice the fish per line hour of the seven days before.';
COMMENT ON COLUMN season.wave.reach_id IS 'The reach.';
COMMENT ON COLUMN season.wave.species IS 'Species key.';
COMMENT ON COLUMN season.wave.day IS 'Civil day.';
COMMENT ON COLUMN season.wave.season IS 'Calendar year.';
COMMENT ON COLUMN season.wave.stage IS 'Most likely stage.';
COMMENT ON COLUMN season.wave.stage_p IS 'Its probability.';
COMMENT ON COLUMN season.wave.p_wave IS 'Probability of a wave that day.';
COMMENT ON COLUMN season.wave.came IS 'The log saw a wave; null = fewer than three anglers, or too few hours, that day or in the week before.';
COMMENT ON COLUMN season.wave.arrived_p10 IS '10 % quantile of the share arrived.';
COMMENT ON COLUMN season.wave.arrived_p50 IS 'Median share arrived.';
COMMENT ON COLUMN season.wave.arrived_p90 IS '90 % quantile of the share arrived.';
COMMENT ON COLUMN season.wave.spawned_p50 IS 'Median share that has spawned.';
COMMENT ON COLUMN season.wave.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before. Never average over both.';

CREATE VIEW season.run_date AS
SELECT reach_id, species, season, min(day) FILTER (WHERE arrived_p50 >= 0.05) AS first_fish, min(day) FILTER (WHERE arrived_p50 >= 0.5) AS half_in,
  min(day) FILTER (WHERE spawned_p50 >= 0.5) AS half_spawned, (array_agg(day ORDER BY wave_rule DESC, p_wave DESC, day))[1] AS best_wave,
  (array_agg(p_wave ORDER BY wave_rule DESC, p_wave DESC))[1] AS best_wave_p, min(day) FILTER (WHERE arrived_p50 >= 0.95) AS last_fish
FROM season.wave
GROUP BY reach_id, species, season;
COMMENT ON VIEW season.run_date IS 'Dates of the run by the run clock.';
COMMENT ON COLUMN season.run_date.reach_id IS 'The reach.';
COMMENT ON COLUMN season.run_date.species IS 'Species key.';
COMMENT ON COLUMN season.run_date.season IS 'Calendar year.';
COMMENT ON COLUMN season.run_date.first_fish IS 'First day with 5 % arrived.';
COMMENT ON COLUMN season.run_date.half_in IS 'First day with half arrived.';
COMMENT ON COLUMN season.run_date.half_spawned IS 'First day with half spawned.';
COMMENT ON COLUMN season.run_date.best_wave IS 'Day with the likeliest wave, by the newest rule of the season.';
COMMENT ON COLUMN season.run_date.best_wave_p IS 'Its probability.';
COMMENT ON COLUMN season.run_date.last_fish IS 'First day with 95 % arrived.';

-- A day is good when its fish per line hour reach the target of the reach, or
-- else the 60 % quantile of all logged days there.
CREATE VIEW season.call AS
WITH days AS (
  SELECT reach_id, day, sum(line_hours) FILTER (WHERE NOT stayed) AS line_hours, sum(fish) FILTER (WHERE NOT stayed) AS fish,
    count(*) FILTER (WHERE NOT stayed) AS trips, count(*) FILTER (WHERE stayed AND by_mail) AS stayed_by_mail
  FROM coldseam.book_open
  WHERE dimension = 'verdict'
  GROUP BY reach_id, day),
target AS (
  SELECT d.reach_id, COALESCE(NULLIF((r.body ->> 'TargetRate')::float8, 0), percentile_cont(0.6) WITHIN GROUP (ORDER BY d.fish / NULLIF(d.line_hours, 0))) AS rate
  FROM days d JOIN coldseam.reach r USING (reach_id)
  WHERE d.line_hours > 0
  GROUP BY d.reach_id, r.body ->> 'TargetRate'),
words AS (
  SELECT b.reach_id, extract(year FROM b.day)::int AS season, b.verdict, count(*) AS mornings, count(*) FILTER (WHERE d.trips > 0) AS fished,
    count(*) FILTER (WHERE d.fish / NULLIF(d.line_hours, 0) >= t.rate) AS good, avg(b.odds) AS mean_odds, avg(b.odds) FILTER (WHERE d.trips > 0) AS mean_odds_fished,
    COALESCE(sum(d.stayed_by_mail), 0) AS stayed_by_mail
  FROM coldseam.morning_brief b
  LEFT JOIN days d USING (reach_id, day)
  LEFT JOIN target t USING (reach_id)
  GROUP BY 1, 2, 3),
who AS (
  SELECT reach_id, season, cell AS verdict, count(DISTINCT NULLIF(who, '')) AS anglers FROM coldseam.book_open WHERE dimension = 'verdict' GROUP BY 1, 2, 3)
SELECT m.reach_id, m.season, m.verdict, m.mornings, round(m.mean_odds::numeric, 2) AS mean_odds,
  CASE WHEN w.anglers >= 3 THEN m.fished END AS mornings_fished, CASE WHEN w.anglers >= 3 THEN m.good END AS good_mornings,
  CASE WHEN w.anglers >= 3 THEN round(m.mean_odds_fished::numeric, 2) END AS mean_odds_fished, CASE WHEN w.anglers >= 3 THEN m.stayed_by_mail END AS drives_saved,
  GREATEST(3 - COALESCE(w.anglers, 0), 0)::int AS anglers_lacking
FROM words m
LEFT JOIN who w USING (reach_id, season, verdict);
COMMENT ON VIEW season.call IS 'What we said against what happened, by the word that people drove by (brief.morning_word): a correction that came later is not held for it. Numbers from fewer than three different anglers are left empty.';
COMMENT ON COLUMN season.call.reach_id IS 'The reach.';
COMMENT ON COLUMN season.call.season IS 'Calendar year.';
COMMENT ON COLUMN season.call.verdict IS 'The morning''s word.';
COMMENT ON COLUMN season.call.mornings IS 'Mornings with that word.';
COMMENT ON COLUMN season.call.mean_odds IS 'Mean odds told, 0-1.';
COMMENT ON COLUMN season.call.mornings_fished IS 'Of those, mornings with a logged trip.';
COMMENT ON COLUMN season.call.good_mornings IS 'Of those, good ones: fish per line hour at or above the target of the reach.';
COMMENT ON COLUMN season.call.mean_odds_fished IS 'Mean odds of the mornings fished: compare with good over fished.';
COMMENT ON COLUMN season.call.drives_saved IS 'Times somebody stayed at home because of the mail.';
COMMENT ON COLUMN season.call.anglers_lacking IS 'How many more anglers would fill the empty numbers; 0 = they are filled.';

CREATE VIEW season.forecast AS
SELECT r.reach_id, f.site_id, f.param, f.source, f.issued_at, f.lead_day, f.valid_day, extract(year FROM f.valid_day)::int AS season,
  f.observed, f.p10, f.p50, f.p90, u.unit_us, f.observed * u.times + u.plus AS observed_us, f.p10 * u.times + u.plus AS p10_us, f.p50 * u.times + u.plus AS p50_us,
  f.p90 * u.times + u.plus AS p90_us, f.crps, abs(f.observed - f.p50) AS abs_error, f.observed BETWEEN f.p10 AND f.p90 AS inside, f.persist AS persistence_error
FROM coldseam.forecast_score f
JOIN coldseam.reach r ON f.site_id = r.site_id OR f.site_id = r.temp_site_id
LEFT JOIN (VALUES ('discharge', 'ft3/s', 1 / 0.028316846592, 0.0), ('stage', 'ft', 1 / 0.3048, 0), ('water_temp', 'degF', 1.8, 32)) AS u (param, unit_us, times, plus)
  ON u.param = f.param;
COMMENT ON VIEW season.forecast IS 'Each daily forecast beside what was measured afterwards.';
COMMENT ON COLUMN season.forecast.reach_id IS 'The reach.';
COMMENT ON COLUMN season.forecast.site_id IS 'The gauge.';
COMMENT ON COLUMN season.forecast.param IS 'discharge (m3/s), stage (m) or water_temp (degC).';
COMMENT ON COLUMN season.forecast.source IS 'Model and tier.';
COMMENT ON COLUMN season.forecast.issued_at IS 'Issue time.';
COMMENT ON COLUMN season.forecast.lead_day IS 'Days ahead.';
COMMENT ON COLUMN season.forecast.valid_day IS 'Day forecast.';
COMMENT ON COLUMN season.forecast.season IS 'Calendar year of that day.';
COMMENT ON COLUMN season.forecast.observed IS 'Daily mean measured.';
COMMENT ON COLUMN season.forecast.p10 IS '10 % quantile forecast.';
COMMENT ON COLUMN season.forecast.p50 IS 'Median forecast.';
COMMENT ON COLUMN season.forecast.p90 IS '90 % quantile forecast.';
COMMENT ON COLUMN season.forecast.unit_us IS 'Unit of the columns that end in _us.';
COMMENT ON COLUMN season.forecast.observed_us IS 'Daily mean measured, in unit_us.';
COMMENT ON COLUMN season.forecast.p10_us IS '10 % quantile forecast, in unit_us.';
COMMENT ON COLUMN season.forecast.p50_us IS 'Median forecast, in unit_us.';
COMMENT ON COLUMN season.forecast.p90_us IS '90 % quantile forecast, in unit_us.';
COMMENT ON COLUMN season.forecast.crps IS 'Continuous ranked probability score; 0 = perfect.';
COMMENT ON COLUMN season.forecast.abs_error IS 'Absolute error of the median.';
COMMENT ON COLUMN season.forecast.inside IS 'Measured within p10-p90; 8 in 10 is right.';
COMMENT ON COLUMN season.forecast.persistence_error IS 'Absolute error of "stays as it was yesterday".';

-- Errors of neighbouring days resemble one another: so many days are worth
-- n (1 - r)/(1 + r) independent ones, r the correlation from day to day.
CREATE VIEW season.skill AS
WITH one AS (
  SELECT DISTINCT ON (reach_id, param, lead_day, valid_day) * FROM season.forecast ORDER BY reach_id, param, lead_day, valid_day, issued_at DESC),
pairs AS (
  SELECT *, lag(abs_error) OVER (PARTITION BY reach_id, param, season, lead_day ORDER BY valid_day) AS before FROM one),
sums AS (
  SELECT reach_id, param, season, lead_day, count(*) AS n, GREATEST(COALESCE(corr(abs_error, before), 0), 0) AS r, avg(abs_error) AS e, avg(crps) AS crps,
    avg(inside::int)::float8 AS inside, avg(persistence_error) AS p, avg(abs_error) FILTER (WHERE persistence_error IS NOT NULL) AS ep,
    var_samp(abs_error) FILTER (WHERE persistence_error IS NOT NULL) AS ve, var_samp(persistence_error) AS vp, covar_samp(abs_error, persistence_error) AS vep
  FROM pairs
  GROUP BY reach_id, param, season, lead_day),
worth AS (
  SELECT *, n * (1 - r) / (1 + r) AS free, 1 - ep / NULLIF(p, 0) AS skill,
    sqrt(GREATEST(ve - 2 * ep / NULLIF(p, 0) * vep + (ep / NULLIF(p, 0)) ^ 2 * vp, 0)) / NULLIF(p, 0) AS sd
  FROM sums)
SELECT reach_id, param, season, lead_day, n, floor(free)::int AS independent_days, CASE WHEN free >= 20 THEN 'enough' ELSE 'too few' END AS evidence,
  e AS mean_abs_error, crps AS mean_crps, p AS persistence_error, CASE WHEN free >= 20 THEN inside END AS inside_share,
  CASE WHEN free >= 20 THEN (inside + 1.353 / free - 1.645 * sqrt(inside * (1 - inside) / free + 0.6765 / free ^ 2)) / (1 + 2.706 / free) END AS inside_lo,
  CASE WHEN free >= 20 THEN (inside + 1.353 / free + 1.645 * sqrt(inside * (1 - inside) / free + 0.6765 / free ^ 2)) / (1 + 2.706 / free) END AS inside_hi,
  CASE WHEN free >= 20 THEN skill END AS skill, CASE WHEN free >= 20 THEN skill - 1.645 * sd / sqrt(free) END AS skill_lo,
  CASE WHEN free >= 20 THEN skill + 1.645 * sd / sqrt(free) END AS skill_hi
FROM worth;
COMMENT ON VIEW season.skill IS 'Forecast skill by lead, the last issue of each day, with 90 % intervals; under 20 independent days nothing is claimed.';
COMMENT ON COLUMN season.skill.reach_id IS 'The reach.';
COMMENT ON COLUMN season.skill.param IS 'discharge (m3/s), stage (m) or water_temp (degC).';
COMMENT ON COLUMN season.skill.season IS 'Calendar year.';
COMMENT ON COLUMN season.skill.lead_day IS 'Days ahead.';
COMMENT ON COLUMN season.skill.n IS 'Days scored.';
COMMENT ON COLUMN season.skill.independent_days IS 'How many independent days those are worth, as errors of neighbouring days resemble one another.';
COMMENT ON COLUMN season.skill.evidence IS 'enough, or too few: under 20 independent days.';
COMMENT ON COLUMN season.skill.mean_abs_error IS 'Mean absolute error of the median.';
COMMENT ON COLUMN season.skill.mean_crps IS 'Mean continuous ranked probability score.';
COMMENT ON COLUMN season.skill.persistence_error IS 'Mean absolute error of "stays as it was yesterday".';
COMMENT ON COLUMN season.skill.inside_share IS 'Share measured within p10-p90, 0-1; 0.8 is right.';
COMMENT ON COLUMN season.skill.inside_lo IS 'Lower end of its 90 % interval.';
COMMENT ON COLUMN season.skill.inside_hi IS 'Upper end of its 90 % interval.';
COMMENT ON COLUMN season.skill.skill IS 'Share of that error saved by the forecast; 0 = none, 1 = all, negative = worse.';
COMMENT ON COLUMN season.skill.skill_lo IS 'Lower end of its 90 % interval.';
COMMENT ON COLUMN season.skill.skill_hi IS 'Upper end of its 90 % interval.';

-- A row for each reach and day that was measured or told.
CREATE VIEW season.morning AS
WITH lead AS (
  SELECT s.series_id, s.site_id, s.param, t.daily_only, s.stat = 'mean' AND s.period IN ('P1D', 'PT24H') AS daily,
    row_number() OVER (PARTITION BY s.site_id, s.param ORDER BY (s.stat = 'mean' AND s.period IN ('P1D', 'PT24H')) DESC, s.preference DESC, s.series_id)::float8 AS place
  FROM coldseam.series s
  JOIN coldseam.site t USING (site_id)
  WHERE s.stat IN ('instant', 'mean') AND s.param IN ('discharge', 'water_temp')),
days AS (
  SELECT x.reach_id, x.day, extract(year FROM x.day)::int AS season, min(x.v) FILTER (WHERE x.param = 'discharge') AS q, min(x.v) FILTER (WHERE x.param = 'water_temp') AS w
  FROM (
    SELECT r.reach_id, d.day, l.param, ARRAY[l.place, d.total / d.n] AS v
    FROM coldseam.reach r
    JOIN lead l ON l.site_id = CASE WHEN l.param = 'water_temp' THEN COALESCE(r.temp_site_id, r.site_id) ELSE r.site_id END
    JOIN coldseam.day_summary d USING (series_id)
    WHERE l.daily OR l.daily_only OR d.quarters = 15
    UNION ALL
    SELECT b.reach_id, b.day, NULL, NULL FROM coldseam.brief b WHERE NOT b.replay) x
  GROUP BY x.reach_id, x.day),
next AS (
  SELECT *, lead(day) OVER y AS next_day, lead(q[2]) OVER y AS next_q, lead(w[2]) OVER y AS next_w
  FROM days WINDOW y AS (PARTITION BY reach_id, season ORDER BY day))
SELECT r.river, r.name AS reach, d.reach_id, d.season, d.day, b.verdict AS word, b.odds,
  (SELECT string_agg(DISTINCT e ->> 'Code', ' ') FROM jsonb_array_elements(CASE WHEN jsonb_typeof(b.body -> 'Stops') = 'array' THEN b.body -> 'Stops' ELSE '[]' END) e) AS stops,
  d.q[2] AS flow_m3s, d.q[2] / 0.028316846592 AS flow_cfs,
  (SELECT coldseam.flow_class(coldseam.percentile_of(c.quantile, d.q[2])) FROM coldseam.climatology c
   WHERE c.site_id = r.site_id AND c.param = 'discharge' AND c.doy = coldseam.doy_of(d.day) AND c.years >= 10 ORDER BY c.made_at DESC LIMIT 1) AS flow_class,
  d.w[2] AS water_c, d.w[2] * 1.8 + 32 AS water_f,
  (SELECT x.key FROM coldseam.band x WHERE x.upper_f + 1e-9 >= d.w[2] * 1.8 + 32 ORDER BY x.band_no LIMIT 1) AS band,
  NULLIF(b.run_stage, '') AS run_stage, b.band AS band_told, b.body -> 'How' ->> 'Action' AS action, b.tie_oz, b.tie_oz * 28.349523125 AS tie_g,
  t.trips, t.anglers, t.fish_per_line_hour,
  CASE WHEN d.next_day = d.day + 1 THEN d.next_q END AS next_flow_m3s, CASE WHEN d.next_day = d.day + 1 THEN d.next_q / 0.028316846592 END AS next_flow_cfs,
  CASE WHEN d.next_day = d.day + 1 THEN d.next_w END AS next_water_c, CASE WHEN d.next_day = d.day + 1 THEN d.next_w * 1.8 + 32 END AS next_water_f
FROM next d
JOIN coldseam.reach r USING (reach_id)
LEFT JOIN coldseam.morning_brief m USING (reach_id, day)
LEFT JOIN coldseam.brief b ON b.brief_id = m.brief_id
LEFT JOIN (
  SELECT season, reach_id, cell::date AS day, sum(trips) AS trips, max(anglers) AS anglers, round(sum(fish_per_line_hour * trips) / NULLIF(sum(trips), 0), 2) AS fish_per_line_hour
  FROM season.trip WHERE dimension = 'day' GROUP BY season, reach_id, cell) t ON t.season = d.season AND t.reach_id = d.reach_id AND t.day = d.day;
COMMENT ON VIEW season.morning IS 'A row for each reach and day that was measured or told: what was said, what the river did, what was caught. Start here.';
COMMENT ON COLUMN season.morning.river IS 'Name of the river.';
COMMENT ON COLUMN season.morning.reach IS 'Name of the reach.';
COMMENT ON COLUMN season.morning.reach_id IS 'Key of the reach, used in all views.';
COMMENT ON COLUMN season.morning.season IS 'Calendar year.';
COMMENT ON COLUMN season.morning.day IS 'Civil day.';
COMMENT ON COLUMN season.morning.word IS 'GO, TOSS-UP, STAY, STOP or NO CALL by which people drove; null = nothing was told.';
COMMENT ON COLUMN season.morning.odds IS 'Odds of a good morning told, 0-1; null = none were told.';
COMMENT ON COLUMN season.morning.stops IS 'Codes of the stops told, with a blank between; null = none.';
COMMENT ON COLUMN season.morning.flow_m3s IS 'Daily mean discharge, m3/s.';
COMMENT ON COLUMN season.morning.flow_cfs IS 'Daily mean discharge, ft3/s.';
COMMENT ON COLUMN season.morning.flow_class IS 'Flow for the date: much below, below, normal, above, much above; null under 10 years of record.';
COMMENT ON COLUMN season.morning.water_c IS 'Daily mean water temperature, degC.';
COMMENT ON COLUMN season.morning.water_f IS 'Daily mean water temperature, degF.';
COMMENT ON COLUMN season.morning.band IS 'Temperature band of the daily mean.';
COMMENT ON COLUMN season.morning.run_stage IS 'Stage of the run told.';
COMMENT ON COLUMN season.morning.band_told IS 'Temperature band of the advice.';
COMMENT ON COLUMN season.morning.action IS 'Presentation told.';
COMMENT ON COLUMN season.morning.tie_oz IS 'Weight told to tie on at the advised spot, ounces; null = withheld.';
COMMENT ON COLUMN season.morning.tie_g IS 'The same, grams.';
COMMENT ON COLUMN season.morning.trips IS 'Trips that the book counts; null = none, or fewer than three anglers.';
COMMENT ON COLUMN season.morning.anglers IS 'Different anglers.';
COMMENT ON COLUMN season.morning.fish_per_line_hour IS 'Fish per line hour.';
COMMENT ON COLUMN season.morning.next_flow_m3s IS 'Daily mean discharge of the day after, m3/s; null on 31 December.';
COMMENT ON COLUMN season.morning.next_flow_cfs IS 'The same, ft3/s.';
COMMENT ON COLUMN season.morning.next_water_c IS 'Daily mean water temperature of the day after, degC.';
COMMENT ON COLUMN season.morning.next_water_f IS 'The same, degF.';

CREATE VIEW season.stop AS
SELECT s.reach_id, s.season, s.day, s.code, s.kind, s.wording, s.source, m.flow_cfs, m.flow_m3s, m.next_flow_cfs, m.next_flow_m3s,
  (SELECT n.verdict FROM coldseam.morning_brief n WHERE n.reach_id = s.reach_id AND n.day = s.day + 1) AS next_word,
  f.forecast_error_share
FROM season.reason s
LEFT JOIN season.morning m USING (reach_id, season, day)
LEFT JOIN LATERAL (
  SELECT f.abs_error / NULLIF(f.observed, 0) AS forecast_error_share FROM season.forecast f
  WHERE f.reach_id = s.reach_id AND f.param = 'discharge' AND f.lead_day = 1 AND f.valid_day = s.day ORDER BY f.issued_at DESC LIMIT 1) f ON true
WHERE s.list = 'stop' OR s.kind = 'missing' AND s.verdict = 'NO CALL';
COMMENT ON VIEW season.stop IS 'Mornings that were stopped, or without a call for what was missing: a row for each rule, with what followed.';
COMMENT ON COLUMN season.stop.reach_id IS 'The reach.';
COMMENT ON COLUMN season.stop.season IS 'Calendar year.';
COMMENT ON COLUMN season.stop.day IS 'The morning.';
COMMENT ON COLUMN season.stop.code IS 'Rule that fired.';
COMMENT ON COLUMN season.stop.kind IS 'safety, legal or missing.';
COMMENT ON COLUMN season.stop.wording IS 'As told; null where the rule is told by its code alone.';
COMMENT ON COLUMN season.stop.source IS 'Agency or club rule.';
COMMENT ON COLUMN season.stop.flow_cfs IS 'Daily mean discharge of that day, ft3/s.';
COMMENT ON COLUMN season.stop.flow_m3s IS 'Daily mean discharge of that day, m3/s.';
COMMENT ON COLUMN season.stop.next_flow_cfs IS 'Daily mean discharge of the day after, ft3/s.';
COMMENT ON COLUMN season.stop.next_flow_m3s IS 'Daily mean discharge of the day after, m3/s.';
COMMENT ON COLUMN season.stop.next_word IS 'Word of the morning after.';
COMMENT ON COLUMN season.stop.forecast_error_share IS 'Error of the discharge forecast made the day before, as a share of what came, 0-1.';

CREATE VIEW season.roaming AS
SELECT season, reaches, CASE WHEN count(*) >= 3 THEN count(*) END AS anglers, GREATEST(3 - count(*), 0)::int AS anglers_lacking
FROM (SELECT season, who, count(DISTINCT reach_id) AS reaches FROM coldseam.book_open WHERE dimension = 'all' AND NOT stayed AND who <> '' GROUP BY season, who) w
GROUP BY season, reaches;
COMMENT ON VIEW season.roaming IS 'How many anglers of those whom the book counts fished how many different reaches.';
COMMENT ON COLUMN season.roaming.season IS 'Calendar year.';
COMMENT ON COLUMN season.roaming.reaches IS 'Different reaches fished.';
COMMENT ON COLUMN season.roaming.anglers IS 'Anglers who fished so many; null = fewer than three.';
COMMENT ON COLUMN season.roaming.anglers_lacking IS 'How many more would open the number; 0 = open.';

CREATE VIEW season.gone AS
SELECT * FROM (VALUES
  ('advice', 'season.morning: band_told, action, tie_oz'), ('catch', 'season.trip, with the same columns'), ('catch_by_band', 'season.trip WHERE dimension = ''band'''),
  ('catch_by_flow', 'season.trip WHERE dimension = ''flow'''), ('catch_by_stage', 'season.trip WHERE dimension = ''stage'''),
  ('catch_by_weight', 'season.trip WHERE dimension = ''weight'''), ('trip_day', 'season.morning: trips, anglers, fish_per_line_hour'),
  ('weight_held', 'season.weight'), ('forecast_pair', 'season.forecast'), ('run_day', 'season.wave'), ('feed', 'the page of the club''s status')) AS v (gone, instead);
COMMENT ON VIEW season.gone IS 'Views of before, and what answers their questions now.';
COMMENT ON COLUMN season.gone.gone IS 'View that is gone.';
COMMENT ON COLUMN season.gone.instead IS 'What to ask instead.';

-- Units follow from the names of columns, sources from what a view is of.
CREATE OR REPLACE VIEW season.dictionary AS
SELECT c.relname::text AS view_name, a.attname::text AS column_name, format_type(a.atttypid, a.atttypmod) AS type, col_description(c.oid, a.attnum) AS meaning,
  obj_description(c.oid, 'pg_class') AS view_meaning, a.attnum::int AS place,
  CASE
    WHEN a.attname ~ '_m3s$' THEN 'm3/s' WHEN a.attname ~ '_cfs$' THEN 'ft3/s' WHEN a.attname ~ '_f$' THEN 'degF' WHEN a.attname ~ '_(min_|max_)?c$' THEN 'degC'
    WHEN a.attname ~ '_oz$' THEN 'ounces' WHEN a.attname ~ '_g$' THEN 'grams' WHEN a.attname ~ '_m$' THEN 'm' WHEN a.attname ~ '_ft$' THEN 'ft' WHEN a.attname ~ '_cd$' THEN 'degC days'
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
COMMENT ON COLUMN season.dictionary.unit IS 'Unit of the column.';
COMMENT ON COLUMN season.dictionary.source IS 'Where its values come from.';

DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT v.view, a.attname, COALESCE(col_description('coldseam.book_row'::regclass, b.attnum), k.txt) AS txt
    FROM (VALUES ('coldseam.book_now'::regclass), ('coldseam.book_cell'::regclass), ('coldseam.book_open'::regclass)) AS v (view)
    JOIN pg_attribute a ON a.attrelid = v.view AND a.attnum > 0
    LEFT JOIN pg_attribute b ON b.attrelid = 'coldseam.book_row'::regclass AND b.attname = a.attname
    LEFT JOIN (VALUES ('anglers', 'Different anglers.'), ('trips', 'Trips or logs.'), ('held_share', 'Share that held bottom, 0-1.'), ('median_m3s', 'Median discharge of the logs, m3/s.'),
      ('hidden', 'Not for readers.')) AS k (name, txt) ON k.name = a.attname
  LOOP
    EXECUTE format('COMMENT ON COLUMN %s.%I IS %L', r.view, r.attname, r.txt);
  END LOOP;
END $$;

-- The first copy; the daily job renews it.
INSERT INTO coldseam.book_row SELECT * FROM coldseam.book_now;
