-- Day 1 of a scored forecast is the day of its issue, as in hindcast, in a replayed
-- season and in `hindcast --issued`. Rows made before counted from the day after.
-- Their score takes a sample of members for all there are; the difference is a
-- hundredth of the members' spread, and members are not kept.
UPDATE coldseam.forecast_score SET lead_day = -lead_day - 1;
UPDATE coldseam.forecast_score SET lead_day = -lead_day;

CREATE OR REPLACE VIEW season.stop AS
SELECT s.reach_id, s.season, s.day, s.code, s.kind, s.wording, s.source, m.flow_cfs, m.flow_m3s, m.next_flow_cfs, m.next_flow_m3s,
  (SELECT n.verdict FROM coldseam.morning_brief n WHERE n.reach_id = s.reach_id AND n.day = s.day + 1) AS next_word,
  f.forecast_error_share
FROM season.reason s
LEFT JOIN season.morning m USING (reach_id, season, day)
LEFT JOIN LATERAL (
  SELECT f.abs_error / NULLIF(f.observed, 0) AS forecast_error_share FROM season.forecast f
  WHERE f.reach_id = s.reach_id AND f.param = 'discharge' AND f.lead_day = 2 AND f.valid_day = s.day ORDER BY f.issued_at DESC LIMIT 1) f ON true
WHERE s.list = 'stop' OR s.kind = 'missing' AND s.verdict = 'NO CALL';

COMMENT ON COLUMN coldseam.forecast_score.lead_day IS 'Day of the forecast; 1 = the day of issue.';
COMMENT ON COLUMN coldseam.forecast_score.valid_day IS 'Civil day forecast, zone of the reach.';
COMMENT ON COLUMN coldseam.forecast_score.crps IS 'Continuous ranked probability score of the daily means, unbiased in the number of members, SI unit.';
COMMENT ON COLUMN season.forecast.lead_day IS 'Day of the forecast; 1 = the day of issue.';
COMMENT ON COLUMN season.skill.lead_day IS 'Day of the forecast; 1 = the day of issue.';
