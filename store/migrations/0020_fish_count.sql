-- Fish that passed a counter are a series like any other.
COMMENT ON COLUMN coldseam.series.param IS 'discharge, stage, water_temp, turbidity, velocity, air_temp, precip, wind, gust, thunder_prob, visibility, fish_count.';
