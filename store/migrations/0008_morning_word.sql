-- What was said is held against what happened by the word that people drove by:
-- the issue that stood when the club's mail went out, else the first of the day.
-- A later correction is no foresight.
CREATE TABLE coldseam.club_setting (
  one boolean CONSTRAINT club_setting_pkey PRIMARY KEY DEFAULT true CONSTRAINT club_setting_one CHECK (one),
  send_at time NOT NULL
);
COMMENT ON TABLE coldseam.club_setting IS 'What the views need of the configuration; written at each start.';
COMMENT ON COLUMN coldseam.club_setting.one IS 'There is one row.';
COMMENT ON COLUMN coldseam.club_setting.send_at IS 'Local clock time of the morning mail.';
INSERT INTO coldseam.club_setting (send_at) VALUES ('04:45');

-- The newest issue up to the mail comes first, then the oldest after it.
CREATE VIEW coldseam.morning_brief AS
SELECT DISTINCT ON (b.reach_id, b.day) b.brief_id, b.reach_id, b.day, b.issued_at, b.verdict, b.odds
FROM coldseam.brief b
JOIN coldseam.reach r USING (reach_id)
CROSS JOIN coldseam.club_setting c
CROSS JOIN LATERAL (SELECT (b.day + c.send_at) AT TIME ZONE r.zone AS mail) m
WHERE NOT b.replay
ORDER BY b.reach_id, b.day, b.issued_at <= m.mail DESC, abs(extract(epoch FROM b.issued_at - m.mail));
COMMENT ON VIEW coldseam.morning_brief IS 'The issue of each reach and day that stood when the club''s mail went out, else the first of the day.';
COMMENT ON COLUMN coldseam.morning_brief.brief_id IS 'Key of the brief.';
COMMENT ON COLUMN coldseam.morning_brief.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.morning_brief.day IS 'The morning it speaks of.';
COMMENT ON COLUMN coldseam.morning_brief.issued_at IS 'Issue time.';
COMMENT ON COLUMN coldseam.morning_brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';
COMMENT ON COLUMN coldseam.morning_brief.odds IS 'Odds told, 0-1; null = none were told.';

CREATE OR REPLACE VIEW season.brief AS
SELECT b.brief_id, b.reach_id, b.day, extract(year FROM b.day)::int AS season, b.issued_at,
  row_number() OVER (PARTITION BY b.reach_id, b.day ORDER BY b.issued_at DESC) = 1 AS last_word,
  b.verdict, b.odds, b.odds_note, b.cost, b.hold_p, b.window_start, b.window_end, b.water_c, b.water_c * 1.8 + 32 AS water_f,
  b.discharge_m3s, b.discharge_m3s / 0.028316846592 AS discharge_cfs, b.stage_m, b.tie_oz, b.band, b.flow_class, b.run_stage, b.sure,
  b.brief_id = m.brief_id AS morning_word
FROM coldseam.brief b
LEFT JOIN coldseam.morning_brief m USING (reach_id, day)
WHERE NOT b.replay;
COMMENT ON COLUMN season.brief.morning_word IS 'The issue that stood when the club''s mail went out, else the first of the day: what people drove by.';

CREATE OR REPLACE VIEW season.call AS
WITH months AS (
  SELECT b.reach_id, extract(year FROM b.day)::int AS season, b.verdict, count(*) AS mornings, count(c.day) FILTER (WHERE c.trips > 0) AS fished,
    count(*) FILTER (WHERE c.good) AS good, avg(b.odds) AS mean_odds, avg(b.odds) FILTER (WHERE c.trips > 0) AS mean_odds_fished, sum(c.stayed_by_mail) AS stayed_by_mail
  FROM coldseam.morning_brief b
  LEFT JOIN coldseam.day_catch c USING (reach_id, day)
  GROUP BY 1, 2, 3),
who AS (
  SELECT t.reach_id, extract(year FROM t.day)::int AS season, b.verdict, count(DISTINCT NULLIF(t.angler, '')) AS anglers
  FROM coldseam.trip t
  JOIN coldseam.morning_brief b USING (reach_id, day)
  GROUP BY 1, 2, 3)
SELECT m.reach_id, m.season, m.verdict, m.mornings, round(m.mean_odds::numeric, 2) AS mean_odds,
  CASE WHEN w.anglers >= 3 THEN m.fished END AS mornings_fished, CASE WHEN w.anglers >= 3 THEN m.good END AS good_mornings,
  CASE WHEN w.anglers >= 3 THEN round(m.mean_odds_fished::numeric, 2) END AS mean_odds_fished, CASE WHEN w.anglers >= 3 THEN COALESCE(m.stayed_by_mail, 0) END AS drives_saved
FROM months m
LEFT JOIN who w USING (reach_id, season, verdict);
COMMENT ON VIEW season.call IS 'What we said against what happened, by the word that people drove by (brief.morning_word): a correction that came later is not held for it. Numbers from fewer than three different anglers are left empty.';
COMMENT ON COLUMN season.call.verdict IS 'The morning''s word.';
COMMENT ON COLUMN season.call.mornings IS 'Mornings with that word.';
