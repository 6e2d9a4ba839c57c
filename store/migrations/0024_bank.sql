-- What members say from the water: words that close, and float timings. An entry
-- that a phone sends twice, because the answer was lost, counts once.
CREATE TABLE coldseam.entry_key (
  subscriber_id int8        NOT NULL,
  entry_key     text        NOT NULL,
  known_at      timestamptz NOT NULL,
  CONSTRAINT entry_key_pkey PRIMARY KEY (subscriber_id, entry_key),
  CONSTRAINT entry_key_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber ON DELETE CASCADE
);
COMMENT ON TABLE coldseam.entry_key IS 'Keys of the entries that phones sent in, for as long as a phone may send one again.';
COMMENT ON COLUMN coldseam.entry_key.subscriber_id IS 'The member.';
COMMENT ON COLUMN coldseam.entry_key.entry_key IS 'The key that the phone drew.';
COMMENT ON COLUMN coldseam.entry_key.known_at IS 'When it came.';

CREATE TABLE coldseam.bank_word (
  bank_word_id  int8        GENERATED ALWAYS AS IDENTITY CONSTRAINT bank_word_pkey PRIMARY KEY,
  reach_id      text        NOT NULL,
  subscriber_id int8,
  said_at       timestamptz NOT NULL,
  known_at      timestamptz NOT NULL,
  say           text        NOT NULL CONSTRAINT bank_word_say CHECK (say IN ('ice', 'wood', 'launch', 'clear', 'stained', 'muddy', 'green', 'ripe', 'spent')),
  CONSTRAINT bank_word_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach,
  CONSTRAINT bank_word_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber ON DELETE SET NULL
);
CREATE INDEX bank_word_reach ON coldseam.bank_word (reach_id, said_at);
CREATE INDEX bank_word_subscriber ON coldseam.bank_word (subscriber_id, known_at);
COMMENT ON TABLE coldseam.bank_word IS 'What members saw from the bank. A danger closes the reach; nothing here opens it.';
COMMENT ON COLUMN coldseam.bank_word.bank_word_id IS 'Key of the word.';
COMMENT ON COLUMN coldseam.bank_word.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.bank_word.subscriber_id IS 'The member; NULL = erased.';
COMMENT ON COLUMN coldseam.bank_word.said_at IS 'The time it speaks of.';
COMMENT ON COLUMN coldseam.bank_word.known_at IS 'When it came.';
COMMENT ON COLUMN coldseam.bank_word.say IS 'Danger: ice, wood, launch; colour of the water: clear, stained, muddy; fish: green, ripe, spent.';

CREATE TABLE coldseam.float_timing (
  float_timing_id int8        GENERATED ALWAYS AS IDENTITY CONSTRAINT float_timing_pkey PRIMARY KEY,
  reach_id        text        NOT NULL,
  spot_id         text        NOT NULL,
  subscriber_id   int8,
  timed_at        timestamptz NOT NULL,
  known_at        timestamptz NOT NULL,
  length_m        float8      NOT NULL CONSTRAINT float_timing_length CHECK (length_m BETWEEN 3 AND 100),
  seconds         float8[]    NOT NULL CONSTRAINT float_timing_three CHECK (cardinality(seconds) = 3 AND 2 <= ALL (seconds) AND 600 >= ALL (seconds)),
  wind            text        NOT NULL CONSTRAINT float_timing_wind CHECK (wind IN ('calm', 'light', 'strong')),
  discharge_m3s   float8,
  CONSTRAINT float_timing_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach,
  CONSTRAINT float_timing_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber ON DELETE SET NULL
);
CREATE INDEX float_timing_spot ON coldseam.float_timing (reach_id, spot_id, timed_at);
CREATE INDEX float_timing_subscriber ON coldseam.float_timing (subscriber_id, known_at);
COMMENT ON TABLE coldseam.float_timing IS 'Surface currents that members timed with three floats. They move weights, never a word.';
COMMENT ON COLUMN coldseam.float_timing.float_timing_id IS 'Key of the timing.';
COMMENT ON COLUMN coldseam.float_timing.reach_id IS 'The reach.';
COMMENT ON COLUMN coldseam.float_timing.spot_id IS 'The spot.';
COMMENT ON COLUMN coldseam.float_timing.subscriber_id IS 'The member; NULL = erased.';
COMMENT ON COLUMN coldseam.float_timing.timed_at IS 'When the floats ran.';
COMMENT ON COLUMN coldseam.float_timing.known_at IS 'When it came.';
COMMENT ON COLUMN coldseam.float_timing.length_m IS 'Length of the run, m.';
COMMENT ON COLUMN coldseam.float_timing.seconds IS 'Time of each of the three floats, s.';
COMMENT ON COLUMN coldseam.float_timing.wind IS 'Wind on the water: calm, light or strong.';
COMMENT ON COLUMN coldseam.float_timing.discharge_m3s IS 'Discharge of the reach''s gauge at that time, m3/s; NULL = not known.';
