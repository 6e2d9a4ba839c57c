-- A warning belongs to the feed it was read from, and a message that says
-- something else under the same name is a version of its own: two feeds of one
-- agency are two feeds, and a correction is not lost.
ALTER TABLE coldseam.alert ADD COLUMN feed text NOT NULL DEFAULT '';
ALTER TABLE coldseam.alert ADD COLUMN document text NOT NULL DEFAULT '';
ALTER TABLE coldseam.alert DROP CONSTRAINT alert_pkey;
ALTER TABLE coldseam.alert ADD CONSTRAINT alert_pkey PRIMARY KEY (feed, document, provider, sender, identifier, sent_at, known_at);
COMMENT ON TABLE coldseam.alert IS 'Official warnings (CAP), each version of a message once.';
COMMENT ON COLUMN coldseam.alert.feed IS 'Profile it was read by; empty in rows from before feeds were kept apart.';
COMMENT ON COLUMN coldseam.alert.document IS 'Address of its document; empty where it stood in the index itself.';
COMMENT ON COLUMN coldseam.alert.provider IS 'Provider of the profile.';
COMMENT ON COLUMN coldseam.alert.known_at IS 'When this version first became known here.';

-- What the last reading of an address lacked.
ALTER TABLE coldseam.fetch_state ADD COLUMN gaps jsonb NOT NULL DEFAULT '[]';
COMMENT ON COLUMN coldseam.fetch_state.gaps IS 'Entries that the last reading lacked, with id, title and why.';
