-- What an agency says of when a river floods, so that a limit that was typed too
-- high or never does not go unseen.
CREATE TABLE coldseam.flood_level (
  site_id  text        NOT NULL,
  kind     text        NOT NULL CONSTRAINT flood_level_kind CHECK (kind IN ('action', 'minor', 'moderate', 'major')),
  param    text        NOT NULL CONSTRAINT flood_level_param CHECK (param IN ('stage', 'discharge')),
  value    float8      NOT NULL,
  gauge    text        NOT NULL,
  known_at timestamptz NOT NULL,
  CONSTRAINT flood_level_pkey PRIMARY KEY (site_id, kind, param)
);
COMMENT ON TABLE coldseam.flood_level IS 'Official stages and flows of a forecast point, newest word of the agency.';
COMMENT ON COLUMN coldseam.flood_level.site_id IS 'The forecast point.';
COMMENT ON COLUMN coldseam.flood_level.kind IS 'action, minor, moderate or major flood.';
COMMENT ON COLUMN coldseam.flood_level.param IS 'stage (m above the gauge''s own zero) or discharge (m3/s).';
COMMENT ON COLUMN coldseam.flood_level.value IS 'The level, in the unit of its parameter.';
COMMENT ON COLUMN coldseam.flood_level.gauge IS 'Code of the gauge that the agency names beside it; empty = none.';
COMMENT ON COLUMN coldseam.flood_level.known_at IS 'Since when it is known.';
