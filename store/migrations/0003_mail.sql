-- Who gets mail, and the outbox.

CREATE TABLE coldseam.subscriber (
  subscriber_id  int8        GENERATED ALWAYS AS IDENTITY,
  email          text        NOT NULL,
  name           text        NOT NULL DEFAULT '',
  state          text        NOT NULL,
  created_at     timestamptz NOT NULL,
  confirmed_at   timestamptz,
  zone           text        NOT NULL,
  send_at        time        NOT NULL,
  window_from    time,
  prefs          jsonb       NOT NULL,
  suppressed_why text        NOT NULL DEFAULT '',
  suppressed_at  timestamptz,
  fail_days      int4        NOT NULL DEFAULT 0,
  last_fail_day  date,
  angler         text        NOT NULL DEFAULT '',
  confirm_sends  int4        NOT NULL DEFAULT 0,
  CONSTRAINT subscriber_pkey PRIMARY KEY (subscriber_id),
  CONSTRAINT subscriber_state_known CHECK (state IN ('pending', 'confirmed', 'paused', 'suppressed', 'unsubscribed'))
);
CREATE UNIQUE INDEX subscriber_email_key ON coldseam.subscriber (lower(email));
COMMENT ON TABLE coldseam.subscriber IS 'People who asked for the mail. Addresses live here and in the envelope only.';
COMMENT ON COLUMN coldseam.subscriber.subscriber_id IS 'Running number.';
COMMENT ON COLUMN coldseam.subscriber.email IS 'Address as given.';
COMMENT ON COLUMN coldseam.subscriber.name IS 'For the greeting only.';
COMMENT ON COLUMN coldseam.subscriber.state IS 'pending, confirmed, paused, suppressed or unsubscribed.';
COMMENT ON COLUMN coldseam.subscriber.created_at IS 'When the address was entered.';
COMMENT ON COLUMN coldseam.subscriber.confirmed_at IS 'When it was confirmed.';
COMMENT ON COLUMN coldseam.subscriber.zone IS 'IANA zone in which the morning is counted.';
COMMENT ON COLUMN coldseam.subscriber.send_at IS 'Local time the mail is due.';
COMMENT ON COLUMN coldseam.subscriber.window_from IS 'Local start of the own fishing window; null = the best of the brief.';
COMMENT ON COLUMN coldseam.subscriber.prefs IS 'All preferences as JSON of coldseam.Preferences.';
COMMENT ON COLUMN coldseam.subscriber.suppressed_why IS 'Why no mail goes there, with the server''s words.';
COMMENT ON COLUMN coldseam.subscriber.suppressed_at IS 'Since when.';
COMMENT ON COLUMN coldseam.subscriber.fail_days IS 'Days in a row on which mail bounced for a passing reason.';
COMMENT ON COLUMN coldseam.subscriber.last_fail_day IS 'Last of those days.';
COMMENT ON COLUMN coldseam.subscriber.angler IS 'Pseudonym in the trip log.';
COMMENT ON COLUMN coldseam.subscriber.confirm_sends IS 'Confirm mails sent while unconfirmed.';

CREATE TABLE coldseam.bounce (
  bounce_id     int8        GENERATED ALWAYS AS IDENTITY,
  subscriber_id int8        NOT NULL,
  bounced_at    timestamptz NOT NULL,
  mail_day      date        NOT NULL,
  code          int4        NOT NULL,
  esc           text        NOT NULL,
  wording       text        NOT NULL,
  effect        text        NOT NULL,
  CONSTRAINT bounce_pkey PRIMARY KEY (bounce_id),
  CONSTRAINT bounce_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber (subscriber_id) ON DELETE CASCADE
);
CREATE INDEX bounce_subscriber_idx ON coldseam.bounce (subscriber_id, bounced_at);
COMMENT ON TABLE coldseam.bounce IS 'Delivery failures per subscriber with the exact words.';
COMMENT ON COLUMN coldseam.bounce.bounce_id IS 'Running number.';
COMMENT ON COLUMN coldseam.bounce.subscriber_id IS 'The subscriber.';
COMMENT ON COLUMN coldseam.bounce.bounced_at IS 'When the report came.';
COMMENT ON COLUMN coldseam.bounce.mail_day IS 'Local date of the mail that bounced.';
COMMENT ON COLUMN coldseam.bounce.code IS 'SMTP code, 0 = none.';
COMMENT ON COLUMN coldseam.bounce.esc IS 'Enhanced status code.';
COMMENT ON COLUMN coldseam.bounce.wording IS 'The server''s words.';
COMMENT ON COLUMN coldseam.bounce.effect IS 'suppressed, counted or ours (a fault on our side, never held against the address).';

CREATE TABLE coldseam.rate_count (
  bucket       text        NOT NULL,
  window_start timestamptz NOT NULL,
  n            int4        NOT NULL,
  CONSTRAINT rate_count_pkey PRIMARY KEY (bucket, window_start)
);
COMMENT ON TABLE coldseam.rate_count IS 'Counters of the sign-up limits. Buckets are hashes or prefixes, never addresses.';
COMMENT ON COLUMN coldseam.rate_count.bucket IS 'What is counted.';
COMMENT ON COLUMN coldseam.rate_count.window_start IS 'Start of the window.';
COMMENT ON COLUMN coldseam.rate_count.n IS 'Count in the window.';

CREATE TABLE coldseam.switch (
  name       text        NOT NULL,
  is_on      boolean     NOT NULL,
  changed_at timestamptz NOT NULL,
  who        text        NOT NULL,
  why        text        NOT NULL,
  CONSTRAINT switch_pkey PRIMARY KEY (name)
);
COMMENT ON TABLE coldseam.switch IS 'Switches of the whole program; hold = no mail is sent.';
COMMENT ON COLUMN coldseam.switch.name IS 'Name of the switch.';
COMMENT ON COLUMN coldseam.switch.is_on IS 'Whether it is on.';
COMMENT ON COLUMN coldseam.switch.changed_at IS 'Since when.';
COMMENT ON COLUMN coldseam.switch.who IS 'Who set it, never an address.';
COMMENT ON COLUMN coldseam.switch.why IS 'The reason given.';
INSERT INTO coldseam.switch (name, is_on, changed_at, who, why) VALUES ('hold', false, now(), 'coldseam', 'start');

CREATE TABLE coldseam.edition (
  edition_id int8        GENERATED ALWAYS AS IDENTITY,
  kind       text        NOT NULL,
  made_at    timestamptz NOT NULL,
  n          int4        NOT NULL,
  held       boolean     NOT NULL DEFAULT false,
  held_why   text        NOT NULL DEFAULT '',
  CONSTRAINT edition_pkey PRIMARY KEY (edition_id)
);
COMMENT ON TABLE coldseam.edition IS 'One batch of mail made by one tick; its inputs never change.';
COMMENT ON COLUMN coldseam.edition.edition_id IS 'Running number.';
COMMENT ON COLUMN coldseam.edition.kind IS 'Kind of mail.';
COMMENT ON COLUMN coldseam.edition.made_at IS 'When it was made; the Date of its mails.';
COMMENT ON COLUMN coldseam.edition.n IS 'Number of rows.';
COMMENT ON COLUMN coldseam.edition.held IS 'Stopped: by the admin, or by a fault on our side.';
COMMENT ON COLUMN coldseam.edition.held_why IS 'Why it was stopped.';

CREATE TABLE coldseam.outbox (
  outbox_id     int8        GENERATED ALWAYS AS IDENTITY,
  edition_id    int8        NOT NULL,
  subscriber_id int8,
  admin_email   text,
  local_date    date        NOT NULL,
  kind          text        NOT NULL,
  reach_id      text,
  state         text        NOT NULL DEFAULT 'pending',
  priority      int2        NOT NULL,
  attempt       int4        NOT NULL DEFAULT 0,
  next_at       timestamptz NOT NULL,
  deadline      timestamptz NOT NULL,
  lease_until   timestamptz,
  worker        text        NOT NULL DEFAULT '',
  domain        text        NOT NULL,
  message_id    text        NOT NULL,
  in_reply_to   text        NOT NULL DEFAULT '',
  verdict       text,
  done_at       timestamptz,
  last_stage    text        NOT NULL DEFAULT '',
  last_code     int4        NOT NULL DEFAULT 0,
  last_esc      text        NOT NULL DEFAULT '',
  reply         text        NOT NULL DEFAULT '',
  payload       bytea       NOT NULL,
  CONSTRAINT outbox_pkey PRIMARY KEY (outbox_id),
  CONSTRAINT outbox_key UNIQUE NULLS NOT DISTINCT (subscriber_id, admin_email, local_date, kind, reach_id),
  CONSTRAINT outbox_edition_fkey FOREIGN KEY (edition_id) REFERENCES coldseam.edition (edition_id),
  CONSTRAINT outbox_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber (subscriber_id) ON DELETE CASCADE,
  CONSTRAINT outbox_one_recipient CHECK ((subscriber_id IS NULL) <> (admin_email IS NULL)),
  CONSTRAINT outbox_state_known CHECK (state IN ('pending', 'claimed', 'in_data', 'sent', 'deferred', 'failed', 'skipped', 'expired', 'unknown'))
);
CREATE INDEX outbox_open_idx ON coldseam.outbox (priority, next_at)
  WHERE state IN ('pending', 'deferred');
CREATE INDEX outbox_leased_idx ON coldseam.outbox (lease_until)
  WHERE state IN ('claimed', 'in_data', 'unknown');
CREATE INDEX outbox_edition_idx ON coldseam.outbox (edition_id);
CREATE INDEX outbox_day_idx ON coldseam.outbox (local_date);
COMMENT ON TABLE coldseam.outbox IS 'Every mail, one row: at most one acknowledged send each.';
COMMENT ON COLUMN coldseam.outbox.outbox_id IS 'Running number.';
COMMENT ON COLUMN coldseam.outbox.edition_id IS 'Batch it belongs to.';
COMMENT ON COLUMN coldseam.outbox.subscriber_id IS 'Recipient; null = the admin.';
COMMENT ON COLUMN coldseam.outbox.admin_email IS 'The admin''s address for mail to the admin, else null.';
COMMENT ON COLUMN coldseam.outbox.local_date IS 'Civil day at the recipient.';
COMMENT ON COLUMN coldseam.outbox.kind IS 'morning, flip, correction, outlook, confirm, welcome, pause, silent or alarm.';
COMMENT ON COLUMN coldseam.outbox.reach_id IS 'Only where one such mail per reach and day is meant (stop correction).';
COMMENT ON COLUMN coldseam.outbox.state IS 'pending, claimed, in_data, sent, deferred, failed, skipped, expired or unknown.';
COMMENT ON COLUMN coldseam.outbox.priority IS 'Lower goes first; 0 = stop correction.';
COMMENT ON COLUMN coldseam.outbox.attempt IS 'Number of claims.';
COMMENT ON COLUMN coldseam.outbox.next_at IS 'Not to be tried before.';
COMMENT ON COLUMN coldseam.outbox.deadline IS 'Not to be sent after.';
COMMENT ON COLUMN coldseam.outbox.lease_until IS 'End of the worker''s claim.';
COMMENT ON COLUMN coldseam.outbox.worker IS 'Worker that holds or held it.';
COMMENT ON COLUMN coldseam.outbox.domain IS 'Recipient domain, lower case, for pacing.';
COMMENT ON COLUMN coldseam.outbox.message_id IS 'Message-ID, the same on every retry.';
COMMENT ON COLUMN coldseam.outbox.in_reply_to IS 'Message-ID of the mail it follows up.';
COMMENT ON COLUMN coldseam.outbox.verdict IS 'Verdict told to this recipient; null = none in this kind of mail.';
COMMENT ON COLUMN coldseam.outbox.done_at IS 'When the last outcome was recorded.';
COMMENT ON COLUMN coldseam.outbox.last_stage IS 'Stage of the conversation the last attempt reached.';
COMMENT ON COLUMN coldseam.outbox.last_code IS 'SMTP code of the last attempt.';
COMMENT ON COLUMN coldseam.outbox.last_esc IS 'Enhanced status code of the last attempt.';
COMMENT ON COLUMN coldseam.outbox.reply IS 'The server''s words.';
COMMENT ON COLUMN coldseam.outbox.payload IS 'Content fixed when queued, JSON.';

CREATE TABLE coldseam.pace (
  domain    text        NOT NULL,
  rate_hz   float8      NOT NULL,
  next_at   timestamptz NOT NULL,
  good      int4        NOT NULL DEFAULT 0,
  CONSTRAINT pace_pkey PRIMARY KEY (domain),
  CONSTRAINT pace_rate_positive CHECK (rate_hz > 0)
);
COMMENT ON TABLE coldseam.pace IS 'Sending rate per recipient domain, shared by all servers; * = all domains together.';
COMMENT ON COLUMN coldseam.pace.domain IS 'Recipient domain.';
COMMENT ON COLUMN coldseam.pace.rate_hz IS 'Mails a second.';
COMMENT ON COLUMN coldseam.pace.next_at IS 'Next claim not before.';
COMMENT ON COLUMN coldseam.pace.good IS 'Mails accepted since the rate was last changed.';
