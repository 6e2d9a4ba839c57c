-- Odds of a wave by another rule than the one told today are no odds of the
-- same thing: the rule stands beside them, and nothing mixes the two.
ALTER TABLE coldseam.run_state ADD COLUMN wave_rule int4 NOT NULL DEFAULT 1;
COMMENT ON COLUMN coldseam.run_state.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before.';

CREATE OR REPLACE VIEW coldseam.last_run AS
SELECT DISTINCT ON (reach_id, species, day) *
FROM coldseam.run_state
ORDER BY reach_id, species, day, issued_at DESC;
COMMENT ON COLUMN coldseam.last_run.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before.';

CREATE OR REPLACE VIEW season.run_day AS
SELECT reach_id, species, day, extract(year FROM day)::int AS season, stage, stage_p, p_wave, arrived_p10, arrived_p50, arrived_p90, spawned_p50, wave_rule
FROM coldseam.last_run;
COMMENT ON COLUMN season.run_day.wave_rule IS 'What p_wave calls a wave: 1 = a fixed share of the run in one day, or not noted; 2 = twice the daily fish of the week before. Never average over both.';

CREATE OR REPLACE VIEW season.run_date AS
SELECT reach_id, species, season, min(day) FILTER (WHERE arrived_p50 >= 0.05) AS first_fish, min(day) FILTER (WHERE arrived_p50 >= 0.5) AS half_in,
  min(day) FILTER (WHERE spawned_p50 >= 0.5) AS half_spawned, (array_agg(day ORDER BY wave_rule DESC, p_wave DESC, day))[1] AS best_wave,
  (array_agg(p_wave ORDER BY wave_rule DESC, p_wave DESC))[1] AS best_wave_p, min(day) FILTER (WHERE arrived_p50 >= 0.95) AS last_fish
FROM season.run_day
GROUP BY reach_id, species, season;
COMMENT ON COLUMN season.run_date.best_wave IS 'Day with the likeliest wave, by the newest rule of the season.';
