-- The admin's word that the readings of a span are right whatever their flags
-- say. It stands beside them: no value and no flag is altered.
CREATE TABLE coldseam.confirmation (
  confirmation_id int8 GENERATED ALWAYS AS IDENTITY CONSTRAINT confirmation_pkey PRIMARY KEY,
  site_id  text NOT NULL,
  param    text NOT NULL,
  from_at  timestamptz NOT NULL,
  until_at timestamptz NOT NULL,
  known_at timestamptz NOT NULL,
  who      text NOT NULL,
  why      text NOT NULL,
  CONSTRAINT confirmation_key UNIQUE (site_id, param, from_at, until_at, known_at),
  CONSTRAINT confirmation_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site,
  CONSTRAINT confirmation_span CHECK (from_at <= until_at AND until_at <= known_at)
);
COMMENT ON TABLE coldseam.confirmation IS 'Readings that the admin has looked at and stands for.';
COMMENT ON COLUMN coldseam.confirmation.confirmation_id IS 'Key of the word.';
COMMENT ON COLUMN coldseam.confirmation.site_id IS 'The gauge.';
COMMENT ON COLUMN coldseam.confirmation.param IS 'The quantity.';
COMMENT ON COLUMN coldseam.confirmation.from_at IS 'First reading that it speaks of.';
COMMENT ON COLUMN coldseam.confirmation.until_at IS 'Last reading that it speaks of; none that was still to come.';
COMMENT ON COLUMN coldseam.confirmation.known_at IS 'When it was entered; readings that came or changed later are not covered.';
COMMENT ON COLUMN coldseam.confirmation.who IS 'A role, never an address.';
COMMENT ON COLUMN coldseam.confirmation.why IS 'The reason given.';
