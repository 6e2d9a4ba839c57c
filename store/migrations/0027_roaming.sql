-- One or two anglers lacking told of one or two anglers: as in season.trip, only
-- open or not is told.
CREATE OR REPLACE VIEW season.roaming AS
SELECT season, reaches, CASE WHEN count(*) >= 3 THEN count(*) END AS anglers, CASE WHEN count(*) >= 3 THEN 0 ELSE 3 END AS anglers_lacking
FROM (SELECT season, who, count(DISTINCT reach_id) AS reaches FROM coldseam.book_open WHERE dimension = 'all' AND NOT stayed AND who <> '' GROUP BY season, who) w
GROUP BY season, reaches;
COMMENT ON COLUMN season.roaming.anglers_lacking IS 'Different anglers that open the number, at most; 0 = open.';
COMMENT ON COLUMN coldseam.book_open.dimension IS 'all, day, month, band, flow, stage, verdict, weight, presentation, clarity, spot; held = weights that held bottom.';
