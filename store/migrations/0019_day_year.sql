-- A brief reads decades of days: those of past years stand in one row a series
-- and year, so that its cost does not grow with the years of service.
CREATE TABLE coldseam.day_year (
  series_id integer NOT NULL CONSTRAINT day_year_series_fkey REFERENCES coldseam.series ON DELETE CASCADE,
  year integer NOT NULL,
  mean double precision[] NOT NULL,
  doy smallint[] NOT NULL,
  quarters smallint[] NOT NULL,
  flags smallint[] NOT NULL,
  CONSTRAINT day_year_pkey PRIMARY KEY (series_id, year)
);
COMMENT ON TABLE coldseam.day_year IS 'day_summary of a past year in one row, made by the daily job; a change of one of its days deletes the row.';
COMMENT ON COLUMN coldseam.day_year.series_id IS 'The series.';
COMMENT ON COLUMN coldseam.day_year.year IS 'The civil year.';
COMMENT ON COLUMN coldseam.day_year.mean IS 'Means of the days that have usable values, unit of the series.';
COMMENT ON COLUMN coldseam.day_year.doy IS 'Days of the year of those means, from 1.';
COMMENT ON COLUMN coldseam.day_year.quarters IS 'Quarters of each day, as in day_summary.';
COMMENT ON COLUMN coldseam.day_year.flags IS 'Flags of each day, as in day_summary.';

-- The newest version of a model is found without a look at those of years.
CREATE INDEX model_made_idx ON coldseam.model (owner, kind, made_at, version);

-- Gauges and reaches near a reach are found among thousands of others.
CREATE INDEX site_place_idx ON coldseam.site (lat_deg, lon_deg);
CREATE INDEX reach_place_idx ON coldseam.reach USING gist (point(lon_deg, lat_deg));
