-- The comment is as old as the first feeds.
COMMENT ON COLUMN coldseam.series.param IS 'discharge, stage, water_temp, turbidity, velocity, air_temp, precip, wind, gust, wind_from, thunder_prob, visibility, fish_count.';
