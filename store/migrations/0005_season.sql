-- What club members may query: schema season, views only, no person in it.

COMMENT ON SCHEMA season IS 'The club''s own questions: views on what was measured, told and caught. Start with season.dictionary.';

-- Read by day of the year, newest first.
ALTER TABLE coldseam.climatology
  DROP CONSTRAINT climatology_pkey,
  ADD CONSTRAINT climatology_pkey PRIMARY KEY (site_id, param, doy, made_at);

CREATE TABLE coldseam.band (
  band_no int4   NOT NULL,
  key     text   NOT NULL,
  upper_f float8 NOT NULL,
  CONSTRAINT band_pkey PRIMARY KEY (band_no),
  CONSTRAINT band_key UNIQUE (key)
);
COMMENT ON TABLE coldseam.band IS 'The club''s water temperature bands, coldest first.';
COMMENT ON COLUMN coldseam.band.band_no IS 'Place, from 1.';
COMMENT ON COLUMN coldseam.band.key IS 'Name of the band.';
COMMENT ON COLUMN coldseam.band.upper_f IS 'Upper edge, degF, included.';
INSERT INTO coldseam.band (band_no, key, upper_f) VALUES
  (1, 'slow', 37), (2, 'ease', 40), (3, 'lift', 45), (4, 'spawn', 50), (5, 'drop-back', 999);

-- The band of a temperature is a sub-query in each view: a function that
-- reads the table would need the reader's own right on it.

-- Place of a value among the quantiles 0.01, 0.05, 0.10, 0.25, 0.50, 0.75,
-- 0.90, 0.95, 0.99, linear between them; 0 and 1 outside. One expression, so
-- that it is folded into the query.
CREATE FUNCTION coldseam.percentile_of(q float4[], v float8) RETURNS float8 LANGUAGE sql IMMUTABLE
RETURN CASE
  WHEN v IS NULL OR q IS NULL THEN NULL
  WHEN v <= q[1] THEN 0
  WHEN v < q[2] THEN 0.01 + 0.04 * (v - q[1]) / (q[2] - q[1])
  WHEN v < q[3] THEN 0.05 + 0.05 * (v - q[2]) / (q[3] - q[2])
  WHEN v < q[4] THEN 0.10 + 0.15 * (v - q[3]) / (q[4] - q[3])
  WHEN v < q[5] THEN 0.25 + 0.25 * (v - q[4]) / (q[5] - q[4])
  WHEN v < q[6] THEN 0.50 + 0.25 * (v - q[5]) / (q[6] - q[5])
  WHEN v < q[7] THEN 0.75 + 0.15 * (v - q[6]) / (q[7] - q[6])
  WHEN v < q[8] THEN 0.90 + 0.05 * (v - q[7]) / (q[8] - q[7])
  WHEN v < q[9] THEN 0.95 + 0.04 * (v - q[8]) / (q[9] - q[8])
  ELSE 1 END;
COMMENT ON FUNCTION coldseam.percentile_of IS 'Share of the record below a value, 0-1, from the nine quantiles of climatology.';

-- Day of the year with 1 March as 61 in every year, as climatology counts.
CREATE FUNCTION coldseam.doy_of(d date) RETURNS int LANGUAGE sql IMMUTABLE
RETURN extract(doy FROM make_date(2000, extract(month FROM d)::int, extract(day FROM d)::int))::int;
COMMENT ON FUNCTION coldseam.doy_of IS 'Day of the year with 1 March as 61 in every year.';

CREATE FUNCTION coldseam.flow_class(p float8) RETURNS text LANGUAGE sql IMMUTABLE
RETURN CASE
  WHEN p IS NULL THEN NULL
  WHEN p < 0.10 THEN 'much below'
  WHEN p < 0.25 THEN 'below'
  WHEN p <= 0.75 THEN 'normal'
  WHEN p <= 0.90 THEN 'above'
  ELSE 'much above' END;
COMMENT ON FUNCTION coldseam.flow_class IS 'Flow words for a percentile.';

CREATE VIEW coldseam.site_day AS
SELECT DISTINCT ON (s.site_id, s.param, d.day)
  s.site_id, s.param, d.day, d.total / d.n AS mean, d.lo, d.hi, d.n, (d.flags & 8) <> 0 AS ice, (d.flags & 4) <> 0 AS estimated,
  (d.flags & 2) = 0 AS provisional
FROM coldseam.day_summary d
JOIN coldseam.series s USING (series_id)
JOIN coldseam.site t USING (site_id)
WHERE (s.stat = 'mean' AND s.period IN ('P1D', 'PT24H')) OR (s.stat IN ('instant', 'mean') AND (d.quarters = 15 OR t.daily_only))
ORDER BY s.site_id, s.param, d.day, (s.stat = 'mean' AND s.period IN ('P1D', 'PT24H')) DESC, s.preference DESC, s.series_id;
COMMENT ON VIEW coldseam.site_day IS 'One daily value of each parameter of a gauge: the daily-mean series where there is one, else the mean of shorter values that cover the day.';
COMMENT ON COLUMN coldseam.site_day.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.site_day.param IS 'Parameter.';
COMMENT ON COLUMN coldseam.site_day.day IS 'Civil day of the gauge.';
COMMENT ON COLUMN coldseam.site_day.mean IS 'Daily mean, SI unit.';
COMMENT ON COLUMN coldseam.site_day.lo IS 'Least value of the day.';
COMMENT ON COLUMN coldseam.site_day.hi IS 'Greatest value of the day.';
COMMENT ON COLUMN coldseam.site_day.n IS 'Number of values.';
COMMENT ON COLUMN coldseam.site_day.ice IS 'An ice qualifier on any of them.';
COMMENT ON COLUMN coldseam.site_day.estimated IS 'Estimated by the agency in part.';
COMMENT ON COLUMN coldseam.site_day.provisional IS 'Not approved by the agency.';

-- The last brief told of a reach and day.
CREATE VIEW coldseam.last_brief AS
SELECT DISTINCT ON (reach_id, day) *
FROM coldseam.brief
WHERE NOT replay
ORDER BY reach_id, day, issued_at DESC;
COMMENT ON VIEW coldseam.last_brief IS 'The last brief told of each reach and day; columns as in brief.';

CREATE VIEW coldseam.last_run AS
SELECT DISTINCT ON (reach_id, species, day) *
FROM coldseam.run_state
ORDER BY reach_id, species, day, issued_at DESC;
COMMENT ON VIEW coldseam.last_run IS 'The last run state issued for each reach, species and day; columns as in run_state.';

DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT v.view, t.tab, a.attname, col_description(t.tab::regclass, a.attnum) AS txt
    FROM (VALUES ('coldseam.last_brief', 'coldseam.brief'), ('coldseam.last_run', 'coldseam.run_state')) AS v (view, tab0)
    CROSS JOIN LATERAL (SELECT v.tab0 AS tab) t
    JOIN pg_attribute a ON a.attrelid = t.tab::regclass AND a.attnum > 0 AND NOT a.attisdropped
  LOOP
    EXECUTE format('COMMENT ON COLUMN %s.%I IS %L', r.view, r.attname, r.txt);
  END LOOP;
END $$;

-- One row per trip with the conditions of its day. Rows of persons: never in
-- schema season.
CREATE VIEW coldseam.trip_condition AS
SELECT t.trip_id, t.reach_id, t.day, extract(year FROM t.day)::int AS season, t.species, NULLIF(t.angler, '') AS angler,
  t.hours, t.hours * GREATEST(t.lines, 1) AS line_hours, t.fish, t.weight_oz, t.held, t.because_mail, t.went_not, t.spot_id, t.presentation, t.ripe, t.spent, t.looked_at,
  b.verdict, b.odds,
  COALESCE((SELECT x.key FROM coldseam.band x WHERE x.upper_f + 1e-9 >= w.mean * 1.8 + 32 ORDER BY x.band_no LIMIT 1), 'not known') AS band,
  COALESCE(coldseam.flow_class(coldseam.percentile_of(c.quantile, q.mean)), 'not known') AS flow_class,
  COALESCE(NULLIF(n.stage, ''), 'not known') AS run_stage
FROM coldseam.trip t
JOIN coldseam.reach r USING (reach_id)
LEFT JOIN LATERAL (
  SELECT verdict, odds FROM coldseam.brief b WHERE b.reach_id = t.reach_id AND b.day = t.day AND NOT replay ORDER BY issued_at DESC LIMIT 1) b ON true
LEFT JOIN LATERAL (
  SELECT mean FROM coldseam.site_day d WHERE d.site_id = r.site_id AND d.param = 'discharge' AND d.day = t.day) q ON true
LEFT JOIN LATERAL (
  SELECT mean FROM coldseam.site_day d WHERE d.site_id = COALESCE(r.temp_site_id, r.site_id) AND d.param = 'water_temp' AND d.day = t.day) w ON true
LEFT JOIN LATERAL (
  SELECT quantile FROM coldseam.climatology c
  WHERE c.site_id = r.site_id AND c.param = 'discharge' AND c.doy = coldseam.doy_of(t.day) AND c.years >= 10 ORDER BY made_at DESC LIMIT 1) c ON true
LEFT JOIN LATERAL (
  SELECT stage FROM coldseam.run_state n WHERE n.reach_id = t.reach_id AND n.species = t.species AND n.day = t.day ORDER BY issued_at DESC LIMIT 1) n ON true;
COMMENT ON VIEW coldseam.trip_condition IS 'Trips with the conditions and the verdict of their day. Rows of persons: never granted to readers.';
COMMENT ON COLUMN coldseam.trip_condition.trip_id IS 'The trip.';
COMMENT ON COLUMN coldseam.trip_condition.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.trip_condition.day IS 'Civil day.';
COMMENT ON COLUMN coldseam.trip_condition.season IS 'Calendar year.';
COMMENT ON COLUMN coldseam.trip_condition.species IS 'Species key.';
COMMENT ON COLUMN coldseam.trip_condition.angler IS 'Pseudonym; null = not known.';
COMMENT ON COLUMN coldseam.trip_condition.hours IS 'Hours.';
COMMENT ON COLUMN coldseam.trip_condition.line_hours IS 'Hours times lines.';
COMMENT ON COLUMN coldseam.trip_condition.fish IS 'Fish caught.';
COMMENT ON COLUMN coldseam.trip_condition.weight_oz IS 'Jig weight, ounces.';
COMMENT ON COLUMN coldseam.trip_condition.held IS 'It held bottom.';
COMMENT ON COLUMN coldseam.trip_condition.because_mail IS 'Went, or stayed, because of the mail.';
COMMENT ON COLUMN coldseam.trip_condition.went_not IS 'Did not go.';
COMMENT ON COLUMN coldseam.trip_condition.spot_id IS 'Spot.';
COMMENT ON COLUMN coldseam.trip_condition.presentation IS 'How it was fished.';
COMMENT ON COLUMN coldseam.trip_condition.ripe IS 'Ripe fish.';
COMMENT ON COLUMN coldseam.trip_condition.spent IS 'Spent fish.';
COMMENT ON COLUMN coldseam.trip_condition.looked_at IS 'Fish looked at.';
COMMENT ON COLUMN coldseam.trip_condition.verdict IS 'Last verdict told for the day.';
COMMENT ON COLUMN coldseam.trip_condition.odds IS 'Odds told with it.';
COMMENT ON COLUMN coldseam.trip_condition.band IS 'Temperature band of the daily mean.';
COMMENT ON COLUMN coldseam.trip_condition.flow_class IS 'Flow words of the daily mean, from 10 years of record on.';
COMMENT ON COLUMN coldseam.trip_condition.run_stage IS 'Stage of the run that day.';

-- Cells of the trip log by one dimension at a time. A cell with fewer than
-- three different anglers is hidden. Where the hidden cells of a group are one
-- alone, or together still fewer than three anglers, the smallest open cell is
-- hidden too: with the total of the group the rest could be had by
-- subtraction.
CREATE VIEW coldseam.trip_cell AS
WITH trips AS (
  SELECT c.season, c.reach_id, c.species, c.angler, c.line_hours, c.fish, d.dimension, d.cell
  FROM coldseam.trip_condition c
  CROSS JOIN LATERAL (VALUES
    ('all', 'all'), ('day', c.day::text), ('band', c.band), ('flow', c.flow_class), ('stage', c.run_stage),
    ('verdict', COALESCE(c.verdict, 'none told')), ('weight', COALESCE(c.weight_oz::numeric::text, 'not said')),
    ('presentation', COALESCE(NULLIF(c.presentation, ''), 'not said'))) AS d (dimension, cell)
  WHERE NOT c.went_not),
cells AS (
  SELECT dimension, season, reach_id, species, cell, count(DISTINCT angler) AS anglers, count(*) AS trips, sum(line_hours) AS line_hours, sum(fish) AS fish
  FROM trips
  GROUP BY dimension, season, reach_id, species, cell),
small AS (
  SELECT t.dimension, t.season, t.reach_id, t.species, count(DISTINCT t.angler) AS anglers, count(DISTINCT t.cell) AS cells
  FROM trips t
  JOIN cells c USING (dimension, season, reach_id, species, cell)
  WHERE c.anglers < 3
  GROUP BY t.dimension, t.season, t.reach_id, t.species),
ranked AS (
  SELECT c.*, s.cells AS small_cells, s.anglers AS small_anglers,
    row_number() OVER (PARTITION BY c.dimension, c.season, c.reach_id, c.species, c.anglers >= 3 ORDER BY c.anglers, c.trips, c.cell) AS place
  FROM cells c
  LEFT JOIN small s USING (dimension, season, reach_id, species))
SELECT dimension, season, reach_id, species, cell, anglers, trips, line_hours, fish,
  anglers < 3 OR (place = 1 AND COALESCE(small_cells = 1 OR small_anglers < 3, false)) AS hidden
FROM ranked;
COMMENT ON VIEW coldseam.trip_cell IS 'The trip log by one dimension at a time, with the mark of what readers may not see.';
COMMENT ON COLUMN coldseam.trip_cell.dimension IS 'all, day, band, flow, stage, verdict, weight or presentation.';
COMMENT ON COLUMN coldseam.trip_cell.season IS 'Calendar year.';
COMMENT ON COLUMN coldseam.trip_cell.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.trip_cell.species IS 'Species key.';
COMMENT ON COLUMN coldseam.trip_cell.cell IS 'Value of the dimension.';
COMMENT ON COLUMN coldseam.trip_cell.anglers IS 'Different anglers.';
COMMENT ON COLUMN coldseam.trip_cell.trips IS 'Trips.';
COMMENT ON COLUMN coldseam.trip_cell.line_hours IS 'Hours times lines.';
COMMENT ON COLUMN coldseam.trip_cell.fish IS 'Fish.';
COMMENT ON COLUMN coldseam.trip_cell.hidden IS 'Not for readers.';

-- Views of the club.

CREATE VIEW season.river AS
SELECT r.reach_id, r.river, r.name AS reach, r.site_id, s.name AS gauge, r.temp_site_id, r.zone, r.regulated, r.max_flow_m3s,
  r.max_flow_m3s / 0.028316846592 AS max_flow_cfs, NOT r.retired AS fished, r.updated_at
FROM coldseam.reach r
JOIN coldseam.site s USING (site_id);
COMMENT ON VIEW season.river IS 'Reaches and their gauges.';
COMMENT ON COLUMN season.river.reach_id IS 'Key of the reach, used in all views.';
COMMENT ON COLUMN season.river.river IS 'Name of the river.';
COMMENT ON COLUMN season.river.reach IS 'Name of the reach.';
COMMENT ON COLUMN season.river.site_id IS 'Key of its gauge, used in all views.';
COMMENT ON COLUMN season.river.gauge IS 'Name of the gauge.';
COMMENT ON COLUMN season.river.temp_site_id IS 'Neighbour whose thermometer is used; null = the gauge''s own.';
COMMENT ON COLUMN season.river.zone IS 'Time zone.';
COMMENT ON COLUMN season.river.regulated IS 'Flow is set by dam releases.';
COMMENT ON COLUMN season.river.max_flow_m3s IS 'Flow above which it is a STOP, m3/s.';
COMMENT ON COLUMN season.river.max_flow_cfs IS 'The same, ft3/s.';
COMMENT ON COLUMN season.river.fished IS 'Still fished.';
COMMENT ON COLUMN season.river.updated_at IS 'Last edit.';

CREATE VIEW season.band AS
SELECT band_no, key AS band, upper_f, (upper_f - 32) / 1.8 AS upper_c FROM coldseam.band;
COMMENT ON VIEW season.band IS 'Water temperature bands, coldest first.';
COMMENT ON COLUMN season.band.band_no IS 'Place, from 1.';
COMMENT ON COLUMN season.band.band IS 'Name.';
COMMENT ON COLUMN season.band.upper_f IS 'Upper edge, degF, included.';
COMMENT ON COLUMN season.band.upper_c IS 'Upper edge, degC.';

-- One pass over the summaries: of several series of a parameter the leading
-- one is the least array, as its place comes first.
CREATE VIEW season.daily AS
WITH lead AS (
  SELECT s.series_id, s.site_id, s.param, t.daily_only, s.stat = 'mean' AND s.period IN ('P1D', 'PT24H') AS daily,
    row_number() OVER (PARTITION BY s.site_id, s.param ORDER BY (s.stat = 'mean' AND s.period IN ('P1D', 'PT24H')) DESC, s.preference DESC, s.series_id)::float8 AS place
  FROM coldseam.series s
  JOIN coldseam.site t USING (site_id)
  WHERE s.stat IN ('instant', 'mean') AND s.param IN ('discharge', 'stage', 'water_temp')),
days AS (
  SELECT r.reach_id, r.site_id, d.day,
    min(ARRAY[l.place, d.total / d.n, d.flags]) FILTER (WHERE l.param = 'discharge') AS q,
    min(ARRAY[l.place, d.total / d.n, d.flags]) FILTER (WHERE l.param = 'stage') AS g,
    min(ARRAY[l.place, d.total / d.n, d.flags, d.lo, d.hi]) FILTER (WHERE l.param = 'water_temp') AS w
  FROM coldseam.reach r
  JOIN lead l ON l.site_id = CASE WHEN l.param = 'water_temp' THEN COALESCE(r.temp_site_id, r.site_id) ELSE r.site_id END
  JOIN coldseam.day_summary d USING (series_id)
  WHERE l.daily OR l.daily_only OR d.quarters = 15
  GROUP BY r.reach_id, r.site_id, d.day)
SELECT d.reach_id, d.day, extract(year FROM d.day)::int AS season,
  d.q[2] AS discharge_m3s, d.q[2] / 0.028316846592 AS discharge_cfs, d.g[2] AS stage_m, d.g[2] / 0.3048 AS stage_ft,
  d.w[2] AS water_c, d.w[2] * 1.8 + 32 AS water_f, d.w[4] AS water_min_c, d.w[5] AS water_max_c,
  (SELECT x.key FROM coldseam.band x WHERE x.upper_f + 1e-9 >= d.w[2] * 1.8 + 32 ORDER BY x.band_no LIMIT 1) AS band,
  coldseam.percentile_of(c.quantile, d.q[2]) AS flow_percentile, coldseam.flow_class(coldseam.percentile_of(c.quantile, d.q[2])) AS flow_class, c.years AS record_years,
  COALESCE(d.q[3]::int & 8, 0) | COALESCE(d.g[3]::int & 8, 0) | COALESCE(d.w[3]::int & 8, 0) <> 0 AS ice,
  COALESCE(d.q[3]::int & 4, 0) <> 0 AS discharge_estimated,
  COALESCE(d.q[3]::int & 2, 0) = 0 AS provisional
FROM days d
LEFT JOIN coldseam.climatology c
  ON c.site_id = d.site_id AND c.param = 'discharge' AND c.doy = coldseam.doy_of(d.day) AND c.years >= 10
  AND c.made_at = (SELECT max(m.made_at) FROM coldseam.climatology m WHERE m.site_id = c.site_id AND m.param = 'discharge' AND m.doy = c.doy);
COMMENT ON VIEW season.daily IS 'Daily flow, stage and water temperature of each reach''s gauge, with band and flow words. Values may be provisional.';
COMMENT ON COLUMN season.daily.reach_id IS 'The reach.';
COMMENT ON COLUMN season.daily.day IS 'Civil day of the gauge.';
COMMENT ON COLUMN season.daily.season IS 'Calendar year.';
COMMENT ON COLUMN season.daily.discharge_m3s IS 'Daily mean discharge, m3/s.';
COMMENT ON COLUMN season.daily.discharge_cfs IS 'Daily mean discharge, ft3/s.';
COMMENT ON COLUMN season.daily.stage_m IS 'Daily mean stage, m.';
COMMENT ON COLUMN season.daily.stage_ft IS 'Daily mean stage, ft.';
COMMENT ON COLUMN season.daily.water_c IS 'Daily mean water temperature, degC.';
COMMENT ON COLUMN season.daily.water_f IS 'Daily mean water temperature, degF.';
COMMENT ON COLUMN season.daily.water_min_c IS 'Least value of the day, degC; for a daily-mean series the mean.';
COMMENT ON COLUMN season.daily.water_max_c IS 'Greatest value of the day, degC; for a daily-mean series the mean.';
COMMENT ON COLUMN season.daily.band IS 'Temperature band of the daily mean.';
COMMENT ON COLUMN season.daily.flow_percentile IS 'Share of the record +-15 days around the date below this flow, 0-1; null under 10 years.';
COMMENT ON COLUMN season.daily.flow_class IS 'Flow words: much below, below, normal, above, much above; null under 10 years.';
COMMENT ON COLUMN season.daily.record_years IS 'Years behind the percentile.';
COMMENT ON COLUMN season.daily.ice IS 'The agency marked ice that day.';
COMMENT ON COLUMN season.daily.discharge_estimated IS 'The agency estimated the flow in part.';
COMMENT ON COLUMN season.daily.provisional IS 'The flow is not approved by the agency yet.';

CREATE VIEW season.brief AS
SELECT b.brief_id, b.reach_id, b.day, extract(year FROM b.day)::int AS season, b.issued_at,
  row_number() OVER (PARTITION BY b.reach_id, b.day ORDER BY b.issued_at DESC) = 1 AS last_word,
  b.verdict, b.odds, b.odds_note, b.cost, b.hold_p, b.window_start, b.window_end, b.water_c, b.water_c * 1.8 + 32 AS water_f,
  b.discharge_m3s, b.discharge_m3s / 0.028316846592 AS discharge_cfs, b.stage_m, b.tie_oz, b.band, b.flow_class, b.run_stage, b.sure
FROM coldseam.brief b
WHERE NOT b.replay;
COMMENT ON VIEW season.brief IS 'Briefs as issued, by the club''s default preferences. Several issues of a morning are several rows.';
COMMENT ON COLUMN season.brief.brief_id IS 'Key of the brief.';
COMMENT ON COLUMN season.brief.reach_id IS 'The reach.';
COMMENT ON COLUMN season.brief.day IS 'The morning it speaks of.';
COMMENT ON COLUMN season.brief.season IS 'Calendar year.';
COMMENT ON COLUMN season.brief.issued_at IS 'When it was issued.';
COMMENT ON COLUMN season.brief.last_word IS 'The last issue of that morning.';
COMMENT ON COLUMN season.brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';
COMMENT ON COLUMN season.brief.odds IS 'Odds of a good morning told, 0-1; null = none were told.';
COMMENT ON COLUMN season.brief.odds_note IS 'What the odds rest on.';
COMMENT ON COLUMN season.brief.cost IS 'Cost of a wasted trip over the value of a good one.';
COMMENT ON COLUMN season.brief.hold_p IS 'Probability that the heaviest weight of the club''s range holds bottom.';
COMMENT ON COLUMN season.brief.window_start IS 'Start of the best window.';
COMMENT ON COLUMN season.brief.window_end IS 'End of the best window.';
COMMENT ON COLUMN season.brief.water_c IS 'Median water temperature forecast for the window, degC.';
COMMENT ON COLUMN season.brief.water_f IS 'The same, degF.';
COMMENT ON COLUMN season.brief.discharge_m3s IS 'Median discharge forecast for the window, m3/s.';
COMMENT ON COLUMN season.brief.discharge_cfs IS 'The same, ft3/s.';
COMMENT ON COLUMN season.brief.stage_m IS 'Median stage forecast for the window, m.';
COMMENT ON COLUMN season.brief.tie_oz IS 'Weight told to tie on at the advised spot, ounces; null = withheld.';
COMMENT ON COLUMN season.brief.band IS 'Temperature band told.';
COMMENT ON COLUMN season.brief.flow_class IS 'Flow words told.';
COMMENT ON COLUMN season.brief.run_stage IS 'Stage of the run told.';
COMMENT ON COLUMN season.brief.sure IS 'How sure: high, medium, low.';

CREATE VIEW season.reason AS
SELECT b.brief_id, b.reach_id, b.day, extract(year FROM b.day)::int AS season, b.verdict, x.list,
  x.r ->> 'Code' AS code, x.r ->> 'Kind' AS kind, x.r ->> 'Text' AS wording, x.r ->> 'Source' AS source
FROM coldseam.last_brief b
CROSS JOIN LATERAL (
  SELECT 'stop' AS list, e AS r FROM jsonb_array_elements(CASE WHEN jsonb_typeof(b.body -> 'Stops') = 'array' THEN b.body -> 'Stops' ELSE '[]' END) e
  UNION ALL
  SELECT 'reason', e FROM jsonb_array_elements(CASE WHEN jsonb_typeof(b.body -> 'Reasons') = 'array' THEN b.body -> 'Reasons' ELSE '[]' END) e
  UNION ALL
  SELECT 'caution', e FROM jsonb_array_elements(CASE WHEN jsonb_typeof(b.body -> 'Cautions') = 'array' THEN b.body -> 'Cautions' ELSE '[]' END) e) x;
COMMENT ON VIEW season.reason IS 'Stops fired, reasons and cautions of the last brief of each morning, one row each.';
COMMENT ON COLUMN season.reason.brief_id IS 'Key of the brief.';
COMMENT ON COLUMN season.reason.reach_id IS 'The reach.';
COMMENT ON COLUMN season.reason.day IS 'The morning.';
COMMENT ON COLUMN season.reason.season IS 'Calendar year.';
COMMENT ON COLUMN season.reason.verdict IS 'Verdict of the brief.';
COMMENT ON COLUMN season.reason.list IS 'stop, reason or caution.';
COMMENT ON COLUMN season.reason.code IS 'Rule that fired.';
COMMENT ON COLUMN season.reason.kind IS 'safety, legal, missing, odds, cap, caution or note.';
COMMENT ON COLUMN season.reason.wording IS 'As told.';
COMMENT ON COLUMN season.reason.source IS 'Agency or club rule.';

CREATE VIEW season.advice AS
SELECT b.brief_id, b.reach_id, b.day, extract(year FROM b.day)::int AS season, b.band, b.flow_class, b.run_stage, b.advice_row,
  b.body -> 'How' ->> 'Action' AS action, b.body -> 'How' ->> 'Cadence' AS cadence, b.body -> 'How' ->> 'Body' AS body, b.body -> 'How' ->> 'Colour' AS colour,
  b.body -> 'How' ->> 'Line' AS wording, b.tie_oz
FROM coldseam.last_brief b
WHERE b.advice_row <> '';
COMMENT ON VIEW season.advice IS 'Presentation advice given, last brief of each morning.';
COMMENT ON COLUMN season.advice.brief_id IS 'Key of the brief.';
COMMENT ON COLUMN season.advice.reach_id IS 'The reach.';
COMMENT ON COLUMN season.advice.day IS 'The morning.';
COMMENT ON COLUMN season.advice.season IS 'Calendar year.';
COMMENT ON COLUMN season.advice.band IS 'Temperature band told.';
COMMENT ON COLUMN season.advice.flow_class IS 'Flow words told.';
COMMENT ON COLUMN season.advice.run_stage IS 'Stage of the run told.';
COMMENT ON COLUMN season.advice.advice_row IS 'Row of the advice table that won.';
COMMENT ON COLUMN season.advice.action IS 'Action word.';
COMMENT ON COLUMN season.advice.cadence IS 'Cadence.';
COMMENT ON COLUMN season.advice.body IS 'Body on the jig.';
COMMENT ON COLUMN season.advice.colour IS 'Colour.';
COMMENT ON COLUMN season.advice.wording IS 'The HOW line.';
COMMENT ON COLUMN season.advice.tie_oz IS 'Weight told to tie on, ounces.';

CREATE VIEW season.forecast_pair AS
SELECT r.reach_id, f.site_id, f.param, f.source, f.issued_at, f.lead_day, f.valid_day, extract(year FROM f.valid_day)::int AS season,
  f.observed, f.p10, f.p50, f.p90, f.crps, abs(f.observed - f.p50) AS abs_error, f.observed BETWEEN f.p10 AND f.p90 AS inside, f.persist AS persistence_error
FROM coldseam.forecast_score f
JOIN coldseam.reach r ON f.site_id = r.site_id OR f.site_id = r.temp_site_id;
COMMENT ON VIEW season.forecast_pair IS 'Each daily forecast beside what was measured afterwards.';
COMMENT ON COLUMN season.forecast_pair.reach_id IS 'The reach.';
COMMENT ON COLUMN season.forecast_pair.site_id IS 'The gauge.';
COMMENT ON COLUMN season.forecast_pair.param IS 'discharge (m3/s), stage (m) or water_temp (degC).';
COMMENT ON COLUMN season.forecast_pair.source IS 'Model and tier.';
COMMENT ON COLUMN season.forecast_pair.issued_at IS 'Issue time.';
COMMENT ON COLUMN season.forecast_pair.lead_day IS 'Days ahead.';
COMMENT ON COLUMN season.forecast_pair.valid_day IS 'Day forecast.';
COMMENT ON COLUMN season.forecast_pair.season IS 'Calendar year of that day.';
COMMENT ON COLUMN season.forecast_pair.observed IS 'Daily mean measured.';
COMMENT ON COLUMN season.forecast_pair.p10 IS '10 % quantile forecast.';
COMMENT ON COLUMN season.forecast_pair.p50 IS 'Median forecast.';
COMMENT ON COLUMN season.forecast_pair.p90 IS '90 % quantile forecast.';
COMMENT ON COLUMN season.forecast_pair.crps IS 'Continuous ranked probability score; 0 = perfect.';
COMMENT ON COLUMN season.forecast_pair.abs_error IS 'Absolute error of the median.';
COMMENT ON COLUMN season.forecast_pair.inside IS 'Measured within p10-p90; 8 in 10 is right.';
COMMENT ON COLUMN season.forecast_pair.persistence_error IS 'Absolute error of "stays as it was yesterday".';

CREATE VIEW season.skill AS
SELECT reach_id, param, season, lead_day, count(*) AS n, avg(abs_error) AS mean_abs_error, avg(crps) AS mean_crps,
  avg(inside::int) AS inside_share, avg(persistence_error) AS persistence_error,
  1 - avg(abs_error) FILTER (WHERE persistence_error IS NOT NULL) / NULLIF(avg(persistence_error), 0) AS skill
FROM season.forecast_pair
GROUP BY reach_id, param, season, lead_day;
COMMENT ON VIEW season.skill IS 'Forecast skill by lead.';
COMMENT ON COLUMN season.skill.reach_id IS 'The reach.';
COMMENT ON COLUMN season.skill.param IS 'discharge (m3/s), stage (m) or water_temp (degC).';
COMMENT ON COLUMN season.skill.season IS 'Calendar year.';
COMMENT ON COLUMN season.skill.lead_day IS 'Days ahead.';
COMMENT ON COLUMN season.skill.n IS 'Forecasts scored.';
COMMENT ON COLUMN season.skill.mean_abs_error IS 'Mean absolute error of the median.';
COMMENT ON COLUMN season.skill.mean_crps IS 'Mean continuous ranked probability score.';
COMMENT ON COLUMN season.skill.inside_share IS 'Share measured within p10-p90; 0.8 is right.';
COMMENT ON COLUMN season.skill.persistence_error IS 'Mean absolute error of "stays as it was yesterday".';
COMMENT ON COLUMN season.skill.skill IS 'Share of that error saved by the forecast; 0 = none, 1 = all, negative = worse.';

CREATE VIEW season.run_day AS
SELECT reach_id, species, day, extract(year FROM day)::int AS season, stage, stage_p, p_wave, arrived_p10, arrived_p50, arrived_p90, spawned_p50
FROM coldseam.last_run;
COMMENT ON VIEW season.run_day IS 'State of the run told for each day, last issue.';
COMMENT ON COLUMN season.run_day.reach_id IS 'The reach.';
COMMENT ON COLUMN season.run_day.species IS 'Species key.';
COMMENT ON COLUMN season.run_day.day IS 'Civil day.';
COMMENT ON COLUMN season.run_day.season IS 'Calendar year.';
COMMENT ON COLUMN season.run_day.stage IS 'Most likely stage.';
COMMENT ON COLUMN season.run_day.stage_p IS 'Its probability.';
COMMENT ON COLUMN season.run_day.p_wave IS 'Probability of a wave that day.';
COMMENT ON COLUMN season.run_day.arrived_p10 IS '10 % quantile of the share arrived.';
COMMENT ON COLUMN season.run_day.arrived_p50 IS 'Median share arrived.';
COMMENT ON COLUMN season.run_day.arrived_p90 IS '90 % quantile of the share arrived.';
COMMENT ON COLUMN season.run_day.spawned_p50 IS 'Median share that has spawned.';

CREATE VIEW season.run_date AS
SELECT reach_id, species, season, min(day) FILTER (WHERE arrived_p50 >= 0.05) AS first_fish, min(day) FILTER (WHERE arrived_p50 >= 0.5) AS half_in,
  min(day) FILTER (WHERE spawned_p50 >= 0.5) AS half_spawned, (array_agg(day ORDER BY p_wave DESC, day))[1] AS best_wave, max(p_wave) AS best_wave_p,
  min(day) FILTER (WHERE arrived_p50 >= 0.95) AS last_fish
FROM season.run_day
GROUP BY reach_id, species, season;
COMMENT ON VIEW season.run_date IS 'Dates of the run by the run clock.';
COMMENT ON COLUMN season.run_date.reach_id IS 'The reach.';
COMMENT ON COLUMN season.run_date.species IS 'Species key.';
COMMENT ON COLUMN season.run_date.season IS 'Calendar year.';
COMMENT ON COLUMN season.run_date.first_fish IS 'First day with 5 % arrived.';
COMMENT ON COLUMN season.run_date.half_in IS 'First day with half arrived.';
COMMENT ON COLUMN season.run_date.half_spawned IS 'First day with half spawned.';
COMMENT ON COLUMN season.run_date.best_wave IS 'Day with the likeliest wave.';
COMMENT ON COLUMN season.run_date.best_wave_p IS 'Its probability.';
COMMENT ON COLUMN season.run_date.last_fish IS 'First day with 95 % arrived.';

CREATE VIEW season.crossing AS
SELECT r.reach_id, c.site_id, c.issued_at, c.edge_c, c.edge_c * 1.8 + 32 AS edge_f, c.up, c.within_3d, c.within_7d, c.within_10d, c.date_p10, c.date_p50, c.date_p90, c.confirmed
FROM coldseam.crossing c
JOIN coldseam.reach r ON c.site_id = COALESCE(r.temp_site_id, r.site_id) OR c.site_id = r.site_id;
COMMENT ON VIEW season.crossing IS 'Forecasts of the day a band edge is crossed for good.';
COMMENT ON COLUMN season.crossing.reach_id IS 'The reach.';
COMMENT ON COLUMN season.crossing.site_id IS 'The gauge.';
COMMENT ON COLUMN season.crossing.issued_at IS 'Issue time.';
COMMENT ON COLUMN season.crossing.edge_c IS 'Band edge, degC.';
COMMENT ON COLUMN season.crossing.edge_f IS 'Band edge, degF.';
COMMENT ON COLUMN season.crossing.up IS 'true = rising, spring.';
COMMENT ON COLUMN season.crossing.within_3d IS 'Probability within 3 days.';
COMMENT ON COLUMN season.crossing.within_7d IS 'Probability within 7 days.';
COMMENT ON COLUMN season.crossing.within_10d IS 'Probability within 10 days.';
COMMENT ON COLUMN season.crossing.date_p10 IS 'Early date, given that it crosses.';
COMMENT ON COLUMN season.crossing.date_p50 IS 'Median date.';
COMMENT ON COLUMN season.crossing.date_p90 IS 'Late date.';
COMMENT ON COLUMN season.crossing.confirmed IS 'Observed for five days.';

-- Fish and hours are given for the whole season only: days, bands, stages and
-- verdicts are cut from the same days, and sums of one could be subtracted from
-- sums of another. A rate without its hours cannot.
CREATE VIEW season.catch AS
SELECT dimension, season, reach_id, species, cell, CASE WHEN NOT hidden THEN anglers END AS anglers, CASE WHEN NOT hidden THEN trips END AS trips,
  CASE WHEN NOT hidden AND dimension = 'all' THEN round(line_hours::numeric) END AS line_hours, CASE WHEN NOT hidden AND dimension = 'all' THEN fish END AS fish,
  CASE WHEN NOT hidden THEN round((fish / NULLIF(line_hours, 0))::numeric, 2) END AS fish_per_line_hour, hidden
FROM coldseam.trip_cell;
COMMENT ON VIEW season.catch IS 'Catch by one dimension at a time. Numbers of cells with fewer than three different anglers are left empty, and a second cell where one could be had by subtraction.';
COMMENT ON COLUMN season.catch.dimension IS 'all, day, band, flow, stage, verdict, weight (ounces) or presentation.';
COMMENT ON COLUMN season.catch.season IS 'Calendar year.';
COMMENT ON COLUMN season.catch.reach_id IS 'The reach.';
COMMENT ON COLUMN season.catch.species IS 'Species key.';
COMMENT ON COLUMN season.catch.cell IS 'Value of the dimension.';
COMMENT ON COLUMN season.catch.anglers IS 'Different anglers.';
COMMENT ON COLUMN season.catch.trips IS 'Trips, those without fish included.';
COMMENT ON COLUMN season.catch.line_hours IS 'Hours times lines, whole hours; only for the whole season.';
COMMENT ON COLUMN season.catch.fish IS 'Fish caught; only for the whole season.';
COMMENT ON COLUMN season.catch.fish_per_line_hour IS 'Fish per line hour.';
COMMENT ON COLUMN season.catch.hidden IS 'Numbers left empty to protect anglers.';

CREATE VIEW season.catch_by_band AS
SELECT season, reach_id, species, cell AS band, anglers, trips, fish_per_line_hour FROM season.catch WHERE dimension = 'band';
COMMENT ON VIEW season.catch_by_band IS 'Catch by temperature band of the day.';
CREATE VIEW season.catch_by_stage AS
SELECT season, reach_id, species, cell AS run_stage, anglers, trips, fish_per_line_hour FROM season.catch WHERE dimension = 'stage';
COMMENT ON VIEW season.catch_by_stage IS 'Catch by stage of the run.';
CREATE VIEW season.catch_by_flow AS
SELECT season, reach_id, species, cell AS flow_class, anglers, trips, fish_per_line_hour FROM season.catch WHERE dimension = 'flow';
COMMENT ON VIEW season.catch_by_flow IS 'Catch by flow words of the day.';
CREATE VIEW season.catch_by_weight AS
SELECT season, reach_id, species, NULLIF(cell, 'not said')::numeric AS weight_oz, anglers, trips, fish_per_line_hour FROM season.catch WHERE dimension = 'weight';
COMMENT ON VIEW season.catch_by_weight IS 'Catch by jig weight.';
CREATE VIEW season.trip_day AS
SELECT season, reach_id, species, cell::date AS day, anglers, trips, fish_per_line_hour FROM season.catch WHERE dimension = 'day';
COMMENT ON VIEW season.trip_day IS 'Trips by day.';
DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT c.oid::regclass AS view, a.attname, COALESCE(k.txt, col_description('season.catch'::regclass, b.attnum)) AS txt
    FROM pg_class c
    JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0
    LEFT JOIN pg_attribute b ON b.attrelid = 'season.catch'::regclass AND b.attname = a.attname
    LEFT JOIN (VALUES ('band', 'Temperature band of the day; "not known" = no temperature.'), ('run_stage', 'Stage of the run; "not known" = none told.'),
      ('flow_class', 'Flow words of the day; "not known" = under 10 years of record.'), ('weight_oz', 'Jig weight, ounces; null = not said.'), ('day', 'Civil day.')) AS k (name, txt) ON k.name = a.attname
    WHERE c.relnamespace = 'season'::regnamespace AND c.relname IN ('catch_by_band', 'catch_by_stage', 'catch_by_flow', 'catch_by_weight', 'trip_day')
  LOOP
    EXECUTE format('COMMENT ON COLUMN %s.%I IS %L', r.view, r.attname, r.txt);
  END LOOP;
END $$;

CREATE VIEW season.weight_held AS
WITH logs AS (
  SELECT reach_id, spot_id, extract(year FROM logged_at)::int AS season, weight_oz, held, NULLIF(angler, '') AS angler, angle_deg, discharge_m3s FROM coldseam.rig_log
  UNION ALL
  SELECT reach_id, spot_id, season, weight_oz, held, angler, NULL, NULL FROM coldseam.trip_condition t
  WHERE held IS NOT NULL AND weight_oz IS NOT NULL AND NOT EXISTS (SELECT FROM coldseam.rig_log g WHERE g.trip_id = t.trip_id)),
cells AS (
  SELECT season, reach_id, spot_id, weight_oz, count(DISTINCT angler) AS anglers, count(*) AS logs, avg(held::int) AS held_share,
    percentile_cont(0.5) WITHIN GROUP (ORDER BY discharge_m3s) AS median_m3s
  FROM logs
  GROUP BY season, reach_id, spot_id, weight_oz),
small AS (
  SELECT l.season, l.reach_id, l.spot_id, count(DISTINCT l.angler) AS anglers, count(DISTINCT l.weight_oz) AS cells
  FROM logs l JOIN cells c USING (season, reach_id, spot_id, weight_oz)
  WHERE c.anglers < 3
  GROUP BY l.season, l.reach_id, l.spot_id),
ranked AS (
  SELECT c.*, c.anglers < 3 OR (row_number() OVER (PARTITION BY c.season, c.reach_id, c.spot_id, c.anglers >= 3 ORDER BY c.anglers, c.logs, c.weight_oz) = 1
    AND COALESCE(s.cells = 1 OR s.anglers < 3, false)) AS hidden
  FROM cells c LEFT JOIN small s USING (season, reach_id, spot_id))
SELECT season, reach_id, spot_id, weight_oz, CASE WHEN NOT hidden THEN anglers END AS anglers, CASE WHEN NOT hidden THEN logs END AS logs,
  CASE WHEN NOT hidden THEN round(held_share, 2) END AS held_share, CASE WHEN NOT hidden THEN round(median_m3s::numeric) END AS median_m3s, hidden
FROM ranked;
COMMENT ON VIEW season.weight_held IS 'Which weights held bottom at which spot. Cells with fewer than three different anglers are left empty.';
COMMENT ON COLUMN season.weight_held.season IS 'Calendar year.';
COMMENT ON COLUMN season.weight_held.reach_id IS 'The reach.';
COMMENT ON COLUMN season.weight_held.spot_id IS 'The spot.';
COMMENT ON COLUMN season.weight_held.weight_oz IS 'Jig weight, ounces.';
COMMENT ON COLUMN season.weight_held.anglers IS 'Different anglers.';
COMMENT ON COLUMN season.weight_held.logs IS 'Logs.';
COMMENT ON COLUMN season.weight_held.held_share IS 'Share that held bottom, 0-1.';
COMMENT ON COLUMN season.weight_held.median_m3s IS 'Median discharge of the logs, m3/s.';
COMMENT ON COLUMN season.weight_held.hidden IS 'Numbers left empty to protect anglers.';

-- A day is good when its fish per line hour reach the target of the reach, or
-- else the 60 % quantile of all logged days there.
CREATE VIEW coldseam.day_catch AS
WITH days AS (
  SELECT reach_id, day, sum(line_hours) FILTER (WHERE NOT went_not) AS line_hours, sum(fish) FILTER (WHERE NOT went_not) AS fish,
    count(DISTINCT angler) AS anglers, count(*) FILTER (WHERE NOT went_not) AS trips, count(*) FILTER (WHERE went_not) AS stayed,
    count(*) FILTER (WHERE went_not AND because_mail) AS stayed_by_mail
  FROM coldseam.trip_condition
  GROUP BY reach_id, day),
target AS (
  SELECT d.reach_id, COALESCE(NULLIF((r.body ->> 'TargetRate')::float8, 0), percentile_cont(0.6) WITHIN GROUP (ORDER BY d.fish / NULLIF(d.line_hours, 0))) AS rate
  FROM days d JOIN coldseam.reach r USING (reach_id)
  WHERE d.line_hours > 0
  GROUP BY d.reach_id, r.body ->> 'TargetRate')
SELECT d.reach_id, d.day, d.line_hours, d.fish, d.anglers, d.trips, d.stayed, d.stayed_by_mail, d.fish / NULLIF(d.line_hours, 0) >= t.rate AS good, t.rate AS target_rate
FROM days d LEFT JOIN target t USING (reach_id);
COMMENT ON VIEW coldseam.day_catch IS 'Catch of each reach and day against the target of the reach.';
COMMENT ON COLUMN coldseam.day_catch.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.day_catch.day IS 'Civil day.';
COMMENT ON COLUMN coldseam.day_catch.line_hours IS 'Hours times lines.';
COMMENT ON COLUMN coldseam.day_catch.fish IS 'Fish caught.';
COMMENT ON COLUMN coldseam.day_catch.anglers IS 'Different anglers.';
COMMENT ON COLUMN coldseam.day_catch.trips IS 'Trips.';
COMMENT ON COLUMN coldseam.day_catch.stayed IS 'Said "did not go".';
COMMENT ON COLUMN coldseam.day_catch.stayed_by_mail IS 'Of those, because of the mail.';
COMMENT ON COLUMN coldseam.day_catch.good IS 'A good day; null = nobody fished.';
COMMENT ON COLUMN coldseam.day_catch.target_rate IS 'Target, fish per line hour.';

CREATE VIEW season.call AS
WITH months AS (
  SELECT b.reach_id, extract(year FROM b.day)::int AS season, b.verdict, count(*) AS mornings, count(c.day) FILTER (WHERE c.trips > 0) AS fished,
    count(*) FILTER (WHERE c.good) AS good, avg(b.odds) AS mean_odds, avg(b.odds) FILTER (WHERE c.trips > 0) AS mean_odds_fished, sum(c.stayed_by_mail) AS stayed_by_mail
  FROM coldseam.last_brief b
  LEFT JOIN coldseam.day_catch c USING (reach_id, day)
  GROUP BY 1, 2, 3),
who AS (
  SELECT reach_id, season, verdict, count(DISTINCT angler) AS anglers FROM coldseam.trip_condition WHERE verdict IS NOT NULL GROUP BY 1, 2, 3)
SELECT m.reach_id, m.season, m.verdict, m.mornings, round(m.mean_odds::numeric, 2) AS mean_odds,
  CASE WHEN w.anglers >= 3 THEN m.fished END AS mornings_fished, CASE WHEN w.anglers >= 3 THEN m.good END AS good_mornings,
  CASE WHEN w.anglers >= 3 THEN round(m.mean_odds_fished::numeric, 2) END AS mean_odds_fished, CASE WHEN w.anglers >= 3 THEN COALESCE(m.stayed_by_mail, 0) END AS drives_saved
FROM months m
LEFT JOIN who w USING (reach_id, season, verdict);
COMMENT ON VIEW season.call IS 'What we said against what happened. Numbers from fewer than three different anglers are left empty.';
COMMENT ON COLUMN season.call.reach_id IS 'The reach.';
COMMENT ON COLUMN season.call.season IS 'Calendar year.';
COMMENT ON COLUMN season.call.verdict IS 'Last verdict of the morning.';
COMMENT ON COLUMN season.call.mornings IS 'Mornings with that verdict.';
COMMENT ON COLUMN season.call.mean_odds IS 'Mean odds told.';
COMMENT ON COLUMN season.call.mornings_fished IS 'Of those, mornings with a logged trip.';
COMMENT ON COLUMN season.call.good_mornings IS 'Of those, good ones: fish per line hour at or above the target of the reach.';
COMMENT ON COLUMN season.call.mean_odds_fished IS 'Mean odds of the mornings fished: compare with good over fished.';
COMMENT ON COLUMN season.call.drives_saved IS 'Times somebody stayed at home because of the mail.';

CREATE VIEW season.outage AS
WITH days AS (
  SELECT s.site_id, s.param, d.day, d.day - (row_number() OVER (PARTITION BY s.site_id, s.param ORDER BY d.day))::int AS island
  FROM (SELECT DISTINCT series.site_id, series.param, y.day FROM coldseam.day_summary y JOIN coldseam.series USING (series_id)) d
  JOIN (SELECT DISTINCT site_id, param FROM coldseam.series) s ON s.site_id = d.site_id AND s.param = d.param),
islands AS (
  SELECT site_id, param, min(day) AS first_day, max(day) AS last_day FROM days GROUP BY site_id, param, island),
gaps AS (
  SELECT site_id, param, lag(last_day) OVER (PARTITION BY site_id, param ORDER BY first_day) + 1 AS from_day, first_day - 1 AS to_day FROM islands)
SELECT site_id, param, from_day, to_day, to_day - from_day + 1 AS days, extract(year FROM from_day)::int AS season
FROM gaps
WHERE from_day IS NOT NULL;
COMMENT ON VIEW season.outage IS 'Spans of whole days without a usable value between the first and the last of a parameter.';
COMMENT ON COLUMN season.outage.site_id IS 'The gauge.';
COMMENT ON COLUMN season.outage.param IS 'Parameter.';
COMMENT ON COLUMN season.outage.from_day IS 'First day without.';
COMMENT ON COLUMN season.outage.to_day IS 'Last day without.';
COMMENT ON COLUMN season.outage.days IS 'Number of days.';
COMMENT ON COLUMN season.outage.season IS 'Calendar year of the first day.';

CREATE VIEW season.feed AS
SELECT profile, count(*) AS addresses, min(last_ok_at) AS oldest_good, max(last_ok_at) AS newest_good, count(*) FILTER (WHERE failures > 0) AS failing
FROM coldseam.fetch_state
GROUP BY profile;
COMMENT ON VIEW season.feed IS 'State of the feeds.';
COMMENT ON COLUMN season.feed.profile IS 'Feed profile.';
COMMENT ON COLUMN season.feed.addresses IS 'Addresses fetched.';
COMMENT ON COLUMN season.feed.oldest_good IS 'Longest ago that one of them answered.';
COMMENT ON COLUMN season.feed.newest_good IS 'Last good answer.';
COMMENT ON COLUMN season.feed.failing IS 'Addresses failing now.';

CREATE VIEW season.mail AS
SELECT local_date AS day, extract(year FROM local_date)::int AS season, kind, state, count(*) AS mails
FROM coldseam.outbox
WHERE subscriber_id IS NOT NULL
GROUP BY local_date, kind, state;
COMMENT ON VIEW season.mail IS 'Mails by day, kind and state.';
COMMENT ON COLUMN season.mail.day IS 'Local date.';
COMMENT ON COLUMN season.mail.season IS 'Calendar year.';
COMMENT ON COLUMN season.mail.kind IS 'Kind of mail.';
COMMENT ON COLUMN season.mail.state IS 'sent, failed, expired, unknown ...';
COMMENT ON COLUMN season.mail.mails IS 'Number.';

CREATE VIEW season.rule AS
SELECT reach_id, kind, species, allowed, wording, link, checked_on, checked_on + 365 AS recheck_by, closed
FROM coldseam.season_rule;
COMMENT ON VIEW season.rule IS 'Local law as entered, with the day it was last checked.';
COMMENT ON COLUMN season.rule.reach_id IS 'The reach.';
COMMENT ON COLUMN season.rule.kind IS 'season, bait or life_jacket.';
COMMENT ON COLUMN season.rule.species IS 'Species key; empty = the whole reach.';
COMMENT ON COLUMN season.rule.allowed IS 'For bait rules: natural bait is allowed.';
COMMENT ON COLUMN season.rule.wording IS 'The rule in words.';
COMMENT ON COLUMN season.rule.link IS 'Where it is published.';
COMMENT ON COLUMN season.rule.checked_on IS 'Day it was last checked; null = never.';
COMMENT ON COLUMN season.rule.recheck_by IS 'Day after which it counts as not verified.';
COMMENT ON COLUMN season.rule.closed IS 'Closed spans of the year, JSON.';

CREATE VIEW season.edit AS
SELECT e.edited_at, e.reach_id, 'reach' AS what, e.why, (e.body ->> 'MaxFlowM3S')::float8 AS max_flow_m3s
FROM coldseam.reach_edit e
UNION ALL
SELECT a.edited_at, NULL, a.key || ': ' || COALESCE(a.old_value, 'default') || ' to ' || COALESCE(a.new_value, 'default'), a.why, NULL
FROM coldseam.threshold_audit a;
COMMENT ON VIEW season.edit IS 'Edits of reaches and limits with their reasons, without names.';
COMMENT ON COLUMN season.edit.edited_at IS 'When.';
COMMENT ON COLUMN season.edit.reach_id IS 'The reach; null = a limit of the club.';
COMMENT ON COLUMN season.edit.what IS 'What was edited.';
COMMENT ON COLUMN season.edit.why IS 'The reason given.';
COMMENT ON COLUMN season.edit.max_flow_m3s IS 'Flow limit of the reach after the edit, m3/s.';

CREATE VIEW season.normal AS
SELECT DISTINCT ON (c.site_id, c.param, c.doy) c.site_id, c.param, c.doy, c.years, c.quantile[3] AS p10, c.quantile[4] AS p25, c.quantile[5] AS p50, c.quantile[6] AS p75, c.quantile[7] AS p90
FROM coldseam.climatology c
ORDER BY c.site_id, c.param, c.doy, c.made_at DESC;
COMMENT ON VIEW season.normal IS 'What is usual for the date: daily means of +-15 days of all years.';
COMMENT ON COLUMN season.normal.site_id IS 'The gauge.';
COMMENT ON COLUMN season.normal.param IS 'Parameter.';
COMMENT ON COLUMN season.normal.doy IS 'Day of the year, 1 March = 61 in every year.';
COMMENT ON COLUMN season.normal.years IS 'Years behind it.';
COMMENT ON COLUMN season.normal.p10 IS '10 % quantile, SI unit.';
COMMENT ON COLUMN season.normal.p25 IS '25 % quantile.';
COMMENT ON COLUMN season.normal.p50 IS 'Median.';
COMMENT ON COLUMN season.normal.p75 IS '75 % quantile.';
COMMENT ON COLUMN season.normal.p90 IS '90 % quantile.';

CREATE VIEW season.dictionary AS
SELECT c.relname::text AS view_name, a.attname::text AS column_name, format_type(a.atttypid, a.atttypmod) AS type, col_description(c.oid, a.attnum) AS meaning,
  obj_description(c.oid, 'pg_class') AS view_meaning, a.attnum::int AS place
FROM pg_class c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
WHERE c.relnamespace = 'season'::regnamespace AND c.relkind = 'v';
COMMENT ON VIEW season.dictionary IS 'Every view and column of this schema with its meaning.';
COMMENT ON COLUMN season.dictionary.view_name IS 'View.';
COMMENT ON COLUMN season.dictionary.column_name IS 'Column.';
COMMENT ON COLUMN season.dictionary.type IS 'Type.';
COMMENT ON COLUMN season.dictionary.meaning IS 'Meaning and unit of the column.';
COMMENT ON COLUMN season.dictionary.view_meaning IS 'Meaning of the view.';
COMMENT ON COLUMN season.dictionary.place IS 'Place of the column.';
