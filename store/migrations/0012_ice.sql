-- The state of ice of each reach and day, and what people said of it. A state
-- that turns out otherwise is a new version: a replay reads what was known then.
CREATE TABLE coldseam.ice_state (
  reach_id text NOT NULL,
  day      date NOT NULL,
  known_at timestamptz NOT NULL,
  state    text NOT NULL,
  since    date NOT NULL,
  cause    text NOT NULL,
  frost_cd float8 NOT NULL,
  thaw_cd  float8 NOT NULL,
  CONSTRAINT ice_state_pkey PRIMARY KEY (reach_id, day, known_at),
  CONSTRAINT ice_state_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach,
  CONSTRAINT ice_state_known CHECK (state IN ('unknown', 'open', 'ice', 'breaking_up'))
);
COMMENT ON TABLE coldseam.ice_state IS 'The ice latch of each reach and day, one row a version; the newest counts.';
COMMENT ON COLUMN coldseam.ice_state.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.ice_state.day IS 'Local civil day at whose end the state holds; the day under way until it is over.';
COMMENT ON COLUMN coldseam.ice_state.known_at IS 'When this version was made.';
COMMENT ON COLUMN coldseam.ice_state.state IS 'unknown (reads as ice), open, ice or breaking_up.';
COMMENT ON COLUMN coldseam.ice_state.since IS 'First day of the state.';
COMMENT ON COLUMN coldseam.ice_state.cause IS 'Code of what brought the state.';
COMMENT ON COLUMN coldseam.ice_state.frost_cd IS 'Net frost since the reach was last seen open, degC days.';
COMMENT ON COLUMN coldseam.ice_state.thaw_cd IS 'Net thaw since it closed, degC days.';

CREATE TABLE coldseam.ice_word (
  ice_word_id int8 GENERATED ALWAYS AS IDENTITY CONSTRAINT ice_word_pkey PRIMARY KEY,
  reach_id    text NOT NULL,
  said_at     timestamptz NOT NULL,
  known_at    timestamptz NOT NULL,
  open        boolean NOT NULL,
  admin       boolean NOT NULL,
  who         text NOT NULL,
  why         text NOT NULL,
  CONSTRAINT ice_word_key UNIQUE (reach_id, said_at, open, who),
  CONSTRAINT ice_word_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach,
  CONSTRAINT ice_word_members_close CHECK (admin OR NOT open)
);
COMMENT ON TABLE coldseam.ice_word IS 'What the admin or a member said of ice on a reach. A member''s word only closes.';
COMMENT ON COLUMN coldseam.ice_word.ice_word_id IS 'Key of the word.';
COMMENT ON COLUMN coldseam.ice_word.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.ice_word.said_at IS 'The time it speaks of.';
COMMENT ON COLUMN coldseam.ice_word.known_at IS 'When it was entered.';
COMMENT ON COLUMN coldseam.ice_word.open IS 'Open water, by the admin alone; else ice.';
COMMENT ON COLUMN coldseam.ice_word.admin IS 'Said by the admin.';
COMMENT ON COLUMN coldseam.ice_word.who IS 'A role, or the pseudonym of a member; never an address.';
COMMENT ON COLUMN coldseam.ice_word.why IS 'The reason given.';

CREATE VIEW season.ice AS
SELECT DISTINCT ON (reach_id, day) reach_id, day, state, since, cause, frost_cd, thaw_cd, known_at
FROM coldseam.ice_state
ORDER BY reach_id, day, known_at DESC;
COMMENT ON VIEW season.ice IS 'The state of ice of each reach and day, as known last.';
COMMENT ON COLUMN season.ice.reach_id IS 'The reach.';
COMMENT ON COLUMN season.ice.day IS 'Local civil day.';
COMMENT ON COLUMN season.ice.state IS 'unknown (reads as ice), open, ice or breaking_up.';
COMMENT ON COLUMN season.ice.since IS 'First day of the state.';
COMMENT ON COLUMN season.ice.cause IS 'Code of what brought the state.';
COMMENT ON COLUMN season.ice.frost_cd IS 'Net frost since the reach was last seen open, degC days.';
COMMENT ON COLUMN season.ice.thaw_cd IS 'Net thaw since it closed, degC days.';
COMMENT ON COLUMN season.ice.known_at IS 'When this was made.';
