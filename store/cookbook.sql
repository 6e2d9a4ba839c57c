-- Questions a club asks of its season. Every one runs as season_reader, in
-- psql (\i cookbook.sql) or in any tool that speaks to Postgres. Change the
-- year where one is written.

-- name: rivers
-- Which rivers do we follow, and what is their flow limit?
SELECT river, reach, gauge, round(max_flow_cfs) AS max_flow_cfs
FROM season.river
WHERE fished
ORDER BY river, reach;

-- name: season-at-a-glance
-- How did flow and water temperature go, month by month?
SELECT reach_id, to_char(day, 'YYYY-MM') AS month, round(avg(discharge_cfs)) AS mean_cfs, round(min(water_f)::numeric, 1) AS coldest_f,
  round(max(water_f)::numeric, 1) AS warmest_f, count(*) AS days
FROM season.daily
WHERE season = 2026
GROUP BY reach_id, month
ORDER BY reach_id, month;

-- name: days-in-band
-- How many days was the water in each temperature band?
SELECT d.reach_id, b.band, count(*) AS days, min(d.day) AS first_day, max(d.day) AS last_day
FROM season.daily d
JOIN season.band b USING (band)
WHERE d.season = 2026
GROUP BY d.reach_id, b.band, b.band_no
ORDER BY d.reach_id, b.band_no;

-- name: verdicts
-- How often did we say GO, TOSS-UP, STAY, STOP and NO CALL?
SELECT reach_id, verdict, count(*) AS mornings, round(avg(odds)::numeric, 2) AS mean_odds
FROM season.brief
WHERE last_word AND season = 2026
GROUP BY reach_id, verdict
ORDER BY reach_id, mornings DESC;

-- name: stops
-- Which stops fired, and how often?
SELECT reach_id, code, kind, count(*) AS mornings, min(day) AS first_day, max(day) AS last_day
FROM season.reason
WHERE list = 'stop' AND season = 2026
GROUP BY reach_id, code, kind
ORDER BY mornings DESC, reach_id, code;

-- name: what-was-missing
-- On which mornings did we make no call, and what was missing?
SELECT day, reach_id, string_agg(code, ', ' ORDER BY code) AS missing
FROM season.reason
WHERE verdict = 'NO CALL' AND kind = 'missing' AND season = 2026
GROUP BY day, reach_id
ORDER BY day, reach_id;

-- name: changed-our-mind
-- On which mornings did a later issue change the verdict?
SELECT reach_id, day, string_agg(verdict, ' -> ' ORDER BY issued_at) AS said
FROM season.brief
WHERE season = 2026
GROUP BY reach_id, day
HAVING count(DISTINCT verdict) > 1
ORDER BY day, reach_id;

-- name: calls-against-catch
-- When we said GO, was the morning good? And how many drives were saved?
SELECT reach_id, verdict, mornings, mornings_fished, good_mornings,
  round(good_mornings::numeric / NULLIF(mornings_fished, 0), 2) AS good_share, mean_odds_fished, drives_saved
FROM season.call
WHERE season = 2026
ORDER BY reach_id, mornings DESC;

-- name: skill-by-lead
-- How far ahead can the water temperature forecast be trusted?
SELECT reach_id, lead_day, n, round(mean_abs_error::numeric, 2) AS error_c, round(inside_share::numeric, 2) AS inside_80, round(skill::numeric, 2) AS skill
FROM season.skill
WHERE param = 'water_temp' AND season = 2026
ORDER BY reach_id, lead_day;

-- name: worst-misses
-- Which flow forecasts were furthest off?
SELECT reach_id, valid_day, lead_day, round((observed / 0.028316846592)::numeric) AS measured_cfs, round((p50 / 0.028316846592)::numeric) AS forecast_cfs
FROM season.forecast_pair
WHERE param = 'discharge' AND season = 2026
ORDER BY abs_error DESC, valid_day, lead_day
LIMIT 10;

-- name: run-dates
-- When did the run come in, peak and end, year by year?
SELECT reach_id, species, season, first_fish, half_in, best_wave, half_spawned, last_fish
FROM season.run_date
ORDER BY reach_id, species, season;

-- name: catch
-- How many trips, hours and fish did the season bring?
SELECT reach_id, species, season, anglers, trips, line_hours, fish, fish_per_line_hour
FROM season.catch
WHERE dimension = 'all'
ORDER BY reach_id, species, season;

-- name: catch-by-band
-- At which water temperature did we catch most per hour?
SELECT c.reach_id, c.species, c.band, c.anglers, c.trips, c.fish_per_line_hour
FROM season.catch_by_band c
LEFT JOIN season.band b USING (band)
WHERE c.season = 2026
ORDER BY c.reach_id, c.species, b.band_no;

-- name: catch-by-stage
-- In which stage of the run did we catch most per hour?
SELECT reach_id, species, run_stage, anglers, trips, fish_per_line_hour
FROM season.catch_by_stage
WHERE season = 2026
ORDER BY reach_id, species, fish_per_line_hour DESC NULLS LAST, run_stage;

-- name: catch-by-flow
-- Does low or high water fish better?
SELECT reach_id, species, flow_class, anglers, trips, fish_per_line_hour
FROM season.catch_by_flow
WHERE season = 2026
ORDER BY reach_id, species, fish_per_line_hour DESC NULLS LAST, flow_class;

-- name: catch-by-weight
-- Which jig weight caught most per hour?
SELECT reach_id, species, weight_oz, anglers, trips, fish_per_line_hour
FROM season.catch_by_weight
WHERE season = 2026
ORDER BY reach_id, species, weight_oz;

-- name: weights-that-held
-- Which weight held bottom at which spot?
SELECT reach_id, spot_id, weight_oz, logs, held_share, median_m3s
FROM season.weight_held
WHERE season = 2026 AND NOT hidden
ORDER BY reach_id, spot_id, weight_oz;

-- name: advice-given
-- Which presentation did we tell, and how often?
SELECT reach_id, band, flow_class, action, count(*) AS mornings
FROM season.advice
WHERE season = 2026
GROUP BY reach_id, band, flow_class, action
ORDER BY mornings DESC, reach_id, band, flow_class, action;

-- name: outages
-- When were the gauges silent for whole days?
SELECT site_id, param, from_day, to_day, days
FROM season.outage
WHERE season = 2026
ORDER BY days DESC, site_id, param, from_day;

-- name: mail
-- Did the morning mail go out?
SELECT to_char(day, 'YYYY-MM') AS month, state, sum(mails) AS mails
FROM season.mail
WHERE kind = 'morning' AND season = 2026
GROUP BY month, state
ORDER BY month, state;

-- name: odds-kept
-- Of mornings told about 6 in 10, were 6 in 10 good? (open days only)
SELECT round(b.odds::numeric, 1) AS told, count(*) AS mornings, sum(t.trips) AS trips, round(avg(t.fish_per_line_hour), 2) AS fish_per_line_hour
FROM season.brief b
JOIN season.trip_day t USING (reach_id, day)
WHERE b.last_word AND b.odds IS NOT NULL AND t.trips IS NOT NULL AND b.season = 2026
GROUP BY told
ORDER BY told;

-- name: rules-to-recheck
-- Which rules must be checked again before next season?
SELECT reach_id, kind, species, checked_on, recheck_by, link
FROM season.rule
ORDER BY recheck_by NULLS FIRST, reach_id, kind, species;

-- name: limits-changed
-- Which limits did we change this year, and why?
SELECT edited_at::date AS day, reach_id, what, why
FROM season.edit
WHERE edited_at >= '2026-01-01' AND edited_at < '2027-01-01'
ORDER BY edited_at, what;

-- name: same-date-last-year
-- How did today's date look in the years before?
SELECT season, round(discharge_cfs) AS cfs, round(water_f::numeric, 1) AS water_f, band
FROM season.daily
WHERE reach_id = 'bend' AND to_char(day, 'MM-DD') = '04-01'
ORDER BY season;
