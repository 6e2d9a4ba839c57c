-- What each step of a forecast stands for: a hole in the weather is no weather.
ALTER TABLE coldseam.forecast
  ADD COLUMN from_at  timestamptz[],
  ADD COLUMN until_at timestamptz[],
  ADD CONSTRAINT forecast_spans CHECK (
    (from_at IS NULL) = (until_at IS NULL)
    AND (from_at IS NULL OR cardinality(from_at) = cardinality(valid_at) AND cardinality(until_at) = cardinality(valid_at)));
COMMENT ON COLUMN coldseam.forecast.from_at IS 'Start of what each step stands for; null = read off the spacing of valid_at.';
COMMENT ON COLUMN coldseam.forecast.until_at IS 'End of what each step stands for; null = read off the spacing of valid_at.';
COMMENT ON COLUMN coldseam.forecast.issued_at IS 'Model run; where the document gives none, the first sight of what it says.';
COMMENT ON COLUMN coldseam.forecast.issued_assumed IS 'The document gave no issue time; the first sight of its content was taken.';
COMMENT ON COLUMN coldseam.series.param IS 'discharge, stage, water_temp, turbidity, velocity, air_temp, precip, wind, gust, thunder_prob, visibility.';
