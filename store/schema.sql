-- The schema as the migrations leave it, from pg_dump 15. Made by go test ./store -run Schema -update.

CREATE SCHEMA coldseam;

COMMENT ON SCHEMA coldseam IS 'Tables of the program. Not for readers: they use the views of schema season.';

CREATE SCHEMA season;

CREATE TABLE coldseam.alert (
    provider text NOT NULL,
    sender text NOT NULL,
    identifier text NOT NULL,
    sent_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    starts_at timestamp with time zone NOT NULL,
    ends_at timestamp with time zone NOT NULL,
    status text NOT NULL,
    msg_type text NOT NULL,
    event text NOT NULL,
    severity text NOT NULL,
    reference_ids text[] NOT NULL,
    body jsonb NOT NULL
);

COMMENT ON TABLE coldseam.alert IS 'Official warnings (CAP), each message once.';

COMMENT ON COLUMN coldseam.alert.provider IS 'Profile that serves it.';

COMMENT ON COLUMN coldseam.alert.sender IS 'Sender as in the message.';

COMMENT ON COLUMN coldseam.alert.identifier IS 'Identifier as in the message.';

COMMENT ON COLUMN coldseam.alert.sent_at IS 'Sent stamp of the message.';

COMMENT ON COLUMN coldseam.alert.known_at IS 'When it first became known here.';

COMMENT ON COLUMN coldseam.alert.starts_at IS 'Start of the event.';

COMMENT ON COLUMN coldseam.alert.ends_at IS 'End of the event.';

COMMENT ON COLUMN coldseam.alert.status IS 'Actual, Test, Exercise ...';

COMMENT ON COLUMN coldseam.alert.msg_type IS 'Alert, Update or Cancel.';

COMMENT ON COLUMN coldseam.alert.event IS 'Event in the agency''s words.';

COMMENT ON COLUMN coldseam.alert.severity IS 'Severity of the message.';

COMMENT ON COLUMN coldseam.alert.reference_ids IS 'Identifiers of the messages this one updates or cancels.';

COMMENT ON COLUMN coldseam.alert.body IS 'The whole alert as JSON of coldseam.Alert.';

CREATE TABLE coldseam.bounce (
    bounce_id bigint NOT NULL,
    subscriber_id bigint NOT NULL,
    bounced_at timestamp with time zone NOT NULL,
    mail_day date NOT NULL,
    code integer NOT NULL,
    esc text NOT NULL,
    wording text NOT NULL,
    effect text NOT NULL
);

COMMENT ON TABLE coldseam.bounce IS 'Delivery failures per subscriber with the exact words.';

COMMENT ON COLUMN coldseam.bounce.bounce_id IS 'Running number.';

COMMENT ON COLUMN coldseam.bounce.subscriber_id IS 'The subscriber.';

COMMENT ON COLUMN coldseam.bounce.bounced_at IS 'When the report came.';

COMMENT ON COLUMN coldseam.bounce.mail_day IS 'Local date of the mail that bounced.';

COMMENT ON COLUMN coldseam.bounce.code IS 'SMTP code, 0 = none.';

COMMENT ON COLUMN coldseam.bounce.esc IS 'Enhanced status code.';

COMMENT ON COLUMN coldseam.bounce.wording IS 'The server''s words.';

COMMENT ON COLUMN coldseam.bounce.effect IS 'suppressed, counted or ours (a fault on our side, never held against the address).';

ALTER TABLE coldseam.bounce ALTER COLUMN bounce_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.bounce_bounce_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.brief (
    brief_id bigint NOT NULL,
    reach_id text NOT NULL,
    day date NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    good_until timestamp with time zone,
    verdict text NOT NULL,
    odds double precision,
    odds_note text NOT NULL,
    hold_p double precision NOT NULL,
    cost double precision NOT NULL,
    window_start timestamp with time zone,
    window_end timestamp with time zone,
    water_c double precision,
    discharge_m3s double precision,
    stage_m double precision,
    tie_oz double precision,
    band text NOT NULL,
    flow_class text NOT NULL,
    run_stage text NOT NULL,
    advice_row text NOT NULL,
    sure text NOT NULL,
    replay boolean NOT NULL,
    body jsonb NOT NULL,
    CONSTRAINT brief_odds_range CHECK (((odds >= (0)::double precision) AND (odds <= (1)::double precision))),
    CONSTRAINT brief_verdict_known CHECK ((verdict = ANY (ARRAY['GO'::text, 'TOSS-UP'::text, 'STAY'::text, 'STOP'::text, 'NO CALL'::text])))
);

COMMENT ON TABLE coldseam.brief IS 'What was told: one row per reach, day and issue.';

COMMENT ON COLUMN coldseam.brief.brief_id IS 'Running number.';

COMMENT ON COLUMN coldseam.brief.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.brief.day IS 'The morning it speaks of.';

COMMENT ON COLUMN coldseam.brief.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.brief.good_until IS 'End of its validity.';

COMMENT ON COLUMN coldseam.brief.verdict IS 'GO, TOSS-UP, STAY, STOP or NO CALL.';

COMMENT ON COLUMN coldseam.brief.odds IS 'Odds of a good morning in the best window, 0-1; null = none were told.';

COMMENT ON COLUMN coldseam.brief.odds_note IS 'What the odds rest on.';

COMMENT ON COLUMN coldseam.brief.hold_p IS 'Probability that the heaviest carried weight holds bottom.';

COMMENT ON COLUMN coldseam.brief.cost IS 'Cost of a wasted trip over the value of a good one.';

COMMENT ON COLUMN coldseam.brief.window_start IS 'Start of the best window.';

COMMENT ON COLUMN coldseam.brief.window_end IS 'End of the best window.';

COMMENT ON COLUMN coldseam.brief.water_c IS 'Median water temperature in the best window, degC.';

COMMENT ON COLUMN coldseam.brief.discharge_m3s IS 'Median discharge in the best window, m3/s.';

COMMENT ON COLUMN coldseam.brief.stage_m IS 'Median stage in the best window, m.';

COMMENT ON COLUMN coldseam.brief.tie_oz IS 'Weight to tie on at the advised spot, ounces; null = withheld.';

COMMENT ON COLUMN coldseam.brief.band IS 'Temperature band.';

COMMENT ON COLUMN coldseam.brief.flow_class IS 'Flow words.';

COMMENT ON COLUMN coldseam.brief.run_stage IS 'Stage of the run.';

COMMENT ON COLUMN coldseam.brief.advice_row IS 'Id of the advice row that won.';

COMMENT ON COLUMN coldseam.brief.sure IS 'high, medium or low.';

COMMENT ON COLUMN coldseam.brief.replay IS 'Made for a past morning; never counted as told.';

COMMENT ON COLUMN coldseam.brief.body IS 'The whole brief as JSON of coldseam.Brief.';

ALTER TABLE coldseam.brief ALTER COLUMN brief_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.brief_brief_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.climatology (
    site_id text NOT NULL,
    param text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    doy smallint NOT NULL,
    years smallint NOT NULL,
    n integer NOT NULL,
    quantile real[] NOT NULL,
    CONSTRAINT climatology_doy_range CHECK (((doy >= 1) AND (doy <= 366)))
);

COMMENT ON TABLE coldseam.climatology IS 'Quantiles of daily means by day of the year, +-15 days pooled, with the time they were made: a forecast issued earlier must not see them.';

COMMENT ON COLUMN coldseam.climatology.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.climatology.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.climatology.made_at IS 'Only values known before are in it.';

COMMENT ON COLUMN coldseam.climatology.doy IS 'Day of the year, 1 = 1 January.';

COMMENT ON COLUMN coldseam.climatology.years IS 'Number of different years behind it.';

COMMENT ON COLUMN coldseam.climatology.n IS 'Number of days pooled.';

COMMENT ON COLUMN coldseam.climatology.quantile IS 'Quantiles at 0.01, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.99, SI unit.';

CREATE TABLE coldseam.crossing (
    site_id text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    edge_c double precision NOT NULL,
    up boolean NOT NULL,
    within_3d double precision NOT NULL,
    within_7d double precision NOT NULL,
    within_10d double precision NOT NULL,
    date_p10 date,
    date_p50 date,
    date_p90 date,
    confirmed boolean NOT NULL,
    body jsonb NOT NULL
);

COMMENT ON TABLE coldseam.crossing IS 'Forecast of the day a temperature band edge is crossed for good, as issued.';

COMMENT ON COLUMN coldseam.crossing.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.crossing.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.crossing.edge_c IS 'Band edge, degC.';

COMMENT ON COLUMN coldseam.crossing.up IS 'true = spring, rising.';

COMMENT ON COLUMN coldseam.crossing.within_3d IS 'Probability of crossing within 3 days.';

COMMENT ON COLUMN coldseam.crossing.within_7d IS 'Probability of crossing within 7 days.';

COMMENT ON COLUMN coldseam.crossing.within_10d IS 'Probability of crossing within 10 days.';

COMMENT ON COLUMN coldseam.crossing.date_p10 IS '10 % quantile of the day, given that it crosses.';

COMMENT ON COLUMN coldseam.crossing.date_p50 IS 'Median of the day.';

COMMENT ON COLUMN coldseam.crossing.date_p90 IS '90 % quantile of the day.';

COMMENT ON COLUMN coldseam.crossing.confirmed IS 'Five days beyond the edge are observed.';

COMMENT ON COLUMN coldseam.crossing.body IS 'The whole forecast as JSON of coldseam.Crossing.';

CREATE TABLE coldseam.day_summary (
    lo double precision NOT NULL,
    hi double precision NOT NULL,
    total double precision NOT NULL,
    series_id integer NOT NULL,
    day date NOT NULL,
    n integer NOT NULL,
    quarters smallint NOT NULL,
    flags smallint NOT NULL
);

COMMENT ON TABLE coldseam.day_summary IS 'Usable values of each series and civil day of the gauge, kept in the transaction that stores them. A period value belongs to the day its middle lies in.';

COMMENT ON COLUMN coldseam.day_summary.lo IS 'Least usable value, unit of the series.';

COMMENT ON COLUMN coldseam.day_summary.hi IS 'Greatest usable value.';

COMMENT ON COLUMN coldseam.day_summary.total IS 'Sum of the usable values; total / n is the mean.';

COMMENT ON COLUMN coldseam.day_summary.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.day_summary.day IS 'Civil day in the zone of the site.';

COMMENT ON COLUMN coldseam.day_summary.n IS 'Number of usable values.';

COMMENT ON COLUMN coldseam.day_summary.quarters IS 'Bit set of the quarters of the day that have a usable value; 15 = all four.';

COMMENT ON COLUMN coldseam.day_summary.flags IS 'All bits that any usable value of the day has.';

CREATE TABLE coldseam.edition (
    edition_id bigint NOT NULL,
    kind text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    n integer NOT NULL,
    held boolean DEFAULT false NOT NULL,
    held_why text DEFAULT ''::text NOT NULL
);

COMMENT ON TABLE coldseam.edition IS 'One batch of mail made by one tick; its inputs never change.';

COMMENT ON COLUMN coldseam.edition.edition_id IS 'Running number.';

COMMENT ON COLUMN coldseam.edition.kind IS 'Kind of mail.';

COMMENT ON COLUMN coldseam.edition.made_at IS 'When it was made; the Date of its mails.';

COMMENT ON COLUMN coldseam.edition.n IS 'Number of rows.';

COMMENT ON COLUMN coldseam.edition.held IS 'Stopped: by the admin, or by a fault on our side.';

COMMENT ON COLUMN coldseam.edition.held_why IS 'Why it was stopped.';

ALTER TABLE coldseam.edition ALTER COLUMN edition_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.edition_edition_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.ensemble (
    ensemble_id bigint NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    source text NOT NULL,
    flags text[] NOT NULL,
    valid_at timestamp with time zone[] NOT NULL,
    quantile real[] NOT NULL,
    trace date[],
    weight double precision[],
    members real[]
);

COMMENT ON TABLE coldseam.ensemble IS 'Our forecasts as issued. Members are dropped after the retention; the quantiles stay.';

COMMENT ON COLUMN coldseam.ensemble.ensemble_id IS 'Running number.';

COMMENT ON COLUMN coldseam.ensemble.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.ensemble.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.ensemble.issued_at IS 'Issue time: nothing known later is in it.';

COMMENT ON COLUMN coldseam.ensemble.source IS 'Model and tier.';

COMMENT ON COLUMN coldseam.ensemble.flags IS 'ice, low_confidence, regulated ...';

COMMENT ON COLUMN coldseam.ensemble.valid_at IS 'Times of the steps.';

COMMENT ON COLUMN coldseam.ensemble.quantile IS 'Quantiles [step][0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95], SI unit.';

COMMENT ON COLUMN coldseam.ensemble.trace IS 'Historical day each member follows.';

COMMENT ON COLUMN coldseam.ensemble.weight IS 'Weights of the sources.';

COMMENT ON COLUMN coldseam.ensemble.members IS 'Members [member][step], SI unit; null = dropped after the retention.';

ALTER TABLE coldseam.ensemble ALTER COLUMN ensemble_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.ensemble_ensemble_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.fetch_state (
    profile text NOT NULL,
    url text NOT NULL,
    etag text DEFAULT ''::text NOT NULL,
    last_modified text DEFAULT ''::text NOT NULL,
    not_before timestamp with time zone,
    failures integer DEFAULT 0 NOT NULL,
    last_try_at timestamp with time zone,
    last_ok_at timestamp with time zone,
    last_err text DEFAULT ''::text NOT NULL
);

COMMENT ON TABLE coldseam.fetch_state IS 'What the next fetch of an address needs to know.';

COMMENT ON COLUMN coldseam.fetch_state.profile IS 'Feed profile.';

COMMENT ON COLUMN coldseam.fetch_state.url IS 'Address without key.';

COMMENT ON COLUMN coldseam.fetch_state.etag IS 'ETag of the last good answer.';

COMMENT ON COLUMN coldseam.fetch_state.last_modified IS 'Last-Modified of the last good answer.';

COMMENT ON COLUMN coldseam.fetch_state.not_before IS 'Not to be asked before; null = any time.';

COMMENT ON COLUMN coldseam.fetch_state.failures IS 'Failures in a row.';

COMMENT ON COLUMN coldseam.fetch_state.last_try_at IS 'Last fetch.';

COMMENT ON COLUMN coldseam.fetch_state.last_ok_at IS 'Last good answer, "not modified" included.';

COMMENT ON COLUMN coldseam.fetch_state.last_err IS 'Error of the last fetch; empty = none.';

CREATE TABLE coldseam.forecast (
    forecast_id bigint NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    stat text NOT NULL,
    period text NOT NULL,
    provider text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    issued_assumed boolean NOT NULL,
    valid_at timestamp with time zone[] NOT NULL,
    value double precision[] NOT NULL,
    members real[],
    CONSTRAINT forecast_steps CHECK ((cardinality(valid_at) = cardinality(value)))
);

COMMENT ON TABLE coldseam.forecast IS 'Agency forecasts, every issue kept.';

COMMENT ON COLUMN coldseam.forecast.forecast_id IS 'Running number.';

COMMENT ON COLUMN coldseam.forecast.site_id IS 'The place''s own id with the provider.';

COMMENT ON COLUMN coldseam.forecast.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.forecast.stat IS 'Statistic over the period.';

COMMENT ON COLUMN coldseam.forecast.period IS 'ISO 8601 duration; empty for instantaneous values.';

COMMENT ON COLUMN coldseam.forecast.provider IS 'Profile that serves it.';

COMMENT ON COLUMN coldseam.forecast.issued_at IS 'Model run.';

COMMENT ON COLUMN coldseam.forecast.known_at IS 'When it became known here.';

COMMENT ON COLUMN coldseam.forecast.issued_assumed IS 'The document gave no issue time; known_at was taken.';

COMMENT ON COLUMN coldseam.forecast.valid_at IS 'Times of the steps.';

COMMENT ON COLUMN coldseam.forecast.value IS 'Values, SI unit of the parameter.';

COMMENT ON COLUMN coldseam.forecast.members IS 'Members [member][step] where the agency sends an ensemble.';

ALTER TABLE coldseam.forecast ALTER COLUMN forecast_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.forecast_forecast_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.forecast_score (
    site_id text NOT NULL,
    param text NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    lead_day smallint NOT NULL,
    source text NOT NULL,
    valid_day date NOT NULL,
    observed double precision NOT NULL,
    p10 double precision NOT NULL,
    p50 double precision NOT NULL,
    p90 double precision NOT NULL,
    crps double precision NOT NULL,
    persist double precision
);

COMMENT ON TABLE coldseam.forecast_score IS 'Each issued daily forecast beside what was measured.';

COMMENT ON COLUMN coldseam.forecast_score.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.forecast_score.param IS 'Parameter.';

COMMENT ON COLUMN coldseam.forecast_score.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.forecast_score.lead_day IS 'Days from the civil day of issue to the day forecast.';

COMMENT ON COLUMN coldseam.forecast_score.source IS 'Model and tier.';

COMMENT ON COLUMN coldseam.forecast_score.valid_day IS 'Civil day forecast, zone of the gauge.';

COMMENT ON COLUMN coldseam.forecast_score.observed IS 'Daily mean measured, SI unit.';

COMMENT ON COLUMN coldseam.forecast_score.p10 IS '10 % quantile forecast, mean over the steps of the day.';

COMMENT ON COLUMN coldseam.forecast_score.p50 IS 'Median forecast.';

COMMENT ON COLUMN coldseam.forecast_score.p90 IS '90 % quantile forecast.';

COMMENT ON COLUMN coldseam.forecast_score.crps IS 'Continuous ranked probability score of the daily means, SI unit.';

COMMENT ON COLUMN coldseam.forecast_score.persist IS 'Absolute error of the last daily mean before the issue; null = there was none.';

CREATE TABLE coldseam.gauging (
    site_id text NOT NULL,
    measured_at timestamp with time zone NOT NULL,
    discharge_m3s double precision NOT NULL,
    stage_m double precision,
    width_m double precision,
    area_m2 double precision,
    mean_vel_ms double precision,
    method text NOT NULL,
    ice boolean NOT NULL,
    quality text NOT NULL,
    known_at timestamp with time zone NOT NULL
);

COMMENT ON TABLE coldseam.gauging IS 'Field measurements of channels.';

COMMENT ON COLUMN coldseam.gauging.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.gauging.measured_at IS 'When it was measured.';

COMMENT ON COLUMN coldseam.gauging.discharge_m3s IS 'Discharge, m3/s.';

COMMENT ON COLUMN coldseam.gauging.stage_m IS 'Stage, m.';

COMMENT ON COLUMN coldseam.gauging.width_m IS 'Width of the section, m.';

COMMENT ON COLUMN coldseam.gauging.area_m2 IS 'Area of the section, m2.';

COMMENT ON COLUMN coldseam.gauging.mean_vel_ms IS 'Mean velocity of the section, m/s.';

COMMENT ON COLUMN coldseam.gauging.method IS 'bridge, boat, cableway, wading; empty = unknown.';

COMMENT ON COLUMN coldseam.gauging.ice IS 'Measured under or beside ice.';

COMMENT ON COLUMN coldseam.gauging.quality IS 'The agency''s word for its quality.';

COMMENT ON COLUMN coldseam.gauging.known_at IS 'When it became known here.';

CREATE TABLE coldseam.latest (
    valid_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    changed_at timestamp with time zone NOT NULL,
    value double precision,
    series_id integer NOT NULL,
    flags smallint NOT NULL
)
WITH (fillfactor='70');

COMMENT ON TABLE coldseam.latest IS 'The newest row of each series, kept in the transaction that stores it.';

COMMENT ON COLUMN coldseam.latest.valid_at IS 'Time of its newest row.';

COMMENT ON COLUMN coldseam.latest.known_at IS 'When that version became known.';

COMMENT ON COLUMN coldseam.latest.changed_at IS 'Last change of anything in the series: reads as of this time or later may use the summaries.';

COMMENT ON COLUMN coldseam.latest.value IS 'Its value in the unit of the series; null = sent without a value.';

COMMENT ON COLUMN coldseam.latest.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.latest.flags IS 'Bit set as in observation.';

CREATE TABLE coldseam.model (
    owner text NOT NULL,
    kind text NOT NULL,
    version integer NOT NULL,
    made_at timestamp with time zone NOT NULL,
    window_from date,
    window_to date,
    score jsonb NOT NULL,
    params jsonb NOT NULL,
    note text NOT NULL
);

COMMENT ON TABLE coldseam.model IS 'Fitted parameters, every version with its training window and score.';

COMMENT ON COLUMN coldseam.model.owner IS 'Site or reach the model belongs to.';

COMMENT ON COLUMN coldseam.model.kind IS 'Kind of model, such as thermal8 or run.';

COMMENT ON COLUMN coldseam.model.version IS 'Running number for the owner and kind.';

COMMENT ON COLUMN coldseam.model.made_at IS 'When it was fitted; only values known before are in it.';

COMMENT ON COLUMN coldseam.model.window_from IS 'First day of the training window.';

COMMENT ON COLUMN coldseam.model.window_to IS 'Last day of the training window.';

COMMENT ON COLUMN coldseam.model.score IS 'Scores on days not trained on.';

COMMENT ON COLUMN coldseam.model.params IS 'Parameters.';

COMMENT ON COLUMN coldseam.model.note IS 'Why it was fitted, or who set it.';

CREATE TABLE coldseam.observation (
    valid_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    value double precision,
    series_id integer NOT NULL,
    flags smallint NOT NULL,
    qualifier_set smallint NOT NULL
);

COMMENT ON TABLE coldseam.observation IS 'The current value of every (series, time). Superseded versions are in observation_revision.';

COMMENT ON COLUMN coldseam.observation.valid_at IS 'Instant the value holds for; the end of a period.';

COMMENT ON COLUMN coldseam.observation.known_at IS 'When our fetch that brought this version ended.';

COMMENT ON COLUMN coldseam.observation.value IS 'Value in the unit of the series; null = sent without a value.';

COMMENT ON COLUMN coldseam.observation.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.observation.flags IS 'Bit set of coldseam.Flag: low byte agency, high byte quality control (bit 15 makes the number negative).';

COMMENT ON COLUMN coldseam.observation.qualifier_set IS 'Raw agency codes, see qualifier_set.';

CREATE TABLE coldseam.observation_revision (
    valid_at timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    superseded_at timestamp with time zone NOT NULL,
    value double precision,
    fetch_id bigint,
    series_id integer NOT NULL,
    flags smallint NOT NULL,
    qualifier_set smallint NOT NULL,
    CONSTRAINT observation_revision_order CHECK ((superseded_at > known_at))
);

COMMENT ON TABLE coldseam.observation_revision IS 'Every superseded version of an observation.';

COMMENT ON COLUMN coldseam.observation_revision.valid_at IS 'Instant the value held for.';

COMMENT ON COLUMN coldseam.observation_revision.known_at IS 'When this version became known.';

COMMENT ON COLUMN coldseam.observation_revision.superseded_at IS 'When the next version became known.';

COMMENT ON COLUMN coldseam.observation_revision.value IS 'Value of this version; null = sent without a value.';

COMMENT ON COLUMN coldseam.observation_revision.fetch_id IS 'Fetch that brought the next version; null = not a fetch.';

COMMENT ON COLUMN coldseam.observation_revision.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.observation_revision.flags IS 'Bit set as in observation.';

COMMENT ON COLUMN coldseam.observation_revision.qualifier_set IS 'Raw agency codes, see qualifier_set.';

CREATE TABLE coldseam.outbox (
    outbox_id bigint NOT NULL,
    edition_id bigint NOT NULL,
    subscriber_id bigint,
    admin_email text,
    local_date date NOT NULL,
    kind text NOT NULL,
    reach_id text,
    state text DEFAULT 'pending'::text NOT NULL,
    priority smallint NOT NULL,
    attempt integer DEFAULT 0 NOT NULL,
    next_at timestamp with time zone NOT NULL,
    deadline timestamp with time zone NOT NULL,
    lease_until timestamp with time zone,
    worker text DEFAULT ''::text NOT NULL,
    domain text NOT NULL,
    message_id text NOT NULL,
    in_reply_to text DEFAULT ''::text NOT NULL,
    verdict text,
    done_at timestamp with time zone,
    last_stage text DEFAULT ''::text NOT NULL,
    last_code integer DEFAULT 0 NOT NULL,
    last_esc text DEFAULT ''::text NOT NULL,
    reply text DEFAULT ''::text NOT NULL,
    payload bytea NOT NULL,
    CONSTRAINT outbox_one_recipient CHECK (((subscriber_id IS NULL) <> (admin_email IS NULL))),
    CONSTRAINT outbox_state_known CHECK ((state = ANY (ARRAY['pending'::text, 'claimed'::text, 'in_data'::text, 'sent'::text, 'deferred'::text, 'failed'::text, 'skipped'::text, 'expired'::text, 'unknown'::text])))
);

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

ALTER TABLE coldseam.outbox ALTER COLUMN outbox_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.outbox_outbox_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.pace (
    domain text NOT NULL,
    rate_hz double precision NOT NULL,
    next_at timestamp with time zone NOT NULL,
    good integer DEFAULT 0 NOT NULL,
    CONSTRAINT pace_rate_positive CHECK ((rate_hz > (0)::double precision))
);

COMMENT ON TABLE coldseam.pace IS 'Sending rate per recipient domain, shared by all servers; * = all domains together.';

COMMENT ON COLUMN coldseam.pace.domain IS 'Recipient domain.';

COMMENT ON COLUMN coldseam.pace.rate_hz IS 'Mails a second.';

COMMENT ON COLUMN coldseam.pace.next_at IS 'Next claim not before.';

COMMENT ON COLUMN coldseam.pace.good IS 'Mails accepted since the rate was last changed.';

CREATE TABLE coldseam.qc_change (
    series_id integer NOT NULL,
    valid_at timestamp with time zone NOT NULL,
    changed_at timestamp with time zone NOT NULL,
    old_flags smallint NOT NULL,
    new_flags smallint NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.qc_change IS 'Every later change of quality-control bits of a stored value; reads as of an earlier time undo them.';

COMMENT ON COLUMN coldseam.qc_change.series_id IS 'The series.';

COMMENT ON COLUMN coldseam.qc_change.valid_at IS 'The value''s time.';

COMMENT ON COLUMN coldseam.qc_change.changed_at IS 'When the bits were changed.';

COMMENT ON COLUMN coldseam.qc_change.old_flags IS 'Whole bit set before.';

COMMENT ON COLUMN coldseam.qc_change.new_flags IS 'Whole bit set after.';

COMMENT ON COLUMN coldseam.qc_change.why IS 'Test or person that changed it.';

CREATE TABLE coldseam.qualifier_set (
    qualifier_set_id smallint NOT NULL,
    codes text[] NOT NULL
);

COMMENT ON TABLE coldseam.qualifier_set IS 'Sets of raw agency qualifiers, so that a row carries two bytes.';

COMMENT ON COLUMN coldseam.qualifier_set.qualifier_set_id IS 'Key; 0 = no qualifier.';

COMMENT ON COLUMN coldseam.qualifier_set.codes IS 'Codes as sent, sorted.';

CREATE TABLE coldseam.rate_count (
    bucket text NOT NULL,
    window_start timestamp with time zone NOT NULL,
    n integer NOT NULL
);

COMMENT ON TABLE coldseam.rate_count IS 'Counters of the sign-up limits. Buckets are hashes or prefixes, never addresses.';

COMMENT ON COLUMN coldseam.rate_count.bucket IS 'What is counted.';

COMMENT ON COLUMN coldseam.rate_count.window_start IS 'Start of the window.';

COMMENT ON COLUMN coldseam.rate_count.n IS 'Count in the window.';

CREATE TABLE coldseam.rating (
    site_id text NOT NULL,
    valid_from timestamp with time zone NOT NULL,
    known_at timestamp with time zone NOT NULL,
    valid_to timestamp with time zone,
    stage_zero_m double precision NOT NULL,
    stage_m double precision[] NOT NULL,
    discharge_m3s double precision[] NOT NULL
);

COMMENT ON TABLE coldseam.rating IS 'Tables that turn stage into discharge.';

COMMENT ON COLUMN coldseam.rating.site_id IS 'The gauge.';

COMMENT ON COLUMN coldseam.rating.valid_from IS 'Start of validity.';

COMMENT ON COLUMN coldseam.rating.known_at IS 'When this table became known here.';

COMMENT ON COLUMN coldseam.rating.valid_to IS 'End of validity; null = open.';

COMMENT ON COLUMN coldseam.rating.stage_zero_m IS 'Stage of zero flow, m.';

COMMENT ON COLUMN coldseam.rating.stage_m IS 'Stages, m, ascending.';

COMMENT ON COLUMN coldseam.rating.discharge_m3s IS 'Discharge at those stages, m3/s.';

CREATE TABLE coldseam.raw_fetch (
    fetch_id bigint NOT NULL,
    profile text NOT NULL,
    url text NOT NULL,
    fetched_at timestamp with time zone NOT NULL,
    status integer NOT NULL,
    bytes bigint NOT NULL,
    sha256 text NOT NULL,
    dur_ms bigint NOT NULL,
    etag text NOT NULL,
    last_modified text NOT NULL,
    err text NOT NULL,
    rows_stored integer NOT NULL,
    attributes text NOT NULL,
    payload_gzip bytea
);
ALTER TABLE ONLY coldseam.raw_fetch ALTER COLUMN payload_gzip SET STORAGE EXTERNAL;

COMMENT ON TABLE coldseam.raw_fetch IS 'Log of fetches; the newest payloads of each address are kept for replay.';

COMMENT ON COLUMN coldseam.raw_fetch.fetch_id IS 'Running number.';

COMMENT ON COLUMN coldseam.raw_fetch.profile IS 'Feed profile.';

COMMENT ON COLUMN coldseam.raw_fetch.url IS 'Address without key.';

COMMENT ON COLUMN coldseam.raw_fetch.fetched_at IS 'End of the fetch: the known-at of what it brought.';

COMMENT ON COLUMN coldseam.raw_fetch.status IS 'HTTP status; 0 = no answer.';

COMMENT ON COLUMN coldseam.raw_fetch.bytes IS 'Size of the body, bytes.';

COMMENT ON COLUMN coldseam.raw_fetch.sha256 IS 'Hash of the body, hexadecimal.';

COMMENT ON COLUMN coldseam.raw_fetch.dur_ms IS 'Duration, ms.';

COMMENT ON COLUMN coldseam.raw_fetch.etag IS 'ETag as sent.';

COMMENT ON COLUMN coldseam.raw_fetch.last_modified IS 'Last-Modified as sent.';

COMMENT ON COLUMN coldseam.raw_fetch.err IS 'What went wrong in one line; empty = nothing.';

COMMENT ON COLUMN coldseam.raw_fetch.rows_stored IS 'Rows found in the document.';

COMMENT ON COLUMN coldseam.raw_fetch.attributes IS 'Further facts about the document.';

COMMENT ON COLUMN coldseam.raw_fetch.payload_gzip IS 'The body, gzip; null = dropped, empty or the same bytes as the fetch before.';

ALTER TABLE coldseam.raw_fetch ALTER COLUMN fetch_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.raw_fetch_fetch_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.reach (
    reach_id text NOT NULL,
    river text NOT NULL,
    name text NOT NULL,
    site_id text NOT NULL,
    temp_site_id text,
    zone text NOT NULL,
    lat_deg double precision NOT NULL,
    lon_deg double precision NOT NULL,
    regulated boolean NOT NULL,
    max_flow_m3s double precision,
    edit integer NOT NULL,
    retired boolean DEFAULT false NOT NULL,
    updated_at timestamp with time zone NOT NULL,
    body jsonb NOT NULL,
    CONSTRAINT reach_id_not_empty CHECK ((reach_id <> ''::text))
);

COMMENT ON TABLE coldseam.reach IS 'A stretch of river the club fishes, as it stands now; the history of edits is in reach_edit.';

COMMENT ON COLUMN coldseam.reach.reach_id IS 'Key of the reach.';

COMMENT ON COLUMN coldseam.reach.river IS 'Name of the river.';

COMMENT ON COLUMN coldseam.reach.name IS 'Name of the reach.';

COMMENT ON COLUMN coldseam.reach.site_id IS 'Gauge that stands for the reach.';

COMMENT ON COLUMN coldseam.reach.temp_site_id IS 'Neighbour with a thermometer where the gauge has none.';

COMMENT ON COLUMN coldseam.reach.zone IS 'IANA time zone of the reach.';

COMMENT ON COLUMN coldseam.reach.lat_deg IS 'Latitude, WGS 84, degrees north.';

COMMENT ON COLUMN coldseam.reach.lon_deg IS 'Longitude, WGS 84, degrees east.';

COMMENT ON COLUMN coldseam.reach.regulated IS 'Flow is set by dam releases.';

COMMENT ON COLUMN coldseam.reach.max_flow_m3s IS 'Flow above which the reach is a STOP, m3/s; null = not set.';

COMMENT ON COLUMN coldseam.reach.edit IS 'Number of the edit that made this state.';

COMMENT ON COLUMN coldseam.reach.retired IS 'No longer fished: no briefs, history kept.';

COMMENT ON COLUMN coldseam.reach.updated_at IS 'Time of the last edit.';

COMMENT ON COLUMN coldseam.reach.body IS 'The whole reach with spots and rules, as JSON of coldseam.Reach.';

CREATE TABLE coldseam.reach_edit (
    reach_id text NOT NULL,
    edit integer NOT NULL,
    edited_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL,
    body jsonb NOT NULL
);

COMMENT ON TABLE coldseam.reach_edit IS 'Every state a reach has had, with who set it, when and why.';

COMMENT ON COLUMN coldseam.reach_edit.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.reach_edit.edit IS 'Running number of the edit, 1 = first.';

COMMENT ON COLUMN coldseam.reach_edit.edited_at IS 'When.';

COMMENT ON COLUMN coldseam.reach_edit.who IS 'Who: a role or a name the admin gave, never an address.';

COMMENT ON COLUMN coldseam.reach_edit.why IS 'The reason given.';

COMMENT ON COLUMN coldseam.reach_edit.body IS 'The whole reach after the edit.';

CREATE TABLE coldseam.rig_log (
    rig_log_id bigint NOT NULL,
    trip_id bigint,
    reach_id text NOT NULL,
    spot_id text NOT NULL,
    logged_at timestamp with time zone NOT NULL,
    angler text NOT NULL,
    presentation text NOT NULL,
    body text NOT NULL,
    line text NOT NULL,
    weight_oz double precision NOT NULL,
    held boolean NOT NULL,
    angle_deg double precision,
    discharge_m3s double precision,
    stage_m double precision,
    CONSTRAINT rig_log_weight_positive CHECK ((weight_oz > (0)::double precision))
);

COMMENT ON TABLE coldseam.rig_log IS 'Weights that held bottom or did not, for calibrating the weight advice.';

COMMENT ON COLUMN coldseam.rig_log.rig_log_id IS 'Running number.';

COMMENT ON COLUMN coldseam.rig_log.trip_id IS 'Trip it came from; null = entered alone.';

COMMENT ON COLUMN coldseam.rig_log.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.rig_log.spot_id IS 'The spot.';

COMMENT ON COLUMN coldseam.rig_log.logged_at IS 'When it was fished.';

COMMENT ON COLUMN coldseam.rig_log.angler IS 'Pseudonym, never a name.';

COMMENT ON COLUMN coldseam.rig_log.presentation IS 'How it was fished.';

COMMENT ON COLUMN coldseam.rig_log.body IS 'Body on the jig.';

COMMENT ON COLUMN coldseam.rig_log.line IS 'Line key.';

COMMENT ON COLUMN coldseam.rig_log.weight_oz IS 'Jig weight, ounces.';

COMMENT ON COLUMN coldseam.rig_log.held IS 'Whether it held bottom.';

COMMENT ON COLUMN coldseam.rig_log.angle_deg IS 'Line angle from the vertical, degrees.';

COMMENT ON COLUMN coldseam.rig_log.discharge_m3s IS 'Discharge at that time, m3/s, from the stored series.';

COMMENT ON COLUMN coldseam.rig_log.stage_m IS 'Stage at that time, m, from the stored series.';

ALTER TABLE coldseam.rig_log ALTER COLUMN rig_log_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.rig_log_rig_log_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.run_state (
    reach_id text NOT NULL,
    species text NOT NULL,
    day date NOT NULL,
    issued_at timestamp with time zone NOT NULL,
    stage text NOT NULL,
    stage_p double precision NOT NULL,
    p_wave double precision NOT NULL,
    arrived_p10 double precision NOT NULL,
    arrived_p50 double precision NOT NULL,
    arrived_p90 double precision NOT NULL,
    spawned_p50 double precision NOT NULL,
    body jsonb NOT NULL
);

COMMENT ON TABLE coldseam.run_state IS 'State of the spawning run as issued.';

COMMENT ON COLUMN coldseam.run_state.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.run_state.species IS 'Species key.';

COMMENT ON COLUMN coldseam.run_state.day IS 'Civil day it speaks of.';

COMMENT ON COLUMN coldseam.run_state.issued_at IS 'Issue time.';

COMMENT ON COLUMN coldseam.run_state.stage IS 'Most likely stage of the run.';

COMMENT ON COLUMN coldseam.run_state.stage_p IS 'Its probability.';

COMMENT ON COLUMN coldseam.run_state.p_wave IS 'Probability of a wave arriving that day.';

COMMENT ON COLUMN coldseam.run_state.arrived_p10 IS '10 % quantile of the share arrived.';

COMMENT ON COLUMN coldseam.run_state.arrived_p50 IS 'Median share arrived.';

COMMENT ON COLUMN coldseam.run_state.arrived_p90 IS '90 % quantile of the share arrived.';

COMMENT ON COLUMN coldseam.run_state.spawned_p50 IS 'Median share that has spawned.';

COMMENT ON COLUMN coldseam.run_state.body IS 'The whole state as JSON of coldseam.RunState.';

CREATE TABLE coldseam.schema_version (
    version integer NOT NULL
);

COMMENT ON TABLE coldseam.schema_version IS 'Number of the last migration applied.';

COMMENT ON COLUMN coldseam.schema_version.version IS 'Number of the last migration applied.';

CREATE TABLE coldseam.season_rule (
    reach_id text NOT NULL,
    rule_no integer NOT NULL,
    kind text NOT NULL,
    species text NOT NULL,
    allowed boolean NOT NULL,
    wording text NOT NULL,
    link text NOT NULL,
    checked_on date,
    checked_by text NOT NULL,
    closed jsonb NOT NULL
);

COMMENT ON TABLE coldseam.season_rule IS 'Rows of local law of the present state of each reach, for queries; they are edited with the reach.';

COMMENT ON COLUMN coldseam.season_rule.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.season_rule.rule_no IS 'Place in the list of the reach, from 0.';

COMMENT ON COLUMN coldseam.season_rule.kind IS 'season, bait or life_jacket.';

COMMENT ON COLUMN coldseam.season_rule.species IS 'Species key; empty = the whole reach.';

COMMENT ON COLUMN coldseam.season_rule.allowed IS 'For bait rules: natural bait is allowed.';

COMMENT ON COLUMN coldseam.season_rule.wording IS 'The rule in words.';

COMMENT ON COLUMN coldseam.season_rule.link IS 'Where the rule is published.';

COMMENT ON COLUMN coldseam.season_rule.checked_on IS 'Day a person last compared it with the link; null = never.';

COMMENT ON COLUMN coldseam.season_rule.checked_by IS 'Role of that person.';

COMMENT ON COLUMN coldseam.season_rule.closed IS 'Closed spans of the year.';

CREATE TABLE coldseam.series (
    series_id integer NOT NULL,
    site_id text NOT NULL,
    param text NOT NULL,
    stat text NOT NULL,
    period text NOT NULL,
    provider text NOT NULL,
    series_ref text NOT NULL,
    unit text NOT NULL,
    preference smallint DEFAULT 0 NOT NULL,
    first_known_at timestamp with time zone NOT NULL,
    CONSTRAINT series_stat_known CHECK ((stat = ANY (ARRAY['instant'::text, 'mean'::text, 'min'::text, 'max'::text, 'sum'::text])))
);

COMMENT ON TABLE coldseam.series IS 'A time series as an agency serves it.';

COMMENT ON COLUMN coldseam.series.series_id IS 'Our short key.';

COMMENT ON COLUMN coldseam.series.site_id IS 'Gauge or weather place.';

COMMENT ON COLUMN coldseam.series.param IS 'discharge, stage, water_temp, turbidity, velocity, air_temp, precip, wind, gust, thunder_prob.';

COMMENT ON COLUMN coldseam.series.stat IS 'instant, mean, min, max or sum over the period.';

COMMENT ON COLUMN coldseam.series.period IS 'ISO 8601 duration; empty for instantaneous values.';

COMMENT ON COLUMN coldseam.series.provider IS 'Profile that serves it.';

COMMENT ON COLUMN coldseam.series.series_ref IS 'The agency''s own series id.';

COMMENT ON COLUMN coldseam.series.unit IS 'SI unit of the values.';

COMMENT ON COLUMN coldseam.series.preference IS 'Where several series measure the same at a site, the greater one leads.';

COMMENT ON COLUMN coldseam.series.first_known_at IS 'When the first value became known here; values valid before were back-filled.';

ALTER TABLE coldseam.series ALTER COLUMN series_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.series_series_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.site (
    site_id text NOT NULL,
    provider text NOT NULL,
    code text NOT NULL,
    name text NOT NULL,
    zone text NOT NULL,
    lat_deg double precision NOT NULL,
    lon_deg double precision NOT NULL,
    datum_m double precision,
    drainage_km2 double precision,
    tidal boolean DEFAULT false NOT NULL,
    daily_only boolean DEFAULT false NOT NULL,
    stub boolean DEFAULT false NOT NULL,
    updated_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT site_id_not_empty CHECK ((site_id <> ''::text))
);

COMMENT ON TABLE coldseam.site IS 'A gauge of an agency.';

COMMENT ON COLUMN coldseam.site.site_id IS 'provider:code, both as the agency spells them.';

COMMENT ON COLUMN coldseam.site.provider IS 'Profile that serves the gauge.';

COMMENT ON COLUMN coldseam.site.code IS 'The agency''s station code.';

COMMENT ON COLUMN coldseam.site.name IS 'Name of the gauge.';

COMMENT ON COLUMN coldseam.site.zone IS 'IANA time zone; civil days of the gauge are cut in it.';

COMMENT ON COLUMN coldseam.site.lat_deg IS 'Latitude, WGS 84, degrees north.';

COMMENT ON COLUMN coldseam.site.lon_deg IS 'Longitude, WGS 84, degrees east.';

COMMENT ON COLUMN coldseam.site.datum_m IS 'Elevation of gauge zero, m; null = not known.';

COMMENT ON COLUMN coldseam.site.drainage_km2 IS 'Drainage area, km2; null = not known.';

COMMENT ON COLUMN coldseam.site.tidal IS 'Negative discharge is genuine here.';

COMMENT ON COLUMN coldseam.site.daily_only IS 'Reports once a day.';

COMMENT ON COLUMN coldseam.site.stub IS 'Made by a series that arrived before the site was described.';

COMMENT ON COLUMN coldseam.site.updated_at IS 'Last change of the row.';

CREATE TABLE coldseam.subscriber (
    subscriber_id bigint NOT NULL,
    email text NOT NULL,
    name text DEFAULT ''::text NOT NULL,
    state text NOT NULL,
    created_at timestamp with time zone NOT NULL,
    confirmed_at timestamp with time zone,
    zone text NOT NULL,
    send_at time without time zone NOT NULL,
    window_from time without time zone,
    prefs jsonb NOT NULL,
    suppressed_why text DEFAULT ''::text NOT NULL,
    suppressed_at timestamp with time zone,
    fail_days integer DEFAULT 0 NOT NULL,
    last_fail_day date,
    angler text DEFAULT ''::text NOT NULL,
    confirm_sends integer DEFAULT 0 NOT NULL,
    CONSTRAINT subscriber_state_known CHECK ((state = ANY (ARRAY['pending'::text, 'confirmed'::text, 'paused'::text, 'suppressed'::text, 'unsubscribed'::text])))
);

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

ALTER TABLE coldseam.subscriber ALTER COLUMN subscriber_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.subscriber_subscriber_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.switch (
    name text NOT NULL,
    is_on boolean NOT NULL,
    changed_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.switch IS 'Switches of the whole program; hold = no mail is sent.';

COMMENT ON COLUMN coldseam.switch.name IS 'Name of the switch.';

COMMENT ON COLUMN coldseam.switch.is_on IS 'Whether it is on.';

COMMENT ON COLUMN coldseam.switch.changed_at IS 'Since when.';

COMMENT ON COLUMN coldseam.switch.who IS 'Who set it, never an address.';

COMMENT ON COLUMN coldseam.switch.why IS 'The reason given.';

CREATE TABLE coldseam.threshold (
    key text NOT NULL,
    value text NOT NULL,
    edited_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.threshold IS 'Limits the club has set other than the program''s own.';

COMMENT ON COLUMN coldseam.threshold.key IS 'Name of the limit, with its unit.';

COMMENT ON COLUMN coldseam.threshold.value IS 'Value as text.';

COMMENT ON COLUMN coldseam.threshold.edited_at IS 'When it was set.';

COMMENT ON COLUMN coldseam.threshold.who IS 'Who set it, never an address.';

COMMENT ON COLUMN coldseam.threshold.why IS 'The reason given.';

CREATE TABLE coldseam.threshold_audit (
    audit_id bigint NOT NULL,
    key text NOT NULL,
    old_value text,
    new_value text,
    edited_at timestamp with time zone NOT NULL,
    who text NOT NULL,
    why text NOT NULL
);

COMMENT ON TABLE coldseam.threshold_audit IS 'Every edit of a limit.';

COMMENT ON COLUMN coldseam.threshold_audit.audit_id IS 'Running number.';

COMMENT ON COLUMN coldseam.threshold_audit.key IS 'Name of the limit.';

COMMENT ON COLUMN coldseam.threshold_audit.old_value IS 'Value before; null = the program''s own.';

COMMENT ON COLUMN coldseam.threshold_audit.new_value IS 'Value after; null = back to the program''s own.';

COMMENT ON COLUMN coldseam.threshold_audit.edited_at IS 'When.';

COMMENT ON COLUMN coldseam.threshold_audit.who IS 'Who, never an address.';

COMMENT ON COLUMN coldseam.threshold_audit.why IS 'The reason given.';

ALTER TABLE coldseam.threshold_audit ALTER COLUMN audit_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.threshold_audit_audit_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE coldseam.trip (
    trip_id bigint NOT NULL,
    reach_id text NOT NULL,
    subscriber_id bigint,
    angler text NOT NULL,
    day date NOT NULL,
    start_at timestamp with time zone,
    hours double precision NOT NULL,
    anglers integer NOT NULL,
    lines integer NOT NULL,
    species text NOT NULL,
    fish integer NOT NULL,
    looked_at integer NOT NULL,
    ripe integer NOT NULL,
    spent integer NOT NULL,
    released integer NOT NULL,
    spot_id text NOT NULL,
    presentation text NOT NULL,
    body text NOT NULL,
    line text NOT NULL,
    weight_oz double precision,
    held boolean,
    held_at timestamp with time zone,
    angle_deg double precision,
    because_mail boolean,
    went_not boolean NOT NULL,
    water_c double precision,
    water_at timestamp with time zone,
    clarity text NOT NULL,
    first_fish_at timestamp with time zone,
    night boolean NOT NULL,
    note text NOT NULL,
    entered_at timestamp with time zone NOT NULL,
    source text NOT NULL,
    CONSTRAINT trip_counts CHECK (((hours >= (0)::double precision) AND (anglers >= 0) AND (lines >= 0) AND (fish >= 0)))
);

COMMENT ON TABLE coldseam.trip IS 'Trip log; trips without a fish count too.';

COMMENT ON COLUMN coldseam.trip.trip_id IS 'Running number.';

COMMENT ON COLUMN coldseam.trip.reach_id IS 'The reach.';

COMMENT ON COLUMN coldseam.trip.subscriber_id IS 'Who logged it; null = paper log, or forgotten since.';

COMMENT ON COLUMN coldseam.trip.angler IS 'Pseudonym for counting different anglers, never a name.';

COMMENT ON COLUMN coldseam.trip.day IS 'Civil day of the trip.';

COMMENT ON COLUMN coldseam.trip.start_at IS 'Start; null = not said.';

COMMENT ON COLUMN coldseam.trip.hours IS 'Length, hours.';

COMMENT ON COLUMN coldseam.trip.anglers IS 'Anglers in the party.';

COMMENT ON COLUMN coldseam.trip.lines IS 'Lines in the water.';

COMMENT ON COLUMN coldseam.trip.species IS 'Species key.';

COMMENT ON COLUMN coldseam.trip.fish IS 'Fish caught.';

COMMENT ON COLUMN coldseam.trip.looked_at IS 'Fish looked at for ripeness.';

COMMENT ON COLUMN coldseam.trip.ripe IS 'Of those, running eggs or milt.';

COMMENT ON COLUMN coldseam.trip.spent IS 'Of those, spent.';

COMMENT ON COLUMN coldseam.trip.released IS 'Fish released.';

COMMENT ON COLUMN coldseam.trip.spot_id IS 'Spot within the reach; empty = not said.';

COMMENT ON COLUMN coldseam.trip.presentation IS 'How it was fished.';

COMMENT ON COLUMN coldseam.trip.body IS 'Body on the jig.';

COMMENT ON COLUMN coldseam.trip.line IS 'Line key.';

COMMENT ON COLUMN coldseam.trip.weight_oz IS 'Jig weight, ounces; null = not said.';

COMMENT ON COLUMN coldseam.trip.held IS 'Whether it held bottom; null = not said.';

COMMENT ON COLUMN coldseam.trip.held_at IS 'When.';

COMMENT ON COLUMN coldseam.trip.angle_deg IS 'Line angle from the vertical, degrees.';

COMMENT ON COLUMN coldseam.trip.because_mail IS 'Went because of the mail; null = not said.';

COMMENT ON COLUMN coldseam.trip.went_not IS 'Said "did not go".';

COMMENT ON COLUMN coldseam.trip.water_c IS 'Water temperature measured by the angler, degC.';

COMMENT ON COLUMN coldseam.trip.water_at IS 'When.';

COMMENT ON COLUMN coldseam.trip.clarity IS 'clear, stained, muddy; empty = not said.';

COMMENT ON COLUMN coldseam.trip.first_fish_at IS 'Time of the first fish.';

COMMENT ON COLUMN coldseam.trip.night IS 'Fished in the dark.';

COMMENT ON COLUMN coldseam.trip.note IS 'Free words; never in schema season.';

COMMENT ON COLUMN coldseam.trip.entered_at IS 'When it was entered.';

COMMENT ON COLUMN coldseam.trip.source IS 'form, cli or csv.';

ALTER TABLE coldseam.trip ALTER COLUMN trip_id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME coldseam.trip_trip_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

ALTER TABLE ONLY coldseam.alert
    ADD CONSTRAINT alert_pkey PRIMARY KEY (provider, sender, identifier, sent_at);

ALTER TABLE ONLY coldseam.bounce
    ADD CONSTRAINT bounce_pkey PRIMARY KEY (bounce_id);

ALTER TABLE ONLY coldseam.brief
    ADD CONSTRAINT brief_key UNIQUE (reach_id, day, issued_at, replay);

ALTER TABLE ONLY coldseam.brief
    ADD CONSTRAINT brief_pkey PRIMARY KEY (brief_id);

ALTER TABLE ONLY coldseam.climatology
    ADD CONSTRAINT climatology_pkey PRIMARY KEY (site_id, param, made_at, doy);

ALTER TABLE ONLY coldseam.crossing
    ADD CONSTRAINT crossing_pkey PRIMARY KEY (site_id, issued_at, edge_c, up);

ALTER TABLE ONLY coldseam.day_summary
    ADD CONSTRAINT day_summary_pkey PRIMARY KEY (series_id, day);

ALTER TABLE ONLY coldseam.edition
    ADD CONSTRAINT edition_pkey PRIMARY KEY (edition_id);

ALTER TABLE ONLY coldseam.ensemble
    ADD CONSTRAINT ensemble_key UNIQUE (site_id, param, issued_at, source);

ALTER TABLE ONLY coldseam.ensemble
    ADD CONSTRAINT ensemble_pkey PRIMARY KEY (ensemble_id);

ALTER TABLE ONLY coldseam.fetch_state
    ADD CONSTRAINT fetch_state_pkey PRIMARY KEY (profile, url);

ALTER TABLE ONLY coldseam.forecast
    ADD CONSTRAINT forecast_key UNIQUE (site_id, param, stat, period, provider, issued_at, known_at);

ALTER TABLE ONLY coldseam.forecast
    ADD CONSTRAINT forecast_pkey PRIMARY KEY (forecast_id);

ALTER TABLE ONLY coldseam.forecast_score
    ADD CONSTRAINT forecast_score_pkey PRIMARY KEY (site_id, param, issued_at, lead_day, source);

ALTER TABLE ONLY coldseam.gauging
    ADD CONSTRAINT gauging_pkey PRIMARY KEY (site_id, measured_at);

ALTER TABLE ONLY coldseam.latest
    ADD CONSTRAINT latest_pkey PRIMARY KEY (series_id);

ALTER TABLE ONLY coldseam.model
    ADD CONSTRAINT model_pkey PRIMARY KEY (owner, kind, version);

ALTER TABLE ONLY coldseam.observation
    ADD CONSTRAINT observation_pkey PRIMARY KEY (series_id, valid_at);

ALTER TABLE ONLY coldseam.observation_revision
    ADD CONSTRAINT observation_revision_pkey PRIMARY KEY (series_id, valid_at, known_at);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_key UNIQUE NULLS NOT DISTINCT (subscriber_id, admin_email, local_date, kind, reach_id);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_pkey PRIMARY KEY (outbox_id);

ALTER TABLE ONLY coldseam.pace
    ADD CONSTRAINT pace_pkey PRIMARY KEY (domain);

ALTER TABLE ONLY coldseam.qc_change
    ADD CONSTRAINT qc_change_pkey PRIMARY KEY (series_id, valid_at, changed_at);

ALTER TABLE ONLY coldseam.qualifier_set
    ADD CONSTRAINT qualifier_set_codes_key UNIQUE (codes);

ALTER TABLE ONLY coldseam.qualifier_set
    ADD CONSTRAINT qualifier_set_pkey PRIMARY KEY (qualifier_set_id);

ALTER TABLE ONLY coldseam.rate_count
    ADD CONSTRAINT rate_count_pkey PRIMARY KEY (bucket, window_start);

ALTER TABLE ONLY coldseam.rating
    ADD CONSTRAINT rating_pkey PRIMARY KEY (site_id, valid_from, known_at);

ALTER TABLE ONLY coldseam.raw_fetch
    ADD CONSTRAINT raw_fetch_pkey PRIMARY KEY (fetch_id);

ALTER TABLE ONLY coldseam.reach_edit
    ADD CONSTRAINT reach_edit_pkey PRIMARY KEY (reach_id, edit);

ALTER TABLE ONLY coldseam.reach
    ADD CONSTRAINT reach_pkey PRIMARY KEY (reach_id);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_key UNIQUE (reach_id, spot_id, logged_at, angler, weight_oz);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_pkey PRIMARY KEY (rig_log_id);

ALTER TABLE ONLY coldseam.run_state
    ADD CONSTRAINT run_state_pkey PRIMARY KEY (reach_id, species, day, issued_at);

ALTER TABLE ONLY coldseam.season_rule
    ADD CONSTRAINT season_rule_pkey PRIMARY KEY (reach_id, rule_no);

ALTER TABLE ONLY coldseam.series
    ADD CONSTRAINT series_key UNIQUE (site_id, param, stat, period, provider, series_ref);

ALTER TABLE ONLY coldseam.series
    ADD CONSTRAINT series_pkey PRIMARY KEY (series_id);

ALTER TABLE ONLY coldseam.site
    ADD CONSTRAINT site_pkey PRIMARY KEY (site_id);

ALTER TABLE ONLY coldseam.subscriber
    ADD CONSTRAINT subscriber_pkey PRIMARY KEY (subscriber_id);

ALTER TABLE ONLY coldseam.switch
    ADD CONSTRAINT switch_pkey PRIMARY KEY (name);

ALTER TABLE ONLY coldseam.threshold_audit
    ADD CONSTRAINT threshold_audit_pkey PRIMARY KEY (audit_id);

ALTER TABLE ONLY coldseam.threshold
    ADD CONSTRAINT threshold_pkey PRIMARY KEY (key);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_key UNIQUE NULLS NOT DISTINCT (reach_id, day, angler, species, start_at);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_pkey PRIMARY KEY (trip_id);

CREATE INDEX alert_ends_idx ON coldseam.alert USING btree (ends_at);

CREATE INDEX alert_references_idx ON coldseam.alert USING gin (reference_ids);

CREATE INDEX bounce_subscriber_idx ON coldseam.bounce USING btree (subscriber_id, bounced_at);

CREATE INDEX brief_day_idx ON coldseam.brief USING btree (day);

CREATE INDEX outbox_day_idx ON coldseam.outbox USING btree (local_date);

CREATE INDEX outbox_edition_idx ON coldseam.outbox USING btree (edition_id);

CREATE INDEX outbox_leased_idx ON coldseam.outbox USING btree (lease_until) WHERE (state = ANY (ARRAY['claimed'::text, 'in_data'::text, 'unknown'::text]));

CREATE INDEX outbox_open_idx ON coldseam.outbox USING btree (priority, next_at) WHERE (state = ANY (ARRAY['pending'::text, 'deferred'::text]));

CREATE INDEX raw_fetch_url_idx ON coldseam.raw_fetch USING btree (profile, url, fetched_at DESC);

CREATE INDEX reach_site_idx ON coldseam.reach USING btree (site_id);

CREATE UNIQUE INDEX subscriber_email_key ON coldseam.subscriber USING btree (lower(email));

CREATE INDEX trip_day_idx ON coldseam.trip USING btree (day);

ALTER TABLE ONLY coldseam.bounce
    ADD CONSTRAINT bounce_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_edition_fkey FOREIGN KEY (edition_id) REFERENCES coldseam.edition(edition_id);

ALTER TABLE ONLY coldseam.outbox
    ADD CONSTRAINT outbox_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.reach_edit
    ADD CONSTRAINT reach_edit_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.reach
    ADD CONSTRAINT reach_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site(site_id);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.rig_log
    ADD CONSTRAINT rig_log_trip_fkey FOREIGN KEY (trip_id) REFERENCES coldseam.trip(trip_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.season_rule
    ADD CONSTRAINT season_rule_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id) ON DELETE CASCADE;

ALTER TABLE ONLY coldseam.series
    ADD CONSTRAINT series_site_fkey FOREIGN KEY (site_id) REFERENCES coldseam.site(site_id);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_reach_fkey FOREIGN KEY (reach_id) REFERENCES coldseam.reach(reach_id);

ALTER TABLE ONLY coldseam.trip
    ADD CONSTRAINT trip_subscriber_fkey FOREIGN KEY (subscriber_id) REFERENCES coldseam.subscriber(subscriber_id) ON DELETE SET NULL;
